/**
 * From the receiver's fixes to where the wire lies. Bad fixes are kept out, a halt is one place however the
 * receiver wanders, a time without fixes becomes a straight step that is said to be one, and what is left is
 * thinned so that no fix taken on the move lies farther than `TOLERANCE_M`, or its accuracy, from the trace. It reports nothing,
 * keeps nothing and reads no clock: each step takes a track and gives the next. All bounds are our own choice.
 */
import { distance_m, offset } from '../operation/ground.ts';
import type { Place } from '../operation/reporter.svelte.ts';
import { simplify, type Point } from './simplify.ts';

/** A fix that is known no better than this is kept out: across a road a line would change sides. */
export const WORST_ACCURACY_M = 30;
/** No fix taken on the move lies farther than this from the trace, or than the fixes' middle accuracy where that is worse. */
export const TOLERANCE_M = 5;
/** Nobody lays wire faster than this, 54 km/h, and the fix that says so is kept out. */
export const FASTEST_M_S = 15;
/** So many fixes that follow one another say that it was no error after all. */
const AGREED = 5;
/** For this long within `HALT_M`, or within the receiver's own accuracy where that is worse: a halt. */
export const HALT_MS = 30_000;
const HALT_M = 8;
/** A halt is over when this far from it, or three times the accuracy up to `FAR_OUT_M`, for `LEAVE_MS` running. */
export const LEAVE_M = 15;
const FAR_OUT_M = 40;
const LEAVE_MS = 10_000;
/** The middle of a halt is that of about so many of its last fixes, so that it follows a slow drift. */
const MIDDLE_OF = 300;
/** Without a fix for longer than this, the way in between is not known. */
export const GAP_MS = 60_000;
/** Farther than this from where the wire ends nobody goes on laying it: somebody has to say that it is so. */
export const LONGEST_STEP_M = 500;
/** Reported when it is this far on, straight over the ground, or at the latest after this time. */
export const REPORT_M = 100;
export const REPORT_MS = 60_000;
/** A step shorter than this over a time without fixes is not worth a word. */
export const GAP_M = 50;

export interface Fix {
  place: Place;
  accuracy_m: number;
  at_ms: number;
}

/** A place at which the crew halts. */
export interface Halt {
  /** the trace's point for it; it lies in the middle until it is reported, and then where it was reported */
  place: Place;
  told: boolean;
  /** the middle of its fixes, and how many they are */
  middle: Place;
  fixes: number;
  /** fixes since that lie outside */
  outside: Fix[];
  /** the step to the first of them, when it is over a time without fixes */
  gap: Gap | null;
}

/** A step of the trace over a time without fixes: straight, because nothing better is known. */
export interface Gap {
  /** how long nothing was known; null for the step from where the wire ended to where laying went on */
  lasted_ms: number | null;
  step_m: number;
}

export interface Track {
  /** where the reported trace ends; null before anything is laid */
  head: Place | null;
  /** fixes taken on the move since then */
  moving: Fix[];
  halt: Halt | null;
  /** the last fix that was taken */
  last: Fix | null;
  /** fixes that were too far away too soon, until so many agree */
  doubted: Fix[];
  /** when it was reported last */
  reported_ms: number;
  /** gaps since the last report */
  gaps: Gap[];
  /** the wire ends too far from here to go on by itself */
  far_m: number | null;
  tally: Tally;
}

export interface Tally {
  /** fixes that were taken, and that were kept out */
  taken: number;
  keptOut: number;
  /** from each fix that was taken to the next */
  raw_m: number;
  /** of the trace that was reported from them */
  laid_m: number;
  /** straight steps over times without fixes */
  gaps: number;
  gaps_m: number;
}

export function begin(head: Place | null, at_ms: number): Track {
  return {
    head,
    moving: [],
    // Where the wire ends is where the crew stands, until it is seen to have left.
    halt: head && haltedAt(head),
    last: null,
    doubted: [],
    reported_ms: at_ms,
    gaps: [],
    far_m: null,
    tally: { taken: 0, keptOut: 0, raw_m: 0, laid_m: 0, gaps: 0, gaps_m: 0 },
  };
}

const haltedAt = (place: Place): Halt => ({
  place,
  told: true,
  middle: place,
  fixes: 1,
  outside: [],
  gap: null,
});

/** After a pause: what was walked in between is not laid, so that the next fix begins anew at the head. */
export function goOn(track: Track, head: Place | null, at_ms: number): Track {
  return { ...begin(head, at_ms), tally: track.tally };
}

/** The next fix. */
export function take(track: Track, fix: Fix): Track {
  const { last, tally } = track;
  const keptOut = { ...track, tally: { ...tally, keptOut: tally.keptOut + 1 } };
  if (!(fix.accuracy_m < WORST_ACCURACY_M)) return keptOut;
  if (last && fix.at_ms <= last.at_ms) return keptOut;
  if (last && leaps(last, fix)) {
    const doubted = [...track.doubted, fix];
    const agree = doubted.length >= AGREED && doubted.every((one, n) => !leaps(doubted[n - 1] ?? one, one));
    // The newest is always kept to agree with; three that follow one another were no error.
    if (!agree) return { ...keptOut, doubted: doubted.slice(1 - AGREED) };
  }
  const jumps = last !== null && leaps(last, fix);
  // Both lengths begin where the wire ended.
  const before = last?.place ?? track.head;
  const step_m = before ? distance_m(before, fix.place) : 0;
  const taken: Track = {
    ...track,
    last: fix,
    doubted: [],
    tally: { ...tally, taken: tally.taken + 1, raw_m: tally.raw_m + step_m },
  };
  const end = endOf(track);
  // Where the first fix was itself the error, nothing has been laid from it yet.
  if (!end || (jumps && !track.head)) return { ...taken, moving: [fix], halt: null };
  const far_m = distance_m(end, fix.place);
  if (far_m > LONGEST_STEP_M) return { ...taken, far_m };
  const near = { ...taken, far_m: null };
  const blind_ms = last && track.far_m === null ? fix.at_ms - last.at_ms : null;
  const blind = far_m >= GAP_M && (blind_ms === null || blind_ms > GAP_MS || jumps);
  if (near.halt) return leaving(near, near.halt, fix, blind ? { lasted_ms: blind_ms, step_m: far_m } : null);
  const moved = { ...near, moving: [...near.moving, fix] };
  return halting(blind ? withGap(moved, { lasted_ms: blind_ms, step_m: far_m }) : moved);
}

const leaps = (from: Fix, to: Fix): boolean =>
  distance_m(from.place, to.place) >
  ((to.at_ms - from.at_ms) / 1000) * FASTEST_M_S + from.accuracy_m + to.accuracy_m;

const withGap = (track: Track, gap: Gap): Track => ({
  ...track,
  gaps: [...track.gaps, gap],
  tally: { ...track.tally, gaps: track.tally.gaps + 1, gaps_m: track.tally.gaps_m + gap.step_m },
});

/** At a halt: a fix near by makes its place better known; only several running outside it say that it is over. */
function leaving(track: Track, halt: Halt, fix: Fix, gap: Gap | null): Track {
  const away_m = distance_m(halt.middle, fix.place);
  if (away_m <= Math.min(FAR_OUT_M, Math.max(LEAVE_M, 3 * fix.accuracy_m))) {
    const fixes = Math.min(halt.fixes + 1, MIDDLE_OF);
    const middle = towards(halt.middle, fix.place, 1 / fixes);
    const place = halt.told ? halt.place : middle;
    return { ...track, halt: { ...halt, place, middle, fixes, outside: [], gap: null } };
  }
  const outside = [...halt.outside, fix];
  const step = gap ?? halt.gap;
  const [first = fix] = outside;
  if (outside.length < 3 || fix.at_ms - first.at_ms < LEAVE_MS) {
    return { ...track, halt: { ...halt, outside, gap: step } };
  }
  const at: Fix = { place: halt.place, accuracy_m: fix.accuracy_m, at_ms: first.at_ms };
  // A place that was reported is the head itself; any other is the trace's next point.
  const moving = [...track.moving, ...(halt.told ? [] : [at]), ...outside];
  const left: Track = { ...track, halt: null, moving };
  return step ? withGap(left, step) : left;
}

/** On the move: if all fixes of the last half minute lie together, it is a halt, and its place their middle. */
function halting(track: Track): Track {
  const now_ms = track.last?.at_ms ?? 0;
  const first = track.moving.findIndex(({ at_ms }) => now_ms - at_ms <= HALT_MS);
  const together = track.moving.slice(first);
  const [oldest] = together;
  // Half a minute has to be filled, or nearly: two fixes in a second are no halt.
  if (!oldest || together.length < 3 || now_ms - oldest.at_ms < 0.8 * HALT_MS) return track;
  const place = together.reduce<Place>(
    (middle, fix, n) => towards(middle, fix.place, 1 / (n + 1)),
    oldest.place,
  );
  const within_m = Math.max(HALT_M, ...together.map(({ accuracy_m }) => accuracy_m));
  if (together.some((fix) => distance_m(place, fix.place) > within_m)) return track;
  const moving = track.moving.slice(0, first);
  const end = moving.at(-1)?.place ?? track.head;
  // Halted again where the trace ends: it does not grow by that.
  if (end && moving.length === 0 && distance_m(end, place) <= LEAVE_M) {
    return { ...track, moving, halt: { ...haltedAt(end), middle: place, fixes: together.length } };
  }
  return { ...track, moving, halt: { ...haltedAt(place), told: false, fixes: together.length } };
}

const towards = ([lon, lat]: Place, [toLon, toLat]: Place, share: number): Place => [
  lon + (toLon - lon) * share,
  lat + (toLat - lat) * share,
];

/** Where the wire ends by what is known now, reported or not. */
export const endOf = ({ halt, moving, head }: Track): Place | null =>
  halt?.place ?? moving.at(-1)?.place ?? head;

/** What has not been reported yet, thinned: on from the head, which is not among it. */
export function unreported({ head, moving, halt }: Track): Place[] {
  const places = [
    ...(head ? [head] : []),
    ...moving.map(({ place }) => place),
    ...(halt && !halt.told ? [halt.place] : []),
  ];
  const [origin] = places;
  if (!origin) return [];
  const path = places.map((place): Point => {
    const { east_m, north_m } = offset(origin, place);
    return [east_m, north_m];
  });
  const kept = simplify(path, tolerance_m(moving)).flatMap((n) => (places[n] ? [written(places[n])] : []));
  return head ? kept.slice(1) : kept;
}

/** What the receiver itself does not know is not drawn: its error would be laid as wire. */
function tolerance_m(moving: readonly Fix[]): number {
  const accuracies = moving.map(({ accuracy_m }) => accuracy_m).sort((a, b) => a - b);
  return Math.max(TOLERANCE_M, accuracies[Math.floor(accuracies.length / 2)] ?? 0);
}

/** To seven decimals of a degree, about a centimetre. */
const written = ([lon, lat]: Place): Place => [Number(lon.toFixed(7)), Number(lat.toFixed(7))];

/** How long what has not been reported is. */
export function unreported_m(track: Track): number {
  let from = track.head;
  let sum_m = 0;
  for (const place of unreported(track)) {
    if (from) sum_m += distance_m(from, place);
    from = place;
  }
  return sum_m;
}

/** Whether it is time to report: enough is laid, or something is and has waited long enough. */
export function isDue(track: Track, now_ms: number): boolean {
  const end = endOf(track);
  const from = track.head ?? track.moving[0]?.place ?? end;
  if (!end || !from) return false;
  // Nothing is laid yet: the first place is worth more once it is the middle of a halt, or is left.
  if (!track.head && track.halt) return true;
  const more_m = distance_m(from, end);
  return more_m >= REPORT_M || (now_ms - track.reported_ms >= REPORT_MS && more_m >= LEAVE_M);
}

/** What there is to report now, and the track once it is. */
export function report(track: Track, now_ms: number): { positions: Place[]; gaps: Gap[]; after: Track } {
  const positions = unreported(track);
  const head = positions.at(-1);
  if (!head) return { positions, gaps: [], after: track };
  return {
    positions,
    gaps: track.gaps,
    after: {
      ...track,
      head,
      moving: [],
      halt: track.halt && { ...track.halt, place: head, told: true },
      gaps: [],
      reported_ms: now_ms,
      tally: { ...track.tally, laid_m: track.tally.laid_m + unreported_m(track) },
    },
  };
}
