/**
 * Distances and directions over the ground, for what a device shows between two answers of the service:
 * how far the next crossing is, whether I have moved. The service's own figures go before these. By the
 * mid-latitude formula on the WGS 84 ellipsoid (a 6,378,137 m, 1/f 298.257223563), good to a few parts in
 * 100,000 over the 20 km that a crew sees.
 */
import type { Place } from './reporter.svelte.ts';

const a_m = 6_378_137;
const f = 1 / 298.257223563;
const e2 = f * (2 - f);
const radians = (degrees: number) => (degrees * Math.PI) / 180;

/** Metres east and north from one place to another. */
export function offset([lonA, latA]: Place, [lonB, latB]: Place): { east_m: number; north_m: number } {
  const middle = radians((latA + latB) / 2);
  const bulge = 1 - e2 * Math.sin(middle) ** 2;
  const meridian_m = (a_m * (1 - e2)) / bulge ** 1.5;
  const across_m = a_m / Math.sqrt(bulge);
  // Across the date line the shorter way round.
  const lon = ((lonB - lonA + 540) % 360) - 180;
  return {
    east_m: across_m * Math.cos(middle) * radians(lon),
    north_m: meridian_m * radians(latB - latA),
  };
}

/** The place so many metres east and north of another; for a few hundred metres, to a few millimetres. */
export function moved([lon, lat]: Place, east_m: number, north_m: number): Place {
  const metre = offset([lon, lat], [lon + 1e-4, lat + 1e-4]);
  return [lon + (1e-4 * east_m) / metre.east_m, lat + (1e-4 * north_m) / metre.north_m];
}

export function distance_m(from: Place, to: Place): number {
  const { east_m, north_m } = offset(from, to);
  return Math.hypot(east_m, north_m);
}

/** Clockwise from true north, 0 to below 360. */
export function direction_deg(from: Place, to: Place): number {
  const { east_m, north_m } = offset(from, to);
  return ((Math.atan2(east_m, north_m) * 180) / Math.PI + 360) % 360;
}

/** The nearest place of a trace: how far along it, and how far aside. Null where there is no trace. */
export function alongTrace(
  trace: readonly Place[],
  place: Place,
): { chainage_m: number; aside_m: number } | null {
  let best: { chainage_m: number; aside_m: number } | null = null;
  let run_m = 0;
  for (const [index, to] of trace.entries()) {
    const from = trace[index - 1];
    if (!from) continue;
    const leg = offset(from, to);
    const way = offset(from, place);
    const length_m = Math.hypot(leg.east_m, leg.north_m);
    const share = length_m > 0 ? (leg.east_m * way.east_m + leg.north_m * way.north_m) / length_m ** 2 : 0;
    const on = Math.min(Math.max(share, 0), 1);
    const aside_m = Math.hypot(way.east_m - on * leg.east_m, way.north_m - on * leg.north_m);
    if (!best || aside_m < best.aside_m) best = { chainage_m: run_m + on * length_m, aside_m };
    run_m += length_m;
  }
  return best;
}

/** The length of a trace. */
export function length_m(trace: readonly Place[]): number {
  return trace.reduce((sum, to, index) => {
    const from = trace[index - 1];
    return from ? sum + distance_m(from, to) : sum;
  }, 0);
}
