/** A whole time and what it was made of, laid end to end: the parts always come to the whole. */

export interface Part {
  name: string;
  minutes: number;
}

export interface Piece extends Part {
  /** where it begins and ends, as parts of the whole */
  from: number;
  to: number;
}

/** Less than this is a rounding of the sum, and no part of the time. */
const ROUNDING_MIN = 0.01;

/**
 * The parts end to end. What they leave of the whole is a piece of its own under `rest`; parts that come to more than
 * the whole stand for themselves, and the whole is their sum.
 */
export function pieces(parts: readonly Part[], whole_min: number, rest: string): Piece[] {
  const sum = parts.reduce((all, part) => all + part.minutes, 0);
  const left = whole_min - sum;
  const all = left > ROUNDING_MIN ? [...parts, { name: rest, minutes: left }] : parts;
  const total = Math.max(whole_min, sum);
  if (total <= 0) return [];
  let run = 0;
  return all
    .filter((part) => part.minutes > 0)
    .map((part) => {
      const from = run / total;
      run += part.minutes;
      return { ...part, from, to: run / total };
    });
}
