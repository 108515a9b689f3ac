/**
 * What a person types, as the figure that is meant: a height or length in the units on screen or in those
 * that stand beside it, and a place as a grid reference or as latitude and longitude. It only reads; whether
 * a figure will do is the service's rule.
 */
import { toPoint } from 'mgrs';
import { FOOT_M, gridReference, MILE_M, type Units } from '../ui/figures.ts';
import type { Place } from './reporter.svelte.ts';

const unit_m: Record<string, number> = {
  km: 1000,
  m: 1,
  cm: 0.01,
  mi: MILE_M,
  ft: FOOT_M,
  "'": FOOT_M,
  in: FOOT_M / 12,
  '"': FOOT_M / 12,
};

/** '4.3', '4,3 m', '15 cm', '18 ft', '18 ft 6 in', '1/4 mi'. Null where it is none of these. */
export function lengthTyped(text: string, units: Units): number | null {
  const bare = units === 'metric' ? 'm' : 'ft';
  const part = /\s*(-?\d+(?:[.,]\d+)?)(?:\s*\/\s*(\d+))?\s*(km|m|cm|mi|ft|in|'|")?(?=[\s\d]|$)/gy;
  const whole = text
    .trim()
    .toLowerCase()
    .replaceAll('’', "'")
    .replaceAll('”', '"')
    .replace(/(['"])(?=\d)/g, '$1 ');
  if (whole === '') return null;
  let sum_m = 0;
  while (part.lastIndex < whole.length) {
    const [said, figure, under, unit] = part.exec(whole) ?? [];
    // '4 3' is a slip and not seven: only a figure that stands alone may leave its unit out.
    if (figure === undefined || (unit === undefined && said !== whole)) return null;
    sum_m += (Number(figure.replace(',', '.')) / Number(under ?? 1)) * (unit_m[unit ?? bare] ?? NaN);
  }
  return Number.isFinite(sum_m) ? sum_m : null;
}

/** A length as it stands in a field to be changed: the bare figure, to a millimetre, never rounded to a rule's edge. */
export const lengthWritten = (length_m: number | null, units: Units): string =>
  length_m === null ? '' : String(Number((units === 'metric' ? length_m : length_m / FOOT_M).toFixed(3)));

/**
 * A place from '30U VF 02946 01487' with two to ten figures, from the figures alone when a place `near` it is
 * known (then in the same square of 100 km), or from '54.1009, -4.6326' and '54.1009° N, 4.6326° W'. A reference
 * names a square: its middle is meant.
 */
export function placeTyped(text: string, near: Place | null): Place | null {
  const degrees = /^\s*(-?\d{1,2}\.\d+)\s*°?\s*([NS]?)\s*[, ]\s*(-?\d{1,3}\.\d+)\s*°?\s*([EW]?)\s*$/i.exec(
    text,
  );
  if (degrees) {
    const [, latFigure = '', latSide = '', lonFigure = '', lonSide = ''] = degrees;
    const lat = Number(latFigure) * (/s/i.test(latSide) ? -1 : 1);
    const lon = Number(lonFigure) * (/w/i.test(lonSide) ? -1 : 1);
    // '-54.1 N' says two things at once.
    if ((latSide && latFigure.startsWith('-')) || (lonSide && lonFigure.startsWith('-'))) return null;
    return Math.abs(lat) <= 90 && Math.abs(lon) <= 180 ? [lon, lat] : null;
  }
  // A comma, a point or a minus is a try at degrees: not to be read as figures of a reference.
  if (/[.,-]/.test(text)) return null;
  const bare = text.toUpperCase().replace(/\s/g, '');
  const square = near && gridReference(near, 1)?.slice(0, 6).replace(' ', '');
  const reference = /^\d+$/.test(bare) && square ? square + bare : bare;
  const [, figures] = /^\d{1,2}[C-HJ-NP-X][A-HJ-NP-Z]{2}(\d{2,10})$/.exec(reference) ?? [];
  if (!figures || figures.length % 2 === 1) return null;
  try {
    const [lon, lat] = toPoint(reference);
    return Number.isFinite(lon) && Number.isFinite(lat) ? [lon, lat] : null;
  } catch {
    // The letters name no square of that zone.
    return null;
  }
}
