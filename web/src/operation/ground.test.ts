import { describe, expect, it } from 'vitest';
import { alongTrace, direction_deg, distance_m, length_m, moved } from './ground.ts';
import type { Place } from './reporter.svelte.ts';

// GeographicLib 2.1 (Python), Geodesic.WGS84.Inverse: s12 to a millimetre, azi1 to a thousandth of a degree.
const published: [from: Place, to: Place, s12: number, azi1: number][] = [
  [[-4.6325814, 54.1009475], [-4.6549, 54.0735], 3386.24, 205.559],
  [[-4.63, 54.1], [-4.47, 54.1], 10466.959, 89.935],
  [[10, 0], [10.02, 0.05], 5960.158, 21.934],
  [[151.2, -33.9], [151.1, -33.95], 10782.305, 239.017],
  [[33, 69], [33.2, 69.1], 13717.699, 35.499],
  [[179.99, 10], [-179.99, 10.01], 2455.927, 63.231],
];

describe('against the geodesic', () => {
  it.each(published)('from %j to %j', (from, to, s12, azi1) => {
    expect(Math.abs(distance_m(from, to) - s12)).toBeLessThan(s12 * 2e-5);
    // The direction is that of the middle of the way: off by half the meridians' convergence.
    expect(Math.abs(direction_deg(from, to) - azi1)).toBeLessThan(0.15);
  });
});

describe('along a trace', () => {
  // Due east along the equator, then due north: 0.01 degree is 1113.195 m of the equator and 1105.743 m of the meridian
  // (2 pi a / 36,000, and GeographicLib 2.1 as above).
  const trace: Place[] = [
    [0, 0],
    [0.01, 0],
    [0.01, 0.01],
  ];

  it('a place beside it lies at its foot', () => {
    const found = alongTrace(trace, [0.005, 0.001]);
    expect(found?.chainage_m).toBeCloseTo(556.6, 0);
    expect(found?.aside_m).toBeCloseTo(110.6, 0);
  });

  it('a place beyond its end lies at its end', () => {
    expect(alongTrace(trace, [0.01, 0.02])?.chainage_m).toBeCloseTo(length_m(trace), 3);
    expect(length_m(trace)).toBeCloseTo(1113.195 + 1105.743, 1);
  });

  it('no trace, no chainage', () => {
    expect(alongTrace([], [0, 0])).toBeNull();
    expect(alongTrace([[0, 0]], [0, 0])).toBeNull();
  });
});

it.each(published)('ten metres each way from %j are ten metres', (from) => {
  for (const [east_m, north_m] of [
    [10, 0],
    [-10, 0],
    [0, 10],
    [0, -10],
  ] as const) {
    const to = moved(from, east_m, north_m);
    expect(distance_m(from, to)).toBeCloseTo(10, 2);
    expect(Math.sign(Math.round(to[1] * 1e6) - Math.round(from[1] * 1e6))).toBe(Math.sign(north_m));
  }
});
