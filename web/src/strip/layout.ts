/**
 * Where everything on a strip goes: the scale of chainage, the ticks, and the tags so that none
 * covers another. It draws nothing and knows no colour. Widths are in CSS pixels, lengths in metres.
 */
import { FOOT_M, MILE_M, type Units } from '../ui/figures.ts';

/** Left free at both ends of a strip, and of what is drawn under one. */
export const EDGE = 12;

export interface Scale {
  from_m: number;
  to_m: number;
  left: number;
  right: number;
}

/** The pixel where a chainage lies. A line with no length yet lies at its start. */
export function across({ from_m, to_m, left, right }: Scale, chainage_m: number): number {
  const share = to_m > from_m ? (chainage_m - from_m) / (to_m - from_m) : 0;
  return left + (right - left) * share;
}

export interface Tick {
  chainage_m: number;
  label: string;
}

/** Ticks at round chainages, at least `apart` pixels from each other; labels are bare figures in `unit`. */
export function ticks(scale: Scale, units: Units, apart: number): { ticks: Tick[]; unit: string } {
  const length_m = scale.to_m - scale.from_m;
  const room = scale.right - scale.left;
  if (!(length_m > 0) || !(room >= apart)) return { ticks: [], unit: '' };
  const [small, large] =
    units === 'metric'
      ? [
          { unit: 'm', unit_m: 1 },
          { unit: 'km', unit_m: 1000 },
        ]
      : [
          { unit: 'ft', unit_m: FOOT_M },
          { unit: 'mi', unit_m: MILE_M },
        ];
  const { unit, unit_m } = scale.to_m < large.unit_m ? small : large;
  const least = (length_m * apart) / room / unit_m;
  const power = 10 ** Math.floor(Math.log10(least));
  const step = [1, 2, 5, 10].map((times) => times * power).find((round) => round >= least - 1e-9) ?? least;
  const first = Math.ceil(scale.from_m / unit_m / step - 1e-9);
  const last = Math.floor(scale.to_m / unit_m / step + 1e-9);
  return {
    ticks: Array.from({ length: last - first + 1 }, (_, index) => ({
      chainage_m: (first + index) * step * unit_m,
      label: String(Number(((first + index) * step).toPrecision(9))),
    })),
    unit,
  };
}

export interface Hung {
  /** the tag's middle */
  x: number;
  /** 0 is the row next to the line */
  row: number;
}

/**
 * Hangs tags below the line. `at` are the pixels where they are tied, in rising order; each tag is
 * `width` wide and stays between `left` and `right`. A tag hangs in the nearest row where it fits
 * within a quarter of its width from its place; when the rows are all taken, one more is begun,
 * up to `rows`, and then tags in the emptiest row move aside instead.
 */
export function hang(at: readonly number[], width: number, left: number, right: number, rows = 3): Hung[] {
  const capacity = Math.max(1, Math.floor((right - left) / width));
  const rowsNeeded = Math.max(rows, Math.ceil(at.length / capacity));
  const hung: number[][] = Array.from({ length: rowsNeeded }, () => []);
  const placed = at.map((wanted, tag) => {
    const place = Math.min(Math.max(wanted, left + width / 2), right - width / 2);
    const leastX = (row: number) => {
      const last = hung[row]?.at(-1);
      return last === undefined ? place : Math.max(place, last + width);
    };
    const open = hung.flatMap((row, index) => (row.length < capacity ? [index] : []));
    const row =
      open.find((index) => leastX(index) - place <= width / 4) ??
      open.reduce((best, index) => (leastX(index) < leastX(best) ? index : best), open[0] ?? 0);
    const x = leastX(row);
    hung[row]?.push(x);
    return { tag, row, x };
  });
  // Whoever was pushed past the right end pushes back along its row.
  for (let row = 0; row < rowsNeeded; row += 1) {
    let limit = right - width / 2;
    for (const one of placed.filter((other) => other.row === row).reverse()) {
      one.x = Math.min(one.x, limit);
      limit = one.x - width;
    }
  }
  return placed.map(({ x, row }) => ({ x, row }));
}
