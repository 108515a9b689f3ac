import { expect, it } from 'vitest';
import { constructions, states } from '../strip/tag.ts';
import { pictureNamed, printName, tagName } from './images.ts';

it('a name says all that its picture shows', () => {
  for (const state of states) {
    for (const construction of [...constructions, null]) {
      for (const inTraffic of [false, true]) {
        const team = state === 'in_hand' ? 'F/1 é' : null;
        const look = { state, construction, inTraffic, team };
        expect(pictureNamed(`night/${tagName(look)}`)).toEqual({ light: 'night', tag: look });
      }
    }
  }
  expect(pictureNamed(printName('day', 'wood'))).toEqual({ light: 'day', print: 'wood' });
});

it('a name that is none of ours is nothing', () => {
  for (const name of ['', 'day', 'dusk/wood', 'day/lake', 'day/tag/lost///', 'day/tag']) {
    expect(pictureNamed(name)).toBeNull();
  }
});
