import { expect, it } from 'vitest';
import { distance_m } from '../../operation/ground.ts';
import type { Place } from '../../operation/reporter.svelte.ts';
import { polygon } from './keep-out.ts';

it('an area to keep out of is a closed ring, counter-clockwise, at its distance all round', () => {
  const middle: Place = [-4.6, 54.1];
  const { type, coordinates } = polygon({ middle, radius_m: 200 });
  const [ring = []] = coordinates;
  expect(type).toBe('Polygon');
  expect(ring.at(-1)).toEqual(ring[0]);
  for (const [lon = 0, lat = 0] of ring) expect(distance_m(middle, [lon, lat])).toBeCloseTo(200, 0);
  // RFC 7946, section 3.1.6: the exterior ring is counter-clockwise, its signed area above nothing.
  const area = ring.slice(1).reduce((sum, [lon = 0, lat = 0], n) => {
    const [lonBefore = 0, latBefore = 0] = ring[n] ?? [];
    return sum + (lonBefore * lat - lon * latBefore);
  }, 0);
  expect(area).toBeGreaterThan(0);
});
