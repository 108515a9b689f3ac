import { describe, expect, it } from 'vitest';
import { constructions, letterOf, states, tagBox, tagMarks, tagWords } from './tag.ts';

const pictures = (look: Parameters<typeof tagMarks>[0]) => JSON.stringify(tagMarks(look));

describe('without colour', () => {
  it('every state has a picture of its own', () => {
    const seen = states.map((state) =>
      pictures({ state, construction: 'buried', team: 'F1' }).replace(/"(ink|hazard)"/g, '"dark"'),
    );
    expect(new Set(seen).size).toBe(states.length);
  });

  it('every construction has a letter of its own, and an unchosen one says so', () => {
    expect(new Set([...constructions.map(letterOf), letterOf(null)]).size).toBe(constructions.length + 1);
  });

  it('wire in traffic is a broken bar, not a tint', () => {
    const bar = tagMarks({ state: 'passed', construction: 'ladder', inTraffic: true }).at(-1);
    expect(bar).toMatchObject({ shape: 'path', stroke: 'hazard', dash: [7, 3.6] });
  });
});

it('the words say all that the picture does', () => {
  expect(
    tagWords({ state: 'in_hand', construction: 'overhead_lance_poles', team: 'F1', inTraffic: true }),
  ).toBe('overhead on lance poles, in hand with F1, wire lies in traffic');
  expect(tagWords({ state: 'marked', construction: null })).toBe('construction not chosen, marked');
});

it('every mark stays inside the box that others keep free for it', () => {
  for (const state of states) {
    for (const mark of tagMarks({ state, construction: 'ladder', team: 'F1', inTraffic: true })) {
      if (mark.shape === 'text') continue;
      const [xs, ys]: [number[], number[]] = [[], []];
      let at = [0, 0];
      for (const [, command, rest = ''] of mark.d.matchAll(/([MLHVAZ])([^MLHVAZ]*)/g)) {
        const figures = rest.match(/-?\d*\.?\d+/g)?.map(Number) ?? [];
        if (command === 'Z') continue;
        if (command === 'H') at = [figures[0] ?? NaN, at[1] ?? NaN];
        else if (command === 'V') at = [at[0] ?? NaN, figures[0] ?? NaN];
        else at = figures.slice(-2);
        xs.push(at[0] ?? NaN);
        ys.push(at[1] ?? NaN);
      }
      expect(Math.min(...xs) - mark.width / 2).toBeGreaterThanOrEqual(tagBox.left);
      expect(Math.max(...xs) + mark.width / 2).toBeLessThanOrEqual(tagBox.left + tagBox.width);
      expect(Math.max(...ys) + mark.width / 2).toBeLessThanOrEqual(tagBox.top + tagBox.height);
    }
  }
});
