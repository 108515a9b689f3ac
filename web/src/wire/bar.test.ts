import { describe, expect, it } from 'vitest';
import type { LineReckoning, ReelsAnswer, WireItem } from '../api/types.ts';
import { chainageOf, need, planAsked, proposed, reached_m, reported } from './bar.ts';

const item = (from_chainage_m: number, to_chainage_m: number, drawn_m: number) =>
  ({ from_chainage_m, to_chainage_m, drawn_m }) as WireItem;

/** 10 m at the end, a kilometre with a fifth of slack, a tie of 6 m, a span of 30 m, a tie, and a kilometre again. */
const items = [
  item(0, 0, 10),
  item(0, 1000, 1200),
  item(1000, 1000, 6),
  item(1000, 1030, 30),
  item(1030, 1030, 6),
  item(1030, 2030, 1200),
];
const place = (chainage_m: number, drawn_m: number) => ({ chainage_m, drawn_m, wire_m: drawn_m });

const line = (more: object = {}): LineReckoning =>
  ({
    draw_m: 2452,
    head: place(500, 610),
    wire: { items },
    no_splice: [
      { crossing: 0, from_m: 1210, to_m: 1252, from_chainage_m: 1000, to_chainage_m: 1030, what: 'stream' },
    ],
    reels: [
      { id: 'one', label: 'Reel 1', length_m: 400, from: place(0, 0), to: place(325, 400), left_m: 0 },
      { id: 'two', label: 'Reel 2', length_m: 400, from: place(325, 400), to: place(500, 610), left_m: 190 },
    ],
    splices: [{ place: place(325, 400), at: '', forbidden_by: null }],
    ...more,
  }) as unknown as LineReckoning;

describe('wire drawn lies on the ground', () => {
  it.each([
    [0, 0],
    [10, 0],
    [610, 500],
    [1210, 1000],
    [1213, 1000],
    [1231, 1015],
    [1252, 1030],
    [2452, 2030],
    [9999, 2030],
  ])('%d m of it reaches to %d m', (drawn_m, chainage_m) => {
    expect(chainageOf(items, drawn_m)).toBeCloseTo(chainage_m, 9);
  });

  it('nowhere, where there is none', () => {
    expect(chainageOf([], 5)).toBe(0);
  });
});

it('the bar shows reels and splices where they were reported, and what forbids a splice', () => {
  const bar = reported(line({ splices: [{ place: place(1010, 1226), at: '', forbidden_by: 0 }] }));
  expect(bar.pieces.map(({ from_m, to_m }) => [from_m, to_m])).toEqual([
    [0, 325],
    [325, 500],
  ]);
  expect(bar.knots).toEqual([{ chainage_m: 1010, inside: 'stream' }]);
  expect(bar.closed).toEqual([{ from_m: 1000, to_m: 1030, what: 'stream' }]);
});

describe('the plan goes on', () => {
  it('where the reel in use runs out', () => {
    expect(reached_m(line())).toBe(800);
    expect(reached_m(line({ reels: [] }))).toBe(0);
  });

  it('before a stream, where it would run out in the span', () => {
    const reels = [
      { id: 'one', label: 'Reel 1', length_m: 1230, from: place(0, 0), to: place(500, 610), left_m: 620 },
    ];
    expect(reached_m(line({ reels }))).toBe(1210);
  });

  it('and asks for what is left, with the stretches as far as they lie in it', () => {
    const asked = planAsked(line(), [{ label: 'A', left_m: 1600, class: 'a' }], false);
    expect(asked?.length_m).toBe(1652);
    expect(asked?.no_splice).toEqual([{ from_m: 410, to_m: 452, what: 'stream' }]);
    expect(planAsked(line(), [], false)).toBeNull();
  });

  it('and asks nothing when the reel in use carries to the end', () => {
    const reels = [
      { id: 'one', label: 'Reel 1', length_m: 4000, from: place(0, 0), to: place(500, 610), left_m: 3390 },
    ];
    expect(planAsked(line({ reels }), [{ label: 'A', left_m: 400, class: 'a' }], false)).toBeNull();
  });
});

it('the proposed reels lie on the strip’s chainage, and a splice stands where two meet', () => {
  const pieces = [
    { reel: 1, label: 'B', from_m: 0, to_m: 410, rest_m: 390, stopped_by: 0 },
    { reel: 0, label: 'A', from_m: 410, to_m: 1652, rest_m: 357, stopped_by: null },
  ];
  const answer = { outcome: { outcome: 'planned', pieces } } as unknown as ReelsAnswer;
  const bar = proposed(line(), answer);
  expect(bar?.pieces.map(({ from_m, to_m }) => [Math.round(from_m), Math.round(to_m)])).toEqual([
    [658, 1000],
    [1000, 2030],
  ]);
  expect(bar?.knots.map(({ chainage_m }) => Math.round(chainage_m))).toEqual([658, 1000]);
  expect(proposed(line({ reels: [] }), answer)?.knots).toHaveLength(1);
  expect(proposed(line(), { outcome: { outcome: 'short' } } as unknown as ReelsAnswer)).toBeNull();
});

it('what is still needed is set against what is on the reel in use', () => {
  expect(need(line())).toEqual({ needed_m: 2452, drawn_m: 610, still_m: 1842, left_m: 190, short_m: 1652 });
  expect(need(line({ head: null, reels: [] })).short_m).toBe(2452);
});
