/**
 * Where everything of a drawn span goes, to scale: one metre is as long upward as along. It draws nothing,
 * reckons nothing of the trade and knows no colour; every point is the service's. Lengths in metres, places in
 * CSS pixels.
 */
import type { SpanAnswer, SpanHang, SpanPoint } from '../api/types.ts';

/** The part of the span that is looked at: from the left tie, and above the level that heights are counted from. */
export interface View {
  left_m: number;
  right_m: number;
  low_m: number;
  high_m: number;
}

/** A sheet of paper on which a view is drawn. */
export interface Frame {
  width: number;
  height: number;
  /** pixels for a metre, either way */
  scale: number;
  x: (offset_m: number) => number;
  y: (height_m: number) => number;
}

export interface Margins {
  side: number;
  top: number;
  foot: number;
}

/** Fits a view into a width, and into a height for what is higher than it is long; what is left over is shared by both sides. */
export function fit(view: View, width: number, most_height: number, margins: Margins): Frame {
  const [long_m, high_m] = [view.right_m - view.left_m, view.high_m - view.low_m];
  const room = { across: width - 2 * margins.side, up: most_height - margins.top - margins.foot };
  const scale = Math.max(0, Math.min(room.across / long_m, room.up / high_m));
  const left = (width - long_m * scale) / 2;
  return {
    width,
    height: high_m * scale + margins.top + margins.foot,
    scale,
    x: (offset_m) => left + (offset_m - view.left_m) * scale,
    y: (height_m) => margins.top + (view.high_m - height_m) * scale,
  };
}

/** The points as an SVG path, to a hundredth of a pixel. */
export function path(frame: Frame, points: readonly SpanPoint[]): string {
  const at = (figure: number) => String(Math.round(figure * 100) / 100);
  return points
    .map(({ offset_m, height_m }, index) => {
      return `${index === 0 ? 'M' : 'L'}${at(frame.x(offset_m))} ${at(frame.y(height_m))}`;
    })
    .join('');
}

/** How the wire hangs in a condition; null when it breaks in it. */
export const hangIn = (answer: SpanAnswer, condition: string): SpanHang | null =>
  answer.conditions.find((one) => one.condition === condition)?.hang ?? null;

/** The condition that is drawn boldly: the one with the least clearance; as it is strung, where the wire breaks in it. */
export function governing(answer: SpanAnswer): { condition: string; hang: SpanHang | null } {
  const condition = answer.clearance?.governs ?? answer.strength.governs;
  const hang = hangIn(answer, condition);
  return hang ? { condition, hang } : { condition: 'stringing', hang: hangIn(answer, 'stringing') };
}

/** A lorry is drawn this high and wide. Council Directive 96/53/EC, annex I: 4.00 m and 2.55 m at the most, from memory. */
export const LORRY = { high_m: 4, wide_m: 2.55 };

const MARGIN_M = 1;

/** From tie to tie, with the ground and all that hangs. */
export function wholeSpan(answer: SpanAnswer): View {
  return around(answer, -Infinity, Infinity);
}

/** The road or the water alone, with what hangs over it. */
export function overIt(answer: SpanAnswer): View {
  const { surface } = answer.drawing;
  const [from_m, to_m] = [surface[0]?.offset_m ?? -Infinity, surface.at(-1)?.offset_m ?? Infinity];
  const aside_m = Math.max(1.5, (to_m - from_m) / 4);
  return around(answer, from_m - aside_m, to_m + aside_m);
}

function around({ drawing, conditions }: SpanAnswer, from_m: number, to_m: number): View {
  const seen = [
    ...drawing.left,
    ...drawing.right,
    ...drawing.surface,
    ...drawing.clearance_line,
    ...conditions.flatMap((one) => one.hang?.wire ?? []),
  ].filter(({ offset_m }) => offset_m >= from_m && offset_m <= to_m);
  const [across, up] = [seen.map((point) => point.offset_m), seen.map((point) => point.height_m)];
  const top_m = Math.max(...drawing.surface.map((point) => point.height_m)) + LORRY.high_m;
  return {
    left_m: Number.isFinite(from_m) ? from_m : Math.min(...across) - MARGIN_M,
    right_m: Number.isFinite(to_m) ? to_m : Math.max(...across) + MARGIN_M,
    low_m: Math.min(...up) - MARGIN_M / 2,
    high_m: Math.max(...up, Number.isFinite(top_m) ? top_m : -Infinity) + MARGIN_M / 4,
  };
}

/** The ground from the left foot over the edges of what is crossed to the right foot. */
export function ground({ drawing: { left, right, surface } }: SpanAnswer): SpanPoint[][] {
  const [from, to] = [left[0], right[0]];
  if (!from || !to) return [];
  const [first, last] = [surface[0], surface.at(-1)];
  return first && last
    ? [
        [from, first],
        [last, to],
      ]
    : [[from, to]];
}

/** Where a lorry stands on the road: on its right half, or in the middle of one that has no two lanes for it. */
export function lorryAt(surface: readonly SpanPoint[]): { offset_m: number; height_m: number } | null {
  const [first, last] = [surface[0], surface.at(-1)];
  if (!first || !last) return null;
  const wide_m = last.offset_m - first.offset_m;
  const offset_m = first.offset_m + wide_m * (wide_m >= 2 * LORRY.wide_m ? 0.75 : 0.5);
  return { offset_m, height_m: heightAt(surface, offset_m) };
}

/** The height of a drawn line at an offset, straight between its points. */
export function heightAt(points: readonly SpanPoint[], offset_m: number): number {
  const next = points.findIndex((point) => point.offset_m >= offset_m);
  const [after, before] = [points[next === -1 ? points.length - 1 : next], points[Math.max(0, next - 1)]];
  if (!after || !before) return 0;
  const long_m = after.offset_m - before.offset_m;
  if (next < 1 || long_m === 0) return after.height_m;
  return before.height_m + ((after.height_m - before.height_m) * (offset_m - before.offset_m)) / long_m;
}
