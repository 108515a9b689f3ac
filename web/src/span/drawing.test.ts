import { describe, expect, it } from 'vitest';
import type { SpanAnswer, SpanPoint } from '../api/types.ts';
import { fit, governing, ground, heightAt, lorryAt, overIt, path, wholeSpan } from './drawing.ts';

const margins = { side: 6, top: 24, foot: 40 };
const point = (offset_m: number, height_m: number): SpanPoint => ({ offset_m, height_m });

/** A wire of 30 m between ties at 6 m, as a catenary of this constant: y = c cosh(x / c). */
function catenary(constant_m: number): SpanPoint[] {
  const rise = (x: number) => constant_m * (Math.cosh(x / constant_m) - 1);
  return Array.from({ length: 25 }, (_, index) => {
    const offset_m = (30 * index) / 24;
    return point(offset_m, 6 - rise(15) + rise(offset_m - 15));
  });
}

function answer(more: object = {}): SpanAnswer {
  const hung = (wire: SpanPoint[]) => ({ wire });
  return {
    clearance: { governs: 'hot' },
    strength: { governs: 'windy' },
    conditions: [
      { condition: 'stringing', hang: hung(catenary(200)) },
      { condition: 'hot', hang: hung(catenary(150)) },
    ],
    drawing: {
      left: [point(0, 0), point(0, 6)],
      right: [point(30, 1), point(30, 6)],
      surface: [point(12, 0), point(15, 0.1), point(18, 0)],
      clearance_line: [point(12, 4.72), point(15, 4.82), point(18, 4.72)],
    },
    ...more,
  } as unknown as SpanAnswer;
}

describe('to scale', () => {
  it('a metre is as long upward as along', () => {
    const frame = fit({ left_m: 0, right_m: 30, low_m: 0, high_m: 6 }, 312, 300, margins);
    expect(frame.scale).toBe(10);
    expect([frame.x(0), frame.x(15), frame.x(30)]).toEqual([6, 156, 306]);
    expect([frame.y(6), frame.y(0), frame.height]).toEqual([24, 84, 124]);
  });

  it('what is higher than long is fitted by its height, and stands in the middle', () => {
    const frame = fit({ left_m: 0, right_m: 4, low_m: 0, high_m: 20 }, 312, 264, margins);
    expect(frame.scale).toBe(10);
    expect([frame.x(0), frame.x(4)]).toEqual([136, 176]);
    expect(frame.height).toBe(264);
  });

  it('a sheet without width has no scale, and nothing breaks', () => {
    expect(fit(wholeSpan(answer()), 0, 300, margins).scale).toBe(0);
  });
});

it('the wire goes from tie to tie, and its sag is as long as it is to scale', () => {
  const frame = fit({ left_m: 0, right_m: 30, low_m: 0, high_m: 6 }, 312, 300, margins);
  const drawn = [...path(frame, catenary(150)).matchAll(/[ML](\S+?) ([\d.]+)/g)].map(([, x, y]) => [
    Number(x),
    Number(y),
  ]);
  expect(drawn).toHaveLength(25);
  expect(drawn[0]).toEqual([6, 24]);
  expect(drawn.at(-1)).toEqual([306, 24]);
  // 150 (cosh 0.1 - 1) = 0.75063 m.
  expect(drawn[12]).toEqual([156, 31.51]);
});

it('the whole span holds both feet and ties, the part over the road only the road', () => {
  const [whole, part] = [wholeSpan(answer()), overIt(answer())];
  expect([whole.left_m, whole.right_m]).toEqual([-1, 31]);
  expect(whole.low_m).toBeLessThan(0);
  expect(whole.high_m).toBeGreaterThanOrEqual(6);
  expect([part.left_m, part.right_m]).toEqual([10.5, 19.5]);
  expect(part.high_m).toBeLessThan(6);
});

it('a lorry fits under the drawing, however low the wire hangs', () => {
  const low = {
    drawing: { ...answer().drawing, left: [point(0, 0), point(0, 1)], right: [point(30, 0), point(30, 1)] },
  };
  const flat = { conditions: [{ condition: 'hot', hang: { wire: [point(0, 1), point(30, 1)] } }] };
  expect(wholeSpan(answer({ ...low, ...flat })).high_m).toBeGreaterThanOrEqual(4.1);
});

it('what governs is drawn boldly, and where the wire breaks in it, as it was strung', () => {
  expect(governing(answer()).condition).toBe('hot');
  const breaks = answer({
    clearance: { governs: 'windy' },
    conditions: [{ condition: 'stringing', hang: { wire: [] } }],
  });
  expect(governing(breaks).condition).toBe('stringing');
});

it('the ground runs from either foot to the edge of what is crossed', () => {
  expect(ground(answer())).toEqual([
    [point(0, 0), point(12, 0)],
    [point(18, 0), point(30, 1)],
  ]);
});

describe('the lorry', () => {
  const lane = (wide_m: number) => [point(10, 0), point(10 + wide_m / 2, 0.1), point(10 + wide_m, 0)];

  it('stands on the right half of a road, on its crown’s slope', () => {
    expect(lorryAt(lane(8))).toEqual({ offset_m: 16, height_m: 0.05 });
  });

  it('stands in the middle where there is but one lane', () => {
    expect(lorryAt(lane(4))?.offset_m).toBe(12);
    expect(lorryAt([])).toBeNull();
  });
});

it('a drawn line is straight between its points, and level beyond them', () => {
  const line = [point(0, 1), point(10, 3)];
  expect([-5, 0, 5, 10, 15].map((offset_m) => heightAt(line, offset_m))).toEqual([1, 1, 2, 3, 3]);
});
