/**
 * The grid that references are read from: places on WGS 84 to metres of a UTM zone, and the letters of its squares of
 * 100 km. By L. Krüger's series (1912) to the fourth power of the third flattening, as C. F. F. Karney gives it in
 * 'Transverse Mercator with an accuracy of a few nanometers' (2011, eqs. 7 to 14 and 35); good to a millimetre wherever
 * a zone is used. Zones are MGRS's own, with those of Norway and Svalbard.
 */
import type { Place } from '../../operation/reporter.svelte.ts';
import { gridReference } from '../../ui/figures.ts';

export interface OnGrid {
  east_m: number;
  north_m: number;
}

const a_m = 6_378_137;
const f = 1 / 298.257223563;
const n = f / (2 - f);
const e = Math.sqrt(f * (2 - f));
const k0 = 0.9996;
/** The radius of the circle as long as a meridian. */
const rectifying_m = (a_m / (1 + n)) * (1 + n ** 2 / 4 + n ** 4 / 64);
const alpha = [
  n / 2 - (2 / 3) * n ** 2 + (5 / 16) * n ** 3 + (41 / 180) * n ** 4,
  (13 / 48) * n ** 2 - (3 / 5) * n ** 3 + (557 / 1440) * n ** 4,
  (61 / 240) * n ** 3 - (103 / 140) * n ** 4,
  (49561 / 161280) * n ** 4,
];

const radians = (degrees: number) => (degrees * Math.PI) / 180;
/** Across the date line the shorter way round. */
const between = (lon: number, meridian: number) => ((((lon - meridian + 180) % 360) + 360) % 360) - 180;

/** The zone that a place belongs to; null where there is none, beyond 84° N and 80° S. */
export function zoneOf(place: Place): number | null {
  const reference = gridReference(place, 1);
  return reference === null ? null : Number(reference.slice(0, 2));
}

const meridianOf = (zone: number) => 6 * zone - 183;

/** Metres from a meridian and from the equator, with the scale that UTM has on its meridian and no false origin. */
export function mercator([lon, lat]: Place, meridian: number): OnGrid {
  const away = radians(between(lon, meridian));
  const sine = Math.sin(radians(lat));
  // Of the conformal latitude.
  const tangent = Math.sinh(Math.atanh(sine) - e * Math.atanh(e * sine));
  const xi = Math.atan2(tangent, Math.cos(away));
  const eta = Math.asinh(Math.sin(away) / Math.hypot(tangent, Math.cos(away)));
  let [north, east] = [xi, eta];
  for (const [index, term] of alpha.entries()) {
    const times = 2 * (index + 1);
    north += term * Math.sin(times * xi) * Math.cosh(times * eta);
    east += term * Math.cos(times * xi) * Math.sinh(times * eta);
  }
  return { east_m: k0 * rectifying_m * east, north_m: k0 * rectifying_m * north };
}

/** A place on the grid of a zone; beyond the zone's own edge as well, where a line goes on over it. */
export function onGrid(place: Place, zone: number, south: boolean): OnGrid {
  const { east_m, north_m } = mercator(place, meridianOf(zone));
  return { east_m: east_m + 500_000, north_m: north_m + (south ? 10_000_000 : 0) };
}

/**
 * The place of a point of a zone's grid; beyond the date line its longitude goes on. Found by trying: each step leaves
 * about a tenth of what the one before it left, or less, so that twelve leave nothing of a sheet's width.
 */
export function fromGrid(point: OnGrid, zone: number, south: boolean): Place {
  const meridian = meridianOf(zone);
  const north_m = point.north_m - (south ? 10_000_000 : 0);
  const degree_m = radians(a_m);
  let [lon, lat] = [meridian, Math.min(Math.max(north_m / degree_m, -89), 89)];
  for (let step = 0; step < 12; step += 1) {
    const found = onGrid([lon, lat], zone, south);
    lat = Math.min(Math.max(lat + (point.north_m - found.north_m) / degree_m, -89), 89);
    lon += (point.east_m - found.east_m) / (degree_m * Math.cos(radians(lat)));
  }
  return [lon, lat];
}

/** How far grid north lies right of true north, in degrees; on the sphere, which is good to a hundredth of a degree. */
export function convergence_deg([lon, lat]: Place, meridian: number): number {
  const away = radians(between(lon, meridian));
  return (Math.atan(Math.tan(away) * Math.sin(radians(lat))) * 180) / Math.PI;
}

export const convergenceIn = (zone: number, place: Place): number => convergence_deg(place, meridianOf(zone));

const columns = ['STUVWXYZ', 'ABCDEFGH', 'JKLMNPQR'];
const rows = 'ABCDEFGHJKLMNPQRSTUV';

/** The two letters of the square of 100 km (NGA.STND.0037, section 3, from memory; the test compares with GEOTRANS). */
export function square(zone: number, { east_m, north_m }: OnGrid): string {
  const column = columns[zone % 3]?.charAt(Math.floor(east_m / 100_000) - 1) ?? '';
  const row = rows.charAt((Math.floor(north_m / 100_000) + (zone % 2 === 0 ? 5 : 0)) % 20);
  return column + row;
}
