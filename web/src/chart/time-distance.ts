/**
 * Where a line's teams were and when: distance along the line goes across, time goes down. It knows places and moments
 * and where they stand on the sheet; what was reported, and what the figures are, comes from the review.
 */

/** A moment and a place along the line. */
export interface Knot {
  at_ms: number;
  chainage_m: number;
}

/** What one team did along the line, straight from each report to the next. */
export interface Way {
  team: string;
  work: 'laying' | 'finishing';
  knots: readonly Knot[];
}

/** A crossing from when the wire was over it until it was finished. */
export interface Open {
  /** its number on the sheet, from 1 */
  number: number;
  chainage_m: number;
  passed_ms: number;
  /** null: it is not finished yet */
  finished_ms: number | null;
}

/** By when half of the runs of a forecast were so far, and by when nine of ten. */
export interface Expected {
  chainage_m: number;
  half_ms: number;
  most_ms: number;
}

export interface Picture {
  length_m: number;
  from_ms: number;
  /** up to when the log tells */
  told_ms: number;
  ways: readonly Way[];
  open: readonly Open[];
  calls: readonly Knot[];
  expected: { laying: readonly Expected[]; finishing: readonly Expected[] } | null;
}

const MINUTE_MS = 60_000;
/** A forecast that goes on for longer than what happened is cut there: it is about what happened. */
const TIMES_AS_LONG = 2;

/** The last moment that the sheet has room for. */
export function end_ms({ from_ms, told_ms, ways, open, calls, expected }: Picture): number {
  const happened = [
    ...ways.flatMap((way) => way.knots.map((knot) => knot.at_ms)),
    ...open.flatMap((one) => [one.passed_ms, one.finished_ms ?? told_ms]),
    ...calls.map((call) => call.at_ms),
  ];
  const last_ms = Math.max(from_ms + MINUTE_MS, ...happened);
  const foreseen = [...(expected?.laying ?? []), ...(expected?.finishing ?? [])].map((one) => one.most_ms);
  return Math.min(Math.max(last_ms, ...foreseen), from_ms + TIMES_AS_LONG * (last_ms - from_ms));
}

/** Where the sheet's field lies, in its own units. */
export interface Field {
  left: number;
  top: number;
  right: number;
  bottom: number;
}

export interface Sheet {
  x: (chainage_m: number) => number;
  y: (at_ms: number) => number;
}

/** Even scales: a metre and a minute are as long everywhere on the sheet. */
export function sheet(picture: Picture, { left, top, right, bottom }: Field): Sheet {
  const last_ms = end_ms(picture);
  const length_m = Math.max(picture.length_m, 1);
  return {
    x: (chainage_m) => left + (Math.min(Math.max(chainage_m, 0), length_m) / length_m) * (right - left),
    y: (at_ms) => top + ((at_ms - picture.from_ms) / (last_ms - picture.from_ms)) * (bottom - top),
  };
}

const rounded = (value: number): string => String(Math.round(value * 100) / 100);

/** A way as an SVG path; empty where there is no more than one knot. */
export function path(knots: readonly Knot[], { x, y }: Sheet): string {
  if (knots.length < 2) return '';
  return knots
    .map(
      ({ at_ms, chainage_m }, index) =>
        `${index === 0 ? 'M' : 'L'}${rounded(x(chainage_m))} ${rounded(y(at_ms))}`,
    )
    .join('');
}

/** The ground between what half of the runs and what nine of ten came to, as a closed SVG path. */
export function band(expected: readonly Expected[], from: Knot, { x, y }: Sheet): string {
  if (expected.length === 0) return '';
  const point = (chainage_m: number, at_ms: number) => `${rounded(x(chainage_m))} ${rounded(y(at_ms))}`;
  const there = expected.map((one) => point(one.chainage_m, one.half_ms));
  const back = expected.toReversed().map((one) => point(one.chainage_m, one.most_ms));
  return `M${[point(from.chainage_m, from.at_ms), ...there, ...back].join('L')}Z`;
}

const STEPS_MIN = [1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440, 2880, 10_080, 43_200, 525_600];

/** Moments for the marks at the sheet's side: whole minutes or hours of the reader's clock, at most so many. */
export function moments(from_ms: number, to_ms: number, most: number): number[] {
  const span_min = (to_ms - from_ms) / MINUTE_MS;
  const step_min = STEPS_MIN.find((step) => span_min / step <= most) ?? span_min / Math.max(most, 1);
  const step_ms = Math.max(step_min, 1) * MINUTE_MS;
  // Counted from the reader's midnight, so that the marks are whole hours of the clock beside them.
  const midnight = new Date(from_ms);
  midnight.setHours(0, 0, 0, 0);
  const first = Math.ceil((from_ms - midnight.getTime()) / step_ms);
  const all: number[] = [];
  for (let at_ms = midnight.getTime() + first * step_ms; at_ms <= to_ms; at_ms += step_ms) all.push(at_ms);
  return all;
}

/** Which of the marks along the top have room for their words, of those that stand closer than `room`. */
export function spaced(places: readonly number[], room: number): boolean[] {
  let last = -Infinity;
  return places.map((place) => {
    const has = place - last >= room;
    if (has) last = place;
    return has;
  });
}
