import { expect, test } from 'vitest';
import type { Body, CrossingFeature, Entry } from '../../api/types.ts';
import { ofLine, readDownTo } from './history.ts';

const entry = (sequence: number, body: object): Entry =>
  ({ sequence, report: { id: `r${sequence}`, body: body as Body } }) as Entry;
const crossings = new Map([
  ['c', { properties: { line: 'l12' } } as CrossingFeature],
  ['d', { properties: { line: 'l13' } } as CrossingFeature],
]);

test('a line’s history has what names it, what is told of its crossings, and what corrects those', () => {
  const log = [
    entry(1, { kind: 'line_planned', line: 'l12' }),
    entry(2, { kind: 'line_planned', line: 'l13' }),
    entry(3, { kind: 'crossing_passed', crossing: 'c' }),
    entry(4, { kind: 'crossing_passed', crossing: 'd' }),
    entry(5, { kind: 'correction', corrects: 'r3' }),
    entry(6, { kind: 'correction', corrects: 'r4' }),
    entry(7, { kind: 'correction', corrects: 'r5' }),
    entry(8, { kind: 'note', text: 'of nothing in particular' }),
    // What it corrects is not read yet; what it puts in its place says whose it is.
    entry(9, { kind: 'correction', corrects: 'r0', instead: { kind: 'splice_made', line: 'l12' } }),
  ];
  expect(ofLine([...log].reverse(), 'l12', crossings).map(({ sequence }) => sequence)).toEqual([
    9, 7, 5, 3, 1,
  ]);
});

test('the log is read on from where it was read without a gap', () => {
  expect(readDownTo([])).toBeNull();
  expect(readDownTo([9, 8, 7])).toBe(7);
  expect(readDownTo([3, 9, 2, 8, 1])).toBe(8);
  expect(readDownTo([1, 2, 3])).toBe(1);
});
