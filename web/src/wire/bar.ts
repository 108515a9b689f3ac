/**
 * Reels along a line: what the bar under the strip shows. The service reckons in wire drawn; here that is only
 * brought onto the strip's chainage, through the items that the wire is made of.
 */
import type { LineReckoning, ReelsAnswer, ReelsInput, WireItem } from '../api/types.ts';

export interface Piece {
  key: string;
  label: string;
  from_m: number;
  to_m: number;
  /** what is left on it */
  left_m: number;
}

export interface Knot {
  chainage_m: number;
  /** what forbids a splice here, where something does */
  inside: string | null;
}

/** Everything on a bar, by chainage. */
export interface Bar {
  pieces: readonly Piece[];
  knots: readonly Knot[];
  /** where no splice between reels may fall */
  closed: readonly { from_m: number; to_m: number; what: string }[];
}

/** Where on the ground a length of wire drawn reaches to. Between the ends of an item the wire lies evenly. */
export function chainageOf(items: readonly WireItem[], drawn_m: number): number {
  let before_m = 0;
  for (const { drawn_m: item_m, from_chainage_m, to_chainage_m } of items) {
    if (drawn_m <= before_m + item_m && item_m > 0) {
      return from_chainage_m + ((to_chainage_m - from_chainage_m) * Math.max(0, drawn_m - before_m)) / item_m;
    }
    before_m += item_m;
  }
  return items.at(-1)?.to_chainage_m ?? 0;
}

const closedOn = (line: LineReckoning): Bar['closed'] =>
  line.no_splice.map((one) => ({ from_m: one.from_chainage_m, to_m: one.to_chainage_m, what: one.what }));

/** Reels that were begun and splices that were made, as they were reported. */
export function reported(line: LineReckoning): Bar {
  return {
    pieces: line.reels.map(({ id, label, from, to, left_m }) => ({
      key: id,
      label,
      from_m: from.chainage_m,
      to_m: to.chainage_m,
      left_m,
    })),
    knots: line.splices.map(({ place, forbidden_by }) => ({
      chainage_m: place.chainage_m,
      inside: line.no_splice.find((one) => one.crossing === forbidden_by)?.what ?? null,
    })),
    closed: closedOn(line),
  };
}

/** The wire drawn up to which the reels that lie there reach: what is left on the last is laid first. */
export function reached_m(line: LineReckoning): number {
  const last = line.reels.at(-1);
  if (!last) return 0;
  const runs_out_m = last.to.drawn_m + Math.max(0, last.left_m);
  const closed = line.no_splice.find((one) => one.from_m < runs_out_m && runs_out_m < one.to_m);
  return Math.min(closed?.from_m ?? runs_out_m, line.draw_m);
}

export interface AtHand {
  label: string;
  left_m: number;
  class: 'a' | 'b';
}

/** Which reels to take for what is still to be laid, with the stretches that lie there; null when nothing is. */
export function planAsked(
  line: LineReckoning,
  reels: readonly AtHand[],
  class_b: boolean,
): ReelsInput | null {
  const from_m = reached_m(line);
  const length_m = line.draw_m - from_m;
  if (reels.length === 0 || length_m < 1) return null;
  return {
    length_m,
    class_b,
    reels: reels.map(({ label, left_m, class: tagged }) => ({ label, left_m, class: tagged })),
    no_splice: line.no_splice
      .filter((one) => one.to_m > from_m && one.from_m < line.draw_m)
      .map((one) => ({
        from_m: Math.max(0, one.from_m - from_m),
        to_m: Math.min(length_m, one.to_m - from_m),
        what: one.what,
      })),
  };
}

/** The reels that the service chose, on the strip; null when they do not reach. A splice stands where two meet. */
export function proposed(line: LineReckoning, answer: ReelsAnswer): Bar | null {
  if (answer.outcome.outcome !== 'planned') return null;
  const from_m = reached_m(line);
  const at = (drawn_m: number) => chainageOf(line.wire.items, from_m + drawn_m);
  const { pieces } = answer.outcome;
  return {
    pieces: pieces.map(({ reel, label, from_m: begins_m, to_m, rest_m }) => ({
      key: String(reel),
      label,
      from_m: at(begins_m),
      to_m: at(to_m),
      left_m: rest_m,
    })),
    // The first is spliced to what lies there, if wire does.
    knots: pieces.slice(from_m > 0 ? 0 : 1).map((piece) => ({ chainage_m: at(piece.from_m), inside: null })),
    closed: closedOn(line),
  };
}

export interface Need {
  needed_m: number;
  drawn_m: number;
  still_m: number;
  left_m: number;
  short_m: number;
}

/** What the line still takes, beside what is on the reel in use. */
export function need(line: LineReckoning): Need {
  const drawn_m = line.head?.drawn_m ?? 0;
  const still_m = Math.max(0, line.draw_m - drawn_m);
  const left_m = Math.max(0, line.reels.at(-1)?.left_m ?? 0);
  return { needed_m: line.draw_m, drawn_m, still_m, left_m, short_m: Math.max(0, still_m - left_m) };
}
