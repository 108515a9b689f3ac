import { describe, expect, it } from 'vitest';
import { across, hang, ticks } from './layout.ts';

const scale = { from_m: 0, to_m: 7200, left: 10, right: 370 };

it('chainage runs from the left end to the right end', () => {
  expect([0, 3600, 7200].map((chainage_m) => across(scale, chainage_m))).toEqual([10, 190, 370]);
  expect(across({ ...scale, to_m: 0 }, 0)).toBe(10);
});

describe('ticks', () => {
  it('stand at round chainages and far enough apart to be read', () => {
    const found = ticks(scale, 'metric', 40);
    expect(found.unit).toBe('km');
    expect(found.ticks.map((tick) => tick.label)).toEqual(['0', '1', '2', '3', '4', '5', '6', '7']);
    const miles = ticks(scale, 'miles', 40);
    expect(miles.unit).toBe('mi');
    expect(miles.ticks.map((tick) => tick.label)).toEqual([
      '0',
      '0.5',
      '1',
      '1.5',
      '2',
      '2.5',
      '3',
      '3.5',
      '4',
    ]);
  });

  it.each([0.5, 30, 900, 5000, 12_000, 99_000, 640_000])(
    'a line of %d m has some, none too close',
    (to_m) => {
      for (const units of ['metric', 'miles'] as const) {
        const wide = { ...scale, to_m };
        const found = ticks(wide, units, 40).ticks.map((tick) => across(wide, tick.chainage_m));
        expect(found.length).toBeGreaterThanOrEqual(2);
        for (const [index, x] of found.slice(1).entries()) {
          expect(x - (found[index] ?? NaN)).toBeGreaterThanOrEqual(40 - 1e-6);
        }
      }
    },
  );

  it('a line without length has none', () => {
    expect(ticks({ ...scale, to_m: 0 }, 'metric', 40).ticks).toEqual([]);
  });
});

describe('tags hang so that none covers another', () => {
  function check(at: number[], width: number, left: number, right: number) {
    const hung = hang(at, width, left, right);
    expect(hung).toHaveLength(at.length);
    for (const [index, one] of hung.entries()) {
      expect(one.x).toBeGreaterThanOrEqual(left + width / 2 - 1e-9);
      expect(one.x).toBeLessThanOrEqual(right - width / 2 + 1e-9);
      for (const other of hung.slice(index + 1)) {
        if (other.row === one.row) expect(other.x - one.x).toBeGreaterThanOrEqual(width - 1e-9);
      }
    }
    return hung;
  }

  it('far apart, each hangs straight down in the first row', () => {
    expect(check([40, 120, 300], 44, 0, 360)).toEqual([
      { x: 40, row: 0 },
      { x: 120, row: 0 },
      { x: 300, row: 0 },
    ]);
  });

  it('two close ones stagger', () => {
    expect(check([100, 110], 44, 0, 360)).toEqual([
      { x: 100, row: 0 },
      { x: 110, row: 1 },
    ]);
  });

  it('a crowd at either end of a phone stays on the sheet', () => {
    check(new Array<number>(14).fill(350), 44, 0, 320);
    check(new Array<number>(14).fill(2), 44, 0, 320);
  });

  it('any crowd at all', () => {
    // A small linear congruential generator (Numerical Recipes' constants, from memory): the same crowds every run.
    let seed = 7;
    const next = () => (seed = (seed * 1664525 + 1013904223) % 2 ** 32) / 2 ** 32;
    for (let run = 0; run < 300; run += 1) {
      const right = 320 + next() * 1000;
      const at = Array.from({ length: Math.floor(next() * 40) }, () => next() * right).sort((a, b) => a - b);
      check(at, 44, 0, right);
    }
  });
});
