/**
 * A trace as it is written down: one place to a line. What is pressed on the map is written into the same
 * list, so that nobody needs the map, and nobody has two lists.
 */
import { placeTyped } from '../../operation/measure.ts';
import type { Place } from '../../operation/reporter.svelte.ts';
import { gridReference } from '../../ui/figures.ts';

export interface Written {
  places: Place[];
  /** the first line that can't be read; what stands below it is not looked at */
  unread: string | null;
}

/** The places in the order in which the wire runs. Figures alone are read in the square of the place before. */
export function readTrace(text: string, near: Place | null): Written {
  const places: Place[] = [];
  for (const line of text.split('\n')) {
    if (line.trim() === '') continue;
    const place = placeTyped(line, places.at(-1) ?? near);
    if (!place) return { places, unread: line.trim() };
    places.push(place);
  }
  return { places, unread: null };
}

/** A place as a line of the list: its grid reference, or near a pole, where there is none, its degrees. */
export const writePlace = (place: Place): string =>
  gridReference(place) ?? `${place[1].toFixed(6)}, ${place[0].toFixed(6)}`;

export const addPlace = (text: string, place: Place): string =>
  text.trim() === '' ? writePlace(place) : `${text.trimEnd()}\n${writePlace(place)}`;

export const withoutLast = (text: string): string => text.trimEnd().split('\n').slice(0, -1).join('\n');
