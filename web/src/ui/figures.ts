/**
 * Figures as a person reads them: distances, heights, times, directions, places. Nothing here
 * calculates for the trade; it only writes down what it is given, in the units that were chosen.
 * The foot is 0.3048 m exactly (international yard and pound agreement of 1959).
 */
import { forward } from 'mgrs';

export const unitSystems = ['metric', 'miles'] as const;
export type Units = (typeof unitSystems)[number];

export const FOOT_M = 0.3048;
export const MILE_M = 5280 * FOOT_M;

const unknown = 'not known';

function fixed(value: number, digits: number): string {
  // 0.04 km behind the start is '0.0', not '-0.0'.
  const text = value.toFixed(digits);
  return Number(text) === 0 ? text.replace('-', '') : text;
}

/** A way to go, or a length of wire: metres below 1 km, feet below a quarter mile. */
export function distance(length_m: number, units: Units): string {
  if (!Number.isFinite(length_m)) return unknown;
  const size_m = Math.abs(length_m);
  if (units === 'metric') {
    if (size_m < 999.5) return `${fixed(length_m, 0)} m`;
    return `${fixed(length_m / 1000, size_m < 9995 ? 2 : 1)} km`;
  }
  if (size_m < MILE_M / 4) return `${fixed(length_m / FOOT_M, 0)} ft`;
  return `${fixed(length_m / MILE_M, size_m < 9.995 * MILE_M ? 2 : 1)} mi`;
}

/** A height that was measured: rounded down, so that no wire reads higher than it hangs. */
export function height(height_m: number, units: Units): string {
  return writeHeight(height_m, units, (value) => Math.floor(value + 1e-6));
}

/** A height that is asked for: rounded up, so that nobody hangs a wire lower than the rule. */
export function heightNeeded(height_m: number, units: Units): string {
  return writeHeight(height_m, units, (value) => Math.ceil(value - 1e-6));
}

function writeHeight(height_m: number, units: Units, whole: (value: number) => number): string {
  if (!Number.isFinite(height_m)) return unknown;
  if (units === 'metric') return `${(whole(height_m * 100) / 100).toFixed(2)} m`;
  const inches = whole(height_m / (FOOT_M / 12));
  const feet = Math.trunc(inches / 12);
  if (inches % 12 === 0) return `${feet} ft`;
  return feet === 0 ? `${inches} in` : `${feet} ft ${Math.abs(inches % 12)} in`;
}

/** One pound-force: 0.453 592 37 kg (agreement of 1959) at the standard gravity of 9.806 65 m/s² (3rd CGPM, 1901). */
export const POUND_N = 0.453_592_37 * 9.806_65;

/** A pull on a wire: newtons, or pounds. */
export function pull(pull_n: number, units: Units): string {
  if (!Number.isFinite(pull_n)) return unknown;
  return units === 'metric' ? `${fixed(pull_n, 0)} N` : `${fixed(pull_n / POUND_N, pull_n < 44 ? 1 : 0)} lb`;
}

/**
 * The service's own words, which speak in metres to the centimetre, in the units that were chosen. What is asked
 * for is rounded up and what was measured down, less the half centimetre that the words had lost already. Where
 * both units are written, as in '15.5 ft (4.7 m)', both stay.
 */
export function saidIn(text: string, units: Units): string {
  const figure =
    /(at least |asks for |tie it at |on the left and |poles of )?(?<![(\d.])(\d+\.\d\d) m\b(?! \()/g;
  return text.replace(figure, (_, asked: string | undefined, metres: string) => {
    const length_m = Number(metres);
    const spare_m = units === 'metric' ? 0 : 0.005;
    const written =
      length_m >= 100
        ? distance(length_m, units)
        : asked
          ? heightNeeded(length_m - spare_m, units)
          : height(length_m + spare_m, units);
    return `${asked ?? ''}${written}`;
  });
}

/** How long something takes or has stood open. */
export function duration(seconds: number): string {
  if (!Number.isFinite(seconds)) return unknown;
  const minutes = Math.max(0, Math.floor(seconds / 60));
  if (minutes < 60) return `${minutes} min`;
  const hours = Math.floor(minutes / 60);
  if (hours < 24) return `${hours} h ${String(minutes % 60).padStart(2, '0')} min`;
  return `${Math.floor(hours / 24)} d ${hours % 24} h`;
}

/** The time of day where the reader is; with the date when it is not the reader's today. */
export function clock(at: Date, now = new Date()): string {
  if (Number.isNaN(at.getTime())) return unknown;
  const two = (value: number) => String(value).padStart(2, '0');
  const time = `${two(at.getHours())}:${two(at.getMinutes())}`;
  if (at.toDateString() === now.toDateString()) return time;
  return `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())} ${time}`;
}

export const compassPoints = ['N', 'NE', 'E', 'SE', 'S', 'SW', 'W', 'NW'] as const;
export type CompassPoint = (typeof compassPoints)[number];
const compassWords: Record<CompassPoint, string> = {
  N: 'north',
  NE: 'north-east',
  E: 'east',
  SE: 'south-east',
  S: 'south',
  SW: 'south-west',
  W: 'west',
  NW: 'north-west',
};

/** The eighth of the compass that a bearing falls in. */
export function compassPoint(bearing_deg: number): CompassPoint {
  const eighth = Math.round((((bearing_deg % 360) + 360) % 360) / 45) % 8;
  return compassPoints[eighth] ?? 'N';
}

export const compassWord = (point: CompassPoint): string => compassWords[point];

/**
 * The MGRS reference of a place on WGS 84, as it is read out: '30U VF 02946 01487'. `digits` of each
 * of easting and northing: 5 for 1 m, 4 for 10 m. Cut, never rounded, as MGRS wants it: the
 * reference names the square that the place lies in. Beyond 84° N and 80° S there is none.
 */
export function gridReference(position: readonly [lon: number, lat: number], digits: 1 | 2 | 3 | 4 | 5 = 5) {
  const [lon, lat] = position;
  if (!(lon >= -180 && lon <= 180 && lat >= -80 && lat < 84)) return null;
  const text = forward([lon, lat], digits).padStart(5 + 2 * digits, '0');
  return `${text.slice(0, 3)} ${text.slice(3, 5)} ${text.slice(5, 5 + digits)} ${text.slice(5 + digits)}`;
}

/** Longitude and latitude to about a metre, latitude first as it is spoken. */
export function latLon([lon, lat]: readonly [lon: number, lat: number]): string {
  const part = (value: number, plus: string, minus: string) =>
    `${Math.abs(value).toFixed(5)}° ${value < 0 ? minus : plus}`;
  return `${part(lat, 'N', 'S')}, ${part(lon, 'E', 'W')}`;
}

/** A round length that is at most `length_m`, in the chosen units, for ticks and the map's scale. */
export function roundLength(length_m: number, units: Units): { length_m: number; label: string } {
  const [unit_m, name, small_m, smallName] =
    units === 'metric' ? [1000, 'km', 1, 'm'] : [MILE_M, 'mi', FOOT_M, 'ft'];
  const large = length_m >= unit_m / (units === 'metric' ? 1 : 2);
  const measure_m = large ? unit_m : small_m;
  const wanted = Math.max(length_m / measure_m, Number.MIN_VALUE);
  const power = 10 ** Math.floor(Math.log10(wanted));
  const steps = large && power < 1 ? [0.5] : [5, 2, 1].map((step) => step * power);
  const step = steps.find((value) => value <= wanted * (1 + 1e-9)) ?? power;
  return { length_m: step * measure_m, label: `${step} ${large ? name : smallName}` };
}
