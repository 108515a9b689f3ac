/**
 * How a line is put on sheets of a map: which round scale, where the sheets are cut, which lines of the grid are
 * drawn and what stands beside them, and where tags hang so that none covers another. On the ground in metres of the
 * grid, on paper in millimetres; it draws nothing.
 */
import type { OnGrid } from './utm.ts';

/** Round scales, the largest first, with how far apart the grid's lines are drawn at each. */
const scales: readonly { scale: number; grid_m: number }[] = [
  { scale: 2_500, grid_m: 100 },
  { scale: 5_000, grid_m: 100 },
  { scale: 10_000, grid_m: 500 },
  { scale: 12_500, grid_m: 500 },
  { scale: 25_000, grid_m: 1_000 },
  { scale: 50_000, grid_m: 1_000 },
  { scale: 100_000, grid_m: 5_000 },
  { scale: 250_000, grid_m: 10_000 },
  { scale: 500_000, grid_m: 10_000 },
  { scale: 1_000_000, grid_m: 50_000 },
];
/** A line that does not fit at this scale is cut into sheets instead of being drawn smaller. */
const SMALLEST_ON_ONE = 50_000;
/** Nobody carries more sheets of one map than this: beyond it, the line is drawn smaller. */
const MOST_SHEETS = 24;
/** Left free around the line, for its names and tags. */
const AROUND_MM = 14;
/** What two sheets that join have both. */
const OVERLAP_MM = 20;

/** Around the map, for the grid's figures. */
export const BAND_MM = 6;
/** Below it, for scale and keys: on a sheet that lies on its side, the key of the ground stands beside the others. */
const KEY_MM = { upright: 55, aside: 46 };

export interface Size {
  width_mm: number;
  height_mm: number;
}

export const aside = ({ width_mm, height_mm }: Size): boolean => width_mm > height_mm;

/** What of a sheet's room is the map's. */
export const mapRoom = (room: Size): Size => ({
  width_mm: room.width_mm - 2 * BAND_MM,
  height_mm: room.height_mm - 2 * BAND_MM - KEY_MM[aside(room) ? 'aside' : 'upright'],
});

/** One sheet of the map: its lower left corner on the grid, and where it stands among the others, from the upper left. */
export interface Frame extends Size {
  west_m: number;
  south_m: number;
  scale: number;
  row: number;
  column: number;
}

export interface MapSheets {
  scale: number;
  grid_m: number;
  frames: Frame[];
}

export const scaleWords = (scale: number): string => `1:${scale.toLocaleString('en-GB')}`;

/** Scales that somebody may ask for. */
export const scalesToAsk = scales.map(({ scale }) => scale).filter((scale) => scale <= 100_000);

/**
 * The sheets that a line takes, from the upper left: one, at the largest scale at which it fits, or, beyond 1:50,000 or
 * at a scale that was asked for, as many as it touches.
 */
export function mapSheets(points: readonly OnGrid[], on: Size, asked: number | null): MapSheets {
  const least = asked ?? scales[0]?.scale ?? 0;
  const open = scales.filter(({ scale }) => scale >= least);
  const fits =
    asked === null &&
    open.find(({ scale }) => scale <= SMALLEST_ON_ONE && cutAt(points, on, scale).length === 1);
  if (fits) return { ...fits, frames: cutAt(points, on, fits.scale) };
  const cut = open.filter(({ scale }) => asked !== null || scale >= SMALLEST_ON_ONE);
  let sheets: MapSheets = { scale: least, grid_m: 1_000, frames: [] };
  for (const { scale, grid_m } of cut) {
    sheets = { scale, grid_m, frames: cutAt(points, on, scale) };
    if (sheets.frames.length <= MOST_SHEETS) break;
  }
  return sheets;
}

function cutAt(points: readonly OnGrid[], { width_mm, height_mm }: Size, scale: number): Frame[] {
  const mm = (metres: number) => (metres * 1000) / scale;
  const metres = (length_mm: number) => (length_mm * scale) / 1000;
  const bounds = (values: readonly number[]) =>
    values.reduce<[number, number]>(
      ([least, most], value) => [Math.min(least, value), Math.max(most, value)],
      [Infinity, -Infinity],
    );
  const [west, east] = bounds(points.map(({ east_m }) => east_m));
  const [south, north] = bounds(points.map(({ north_m }) => north_m));
  const count = (length_mm: number, side_mm: number) =>
    Math.max(1, Math.ceil((length_mm + 2 * AROUND_MM - OVERLAP_MM) / (side_mm - OVERLAP_MM) - 1e-9));
  const [columns, rows] = [count(mm(east - west), width_mm), count(mm(north - south), height_mm)];
  const [stepEast, stepNorth] = [metres(width_mm - OVERLAP_MM), metres(height_mm - OVERLAP_MM)];
  const left_m = (west + east) / 2 - (columns * stepEast + metres(OVERLAP_MM)) / 2;
  const bottom_m = (south + north) / 2 - (rows * stepNorth + metres(OVERLAP_MM)) / 2;
  const frames: Frame[] = [];
  // A line over half the earth would be cut into millions: whoever asks sees that there are too many.
  if (columns * rows > 40 * MOST_SHEETS)
    return Array.from({ length: MOST_SHEETS + 1 }, () => ({
      west_m: left_m,
      south_m: bottom_m,
      scale,
      row: 0,
      column: 0,
      width_mm,
      height_mm,
    }));
  const samples = along(points, metres(2));
  for (let row = 0; row < rows; row += 1) {
    for (let column = 0; column < columns; column += 1) {
      const frame = {
        west_m: left_m + column * stepEast,
        south_m: bottom_m + (rows - 1 - row) * stepNorth,
        scale,
        row,
        column,
        width_mm,
        height_mm,
      };
      if (samples.some((point) => inside(frame, onPaper(frame, point), 0))) frames.push(frame);
    }
  }
  return frames;
}

/** The way through some points, with one at least every `step_m`. */
function along(points: readonly OnGrid[], step_m: number): OnGrid[] {
  return points.flatMap((to, index) => {
    const from = points[index - 1];
    if (!from) return [to];
    const steps = Math.max(
      1,
      Math.ceil(Math.hypot(to.east_m - from.east_m, to.north_m - from.north_m) / step_m),
    );
    return Array.from({ length: steps }, (_, step) => {
      const share = (step + 1) / steps;
      return {
        east_m: from.east_m + share * (to.east_m - from.east_m),
        north_m: from.north_m + share * (to.north_m - from.north_m),
      };
    });
  });
}

export interface Spot {
  x: number;
  y: number;
}

/** Where something is on a sheet, from the frame's upper left corner. */
export function onPaper({ west_m, south_m, scale, height_mm }: Frame, { east_m, north_m }: OnGrid): Spot {
  return { x: ((east_m - west_m) * 1000) / scale, y: height_mm - ((north_m - south_m) * 1000) / scale };
}

export const inside = ({ width_mm, height_mm }: Size, { x, y }: Spot, edge_mm: number): boolean =>
  x >= edge_mm && x <= width_mm - edge_mm && y >= edge_mm && y <= height_mm - edge_mm;

export interface GridLine {
  /** from the frame's left edge, or from its upper edge */
  at_mm: number;
  /** what a reference has of it: two digits for whole kilometres, three for hundreds of metres */
  label: string;
  /** a side of a square of 100 km */
  bold: boolean;
}

/** The grid's lines within a frame: those that run north, left to right, and those that run east, top to bottom. */
export function gridLines(frame: Frame, grid_m: number): { north: GridLine[]; east: GridLine[] } {
  const digits = grid_m % 1_000 === 0 ? 2 : 3;
  const lines = (from_m: number, side_mm: number) => {
    const first = Math.ceil(from_m / grid_m);
    const last = Math.floor((from_m + (side_mm * frame.scale) / 1000) / grid_m);
    return Array.from({ length: Math.max(0, last - first + 1) }, (_, index) => {
      const metres = (first + index) * grid_m;
      const within = ((metres % 100_000) + 100_000) % 100_000;
      return {
        at_mm: ((metres - from_m) * 1000) / frame.scale,
        label: String(Math.floor(within / 10 ** (5 - digits))).padStart(digits, '0'),
        bold: within === 0,
      };
    });
  };
  return {
    north: lines(frame.west_m, frame.width_mm),
    east: lines(frame.south_m, frame.height_mm)
      .map((line) => ({ ...line, at_mm: frame.height_mm - line.at_mm }))
      .reverse(),
  };
}

export interface Hung extends Spot {
  /** its box's upper left corner */
  left: number;
  top: number;
}

/**
 * Hangs boxes beside their places, in their order: as near as they can without covering one another, the line, or the
 * frame's edge. Where there is no such room left, they cover as little as may be.
 */
export function hangAll(boxes: readonly (Spot & Size)[], frame: Size, wire: readonly Spot[]): Hung[] {
  const taken: (Spot & Size)[] = [];
  const strings: Spot[] = [];
  return boxes.map(({ x, y, width_mm, height_mm }) => {
    let best = { cost: Infinity, left: x, top: y };
    for (const far_mm of [2.5, 6, 10, 15, 21, 28, 36]) {
      for (let turn = 0; turn < 16; turn += 1) {
        const angle = (turn * Math.PI) / 8;
        // Beyond the box's own half in that direction.
        const left = x + Math.sin(angle) * (far_mm + width_mm / 2) - width_mm / 2;
        const top = y + Math.cos(angle) * (far_mm + height_mm / 2) - height_mm / 2;
        const box = { x: left, y: top, width_mm, height_mm };
        const out = !inside(frame, box, 1) || !inside(frame, { x: left + width_mm, y: top + height_mm }, 1);
        const covered = taken.reduce((sum, other) => sum + common(box, other), 0);
        const crossed = wire.filter((spot) => within(box, spot)).length;
        // A string runs from the place to the middle of the box's upper edge; it is to cross no box, nor a box it.
        const own = string({ x, y }, { x: left + width_mm / 2, y: top });
        const tangled =
          own.filter((spot) => taken.some((other) => within(other, spot))).length +
          strings.filter((spot) => within(box, spot)).length;
        const cost = far_mm + (out ? 10_000 : 0) + covered * 100 + crossed * 4 + tangled * 3;
        if (cost < best.cost) best = { cost, left, top };
      }
    }
    strings.push(...string({ x, y }, { x: best.left + width_mm / 2, y: best.top }));
    taken.push({ x: best.left, y: best.top, width_mm, height_mm });
    return { x, y, left: best.left, top: best.top };
  });
}

/** Spots along a string, 1.5 mm from each other. */
function string(from: Spot, to: Spot): Spot[] {
  const steps = Math.floor(Math.hypot(to.x - from.x, to.y - from.y) / 1.5);
  return Array.from({ length: steps }, (_, step) => ({
    x: from.x + ((step + 1) / (steps + 1)) * (to.x - from.x),
    y: from.y + ((step + 1) / (steps + 1)) * (to.y - from.y),
  }));
}

const within = (box: Spot & Size, { x, y }: Spot) =>
  x > box.x - 1 && x < box.x + box.width_mm + 1 && y > box.y - 1 && y < box.y + box.height_mm + 1;

/** The part of two boxes that both cover, in square millimetres. */
export function common(one: Spot & Size, other: Spot & Size): number {
  const side = (a: number, b: number, length: number, otherLength: number) =>
    Math.max(0, Math.min(a + length, b + otherLength) - Math.max(a, b));
  return (
    side(one.x, other.x, one.width_mm, other.width_mm) * side(one.y, other.y, one.height_mm, other.height_mm)
  );
}

/** The way of the wire over a sheet, with a spot at least every 2 mm, for what hangs beside it. */
export const wireOver = (frame: Frame, points: readonly OnGrid[]): Spot[] =>
  along(points, (2 * frame.scale) / 1000)
    .map((point) => onPaper(frame, point))
    .filter((spot) => inside(frame, spot, -20));
