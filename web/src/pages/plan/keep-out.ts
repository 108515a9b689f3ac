/** Areas that the finder keeps out of: a round one about a place, as the polygon that the service takes. */
import { moved } from '../../operation/ground.ts';
import type { Place } from '../../operation/reporter.svelte.ts';

export interface KeepOut {
  middle: Place;
  radius_m: number;
}

const CORNERS = 24;

/** GeoJSON (RFC 7946): one ring, counter-clockwise, whose last position is its first. */
export function polygon({ middle, radius_m }: KeepOut): { type: string; coordinates: number[][][] } {
  const ring = Array.from({ length: CORNERS }, (_, n) => {
    const angle = (2 * Math.PI * n) / CORNERS;
    return [...moved(middle, radius_m * Math.cos(angle), radius_m * Math.sin(angle))];
  });
  const [first = []] = ring;
  return { type: 'Polygon', coordinates: [[...ring, first]] };
}
