/** What a strip needs to know of a line, and nothing else of it. Pages make it from what the service says. */
import type { TagLook } from './tag.ts';

export interface StripCrossing extends TagLook {
  id: string;
  chainage_m: number;
  /** what is crossed, in words: 'railway' */
  obstacle: string;
}

export interface StripLine {
  designation: string;
  ends: { left: string; right: string };
  /** null: nobody has planned it; its end is not known */
  planned_m: number | null;
  laid_m: number;
  crossings: readonly StripCrossing[];
  /** chainages of good calls back over the wire */
  callBacks_m: readonly number[];
  splices_m: readonly number[];
  /** chainages where a new reel was begun, the first one's start not among them */
  reels_m: readonly number[];
}

/** The part of a line that is looked at, for a phone that follows the laying head. */
export interface StripView {
  from_m: number;
  to_m: number;
}

/** A stretch that is searched for a fault, and where to test next in it. */
export interface StripStretch {
  from_m: number;
  to_m: number;
  at_m: number | null;
}

/** How long the strip is: the plan, or whatever reaches further. */
export function stripLength_m({ planned_m, laid_m, crossings }: StripLine): number {
  return Math.max(planned_m ?? 0, laid_m, ...crossings.map((crossing) => crossing.chainage_m));
}

/** Whether the wire lies over its whole planned length. Half a metre of a plan is nothing to lay. */
export const laidThrough = ({ planned_m, laid_m }: StripLine): boolean =>
  planned_m !== null && laid_m >= planned_m - 0.5;

/** A window of `length_m` around a place of the line. */
export function viewAround(line: StripLine, at_m: number, length_m: number): StripView {
  const whole_m = stripLength_m(line);
  const from_m = Math.max(0, Math.min(at_m - length_m / 2, whole_m - length_m));
  return { from_m, to_m: Math.min(whole_m, from_m + length_m) };
}

/** A window of `length_m` around the laying head, a third behind and two thirds ahead. */
export function viewAtHead(line: StripLine, length_m: number): StripView {
  const whole_m = stripLength_m(line);
  if (whole_m <= length_m) return { from_m: 0, to_m: whole_m };
  const from_m = Math.min(Math.max(line.laid_m - length_m / 3, 0), whole_m - length_m);
  return { from_m, to_m: from_m + length_m };
}
