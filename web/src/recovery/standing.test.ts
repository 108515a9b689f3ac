import { describe, expect, it } from 'vitest';
import type { Body, CrossingFeature, LineFeature, LineRecovery } from '../api/types.ts';
import type { Report } from '../outbox/outbox.ts';
import {
  alongWire,
  atJoints,
  filled,
  long_m,
  nextStretch,
  standing,
  wireClass,
  without,
} from './standing.ts';

const line = { id: 'line', properties: { laid_length_m: 1_000 } } as unknown as LineFeature;
const crossing = (id: string, more: object = {}): CrossingFeature =>
  ({
    id,
    properties: { line: 'line', passed_at: '2026-05-04T08:00:00Z', state: 'finished', ...more },
  }) as unknown as CrossingFeature;
const report = (body: Body): Report<Body> => ({
  id: 'r',
  at: '2026-05-04T10:00:00Z',
  clock_offset_ms: null,
  made_by: null,
  position: null,
  body,
});
const up = (from_m: number, to_m: number, more: object = {}): Body => ({
  kind: 'section_taken_up',
  line: 'line',
  from_m,
  to_m,
  onto: 'R 1',
  length_m: 1.2 * (to_m - from_m),
  splices: 2,
  ...more,
});

describe('the class of wire that came up', () => {
  // SS0440 p. 69: at most 4 splices in each conductor in half a mile is class A, more is class B.
  it.each([
    [804.672, 4, 'a'],
    [804.672, 5, 'b'],
    [1_609.344, 8, 'a'],
    [1_609.344, 9, 'b'],
    // The same table by the kilometre, rounded down: 4 in half a mile is 4.97 in a kilometre.
    [1_000, 4, 'a'],
    [1_000, 5, 'b'],
  ] as const)('of %d m with %d splices is %s', (length_m, splices, is) => {
    expect(wireClass(length_m, splices)).toBe(is);
  });

  it('of a short piece is judged as if it were half a mile', () => {
    expect([wireClass(30, 4), wireClass(30, 5)]).toEqual(['a', 'b']);
  });
});

describe('what still lies', () => {
  it('has a gap where a section came up in the middle', () => {
    const lying = without([{ from_m: 0, to_m: 1_000 }], { from_m: 400, to_m: 600 });
    expect(lying).toEqual([
      { from_m: 0, to_m: 400 },
      { from_m: 600, to_m: 1_000 },
    ]);
    expect(long_m(lying)).toBe(800);
  });

  it('is nothing where two sections meet to the metre', () => {
    const once = without([{ from_m: 0, to_m: 1_000 }], { from_m: 0, to_m: 499 });
    expect(without(once, { from_m: 500.5, to_m: 1_000.4 })).toEqual([]);
  });

  it('is left as it is by a stretch that came up elsewhere', () => {
    const lying = [{ from_m: 600, to_m: 1_000 }];
    expect(without(lying, { from_m: 0, to_m: 600 })).toEqual(lying);
  });
});

it('a section is offered as far as the reel that it came off', () => {
  const reels = [{ from_chainage_m: 5 }, { from_chainage_m: 400 }, { from_chainage_m: 1_000 }];
  expect(atJoints([{ from_m: 100, to_m: 900 }], reels)).toEqual([
    { from_m: 100, to_m: 400 },
    { from_m: 400, to_m: 900 },
  ]);
});

it('a team stands at the wire only near to it', () => {
  // On the equator 0.001° is 111.32 m (WGS 84: 6 378 137 m × π / 180 000).
  const laid = [
    [0, 0],
    [0.01, 0],
  ];
  const on = { properties: { laid } } as unknown as LineFeature;
  expect(alongWire(on, [0.005, 0.0005])).toBeCloseTo(556.6, 0);
  expect(alongWire(on, [0.005, 0.002])).toBeNull();
  expect(alongWire(on, null)).toBeNull();
  expect(alongWire(line, [0, 0])).toBeNull();
});

describe('the next stretch', () => {
  const lying = [
    { from_m: 0, to_m: 300 },
    { from_m: 700, to_m: 1_000 },
  ];
  it('is the one that the team stands at', () => {
    expect(nextStretch(lying, 950)).toBe(lying[1]);
    expect(nextStretch(lying, 450)).toBe(lying[0]);
    expect(nextStretch(lying, 1_300)).toBe(lying[1]);
  });
  it('is the first from the near end while nobody knows where the team stands', () => {
    expect(nextStretch(lying, null)).toBe(lying[0]);
  });
  it('is none when nothing lies any more', () => expect(nextStretch([], 10)).toBeNull());
});

describe('how a line stands', () => {
  const told = {
    recovery: {
      ordered_up: null,
      sections: [],
      not_back: [],
      made_good: [],
      rests: [{ reel: 'one', at: '', left_m: 50 }],
    },
    lying: [{ from_m: 500, to_m: 1_000, from: null, to: null }],
    to_make_good: ['road'],
  } as unknown as LineRecovery;

  it('counts what this device reported and the service has not told yet', () => {
    const unsent = [
      report(up(500, 800)),
      report({
        kind: 'wire_lost',
        line: 'line',
        from_m: 800,
        to_m: 900,
        length_m: 110,
        fate: 'left',
        because: 'in the marsh',
      }),
      report({ kind: 'crossing_made_good', crossing: 'road' }),
      report({ kind: 'reel_returned', line: 'line', reel: 'one', left_m: 40 }),
    ];
    const now = standing(told, line, [], unsent, 'Follow-up 1');
    expect(now.lying).toEqual([{ from_m: 900, to_m: 1_000 }]);
    expect(now.sections).toMatchObject([{ team: 'Follow-up 1', length_m: 360, class: 'a' }]);
    expect(now.not_back).toMatchObject([{ fate: 'left', length_m: 110 }]);
    expect(now.toMakeGood).toEqual([]);
    expect(now.rests).toMatchObject([{ reel: 'one', left_m: 40 }]);
  });

  it('is not changed by what came up of another line', () => {
    const now = standing(told, line, [], [report(up(500, 800, { line: 'other' }))], 'Follow-up 1');
    expect([now.sections, long_m(now.lying)]).toEqual([[], 500]);
  });

  it('takes all that was laid to lie, and every crossing passed to be made good, while the service has not said', () => {
    const all = [
      crossing('road'),
      crossing('out', { state: 'struck_out' }),
      crossing('ahead', { passed_at: null }),
      crossing('other', { line: 'other' }),
    ];
    const now = standing(null, line, all, [], 'Follow-up 1');
    expect(now.lying).toEqual([{ from_m: 0, to_m: 1_000 }]);
    expect(now.toMakeGood).toEqual(['road']);
  });
});

describe('a reel that wire came up onto', () => {
  it('has one splice more for each length that was added', () => {
    const reels = filled([
      { onto: 'R 1', length_m: 400, splices: 2 },
      { onto: 'R 2', length_m: 300, splices: 5 },
      { onto: 'R 1', length_m: 300, splices: 2 },
    ]);
    // 2 + 2 and the joint are 5 in less than half a mile: class B (SS0440 p. 69).
    expect(reels).toEqual([
      { label: 'R 1', length_m: 700, splices: 5, class: 'b' },
      { label: 'R 2', length_m: 300, splices: 5, class: 'b' },
    ]);
  });
});
