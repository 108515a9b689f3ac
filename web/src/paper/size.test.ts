import { expect, it } from 'vitest';
import { cut, MARGIN_MM, pageStyle, papers, pixels, room, sheet, sheetsOf } from './size.ts';

it('the sheets are as large as ISO 216 and the inch say', () => {
  expect(sheet.a4).toEqual({ width_mm: 210, height_mm: 297 });
  expect(sheet.letter.width_mm).toBeCloseTo(8.5 * 25.4, 9);
  expect(sheet.letter.height_mm).toBeCloseTo(11 * 25.4, 9);
  expect([sheet.a4_landscape.height_mm, sheet.letter_landscape.height_mm]).toEqual([210, 215.9]);
  for (const paper of papers) expect(room(paper).width_mm).toBe(sheet[paper].width_mm - 2 * MARGIN_MM);
  expect(MARGIN_MM).toBeGreaterThanOrEqual(10);
  expect(pageStyle('letter')).toBe('@page{size:215.9mm 279.4mm;margin:12mm}');
  expect(pixels(25.4)).toBeCloseTo(96, 9);
});

it('a list goes on with the next sheet where the next row does not fit', () => {
  expect(cut([10, 10, 10, 10, 10], 25, 35)).toEqual([2, 3]);
  expect(cut([10, 10, 10], 30, 30)).toEqual([3]);
  expect(cut([], 30, 30)).toEqual([0]);
});

it('what is above the list may take the first sheet, and what is too high has a sheet to itself', () => {
  expect(cut([10, 10], 5, 30)).toEqual([0, 2]);
  expect(cut([10, 90, 10], 30, 30)).toEqual([1, 1, 1]);
  expect(cut([90], 30, 30)).toEqual([1]);
});

it('nothing of a list is lost or written twice', () => {
  const heights = Array.from({ length: 137 }, (_, index) => 4 + ((index * 7) % 11));
  const counts = cut(heights, 60, 100);
  const list = heights.map((_, index) => index);
  expect(sheetsOf(list, counts).flat()).toEqual(list);
  for (const [index, on] of sheetsOf(heights, counts).entries()) {
    expect(on.reduce((sum, height) => sum + height, 0)).toBeLessThanOrEqual(index === 0 ? 60 : 100);
  }
});
