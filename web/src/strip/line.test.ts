import { expect, it } from 'vitest';
import { laidThrough, stripLength_m, viewAround, viewAtHead, type StripLine } from './line.ts';

const line: StripLine = {
  designation: 'Line 12',
  ends: { left: 'post', right: 'Mill exchange' },
  planned_m: 7200,
  laid_m: 4600,
  crossings: [],
  callBacks_m: [],
  splices_m: [],
  reels_m: [],
};

it('a strip is as long as the plan, or as what was laid beyond it', () => {
  expect(stripLength_m(line)).toBe(7200);
  expect(stripLength_m({ ...line, laid_m: 7450 })).toBe(7450);
  expect(stripLength_m({ ...line, planned_m: null })).toBe(4600);
});

it('a line nobody planned is never laid through', () => {
  expect(laidThrough(line)).toBe(false);
  expect(laidThrough({ ...line, laid_m: 7199.8 })).toBe(true);
  expect(laidThrough({ ...line, planned_m: null })).toBe(false);
});

it('the window follows the head and never leaves the line', () => {
  expect(viewAtHead(line, 3000)).toEqual({ from_m: 3600, to_m: 6600 });
  expect(viewAtHead({ ...line, laid_m: 0 }, 3000)).toEqual({ from_m: 0, to_m: 3000 });
  expect(viewAtHead({ ...line, laid_m: 7200 }, 3000)).toEqual({ from_m: 4200, to_m: 7200 });
  expect(viewAtHead(line, 9000)).toEqual({ from_m: 0, to_m: 7200 });
});

it('a window around a place stays on the line', () => {
  expect(viewAround(line, 3000, 2000)).toEqual({ from_m: 2000, to_m: 4000 });
  expect(viewAround(line, 100, 2000)).toEqual({ from_m: 0, to_m: 2000 });
  expect(viewAround(line, 7190, 2000)).toEqual({ from_m: 5200, to_m: 7200 });
  expect(viewAround(line, 100, 9000)).toEqual({ from_m: 0, to_m: 7200 });
});
