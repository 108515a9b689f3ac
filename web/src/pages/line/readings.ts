/** What is read off an instrument and typed, and figures of it written: ohms, decibels, farads, degrees. */
import type { Units } from '../../ui/figures.ts';

/** The most ohms that a report holds; an instrument that shows more is told as this. */
const MOST_OHM = 1e8;

/** A bare figure, or one with this unit behind it. */
export function figureIn(text: string, unit: string): number | null {
  const bare = text.trim().toLowerCase();
  const figure = bare.endsWith(unit.toLowerCase()) ? bare.slice(0, -unit.length).trim() : bare;
  return /^[+-]?\d+(?:[.,]\d+)?$/.test(figure) ? Number(figure.replace(',', '.')) : null;
}

/** '240', '2,5 k', '20 MΩ', '100 ohms'. Null where it is none of these, or more than a report holds. */
export function ohmsIn(text: string): number | null {
  // The sign of the ohm (U+2126) and the Greek letter look the same.
  const [, figure, times = ''] = /^\s*(\d+(?:[.,]\d+)?)\s*([kKM])?\s*(?:[ΩΩ]|ohms?)?\s*$/.exec(text) ?? [];
  if (figure === undefined) return null;
  const ohm = Number(figure.replace(',', '.')) * (times === '' ? 1 : times === 'M' ? 1e6 : 1e3);
  return ohm <= MOST_OHM ? ohm : null;
}

export function ohmsWords(ohm: number | null | undefined): string {
  if (typeof ohm !== 'number') return '';
  if (ohm >= MOST_OHM) return '100 MΩ or more';
  const [figure, unit] = ohm < 1e3 ? [ohm, 'Ω'] : ohm < 1e6 ? [ohm / 1e3, 'kΩ'] : [ohm / 1e6, 'MΩ'];
  return `${Number(figure.toPrecision(3))} ${unit}`;
}

export const temperatureUnit = (units: Units): string => (units === 'metric' ? '°C' : '°F');

/** Degrees in the units on screen, or with C or F behind them; from -60 to 95 °C, as wires are. */
export function temperatureIn(text: string, units: Units): number | null {
  const [, figure, scale = temperatureUnit(units).slice(1)] =
    /^\s*([+\-−]?\d+(?:[.,]\d+)?)\s*°?\s*([cf])?\s*$/i.exec(text) ?? [];
  if (figure === undefined) return null;
  const degrees = Number(figure.replace(',', '.').replace('−', '-'));
  const temperature_c = scale.toUpperCase() === 'F' ? ((degrees - 32) * 5) / 9 : degrees;
  return temperature_c >= -60 && temperature_c <= 95 ? temperature_c : null;
}

export const temperatureWords = (temperature_c: number, units: Units): string =>
  `${Math.round(units === 'metric' ? temperature_c : (temperature_c * 9) / 5 + 32)} ${temperatureUnit(units)}`;

/** Nanofarads, as a bridge shows them. */
export function faradsIn(text: string): number | null {
  const nanofarads = figureIn(text, 'nF');
  return nanofarads !== null && nanofarads >= 0 ? nanofarads * 1e-9 : null;
}

export const faradsWords = (farads: number): string => `${Number((farads * 1e9).toPrecision(3))} nF`;
