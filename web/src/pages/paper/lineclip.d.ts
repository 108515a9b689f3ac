declare module 'lineclip' {
  type Point = [x: number, y: number];
  type Box = [west: number, south: number, east: number, north: number];
  /** The parts of a line within a box. */
  export function clipPolyline(points: readonly Point[], box: Box): Point[][];
  /** The part of a ring within a box; with no points where it has none. */
  export function clipPolygon(points: readonly Point[], box: Box): Point[];
}
