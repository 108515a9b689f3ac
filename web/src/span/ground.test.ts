import { describe, expect, it } from 'vitest';
import { distance_m, offset } from '../operation/ground.ts';
import type { Place } from '../operation/reporter.svelte.ts';
import { beneath, riseOf } from './ground.ts';

describe('the ground beneath a span', () => {
  const trace: Place[] = [
    [-4.67, 54.08],
    [-4.66, 54.08],
    [-4.66, 54.09],
  ];

  it('is looked at half a span before the crossing and after it, along the line', () => {
    const at: Place = [-4.6601, 54.085];
    const [left, middle, right] = beneath([trace], at, 30) ?? [];
    expect(middle).toEqual(at);
    if (!left || !right) throw new Error('it has two ties');
    expect(distance_m(left, right)).toBeCloseTo(30, 3);
    // The leg runs north: left is towards the near end, which is south.
    expect(offset(left, right).north_m).toBeCloseTo(30, 3);
    expect(left[0]).toBeCloseTo(at[0], 9);
  });

  it('is unknown without a trace', () => {
    expect(beneath([[], [[-4.67, 54.08]]], [-4.66, 54.08], 30)).toBeNull();
    const still: Place = [-4.67, 54.08];
    expect(beneath([[still, still]], still, 30)).toBeNull();
  });

  const points = (...heights: (number | null)[]) =>
    heights.map((height_m, n) => ({ chainage_m: n * 15, height_m }));

  it('rises from the left tie to the right one', () => {
    expect(riseOf(points(100, 102, 105))).toEqual({ right_m: 5, over_m: 2 });
    expect(riseOf(points(100, 98, 95))).toEqual({ right_m: -5, over_m: -2 });
  });

  it('never lets a hollow lower what is crossed beneath the lower tie', () => {
    expect(riseOf(points(100, 90, 104))).toEqual({ right_m: 4, over_m: 0 });
    expect(riseOf(points(100, 90, 96))).toEqual({ right_m: -4, over_m: -4 });
  });

  it('is unknown where any of it is', () => {
    expect(riseOf(points(100, null, 105))).toBeNull();
    expect(riseOf([])).toBeNull();
  });
});
