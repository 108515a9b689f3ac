/**
 * Against Shapely 2.2.0 (GEOS; `simplify`, preserve_topology off): the paths and what it keeps of them stand in
 * tests/data/simplified-paths.json, and tests/reference asks it anew.
 */
import { readFileSync } from 'node:fs';
import { expect, it } from 'vitest';
import { aside_m, simplify, type Point } from './simplify.ts';
import { chance } from './walk.ts';

interface Case {
  tolerance_m: number;
  path: [number, number][];
  kept: [number, number][];
}

const file = new URL('../../../tests/data/simplified-paths.json', import.meta.url);
const cases = JSON.parse(readFileSync(file, 'utf8')) as Case[];

it.each(cases)('keeps what the reference library keeps (case %#)', ({ tolerance_m, path, kept }) => {
  expect(simplify(path, tolerance_m).map((n) => path[n])).toEqual(kept);
});

const nowhere: Point = [NaN, NaN];

it('leaves no point farther away than the tolerance, whatever the path', () => {
  const next = chance(42);
  for (let round = 0; round < 300; round += 1) {
    const path = Array.from({ length: 2 + Math.floor(next() * 60) }, (): Point => [
      next() * 100,
      next() * 100,
    ]);
    const tolerance_m = next() * 30;
    const kept = simplify(path, tolerance_m);
    expect(kept[0]).toBe(0);
    expect(kept.at(-1)).toBe(path.length - 1);
    for (const [n, to] of kept.entries()) {
      const from = kept[n - 1];
      if (from === undefined) continue;
      const [first, last] = [path[from] ?? nowhere, path[to] ?? nowhere];
      const between = path.slice(from, to + 1).map((point) => aside_m(point, first, last));
      expect(Math.max(...between)).toBeLessThanOrEqual(tolerance_m);
    }
  }
});

it('has an answer for nothing and for one point, and a long path does not exhaust it', () => {
  expect(simplify([], 5)).toEqual([]);
  expect(simplify([[3, 4]], 5)).toEqual([0]);
  const zigzag = Array.from({ length: 2_000 }, (_, n): Point => [n, n % 2 === 0 ? 0 : 20]);
  expect(simplify(zigzag, 5).length).toBeGreaterThan(1_900);
});
