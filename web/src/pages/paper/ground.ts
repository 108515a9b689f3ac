/**
 * The ground under a sheet of the line-route map: which of the service's vector tiles it needs, what they hold in metres
 * of the grid (Mapbox Vector Tile 2; read by that specification's own library), and what of it is drawn on the sheet in
 * millimetres. Trace, grid and ground come to paper by the same projection. It fetches nothing and draws nothing.
 */
import { VectorTile } from '@mapbox/vector-tile';
import { clipPolygon, clipPolyline } from 'lineclip';
import { PbfReader } from 'pbf';
import { FIRST_ZOOM, LAST_ZOOM } from '../../map/zooms.ts';
import type { Tile } from '../../offline/area.ts';
import type { Place } from '../../operation/reporter.svelte.ts';
import { simplify } from '../../track/simplify.ts';
import { onPaper, type Frame, type Spot } from './layout.ts';
import { grounds, groundsOf, woodMark, type Ground } from './strata.ts';
import { fromGrid, onGrid } from './utm.ts';

/** Of WGS 84, whose sphere the tiles are drawn on (EPSG:3857). */
const AROUND_M = 2 * Math.PI * 6_378_137;
/** A tile is about so wide on paper at the equator: its 4,096 steps are finer than what is seen. */
const TILE_MM = 100;
/** Most tiles that all the sheets of a map take together; beyond it, a wider view has to do. */
const MOST_TILES = 256;
/** A line may be drawn so far aside of where it is: half of what can be seen on paper. */
const ASIDE_MM = 0.05;
/** Most points on a sheet: some 700 kB. What is least missed is left out, class by class, and said. */
export const MOST_POINTS = 60_000;
/** Beyond the frame, so that no stroke ends on the sheet. */
const BEYOND_MM = 3;
/** A wood has marks so far from one another. */
const MARKS_MM = 3.6;
/** In steps of a tile: fillings overlap, so that no white line shows between them. */
const OVERLAP = 8;

type Point = [x: number, y: number];

/** The tiles' zoom for a scale. */
export function zoomFor(scale: number): number {
  const zoom = Math.round(Math.log2((AROUND_M * 1000) / (TILE_MM * scale)));
  return Math.min(LAST_ZOOM, Math.max(FIRST_ZOOM, zoom));
}

/** The tiles that each frame needs. */
export function tilesUnder(frames: readonly Frame[], zone: number, south: boolean): Tile[][] {
  for (let z = zoomFor(frames[0]?.scale ?? 1); ; z -= 1) {
    const tiles = frames.map((frame) => under(frame, zone, south, z));
    if (z <= FIRST_ZOOM || new Set(tiles.flat().map(nameOf)).size <= MOST_TILES) return tiles;
  }
}

export const nameOf = ({ z, x, y }: Tile): string => `${z}/${x}/${y}`;

function under(frame: Frame, zone: number, south: boolean, z: number): Tile[] {
  const across = 2 ** z;
  let [west, north, east, bottom] = [Infinity, Infinity, -Infinity, -Infinity];
  // Along the edge: a side of the frame is a curve among tiles.
  for (let step = 0; step <= 8; step += 1) {
    for (const [right, up] of [
      [step / 8, 0],
      [step / 8, 1],
      [0, step / 8],
      [1, step / 8],
    ] as const) {
      const [lon, lat] = fromGrid(
        {
          east_m: frame.west_m + (right * frame.width_mm * frame.scale) / 1000,
          north_m: frame.south_m + (up * frame.height_mm * frame.scale) / 1000,
        },
        zone,
        south,
      );
      const x = ((lon + 180) / 360) * across;
      const y = (0.5 - Math.asinh(Math.tan((lat * Math.PI) / 180)) / (2 * Math.PI)) * across;
      [west, east] = [Math.min(west, x), Math.max(east, x)];
      [north, bottom] = [Math.min(north, y), Math.max(bottom, y)];
    }
  }
  const tiles: Tile[] = [];
  const within = (row: number) => Math.min(Math.max(Math.floor(row), 0), across - 1);
  for (let y = within(north); y <= within(bottom); y += 1) {
    for (let x = Math.floor(west); x <= Math.floor(east); x += 1) {
      // Over the date line it goes on with the first column.
      tiles.push({ z, x: ((x % across) + across) % across, y });
    }
  }
  return tiles;
}

/** The place of a point of a tile, whose sides are 1 long, from its upper left corner. */
export function placeIn({ z, x, y }: Tile, right: number, down: number): Place {
  const across = 2 ** z;
  const north = Math.PI * (1 - (2 * (y + down)) / across);
  return [((x + right) / across) * 360 - 180, (Math.atan(Math.sinh(north)) * 180) / Math.PI];
}

interface Piece {
  ground: Ground;
  form: 'line' | 'area' | 'point';
  points: Point[];
}

/** What has a name: a place or an own feature at a point, or a road with a number. */
export interface Named {
  kind: 'own' | 'place' | 'number';
  words: string;
  /** of its kind, the least first */
  rank: number;
  points: Point[];
}

/** What one tile holds, in metres of the grid. */
export interface GroundTile {
  pieces: Piece[];
  named: Named[];
}

const form = ['point', 'point', 'line', 'area'] as const;
const text = (value: unknown): string => (typeof value === 'string' ? value.slice(0, 40) : '');

/**
 * Reads a tile. What it has beyond its own sides, which its neighbours have as well, is cut off.
 *
 * Throws on bytes that are no vector tile.
 */
export function readTile(bytes: Uint8Array, tile: Tile, zone: number, south: boolean): GroundTile {
  const [pieces, named]: [Piece[], Named[]] = [[], []];
  const { layers } = new VectorTile(new PbfReader(bytes));
  for (const [name, layer] of Object.entries(layers)) {
    const side = layer.extent;
    const plane = (points: readonly Point[]) =>
      points.map(([x, y]): Point => {
        const { east_m, north_m } = onGrid(placeIn(tile, x / side, y / side), zone, south);
        return [east_m, north_m];
      });
    for (let index = 0; index < layer.length; index += 1) {
      const feature = layer.feature(index);
      const { properties } = feature;
      const parts = feature.loadGeometry().map((part) => part.map(({ x, y }): Point => [x, y]));
      const kind = form[feature.type];
      const drawnAs = groundsOf(name, properties);
      const lines =
        kind === 'point' ? [] : parts.flatMap((part) => clipPolyline(part, [0, 0, side, side])).map(plane);
      const points = kind === 'point' ? plane(parts.flat().filter((at) => within(side, at))) : [];
      for (const ground of drawnAs) {
        if (kind === 'area') {
          for (const part of parts) {
            const ring = clipPolygon(part, [-OVERLAP, -OVERLAP, side + OVERLAP, side + OVERLAP]);
            if (ring.length > 2) pieces.push({ ground, form: 'area', points: plane(ring) });
          }
        }
        // A shore as well is a line: the sides that a tile cuts are none. A wood has no edge that anybody could see.
        for (const line of ground === 'wood' ? [] : lines)
          pieces.push({ ground, form: 'line', points: line });
        for (const point of points) pieces.push({ ground, form: 'point', points: [point] });
      }
      const all = [...points.map((point) => [point]), ...lines];
      named.push(...namesOf(name, properties).flatMap((what) => all.map((at) => ({ ...what, points: at }))));
    }
  }
  return { pieces, named };
}

const within = (side: number, [x, y]: Point) => x >= 0 && x < side && y >= 0 && y < side;

function namesOf(layer: string, facts: Record<string, unknown>): Omit<Named, 'points'>[] {
  const { kind, name, ref, rank } = facts;
  if (layer === 'place' && text(name)) {
    return [{ kind: 'place', words: text(name), rank: typeof rank === 'number' ? rank : 99 }];
  }
  if (layer === 'own') {
    const words = [text(kind).replaceAll('_', ' '), text(name)].filter(Boolean).join(' ');
    return [{ kind: 'own', words, rank: 0 }];
  }
  if (layer !== 'line' || !text(ref) || (kind !== 'main_highway' && kind !== 'road')) return [];
  return [{ kind: 'number', words: text(ref).replaceAll(';', ', '), rank: kind === 'road' ? 1 : 0 }];
}

/** A name and where it may be set, in millimetres. */
export interface NameAt extends Spot {
  kind: Named['kind'];
  words: string;
  rank: number;
}

/** The ground of one sheet: paths in millimetres from the frame's upper left corner. */
export interface Drawn {
  areas: ReadonlyMap<Ground, string>;
  lines: ReadonlyMap<Ground, string>;
  /** own features that are a point */
  spots: Spot[];
  names: NameAt[];
  /** what is on the sheet, in the order of `grounds` */
  occurs: Ground[];
  /** what would be, had the sheet room for it */
  leftOut: Ground[];
}

/** Draws what some tiles hold on a frame. */
export function draw(frame: Frame, tiles: readonly GroundTile[]): Drawn {
  const { width_mm, height_mm } = frame;
  const inner: [number, number, number, number] = [0, 0, width_mm, height_mm];
  const outer: [number, number, number, number] = [
    -BEYOND_MM,
    -BEYOND_MM,
    width_mm + BEYOND_MM,
    height_mm + BEYOND_MM,
  ];
  const paper = (points: readonly Point[]) =>
    points.map(([east_m, north_m]): Point => {
      const { x, y } = onPaper(frame, { east_m, north_m });
      return [x, y];
    });
  const thinned = (points: readonly Point[]) =>
    simplify(points, ASIDE_MM).flatMap((index) => points.slice(index, index + 1));
  const written = (points: readonly Point[], end: string) =>
    `M${points.map(([x, y]) => `${short(x)} ${short(y)}`).join('L')}${end}`;

  const pieces = new Map<Ground, Piece[]>(grounds.map((ground) => [ground, []]));
  for (const piece of tiles.flatMap((tile) => tile.pieces)) {
    const points = paper(piece.points);
    if (reaches(points, outer)) pieces.get(piece.ground)?.push({ ...piece, points });
  }

  const [areas, lines] = [new Map<Ground, string>(), new Map<Ground, string>()];
  const spots: Spot[] = [];
  const [occurs, leftOut]: [Ground[], Ground[]] = [[], []];
  let room = MOST_POINTS;
  for (const ground of grounds) {
    let seen = false;
    let count = 0;
    const [filled, drawn]: [string[], string[]] = [[], []];
    const rings: Point[][] = [];
    const at: Spot[] = [];
    for (const { form, points } of pieces.get(ground) ?? []) {
      if (form === 'point') {
        for (const [x, y] of points) at.push({ x, y });
        seen ||= points.some(([x, y]) => x >= 0 && y >= 0 && x <= width_mm && y <= height_mm);
      } else if (form === 'area') {
        const ring = clipPolygon(thinned(points), outer);
        if (ring.length < 3) continue;
        filled.push(written(ring, 'Z'));
        rings.push(ring);
        count += ring.length;
        seen ||= clipPolygon(ring, inner).length > 2;
      } else {
        for (const part of clipPolyline(thinned(points), outer)) {
          drawn.push(written(part, ''));
          count += part.length;
          seen ||= clipPolyline(part, inner).length > 0;
        }
      }
    }
    if (!seen) continue;
    if (ground === 'wood') drawn.push(...marksIn(rings, frame));
    if (count > room) {
      leftOut.push(ground);
      continue;
    }
    room -= count;
    occurs.push(ground);
    spots.push(...at);
    if (filled.length > 0) areas.set(ground, filled.join(''));
    if (drawn.length > 0) lines.set(ground, drawn.join(''));
  }

  const names = tiles
    .flatMap((tile) => tile.named)
    .flatMap(({ kind, words, rank, points }): NameAt[] => {
      const on = paper(points);
      if (on.length === 1) return on.map(([x, y]) => ({ kind, words, rank, x, y }));
      return clipPolyline(on, inner).map((part) => ({ kind, words, rank, ...halfway(part) }));
    })
    .filter(({ x, y }) => x >= 0 && y >= 0 && x <= width_mm && y <= height_mm);
  return { areas, lines, spots, names, occurs, leftOut };
}

/** A wood's marks, in staggered rows that the sheet has and not the wood: two woods that touch show no seam. */
function marksIn(rings: readonly Point[][], { width_mm, height_mm }: Frame): string[] {
  const marks: string[] = [];
  for (let row = 0; row * MARKS_MM < 2 * height_mm; row += 1) {
    const y = ((row + 0.5) * MARKS_MM) / 2;
    // Where the rings cross this row, and which way: inside is where more of them went down than up, or fewer.
    const crossed = rings
      .flatMap((ring) =>
        ring.flatMap(([toX, toY], index): { x: number; turn: number }[] => {
          const [fromX, fromY] = ring.at(index - 1) ?? [toX, toY];
          if (fromY > y === toY > y) return [];
          return [{ x: fromX + ((y - fromY) / (toY - fromY)) * (toX - fromX), turn: toY > fromY ? 1 : -1 }];
        }),
      )
      .toSorted((a, b) => a.x - b.x);
    let [turns, next] = [0, 0];
    for (let x = row % 2 === 0 ? MARKS_MM / 4 : (3 * MARKS_MM) / 4; x < width_mm; x += MARKS_MM) {
      for (; next < crossed.length && (crossed[next]?.x ?? Infinity) <= x; next += 1) {
        turns += crossed[next]?.turn ?? 0;
      }
      if (turns !== 0) marks.push(woodMark(Number(short(x)), Number(short(y))));
    }
  }
  return marks;
}

/** A hundredth of a millimetre is finer than a printer's dot. */
const short = (length_mm: number) => String(Math.round(length_mm * 100) / 100);

function reaches(
  points: readonly Point[],
  [left, top, right, bottom]: readonly [number, number, number, number],
) {
  let [west, north, east, south] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const [x, y] of points) {
    [west, east] = [Math.min(west, x), Math.max(east, x)];
    [north, south] = [Math.min(north, y), Math.max(south, y)];
  }
  return west <= right && east >= left && north <= bottom && south >= top;
}

/** The middle of a line. */
function halfway(points: readonly Point[]): Spot {
  const legs = points.slice(1).map(([x, y], index) => {
    const [fromX, fromY] = points[index] ?? [x, y];
    return { fromX, fromY, x, y, length: Math.hypot(x - fromX, y - fromY) };
  });
  let left = legs.reduce((sum, { length }) => sum + length, 0) / 2;
  for (const { fromX, fromY, x, y, length } of legs) {
    if (length >= left && length > 0) {
      const share = left / length;
      return { x: fromX + share * (x - fromX), y: fromY + share * (y - fromY) };
    }
    left -= length;
  }
  const [x = 0, y = 0] = points[0] ?? [];
  return { x, y };
}
