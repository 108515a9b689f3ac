import { expect, it } from 'vitest';
import {
  common,
  gridLines,
  hangAll,
  inside,
  mapRoom,
  mapSheets,
  onPaper,
  scaleWords,
  wireOver,
} from './layout.ts';
import { room } from '../../paper/size.ts';
import { onGrid } from './utm.ts';

const on = { width_mm: 174, height_mm: 180 };
const straight = (length_m: number) => [
  { east_m: 400_000, north_m: 5_990_000 },
  { east_m: 400_000 + length_m, north_m: 5_990_000 + length_m / 2 },
];

it('a line is drawn at the largest round scale at which it fits on a sheet', () => {
  // Of 174 mm, 146 are for the line: 365 m at 1:2,500, 730 m at 1:5,000, 7.3 km at 1:50,000 (by hand).
  for (const [length_m, scale] of [
    [300, 2_500],
    [365, 2_500],
    [366, 5_000],
    [729, 5_000],
    [731, 10_000],
    [1_800, 12_500],
    [3_600, 25_000],
    [7_299, 50_000],
  ] as const) {
    const sheets = mapSheets(straight(length_m), on, null);
    expect(sheets.frames).toHaveLength(1);
    expect(sheets.scale, `${length_m} m`).toBe(scale);
  }
  expect(scaleWords(12_500)).toBe('1:12,500');
});

it('a longer one is cut into sheets that join with an overlap, and each has a part of it', () => {
  const line = straight(30_000);
  const { scale, frames } = mapSheets(line, on, null);
  expect(scale).toBe(50_000);
  expect(frames.length).toBeGreaterThan(3);
  for (const frame of frames) expect(wireOver(frame, line).some((spot) => inside(frame, spot, 0))).toBe(true);
  // Each place of the line is on some sheet, and 9 mm from its edge on one of them: the overlap is 20 mm.
  for (let share = 0; share <= 1; share += 0.001) {
    const point = { east_m: 400_000 + share * 30_000, north_m: 5_990_000 + share * 15_000 };
    expect(frames.some((frame) => inside(frame, onPaper(frame, point), 9))).toBe(true);
  }
});

it('a scale that is asked for is kept, until there are more sheets than anybody carries', () => {
  expect(mapSheets(straight(3_000), on, 5_000)).toMatchObject({ scale: 5_000 });
  expect(mapSheets(straight(3_000), on, 5_000).frames.length).toBeGreaterThan(4);
  expect(mapSheets(straight(30_000), on, 2_500).scale).toBeGreaterThan(2_500);
  expect(mapSheets(straight(300_000), on, 2_500).frames.length).toBeLessThanOrEqual(24);
  // A point has a map as well.
  expect(mapSheets(straight(0), on, null).frames).toHaveLength(1);
});

it('the grid’s lines stand where their references are', () => {
  // GEOTRANS 3.9 (tests/data) has 30U XE 92210 99669 at 54.109204, -0.059596.
  const place = onGrid([-0.059596, 54.109204], 30, false);
  const frame = {
    west_m: place.east_m - 2_210.5,
    south_m: place.north_m - 2_669.5,
    scale: 25_000,
    row: 0,
    column: 0,
    ...on,
  };
  const { north, east } = gridLines(frame, 1_000);
  // The frame's left edge lies at easting 90,000 and its lower one at northing 97,000, within the metre that was cut.
  const at = onPaper(frame, place);
  expect(north.map(({ label }) => label)).toEqual(
    ['90', '91', '92', '93', '94'].slice(north[0]?.label === '90' ? 0 : 1),
  );
  const line92 = north.find(({ label }) => label === '92');
  expect(Math.abs((at.x - (line92?.at_mm ?? 0)) * 25 - 210.5)).toBeLessThan(1.2);
  const line99 = east.find(({ label }) => label === '99');
  expect(Math.abs(((line99?.at_mm ?? 0) - at.y) * 25 - 669.5)).toBeLessThan(1.2);
  expect(east.filter(({ bold }) => bold).map(({ label }) => label)).toEqual(['00']);
  expect((north[1]?.at_mm ?? 0) - (north[0]?.at_mm ?? 0)).toBeCloseTo(40, 9);
  expect(gridLines({ ...frame, scale: 5_000 }, 100).north[0]?.label).toMatch(/^\d{3}$/);
});

it('tags hang beside one another and beside the line while there is room', () => {
  const frame = { west_m: 0, south_m: 0, scale: 10_000, row: 0, column: 0, ...on };
  const wire = wireOver(frame, [
    { east_m: 140, north_m: 900 },
    { east_m: 1_600, north_m: 900 },
  ]);
  const boxes = Array.from({ length: 12 }, (_, index) => ({
    x: 60 + 4 * index,
    y: 90,
    width_mm: 15,
    height_mm: 11,
  }));
  const hung = hangAll(boxes, frame, wire).map(({ left, top }) => ({
    x: left,
    y: top,
    width_mm: 15,
    height_mm: 11,
  }));
  for (const [index, box] of hung.entries()) {
    expect(inside(frame, box, 0) && inside(frame, { x: box.x + 15, y: box.y + 11 }, 0)).toBe(true);
    expect(box.y > 90 || box.y + 11 < 90).toBe(true);
    for (const other of hung.slice(index + 1)) expect(common(box, other)).toBe(0);
  }
});

it('a line that runs from west to east is drawn larger on a sheet that lies on its side', () => {
  // 4 km by 1 km: of A4 upright at 1:50,000, on its side at 1:25,000.
  const line = [
    { east_m: 400_000, north_m: 5_990_000 },
    { east_m: 404_000, north_m: 5_991_000 },
  ];
  expect(mapSheets(line, mapRoom(room('a4')), null)).toMatchObject({ scale: 50_000 });
  const { scale, frames } = mapSheets(line, mapRoom(room('a4_landscape')), null);
  expect([scale, frames.length]).toEqual([25_000, 1]);
});
