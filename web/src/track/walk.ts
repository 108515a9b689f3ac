/**
 * An invented walk for tests: along a trace at a walker's pace, with halts, and what a receiver makes of it. Its
 * error drifts (a first-order Gauss-Markov process, as receivers' errors are commonly modelled) and does not jump
 * about; now and then a fix is far off, or for a time there is none. The same seed gives the same walk.
 */
import { distance_m } from '../operation/ground.ts';
import type { Place } from '../operation/reporter.svelte.ts';
import type { Fix } from './track.ts';

export interface Walk {
  trace: readonly Place[];
  seed: number;
  /** how far the receiver says it may be off; its error is drawn from it */
  accuracy_m?: number;
  /** the error is another one after about so many seconds */
  drift_s?: number;
  speed_m_s?: number;
  /** the walker stands for so long where it has come so far */
  halts?: readonly { at_m: number; lasts_s: number }[];
  /** one fix in so many is far off, and does not know it */
  strayEvery?: number;
  /** without a fix from here to there */
  blind?: { from_m: number; to_m: number };
}

/** Numbers from 0 up to 1: mulberry32. */
export function chance(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(state ^ (state >>> 15), state | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
}

/** Of the error's distance 68 % is within the accuracy (W3C Geolocation gives 95 %, phones mostly 68 %, from memory). */
const SIGMAS = 1.515;
const DEGREE_M = 111_300;

/** A fix a second. */
export function walk(walk: Walk): Fix[] {
  const {
    trace,
    seed,
    accuracy_m = 5,
    drift_s = 40,
    speed_m_s = 1,
    halts = [],
    strayEvery = 0,
    blind,
  } = walk;
  const next = chance(seed);
  const normal = () => Math.sqrt(-2 * Math.log(1 - next())) * Math.cos(2 * Math.PI * next());
  const sigma_m = accuracy_m / SIGMAS;
  const keeps = Math.exp(-1 / drift_s);
  let [east_m, north_m] = [normal() * sigma_m, normal() * sigma_m];
  const fixes: Fix[] = [];
  const standing = halts.map((halt) => ({ ...halt }));
  let run_m = 0;
  for (let second = 0; ; second += 1) {
    const truth = along(trace, run_m);
    if (!truth) return fixes;
    east_m = keeps * east_m + Math.sqrt(1 - keeps ** 2) * sigma_m * normal();
    north_m = keeps * north_m + Math.sqrt(1 - keeps ** 2) * sigma_m * normal();
    const stray_m = strayEvery > 0 && next() < 1 / strayEvery ? 200 : 0;
    const [lon, lat] = truth;
    const wide_m = DEGREE_M * Math.cos((lat * Math.PI) / 180);
    if (!blind || run_m < blind.from_m || run_m > blind.to_m) {
      const place: Place = [lon + (east_m + stray_m) / wide_m, lat + north_m / DEGREE_M];
      fixes.push({ place, accuracy_m, at_ms: second * 1000 });
    }
    const halt = standing.find((one) => one.lasts_s > 0 && one.at_m <= run_m);
    if (halt) halt.lasts_s -= 1;
    else run_m += speed_m_s;
  }
}

function along(trace: readonly Place[], run_m: number): Place | null {
  let left_m = run_m;
  for (const [n, to] of trace.entries()) {
    const from = trace[n - 1];
    if (!from) continue;
    const leg_m = distance_m(from, to);
    if (left_m <= leg_m) {
      const share = left_m / leg_m;
      return [from[0] + (to[0] - from[0]) * share, from[1] + (to[1] - from[1]) * share];
    }
    left_m -= leg_m;
  }
  return null;
}
