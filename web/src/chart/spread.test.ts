// Medians worked by hand: of 3, 1, 2 it is 2; of 1, 2, 3, 10 half way between 2 and 3.
import { describe, expect, it } from 'vitest';
import { axisEnd, median } from './spread.ts';

describe('the spread of minutes', () => {
  it('has the middle case as its median, and half way between two', () => {
    expect(median([3, 1, 2])).toBe(2);
    expect(median([10, 1, 3, 2])).toBe(2.5);
    expect(median([7])).toBe(7);
    expect(median([])).toBeNull();
  });

  it('has an axis that ends on a round mark at or beyond the greatest', () => {
    expect(axisEnd([2.2, 8, 11])).toEqual({ end: 12, step: 2 });
    expect(axisEnd([30, 12])).toEqual({ end: 30, step: 5 });
    expect(axisEnd([61])).toEqual({ end: 75, step: 15 });
    expect(axisEnd([])).toEqual({ end: 1, step: 1 });
  });
});
