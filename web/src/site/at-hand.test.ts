import { expect, it } from 'vitest';
import { AtHand } from './at-hand.svelte.ts';

it('asks nothing while nobody has said anything', () => {
  expect(new AtHand().input('road', true, null)).toBeNull();
});

it('what was not said is not known, and never absent', () => {
  const hand = new AtHand();
  hand.press('culvert');
  const asked = hand.input('road', true, null);
  expect(asked).toMatchObject({
    obstacle: 'road',
    culvert: { there: true },
    bridge: null,
    trees: null,
    power_line: null,
  });
});

it('a second press says that it is not there, and a third takes it back', () => {
  const hand = new AtHand();
  hand.press('poles');
  hand.press('poles');
  expect(hand.input('road', true, 30)).toMatchObject({ poles: { there: false }, span_m: 30 });
  hand.press('poles');
  expect(hand.of('poles')).toBeNull();
  expect(hand.input('road', true, 30)).toBeNull();
});

it('lance poles are a pair on each side, or none', () => {
  const hand = new AtHand();
  hand.press('lance_poles');
  expect(hand.input('road', true, null)?.lance_poles).toBe(4);
  hand.press('lance_poles');
  expect(hand.input('road', true, null)?.lance_poles).toBe(0);
});
