/**
 * How long the map's scale bar is. The projection is spherical Mercator with tiles of 512 pixels, so
 * a pixel is the equator's length (2π × 6,378,137 m) over 512 × 2^zoom, times the latitude's cosine.
 */
import { roundLength, type Units } from '../ui/figures.ts';

const equator_m = 2 * Math.PI * 6_378_137;

export const metresPerPixel = (lat: number, zoom: number): number =>
  (equator_m * Math.cos((lat * Math.PI) / 180)) / (512 * 2 ** zoom);

/** The longest round bar that is at most `room` pixels wide. */
export function scaleBar(lat: number, zoom: number, room: number, units: Units) {
  const pixel_m = metresPerPixel(lat, zoom);
  const { length_m, label } = roundLength(pixel_m * room, units);
  return { width: length_m / pixel_m, label };
}
