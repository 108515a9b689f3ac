/**
 * The ground beneath a span, from the heights that are loaded: where the ties stand, and how far the right one's ground lies above
 * the left one's. Left is towards the line's near end. What no grid knows is left to be typed.
 */
import { alongTrace, moved, offset } from '../operation/ground.ts';
import type { Place } from '../operation/reporter.svelte.ts';

/** Left tie, crossing and right tie, along the leg of the traces that runs nearest to the crossing. */
export function beneath(
  traces: readonly (readonly Place[])[],
  at: Place,
  span_m: number,
): [Place, Place, Place] | null {
  let nearest: { from: Place; to: Place; aside_m: number } | null = null;
  for (const trace of traces) {
    for (const [index, to] of trace.entries()) {
      const from = trace[index - 1];
      const aside_m = from && alongTrace([from, to], at)?.aside_m;
      if (from && aside_m !== undefined && aside_m < (nearest?.aside_m ?? Infinity))
        nearest = { from, to, aside_m };
    }
  }
  if (!nearest) return null;
  const { east_m, north_m } = offset(nearest.from, nearest.to);
  const half = span_m / 2 / Math.hypot(east_m, north_m);
  if (!Number.isFinite(half)) return null;
  return [moved(at, -half * east_m, -half * north_m), at, moved(at, half * east_m, half * north_m)];
}

export interface Rise {
  /** the ground at the right tie above that at the left */
  right_m: number;
  /** what is crossed above the ground at the left tie */
  over_m: number;
}

/** What the heights from the left tie to the right one say; null where one of the three places is unknown. */
export function riseOf(points: readonly { chainage_m: number; height_m: number | null }[]): Rise | null {
  const [left, right] = [points.at(0), points.at(-1)];
  if (!left || !right) return null;
  const half_m = right.chainage_m / 2;
  const middle = points.reduce((best, point) =>
    Math.abs(point.chainage_m - half_m) < Math.abs(best.chainage_m - half_m) ? point : best,
  );
  if (left.height_m === null || middle.height_m === null || right.height_m === null) return null;
  const right_m = right.height_m - left.height_m;
  // A hollow may be banked up or under water: what is crossed is never begun with below the lower tie's ground.
  return { right_m, over_m: Math.max(middle.height_m - left.height_m, Math.min(0, right_m)) };
}
