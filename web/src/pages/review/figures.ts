/**
 * The review's figures as they are read: minutes, rates, and what stands where a figure is not known. It writes down what
 * the service gives and adds nothing up.
 */
import { FOOT_M, MILE_M, type Units } from '../../ui/figures.ts';

/** A figure with the entries it comes from; the service's description leaves out that an unknown one is null. */
export interface Figure {
  value: number | null;
  entries: number[];
  unknown: string | null;
}

/** What somebody wants to see the entries of. */
export interface Asked {
  what: string;
  written: string;
  entries: readonly number[];
  unknown: string | null;
}

/** '2.2 min', '38 min', '2 h 05 min': short times to the tenth, others to the minute. */
export function minutes(value: number): string {
  if (!Number.isFinite(value)) return 'not known';
  if (value < 9.95) return `${value.toFixed(1)} min`;
  const whole = Math.round(value);
  return whole < 60
    ? `${whole} min`
    : `${Math.floor(whole / 60)} h ${String(whole % 60).padStart(2, '0')} min`;
}

/** '1.69 km/h', '1.05 mph'. */
export function rate(km_per_h: number, units: Units): string {
  return units === 'metric'
    ? `${km_per_h.toFixed(2)} km/h`
    : `${((km_per_h * 1000) / MILE_M).toFixed(2)} mph`;
}

/** Wire to the metre or foot, so that what was drawn, laid and left can be added up by the reader. */
export function wire(length_m: number, units: Units): string {
  return units === 'metric' ? `${Math.round(length_m)} m` : `${Math.round(length_m / FOOT_M)} ft`;
}
