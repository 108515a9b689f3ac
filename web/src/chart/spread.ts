/** How cases of one kind lie beside each other: the least, the middle and the most. */

export interface Cases {
  name: string;
  /** each case, in minutes */
  minutes: readonly number[];
  planned_min: number | null;
  /** those of them that lie far out */
  far_out?: readonly number[];
}

/**
 * The middle case; between two, half way. Empty where there is none.
 *
 * Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.1 (median), from memory.
 */
export function median(values: readonly number[]): number | null {
  const sorted = values.toSorted((a, b) => a - b);
  const middle = sorted.length / 2;
  const [below, above] = [sorted[Math.ceil(middle) - 1], sorted[Math.floor(middle)]];
  return below === undefined || above === undefined ? null : (below + above) / 2;
}

/** The end of an axis in round minutes, a little beyond the greatest of them. */
export function axisEnd(values: readonly number[]): { end: number; step: number } {
  const most = Math.max(1, ...values);
  const step = [1, 2, 5, 10, 15, 30, 60, 120, 240, 480, 1440].find((one) => most / one <= 6) ?? most / 6;
  return { end: Math.ceil(most / step) * step, step };
}
