import { expect, it } from 'vitest';
import type { NameAt } from './ground.ts';
import { common } from './layout.ts';
import { setNames } from './names.ts';

const frame = { width_mm: 174, height_mm: 170 };
const place = (words: string, x: number, y: number, rank = 3): NameAt => ({
  kind: 'place',
  words,
  rank,
  x,
  y,
});
const boxOf = (name: { x: number; y: number; width_mm: number; size_mm: number }) => ({
  x: name.x - name.width_mm / 2,
  y: name.y - name.size_mm / 2,
  width_mm: name.width_mm,
  height_mm: name.size_mm,
});

it('names cover neither one another, nor the wire, nor a tag, and none is cut by the frame', () => {
  const names = Array.from({ length: 80 }, (_, index) =>
    place(`Place ${index}`, (index * 37) % 174, (index * 53) % 170, 1 + (index % 9)),
  );
  const wire = Array.from({ length: 80 }, (_, index) => ({ x: 5 + 2 * index, y: 80 }));
  const tag = { x: 60, y: 20, width_mm: 15, height_mm: 12 };
  const set = setNames(names, frame, [tag], wire);
  expect(set.length).toBeGreaterThan(30);
  for (const [index, name] of set.entries()) {
    const box = boxOf(name);
    expect(box.x >= 0 && box.y >= 0 && box.x + box.width_mm <= 174 && box.y + box.height_mm <= 170).toBe(
      true,
    );
    expect(common(box, tag)).toBe(0);
    expect(
      wire.some(
        ({ x, y }) => x > box.x && x < box.x + box.width_mm && y > box.y && y < box.y + box.height_mm,
      ),
    ).toBe(false);
    for (const other of set.slice(index + 1)) expect(common(box, boxOf(other))).toBe(0);
  }
  // The same sheet is printed twice alike, in whatever order the tiles came.
  expect(setNames(names.toReversed(), frame, [tag], wire)).toEqual(set);
});

it('where there is room for one, the town has it, and what the unit has seen comes before any', () => {
  const town = place('Harbour', 80, 80, 2);
  const farm = place('Harbour farm', 80, 80, 9);
  const walls = [
    { x: 0, y: 0, width_mm: 174, height_mm: 77 },
    { x: 0, y: 83, width_mm: 174, height_mm: 87 },
    { x: 0, y: 77, width_mm: 66, height_mm: 6 },
    { x: 94, y: 77, width_mm: 80, height_mm: 6 },
  ];
  expect(setNames([farm, town], frame, walls, []).map(({ words }) => words)).toEqual(['Harbour']);
  const seen: NameAt = { kind: 'own', words: 'soft ground', rank: 0, x: 80, y: 80 };
  expect(setNames([farm, town, seen], frame, walls, []).map(({ words }) => words)).toEqual(['soft ground']);
});

it('a road’s number stands on the road, and again only where the last is far behind', () => {
  const number = (x: number): NameAt => ({ kind: 'number', words: 'A3', rank: 0, x, y: 50 });
  const set = setNames([number(20), number(50), number(90)], frame, [], []);
  expect(set.map(({ x, y }) => [x, y])).toEqual([
    [20, 50],
    [90, 50],
  ]);
});
