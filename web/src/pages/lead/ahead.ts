/**
 * What the lead team meets next: the crossing ahead, whether the reel reaches over the next stream, and where
 * a splice would be refused. It reckons along the line with the service's chainages and refuses nothing itself.
 */
import type { CrossingFeature, LineFeature } from '../../api/types.ts';
import { unbroken } from '../../operation/guidance.ts';
import { distance_m } from '../../operation/ground.ts';
import { place } from '../../operation/look.ts';
import type { Place } from '../../operation/reporter.svelte.ts';

/** Wire drawn beyond the ground's distance. SS0444 p. 23: about 20 % of the total distance. */
const SLACK = 1.2;
/** A foreseen crossing is offered from this far. Our own choice. */
const OFFERED_FROM_M = 500;
/** Still ahead when the head stands this little beyond it: positions are no better. */
const BEHIND_M = 30;

export interface Ahead {
  crossing: CrossingFeature;
  away_m: number;
}

const onLine = (line: LineFeature, crossings: Iterable<CrossingFeature>): CrossingFeature[] =>
  [...crossings]
    .filter((crossing) => crossing.properties.line === line.id)
    .sort((a, b) => a.properties.chainage_m - b.properties.chainage_m);

/** The next foreseen crossing from where the wire ends. */
export function nextAhead(line: LineFeature, crossings: Iterable<CrossingFeature>): Ahead | null {
  const from_m = line.properties.laid_length_m;
  const next = onLine(line, crossings).find(
    ({ properties: { state, chainage_m } }) => state === 'foreseen' && chainage_m >= from_m - BEHIND_M,
  );
  return next ? { crossing: next, away_m: Math.max(0, next.properties.chainage_m - from_m) } : null;
}

/** The foreseen crossing that is most likely meant by 'here'; else the next ahead, when it is near. */
export function foreseenNear(
  line: LineFeature,
  crossings: Iterable<CrossingFeature>,
  at: Place | null,
): Ahead | null {
  if (!at) {
    const next = nextAhead(line, crossings);
    return next && next.away_m <= OFFERED_FROM_M ? next : null;
  }
  const near = onLine(line, crossings)
    .filter((crossing) => crossing.properties.state === 'foreseen')
    .map((crossing) => ({ crossing, away_m: distance_m(at, place(crossing.geometry.coordinates)) }))
    .sort((a, b) => a.away_m - b.away_m)[0];
  return near && near.away_m <= OFFERED_FROM_M ? near : null;
}

/** Crossings that were marked and have no wire over yet. */
export const notPassed = (line: LineFeature, crossings: Iterable<CrossingFeature>): CrossingFeature[] =>
  onLine(line, crossings).filter(
    ({ properties: { state, passed_at } }) =>
      state === 'marked' || (state === 'in_hand' && passed_at === null),
  );

export interface Span {
  from_m: number;
  to_m: number;
}

/** The stretches of the line in which no splice may fall, the nearest first. */
export function spansNear(
  line: LineFeature,
  crossings: Iterable<CrossingFeature>,
  chainage_m: number,
): (Span & { inside: boolean })[] {
  const away = ({ from_m, to_m }: Span) => Math.max(from_m - chainage_m, chainage_m - to_m, 0);
  return onLine(line, crossings)
    .flatMap((crossing) => unbroken(crossing) ?? [])
    .map((span) => ({ ...span, inside: away(span) === 0 }))
    .sort((a, b) => away(a) - away(b));
}

export interface OnReel {
  label: string;
  left_m: number;
  /** the next stream that this reel comes to; `enough` when it reaches over it */
  stream: (Span & { at_m: number; enough: boolean }) | null;
}

/** What is left on the reel in use, and whether it carries the line over the next stream without a splice. */
export function onReel(line: LineFeature, crossings: Iterable<CrossingFeature>): OnReel | null {
  const { reels, reel_left_m, laid_length_m } = line.properties;
  const reel = reels.at(-1);
  if (!reel || reel_left_m === null) return null;
  const reach_m = laid_length_m + reel_left_m / SLACK;
  const stream = onLine(line, crossings)
    .filter(({ properties: { state } }) => state === 'foreseen' || state === 'marked')
    .flatMap((crossing) => {
      const span = unbroken(crossing);
      return span && span.to_m > laid_length_m && span.from_m <= reach_m
        ? [{ ...span, at_m: crossing.properties.chainage_m, enough: span.to_m <= reach_m }]
        : [];
    })[0];
  return { label: reel.label, left_m: reel_left_m, stream: stream ?? null };
}
