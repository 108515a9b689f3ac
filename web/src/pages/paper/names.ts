/**
 * Where names are set on a printed map: the same ones at the same places each time, none over another, over the wire or
 * over what hangs on it, and none that would be cut. A name without room is left out: the wire comes first.
 */
import type { NameAt } from './ground.ts';
import { common, type Size, type Spot } from './layout.ts';

export interface SetName extends NameAt {
  /** the middle of its words */
  x: number;
  y: number;
  size_mm: number;
  width_mm: number;
}

type Box = Spot & Size;

/** The same number stands on the sheet again no nearer than this. */
const APART_MM = 60;
/** From the frame's edge, where the grid's figures are read. */
const EDGE_MM = 3;
/** Most names that are tried, so that a city takes no minute. */
const MOST = 600;

const order = { own: 0, place: 1, number: 2 } as const;

/** How high a name's letters are: no smaller than 9 pt. Ranks are the tiles' own; 1 and 2 are cities and towns. */
const sizeOf = ({ kind, rank }: NameAt): number =>
  kind !== 'place' ? 3.2 : rank <= 2 ? 4.4 : rank <= 4 ? 3.8 : 3.2;

/** Where the middle of a name may lie beside its place, in heights of its letters and halves of its width. */
const beside: readonly (readonly [across: number, down: number])[] = [
  [0, 0],
  [0, -1.2],
  [0, 1.2],
  [1, 0],
  [-1, 0],
  [1, -1.2],
  [-1, -1.2],
  [1, 1.2],
  [-1, 1.2],
];

/** Sets names on a frame: what the unit has seen first, then places, then numbers, each by its rank. */
export function setNames(
  names: readonly NameAt[],
  frame: Size,
  taken: readonly Box[],
  wire: readonly Spot[],
): SetName[] {
  const boxes = [...taken];
  const set: SetName[] = [];
  const inOrder = names
    .toSorted(
      (a, b) =>
        order[a.kind] - order[b.kind] ||
        a.rank - b.rank ||
        (a.words < b.words ? -1 : a.words > b.words ? 1 : 0) ||
        a.x - b.x ||
        a.y - b.y,
    )
    .slice(0, MOST);
  for (const name of inOrder) {
    const again = set.some(
      ({ kind, words, x, y }) =>
        kind === name.kind && words === name.words && Math.hypot(x - name.x, y - name.y) < APART_MM,
    );
    if (again) continue;
    const size_mm = sizeOf(name);
    const width_mm = name.words.length * size_mm * 0.58 + 1;
    const height_mm = size_mm * 1.15;
    for (const [across, down] of name.kind === 'number' ? beside.slice(0, 1) : beside) {
      const x = name.x + across * (width_mm / 2 + 1);
      const y = name.y + down * size_mm;
      const box = { x: x - width_mm / 2, y: y - height_mm / 2, width_mm, height_mm };
      if (!fits(box, frame) || boxes.some((other) => common(box, other) > 0)) continue;
      if (wire.some((spot) => covers(box, spot))) continue;
      boxes.push(box);
      set.push({ ...name, x, y, size_mm, width_mm });
      break;
    }
  }
  return set;
}

const fits = ({ x, y, width_mm, height_mm }: Box, frame: Size) =>
  x >= EDGE_MM &&
  y >= EDGE_MM &&
  x + width_mm <= frame.width_mm - EDGE_MM &&
  y + height_mm <= frame.height_mm - EDGE_MM;

/** With a millimetre about it: the wire’s spots are 2 mm apart. */
const covers = (box: Box, { x, y }: Spot) =>
  x > box.x - 1 && x < box.x + box.width_mm + 1 && y > box.y - 1 && y < box.y + box.height_mm + 1;
