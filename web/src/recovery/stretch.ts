/** A stretch of the line as it is typed: two chainages in the units on screen. */
import { lengthTyped } from '../operation/measure.ts';
import { FOOT_M, type Units } from '../ui/figures.ts';
import type { Stretch } from './standing.ts';

/** The most wire that one report may name: no reel holds more, by the rules. */
export const MOST_WIRE_M = 20_000;

/** How much wire a field means; null where it is none that one report may name. */
export function wireTyped(text: string, units: Units): number | null {
  const length_m = lengthTyped(text, units);
  return length_m !== null && length_m > 0 && length_m <= MOST_WIRE_M ? length_m : null;
}

/** A chainage as it stands in a field, told to the metre or foot. */
export const chainageWritten = (chainage_m: number, units: Units): string =>
  String(Math.round(units === 'metric' ? chainage_m : chainage_m / FOOT_M));

/**
 * The stretch that two fields mean, the near end first whichever was written first; or what is wrong with each. An end that
 * stands as it was offered is the one that was offered, to the millimetre.
 */
export function stretchTyped(
  from: string,
  to: string,
  units: Units,
  offered: Stretch | null = null,
): { stretch: Stretch } | { from?: string; to?: string } {
  const typed = (text: string) =>
    [offered?.from_m, offered?.to_m].find(
      (one) => one !== undefined && chainageWritten(one, units) === text.trim(),
    ) ?? lengthTyped(text, units);
  const [a, b] = [typed(from), typed(to)];
  const wrong = 'Write how far along the line, such as 1200 m.';
  if (a === null || b === null || a < 0 || b < 0) {
    return {
      ...(a === null || a < 0 ? { from: wrong } : {}),
      ...(b === null || b < 0 ? { to: wrong } : {}),
    };
  }
  if (a === b) return { to: 'This is where it begins: say where it ends.' };
  return { stretch: { from_m: Math.min(a, b), to_m: Math.max(a, b) } };
}
