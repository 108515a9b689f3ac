/**
 * Reads a trace out of a file: GeoJSON (RFC 7946) or GPX 1.1. It takes the lines in the order in which they stand, joined
 * where one ends; single places beside them are left out. Whether the trace will do is the service's rule.
 */
import type { Place } from '../../operation/reporter.svelte.ts';
import { MOST_PLACES } from './drawing.ts';

export const LARGEST_BYTES = 5_000_000;

/** What is wrong with the file, and what to do. */
export class Unreadable extends Error {
  override readonly name = 'Unreadable';
}

export function readTraceFile(name: string, text: string): Place[] {
  if (text.length > LARGEST_BYTES) throw new Unreadable('The file is larger than 5 MB: cut it to the line.');
  const places = text.trimStart().startsWith('<') ? fromGpx(text) : fromGeoJson(name, text);
  const rid = places.filter(
    (place, n) => n === 0 || place[0] !== places[n - 1]?.[0] || place[1] !== places[n - 1]?.[1],
  );
  if (rid.length < 2)
    throw new Unreadable('There is no line in the file with two places: export a track or a line.');
  if (rid.length > MOST_PLACES)
    throw new Unreadable(
      `The trace has ${rid.length} places, more than ${MOST_PLACES}: thin it and try again.`,
    );
  return rid;
}

function place(lon: unknown, lat: unknown): Place {
  if (typeof lon !== 'number' || typeof lat !== 'number' || !(Math.abs(lon) <= 180) || !(Math.abs(lat) <= 90))
    throw new Unreadable(
      `“${String(lon)}, ${String(lat)}” is no place: degrees of longitude and latitude (WGS 84) are wanted.`,
    );
  return [lon, lat];
}

function fromGeoJson(name: string, text: string): Place[] {
  let read: unknown;
  try {
    read = JSON.parse(text);
  } catch {
    throw new Unreadable(`${name} is neither GeoJSON nor GPX: choose another file.`);
  }
  const places: Place[] = [];
  // By a list and not by itself, so that a file cannot nest deeper than the browser can follow.
  let left: unknown[] = [read];
  while (left.length > 0) {
    const next = left.shift();
    if (typeof next !== 'object' || next === null) continue;
    const { type, features, geometry, geometries, coordinates } = next as Record<string, unknown>;
    if (type === 'FeatureCollection' && Array.isArray(features)) left = [...(features as unknown[]), ...left];
    else if (type === 'Feature') left.unshift(geometry);
    else if (type === 'GeometryCollection' && Array.isArray(geometries))
      left = [...(geometries as unknown[]), ...left];
    else if (type === 'LineString') places.push(...line(coordinates));
    else if (type === 'MultiLineString' && Array.isArray(coordinates))
      for (const part of coordinates as unknown[]) places.push(...line(part));
    if (places.length > 10 * MOST_PLACES) break;
  }
  return places;
}

function line(coordinates: unknown): Place[] {
  if (!Array.isArray(coordinates)) throw new Unreadable('A line in the file has no list of places.');
  return (coordinates as unknown[]).map((position) => {
    if (!Array.isArray(position)) throw new Unreadable('A place in the file is not two numbers.');
    const [lon, lat] = position as unknown[];
    return place(lon, lat);
  });
}

function fromGpx(text: string): Place[] {
  // What declares entities may blow up when it is read; no track has a use for them.
  if (/<!(?:doctype|entity)/i.test(text))
    throw new Unreadable('The file declares entities, which no track needs: export it as plain GPX.');
  const read = new DOMParser().parseFromString(text, 'application/xml');
  if (read.querySelector('parsererror') || read.documentElement.localName !== 'gpx')
    throw new Unreadable('This is no GPX that can be read: export the track again.');
  const points = (tag: string) => [...read.getElementsByTagNameNS('*', tag)];
  const track = points('trkpt');
  return (track.length > 0 ? track : points('rtept')).map((point) =>
    place(number(point.getAttribute('lon')), number(point.getAttribute('lat'))),
  );
}

const number = (text: string | null): number | string =>
  text === null || text.trim() === '' ? '' : Number(text);
