/**
 * A trace as it is being drawn: places in the order in which the wire runs, one of them chosen, and every step that led
 * there. Nothing is changed in place; a step that changes nothing is none. It knows neither map nor service.
 */
import { moved } from '../../operation/ground.ts';
import type { Place } from '../../operation/reporter.svelte.ts';

export interface Drawing {
  readonly places: readonly Place[];
  /** which place is chosen, counted from 0 */
  readonly chosen: number | null;
}

export interface Steps {
  readonly now: Drawing;
  readonly past: readonly Drawing[];
  readonly future: readonly Drawing[];
}

/** More steps than this are not remembered. */
export const MOST_STEPS = 200;
/** More places than this are not drawn by hand; a longer trace is imported as it is. */
export const MOST_PLACES = 20_000;

export const begun = (places: readonly Place[]): Steps => ({
  now: { places, chosen: places.length > 0 ? places.length - 1 : null },
  past: [],
  future: [],
});

/** Goes on to another drawing. What was undone before is gone. */
function step(steps: Steps, next: Drawing): Steps {
  if (same(steps.now.places, next.places)) return { ...steps, now: next };
  return { now: next, past: [...steps.past, steps.now].slice(-MOST_STEPS), future: [] };
}

const same = (a: readonly Place[], b: readonly Place[]): boolean =>
  a.length === b.length && a.every((place, n) => place[0] === b[n]?.[0] && place[1] === b[n][1]);

export function undo({ now, past, future }: Steps): Steps {
  const before = past.at(-1);
  return before ? { now: before, past: past.slice(0, -1), future: [now, ...future] } : { now, past, future };
}

export function redo({ now, past, future }: Steps): Steps {
  const [next, ...rest] = future;
  return next ? { now: next, past: [...past, now], future: rest } : { now, past, future };
}

export const choose = (steps: Steps, chosen: number | null): Steps => ({
  ...steps,
  now: { ...steps.now, chosen: chosen !== null && steps.now.places[chosen] ? chosen : null },
});

/** Adds a place behind the chosen one, and chooses it: at the far end the trace grows, between two places it bends. */
export function add(steps: Steps, place: Place): Steps {
  const { places, chosen } = steps.now;
  if (places.length >= MOST_PLACES) return steps;
  const at = chosen === null ? places.length : chosen + 1;
  return step(steps, { places: places.toSpliced(at, 0, place), chosen: at });
}

/** Puts a place in the middle of the leg that begins at this place, and chooses it. */
export function insert(steps: Steps, leg: number): Steps {
  const [from, to] = [steps.now.places[leg], steps.now.places[leg + 1]];
  if (!from || !to) return steps;
  return add(choose(steps, leg), [(from[0] + to[0]) / 2, (from[1] + to[1]) / 2]);
}

/** Puts a place elsewhere. A whole drag is one step: it is told when it ends. */
export function move(steps: Steps, which: number, to: Place): Steps {
  if (!steps.now.places[which]) return steps;
  return step(steps, { places: steps.now.places.with(which, to), chosen: which });
}

/** Moves the chosen place over the ground. */
export function nudge(steps: Steps, east_m: number, north_m: number): Steps {
  const { places, chosen } = steps.now;
  const place = chosen === null ? undefined : places[chosen];
  return chosen === null || !place ? steps : move(steps, chosen, moved(place, east_m, north_m));
}

/** Takes a place out, and chooses the one before it. */
export function remove(steps: Steps, which: number): Steps {
  const { places } = steps.now;
  if (!places[which]) return steps;
  const rest = places.toSpliced(which, 1);
  return step(steps, { places: rest, chosen: rest.length === 0 ? null : Math.max(0, which - 1) });
}

/** The whole trace anew: imported, or from a saved plan. */
export const replace = (steps: Steps, places: readonly Place[]): Steps =>
  step(steps, { places: places.slice(0, MOST_PLACES), chosen: places.length > 0 ? places.length - 1 : null });

/** The other way round: the wire is to be laid from the far end. */
export function turnRound(steps: Steps): Steps {
  const { places, chosen } = steps.now;
  return step(steps, {
    places: places.toReversed(),
    chosen: chosen === null ? null : places.length - 1 - chosen,
  });
}
