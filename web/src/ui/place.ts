/**
 * A place as somebody types it: an MGRS grid reference, or latitude and longitude in degrees, latitude
 * first as they are spoken. The other way round, from place to words, is in `figures.ts`.
 */
import { toPoint } from 'mgrs';

const reference = /^(\d{1,2}[C-HJ-NP-X][A-HJ-NP-Z][A-HJ-NP-V])((?:\d{2}){1,5})$/;
const degrees = /^([+-]?\d{1,2}(?:\.\d+)?)°?([NS]?)[,;]([+-]?\d{1,3}(?:\.\d+)?)°?([EW]?)$/;

/** The place that was meant: of a grid square its middle. Null when it can't be read. */
export function placeFrom(text: string): [lon: number, lat: number] | null {
  const bare = text.toUpperCase().replace(/\s+/g, '');
  const grid = reference.exec(bare);
  if (grid) {
    try {
      const [lon, lat] = toPoint(bare);
      return onGlobe(lon, lat);
    } catch {
      return null;
    }
  }
  const pair = degrees.exec(bare);
  if (!pair) return null;
  const [, lat = '', northSouth, lon = '', eastWest] = pair;
  return onGlobe(Number(lon) * (eastWest === 'W' ? -1 : 1), Number(lat) * (northSouth === 'S' ? -1 : 1));
}

const onGlobe = (lon: number, lat: number): [lon: number, lat: number] | null =>
  Math.abs(lon) <= 180 && Math.abs(lat) <= 90 ? [lon, lat] : null;

/** Places one to a line, as they were typed; the first line that can't be read is named. */
export function placesFrom(text: string): { places: [lon: number, lat: number][]; unread: string | null } {
  const places: [lon: number, lat: number][] = [];
  for (const line of text.split('\n')) {
    if (line.trim() === '') continue;
    const place = placeFrom(line);
    if (!place) return { places, unread: line.trim() };
    places.push(place);
  }
  return { places, unread: null };
}
