/**
 * The walks are invented and seeded, along a trace whose length is known: 2,956.424 m by GeographicLib 2.1
 * (Python, geodesic legs on WGS 84).
 */
import { describe, expect, it } from 'vitest';
import { distance_m, length_m, offset } from '../operation/ground.ts';
import type { Place } from '../operation/reporter.svelte.ts';
import { aside_m, type Point } from './simplify.ts';
import {
  begin,
  FASTEST_M_S,
  goOn,
  HALT_MS,
  isDue,
  LEAVE_M,
  LONGEST_STEP_M,
  report,
  REPORT_M,
  take,
  TOLERANCE_M,
  unreported_m,
  WORST_ACCURACY_M,
  type Fix,
  type Gap,
  type Track,
} from './track.ts';
import { walk } from './walk.ts';

const trace: Place[] = [
  [-4.67, 54.08],
  [-4.662, 54.0834],
  [-4.655, 54.086],
  [-4.6478, 54.0861],
  [-4.635, 54.095],
];
/** What a test itself put there. */
function sure<T>(one: T | undefined): T {
  if (one === undefined) throw new Error('The test has nothing there.');
  return one;
}

const TRUE_M = 2_956.424;

interface Laid {
  track: Track;
  laid: Place[];
  gaps: Gap[];
  reports: number;
}

/** Lays along the fixes as the page does, and reports the rest at the end. */
function lay(fixes: readonly Fix[], from: Laid = fresh(null)): Laid {
  let { track, reports } = from;
  const laid = [...from.laid];
  const gaps = [...from.gaps];
  const tell = (at_ms: number) => {
    const told = report(track, at_ms);
    laid.push(...told.positions);
    gaps.push(...told.gaps);
    reports += told.positions.length > 0 ? 1 : 0;
    track = told.after;
  };
  for (const fix of fixes) {
    track = take(track, fix);
    if (isDue(track, fix.at_ms)) tell(fix.at_ms);
  }
  tell(fixes.at(-1)?.at_ms ?? 0);
  return { track, laid, gaps, reports };
}

const fresh = (head: Place | null): Laid => ({ track: begin(head, 0), laid: [], gaps: [], reports: 0 });
const later = (fixes: readonly Fix[], by_ms: number): Fix[] =>
  fixes.map((fix) => ({ ...fix, at_ms: fix.at_ms + by_ms }));

/** How far a place lies from a trace, reckoned anew in a plane around it. */
function fromTrace(place: Place, laid: readonly Place[]): number {
  const plane = laid.map((one): Point => {
    const { east_m, north_m } = offset(place, one);
    return [east_m, north_m];
  });
  return Math.min(...plane.slice(1).map((to, n) => aside_m([0, 0], sure(plane[n]), to)));
}

const seeds = Array.from({ length: 10 }, (_, n) => 1_000 + n);

describe.each(seeds)('a walk of 3 km at 1 m/s, ±5 m, seed %i', (seed) => {
  const fixes = walk({ trace, seed });
  const { track, laid, reports } = lay(fixes);

  it('is laid as long as it is, within 3 %', () => {
    expect(Math.abs(length_m(laid) / TRUE_M - 1)).toBeLessThan(0.03);
    expect(track.tally.laid_m).toBeCloseTo(length_m(laid), 1);
  });

  it('is shorter than the raw fixes and has far fewer points', () => {
    expect(track.tally.raw_m).toBeGreaterThan(length_m(laid));
    expect(laid.length).toBeLessThan(fixes.length / 8);
  });

  it('has every fix taken on the move within the tolerance', () => {
    const farthest_m = Math.max(...fixes.map(({ place }) => fromTrace(place, laid)));
    // A position is reported to a centimetre.
    expect(farthest_m).toBeLessThanOrEqual(TOLERANCE_M + 0.02);
  });

  it('is reported in steps, never more than a minute or a hundred metres late', () => {
    expect(reports).toBeGreaterThanOrEqual(Math.floor(TRUE_M / REPORT_M / 2));
  });
});

describe('a halt', () => {
  it.each(seeds)('of an hour adds nothing by the wandering of the receiver (seed %i)', (seed) => {
    const still = lay(
      walk({ trace: trace.slice(0, 2), seed, halts: [{ at_m: 0, lasts_s: 3_600 }], speed_m_s: 1e6 }),
    );
    expect(length_m(still.laid)).toBeLessThan(LEAVE_M);
    expect(still.track.tally.raw_m).toBeGreaterThan(500);
  });

  it.each(seeds)('on the way is one place near where the crew stood (seed %i)', (seed) => {
    const halts = [{ at_m: 300, lasts_s: 900 }];
    const { laid } = lay(walk({ trace: trace.slice(0, 2), seed, halts }));
    const straight_m = distance_m(sure(trace[0]), sure(trace[1]));
    expect(Math.abs(length_m(laid) / straight_m - 1)).toBeLessThan(0.06);
  });

  it('keeps every fix within its own reach', () => {
    const fixes = walk({ trace, seed: 7, halts: [{ at_m: 500, lasts_s: 600 }] });
    const { laid } = lay(fixes);
    const farthest_m = Math.max(...fixes.map(({ place }) => fromTrace(place, laid)));
    expect(farthest_m).toBeLessThanOrEqual(LEAVE_M + TOLERANCE_M);
  });

  it('is not seen in a slow pace: what is laid at 0.5 m/s is as long as it is', () => {
    for (const seed of seeds.slice(0, 5)) {
      const { laid } = lay(walk({ trace, seed, speed_m_s: 0.5 }));
      expect(Math.abs(length_m(laid) / TRUE_M - 1)).toBeLessThan(0.04);
    }
  });
});

describe('bad fixes', () => {
  const at = (east_m: number, at_s: number, accuracy_m = 5): Fix => ({
    place: [-4.67 + east_m / 65_300, 54.08],
    accuracy_m,
    at_ms: at_s * 1000,
  });

  it('that are known no better than the bound are kept out and counted', () => {
    const { track, laid } = lay([at(0, 0), at(60, 60, WORST_ACCURACY_M), at(61, 61, NaN), at(62, 62, 500)]);
    expect(track.tally).toMatchObject({ taken: 1, keptOut: 3 });
    expect(laid).toHaveLength(1);
  });

  it('that nobody could have walked are kept out, until five agree', () => {
    const far_m = FASTEST_M_S * 1 + 10 + 150;
    const once = lay([at(0, 0), at(1, 1), at(far_m, 2), at(3, 3)]);
    expect(once.track.tally).toMatchObject({ taken: 3, keptOut: 1 });
    const there = [8, 12, 16, 20, 24, 28, 32, 36].map((second) => at(450 + second, second));
    const moved = lay([at(0, 0), at(1, 4), ...there], fresh(at(-5, 0).place));
    expect(sure(moved.laid.at(-1))[0]).toBeCloseTo(sure(there.at(-1)).place[0], 6);
    expect(moved.gaps).toHaveLength(1);
    // Where nothing is laid yet, the first fixes were the error.
    expect(sure(lay([at(0, 0), at(1, 4), ...there]).laid[0])[0]).toBeGreaterThan(at(440, 0).place[0]);
  });

  it.each(seeds)('one in fifty does not lengthen the line (seed %i)', (seed) => {
    const { laid, track } = lay(walk({ trace, seed, strayEvery: 50 }));
    expect(track.tally.keptOut).toBeGreaterThan(20);
    expect(Math.abs(length_m(laid) / TRUE_M - 1)).toBeLessThan(0.03);
  });

  it('that come out of order or twice are kept out', () => {
    const { track } = lay([at(0, 10), at(1, 10), at(2, 9), at(3, 11)]);
    expect(track.tally).toMatchObject({ taken: 2, keptOut: 2 });
  });
});

it.each(seeds)('a receiver that is off by ±12 m lays no zigzag (seed %i)', (seed) => {
  const fixes = walk({ trace, seed, accuracy_m: 12 });
  const { laid, track } = lay(fixes);
  expect(Math.abs(length_m(laid) / TRUE_M - 1)).toBeLessThan(0.1);
  expect(track.tally.raw_m).toBeGreaterThan(2 * TRUE_M);
});

describe('a time without fixes', () => {
  it('becomes one straight step, and says how long it was', () => {
    const blind = { from_m: 700, to_m: 1_000 };
    const { laid, gaps, track } = lay(walk({ trace, seed: 11, blind }));
    expect(gaps).toHaveLength(1);
    expect(sure(gaps[0]).lasted_ms).toBeGreaterThan(290_000);
    expect(sure(gaps[0]).step_m).toBeGreaterThan(260);
    expect(track.tally).toMatchObject({ gaps: 1 });
    expect(Math.abs(length_m(laid) / TRUE_M - 1)).toBeLessThan(0.03);
  });

  it('that ends where it began is no step', () => {
    const [first] = walk({ trace, seed: 11 });
    const { gaps } = lay([
      sure(first),
      { ...sure(first), at_ms: 600_000 },
      { ...sure(first), at_ms: 601_000 },
    ]);
    expect(gaps).toEqual([]);
  });

  it('that ends too far from the wire is not bridged: somebody has to say so', () => {
    const [first] = walk({ trace, seed: 11 });
    const away = { ...sure(first), place: sure(trace[2]), at_ms: 900_000 };
    const { track, laid } = lay([sure(first), away]);
    expect(track.far_m).toBeGreaterThan(LONGEST_STEP_M);
    expect(laid).toHaveLength(1);
    const back = lay(later([sure(first)], 1_800_000), { track, laid, gaps: [], reports: 1 });
    expect(back.track.far_m).toBeNull();
  });
});

describe('laying goes on', () => {
  it('from where the wire ends, and standing there adds nothing', () => {
    const stood = lay(
      walk({ trace: trace.slice(0, 2), seed: 3, halts: [{ at_m: 0, lasts_s: 600 }], speed_m_s: 1e6 }),
      fresh(sure(trace[0])),
    );
    expect(stood.laid).toEqual([]);
  });

  it('after a pause with a straight step that is said to be one', () => {
    const fixes = walk({ trace, seed: 5 });
    const before = lay(fixes.slice(0, 500));
    const track = goOn(before.track, sure(before.laid.at(-1)), 600_000);
    const after = lay(fixes.slice(700), { ...before, track });
    expect(after.gaps.at(-1)).toMatchObject({ lasted_ms: null });
    expect(sure(after.gaps.at(-1)).step_m).toBeGreaterThan(150);
    expect(after.track.tally.taken).toBeGreaterThan(before.track.tally.taken);
  });

  it('is kept as plain data: written down and read again on the way, it lays the same', () => {
    const fixes = walk({ trace, seed: 9, halts: [{ at_m: 400, lasts_s: 120 }], strayEvery: 60 });
    let track = begin(null, 0);
    let again = begin(null, 0);
    for (const fix of fixes.slice(0, 600)) {
      track = take(track, fix);
      again = take(again, fix);
      if (fix.at_ms % 20_000 === 0) again = JSON.parse(JSON.stringify(again)) as Track;
    }
    expect(again).toEqual(JSON.parse(JSON.stringify(track)));
    expect(unreported_m(again)).toBe(unreported_m(track));
  });
});

it('a report half way through a halt moves nothing afterwards', () => {
  const fixes = walk({ trace: trace.slice(0, 2), seed: 21, halts: [{ at_m: 200, lasts_s: 300 }] });
  const stands = fixes.findIndex(({ at_ms }) => at_ms >= 200_000 + HALT_MS + 20_000);
  const before = lay(fixes.slice(0, stands));
  const after = lay(fixes.slice(stands, stands + 200), before);
  expect(after.laid).toEqual(before.laid);
});
