/**
 * Which tiles of the ground an area needs, in the service's tiling (Web Mercator, powers of two). It fetches
 * nothing and knows nothing of a map.
 */
import { FIRST_ZOOM, LAST_ZOOM } from '../map/zooms.ts';

export type Box = readonly [west: number, south: number, east: number, north: number];

export interface Tile {
  z: number;
  x: number;
  y: number;
}

/** Web Mercator ends here. */
const MOST_LAT = 85.05;
/** A degree of latitude at the equator on WGS 84, where it is shortest: a margin is never less than asked. */
const DEGREE_M = 110_574;

/** The box with so many metres more on each side. */
export function widened([west, south, east, north]: Box, margin_m: number): Box {
  const lat = margin_m / DEGREE_M;
  const farthest = Math.min(Math.max(Math.abs(south), Math.abs(north)) + lat, MOST_LAT);
  const lon = lat / Math.cos((farthest * Math.PI) / 180);
  return [
    Math.max(west - lon, -180),
    Math.max(south - lat, -MOST_LAT),
    Math.min(east + lon, 180),
    Math.min(north + lat, MOST_LAT),
  ];
}

export const covers = (outer: Box, inner: Box): boolean =>
  outer[0] <= inner[0] && outer[1] <= inner[1] && outer[2] >= inner[2] && outer[3] >= inner[3];

/** The tile that a place lies in. */
export function tileAt([lon, lat]: readonly [lon: number, lat: number], z: number): Tile {
  const across = 2 ** z;
  const north = Math.asinh(Math.tan((lat * Math.PI) / 180)) / Math.PI;
  const within = (value: number) => Math.min(Math.max(Math.floor(value * across), 0), across - 1);
  return { z, x: within((lon + 180) / 360), y: within((1 - north) / 2) };
}

/** How many tiles the box has up to this zoom. */
export function tileCount(box: Box, last = LAST_ZOOM): number {
  let count = 0;
  for (let z = FIRST_ZOOM; z <= last; z += 1) {
    const { from, to } = corners(box, z);
    count += (to.x - from.x + 1) * (to.y - from.y + 1);
  }
  return count;
}

/** All of them, the widest views first: cut short, what is there is still a map. */
export function tilesOf(box: Box, last = LAST_ZOOM): Tile[] {
  const tiles: Tile[] = [];
  for (let z = FIRST_ZOOM; z <= last; z += 1) {
    const { from, to } = corners(box, z);
    for (let y = from.y; y <= to.y; y += 1) for (let x = from.x; x <= to.x; x += 1) tiles.push({ z, x, y });
  }
  return tiles;
}

function corners([west, south, east, north]: Box, z: number) {
  return { from: tileAt([west, north], z), to: tileAt([east, south], z) };
}
