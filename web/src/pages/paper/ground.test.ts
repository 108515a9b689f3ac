/**
 * Against GDAL 3.6.2 and PROJ: the tiles in tests/data are GDAL's, of OpenStreetMap's own positions, and where those lie
 * on the grid is `gdaltransform -s_srs OGC:CRS84 -t_srs EPSG:32630`.
 */
import { readFileSync } from 'node:fs';
import { expect, it } from 'vitest';
import { tileAt } from '../../offline/area.ts';
import { aside_m } from '../../track/simplify.ts';
import { draw, MOST_POINTS, nameOf, readTile, tilesUnder, zoomFor, type GroundTile } from './ground.ts';
import type { Frame } from './layout.ts';
import { fromGrid, onGrid } from './utm.ts';

const tile = (y: number) =>
  readTile(
    new Uint8Array(readFileSync(new URL(`../../../../tests/data/tile-14-7980-${y}.mvt`, import.meta.url))),
    { z: 14, x: 7980, y },
    30,
    false,
  );
/** A vertex of way 158803701, at -4.6545832, 54.0825816. */
const vertex = { east_m: 391_762.279, north_m: 5_993_975.63 };
const frame = (west_m: number, south_m: number, scale: number): Frame => ({
  west_m,
  south_m,
  scale,
  row: 0,
  column: 0,
  width_mm: 174,
  height_mm: 174,
});
/** A step of a tile at zoom 14 and 54° N: 40,075,017 m / 2^14 / 4,096, times cos 54°. */
const STEP_M = 0.36;

type Point = [number, number];
const pointsOf = (d: string): Point[][] =>
  d
    .split('M')
    .slice(1)
    .map((part) =>
      part
        .replace('Z', '')
        .split('L')
        .map((at) => at.split(' ').map(Number) as Point),
    );

it('a road lies on the grid where OpenStreetMap has it', () => {
  const { pieces, named } = tile(5254);
  const roads = pieces.filter(({ ground }) => ground === 'main_highway');
  const nearest = Math.min(
    ...roads.flatMap(({ points }) =>
      points.map(([east, north]) => Math.hypot(east - vertex.east_m, north - vertex.north_m)),
    ),
  );
  expect(nearest).toBeLessThan(STEP_M);
  expect(named.filter(({ kind }) => kind === 'number').map(({ words }) => words)).toEqual(['A3']);
  expect(named.filter(({ kind }) => kind === 'place').map(({ words }) => words)).toEqual(['Castletown']);
});

it('it goes on in the next tile where it left this one, and is not drawn twice', () => {
  const ends = [tile(5253), tile(5254)].map(({ pieces }) =>
    pieces
      .filter(({ ground }) => ground === 'main_highway')
      .flatMap(({ points }) => [points[0], points.at(-1)]),
  );
  const [above = [], below = []] = ends;
  const gap = Math.min(
    ...above.flatMap((a) => below.map((b) => (a && b ? Math.hypot(a[0] - b[0], a[1] - b[1]) : Infinity))),
  );
  expect(gap).toBeLessThan(STEP_M);
  const { lines } = draw(frame(391_000, 5_993_400, 12_500), [tile(5253), tile(5254)]);
  const length_mm = pointsOf(lines.get('main_highway') ?? '')
    .flatMap((part) =>
      part
        .slice(1)
        .map(([x, y], index) => Math.hypot(x - (part[index]?.[0] ?? x), y - (part[index]?.[1] ?? y))),
    )
    .reduce((sum, leg) => sum + leg, 0);
  // Its length on the grid: 1,524.46 m (`ST_Length` of GDAL's SQLite dialect, in EPSG:32630), drawn to half a per cent.
  expect(Math.abs(length_mm - 1_524_460 / 12_500)).toBeLessThan(0.6);
});

it('on paper it is a tenth of a millimetre from there at the most, and nothing goes far beyond the frame', () => {
  for (const scale of [5_000, 25_000, 50_000]) {
    const on = frame(391_500, 5_993_700, scale);
    const { lines, areas, occurs } = draw(on, [tile(5254), tile(5253)]);
    const roads = pointsOf(lines.get('main_highway') ?? '');
    const at: Point = [
      ((vertex.east_m - 391_500) * 1000) / scale,
      174 - ((vertex.north_m - 5_993_700) * 1000) / scale,
    ];
    const away = Math.min(
      ...roads.flatMap((part) => part.slice(1).map((to, index) => aside_m(at, part[index] ?? to, to))),
    );
    expect(away, `1:${scale}`).toBeLessThan(0.1 + (STEP_M * 1000) / scale / 2);
    const all = [...lines.entries()].filter(([ground]) => ground !== 'wood').map(([, d]) => d);
    for (const [x, y] of [...all, ...areas.values()].flatMap((d) => pointsOf(d).flat())) {
      expect(Math.min(x, y)).toBeGreaterThanOrEqual(-3);
      expect(Math.max(x, y)).toBeLessThanOrEqual(177);
    }
    expect(occurs).toContain('main_highway');
  }
});

const drawnAs = (ground: GroundTile['pieces'][number]['ground'], form: 'line' | 'area', points: Point[]) => ({
  ground,
  form,
  points,
});

it('the key has what is on the sheet, and nothing that only passes by', () => {
  const on = frame(0, 0, 10_000);
  const tiles = [
    {
      pieces: [
        drawnAs('road', 'line', [
          [-500, 100],
          [2_500, 120],
        ]),
        // 1 mm beyond the edge.
        drawnAs('railway', 'line', [
          [-10, 0],
          [-10, 1_000],
        ]),
      ],
      named: [],
    },
  ];
  expect(draw(on, tiles).occurs).toEqual(['road']);
});

it('a wood has its marks within its edge and none in its clearing', () => {
  const square = (from: number, to: number): Point[] => [
    [from, from],
    [to, from],
    [to, to],
    [from, to],
  ];
  const pieces = [
    drawnAs('wood', 'area', square(100, 1_100)),
    drawnAs('wood', 'area', square(400, 800).toReversed()),
  ];
  const { lines } = draw(frame(0, 0, 10_000), [{ pieces, named: [] }]);
  const marks = [...(lines.get('wood') ?? '').matchAll(/M([\d.]+) ([\d.]+)/g)].map(([, x, y]) => [
    Number(x) + 0.6,
    174 - (Number(y) - 0.5),
  ]);
  // 84 square centimetres, and one mark on each 3.6 × 1.8 mm: staggered rows.
  expect(marks.length).toBeGreaterThan(8_400 / 6.48 - 60);
  expect(marks.length).toBeLessThan(8_400 / 6.48 + 60);
  for (const [x = 0, y = 0] of marks) {
    expect(Math.min(x, y)).toBeGreaterThanOrEqual(9.99);
    expect(Math.max(x, y)).toBeLessThanOrEqual(110.01);
    expect(x > 40.01 && x < 79.99 && y > 40.01 && y < 79.99).toBe(false);
  }
});

it('where a sheet would hold too much, hedges go before roads, and it is said', () => {
  const zigzag = (count: number, north: number) =>
    Array.from({ length: count }, (_, index): Point => [index * 10 + 100, north + (index % 2) * 10]);
  const pieces = [
    ...Array.from({ length: MOST_POINTS / 100 }, () => drawnAs('hedge', 'line', zigzag(100, 500))),
    drawnAs('road', 'line', zigzag(100, 900)),
  ];
  const { lines, occurs, leftOut } = draw(frame(0, 0, 10_000), [{ pieces, named: [] }]);
  expect(occurs).toEqual(['road']);
  expect(leftOut).toEqual(['hedge']);
  expect(lines.has('hedge')).toBe(false);
});

it('the tiles of a sheet are those that it lies on, at a zoom that its scale can show', () => {
  // 2π · 6,378,137 m / 2^zoom is 100 mm on paper, within half a zoom: 97.8 mm at 1:50,000 and zoom 13 (by hand).
  expect([2_500, 12_500, 25_000, 50_000, 100_000, 1_000_000].map(zoomFor)).toEqual([15, 15, 14, 13, 12, 9]);
  const on = frame(391_000, 5_993_400, 25_000);
  const [tiles = []] = tilesUnder([on], 30, false);
  const names = new Set(tiles.map(nameOf));
  // GDAL has filed the road's vertex under this one.
  expect(names).toContain('14/7980/5254');
  expect(tiles.length).toBeLessThanOrEqual(20);
  for (let right = 0; right <= 1; right += 0.05) {
    for (let up = 0; up <= 1; up += 0.05) {
      const at = fromGrid({ east_m: 391_000 + right * 4_350, north_m: 5_993_400 + up * 4_350 }, 30, false);
      expect(names).toContain(nameOf(tileAt(at, 14)));
    }
  }
});

it('there are never more tiles than a field link can carry, nor a hole at the date line', () => {
  const many = Array.from({ length: 24 }, (_, index) => {
    const at = onGrid([25, 79], 35, false);
    return frame(at.east_m + index * 8_000, at.north_m, 50_000);
  });
  expect(new Set(tilesUnder(many, 35, false).flat().map(nameOf)).size).toBeLessThanOrEqual(256);
  // Wrangel Island lies on both sides of 180°.
  const at = onGrid([179.95, 71], 60, false);
  const columns = new Set(
    tilesUnder([frame(at.east_m, at.north_m, 50_000)], 60, false)
      .flat()
      .map(({ x }) => x),
  );
  expect(columns).toContain(0);
  expect(columns).toContain(2 ** 13 - 1);
  expect(columns.size).toBeLessThan(8);
});

it('what is no tile is no ground, and a tile without a byte is empty', () => {
  const at = { z: 14, x: 7980, y: 5254 };
  expect(readTile(new Uint8Array(), at, 30, false)).toEqual({ pieces: [], named: [] });
  expect(() =>
    readTile(new TextEncoder().encode('<html>Sign in to the network</html>'), at, 30, false),
  ).toThrow();
});
