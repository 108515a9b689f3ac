/**
 * Sheets of paper: their sizes, what of them is written on, and how a list is cut to fit them. Everything is in
 * millimetres, as it is on paper. A4: ISO 216. Letter: 8.5 by 11 inches of 25.4 mm (ANSI/ASME Y14.1, from memory).
 */

export const papers = ['a4', 'letter', 'a4_landscape', 'letter_landscape'] as const;
export type PaperSize = (typeof papers)[number];

export const paperNames: Record<PaperSize, string> = {
  a4: 'A4',
  letter: 'Letter',
  a4_landscape: 'A4, landscape',
  letter_landscape: 'Letter, landscape',
};

export const sheet: Record<PaperSize, { width_mm: number; height_mm: number }> = {
  a4: { width_mm: 210, height_mm: 297 },
  letter: { width_mm: 215.9, height_mm: 279.4 },
  a4_landscape: { width_mm: 297, height_mm: 210 },
  letter_landscape: { width_mm: 279.4, height_mm: 215.9 },
};

/** Left white on every side; printers reach to within 10 mm of the edge (common practice, no source). */
export const MARGIN_MM = 12;
/** What the head and the foot of a sheet take. */
export const HEAD_MM = 24;
export const FOOT_MM = 7;
/** Left below what is written, so that a printer's own rounding makes no sheet more. */
const SPARE_MM = 1;

/** Where a record is written: between the margins, below the head and above the foot. */
export function room(paper: PaperSize): { width_mm: number; height_mm: number } {
  const { width_mm, height_mm } = sheet[paper];
  return {
    width_mm: width_mm - 2 * MARGIN_MM,
    height_mm: height_mm - 2 * MARGIN_MM - HEAD_MM - FOOT_MM - SPARE_MM,
  };
}

/** What tells the printer the paper. The margins are the printer's own, so that a sheet is never made smaller to fit. */
export function pageStyle(paper: PaperSize): string {
  const { width_mm, height_mm } = sheet[paper];
  return `@page{size:${width_mm}mm ${height_mm}mm;margin:${MARGIN_MM}mm}`;
}

/** Millimetres to CSS pixels: an inch is 96 pixels (CSS Values and Units, section 'Absolute lengths'). */
export const pixels = (length_mm: number): number => (length_mm * 96) / 25.4;

/**
 * Cuts a list into sheets: how many of it go on each, the first sheet having less room. What is higher than a whole
 * sheet has one to itself. There is always one sheet, so that an empty list says that it is empty.
 */
export function cut(heights: readonly number[], first: number, others: number): number[] {
  const sheets = [0];
  let left = first;
  for (const height of heights) {
    const on = sheets.at(-1) ?? 0;
    if (height > left && (on > 0 || left < others)) {
      sheets.push(0);
      left = others;
    }
    sheets[sheets.length - 1] = (sheets.at(-1) ?? 0) + 1;
    left -= height;
  }
  return sheets;
}

/** The list's parts, sheet by sheet. */
export function sheetsOf<T>(list: readonly T[], counts: readonly number[]): T[][] {
  let from = 0;
  return counts.map((count) => list.slice(from, (from += count)));
}
