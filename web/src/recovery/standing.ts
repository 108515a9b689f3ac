/**
 * How far a line is taken up: what the service says, with what this device reported since laid over it. It judges
 * nothing; it takes away what came up from what lies, and offers the next stretch.
 */
import type { Body, CrossingFeature, LineFeature, LineRecovery, WireClass } from '../api/types.ts';
import { alongTrace } from '../operation/ground.ts';
import { place } from '../operation/look.ts';
import type { Place } from '../operation/reporter.svelte.ts';
import type { Report } from '../outbox/outbox.ts';

export interface Stretch {
  from_m: number;
  to_m: number;
}

type SectionUp = NonNullable<LineRecovery['recovery']['sections']>[number];
type NotBack = NonNullable<LineRecovery['recovery']['not_back']>[number];
type RestReturned = NonNullable<LineRecovery['recovery']['rests']>[number];

export interface Standing {
  sections: readonly SectionUp[];
  not_back: readonly NotBack[];
  rests: readonly RestReturned[];
  lying: readonly Stretch[];
  /** crossings by their ids */
  toMakeGood: readonly string[];
}

/** Half a statute mile. */
const HALF_MILE_M = 804.672;
/** Splices in each conductor that half a mile of class A may have. */
const MOST_SPLICES = 4;
/** Chainages are told to the metre or so: less than this between two sections is no wire. */
const NOTHING_M = 2;

/**
 * What wire is good for, so that it shows while somebody types; in the log stands the service's own word. At most 4
 * splices in each conductor in half a mile is class A, more is class B (SS0440 p. 69); a shorter piece is judged as if
 * it were half a mile (common practice, no source).
 */
export function wireClass(length_m: number, splices: number): WireClass {
  return splices <= MOST_SPLICES * Math.max(1, length_m / HALF_MILE_M) ? 'a' : 'b';
}

/** What lies once a stretch is gone. */
export function without(lying: readonly Stretch[], { from_m, to_m }: Stretch): Stretch[] {
  return lying
    .flatMap((one) =>
      to_m <= one.from_m || from_m >= one.to_m
        ? [one]
        : [
            { from_m: one.from_m, to_m: from_m },
            { from_m: to_m, to_m: one.to_m },
          ],
    )
    .filter((one) => one.to_m - one.from_m > NOTHING_M);
}

/**
 * How it stands. Where the service has not said yet, all that is reported laid lies, and every crossing that the wire
 * went over is to be made good.
 */
export function standing(
  told: LineRecovery | null,
  line: LineFeature,
  crossings: Iterable<CrossingFeature>,
  unsent: readonly Report<Body>[],
  team: string,
): Standing {
  const laid_m = line.properties.laid_length_m;
  const sections = [...(told?.recovery.sections ?? [])];
  const not_back = [...(told?.recovery.not_back ?? [])];
  let rests = [...(told?.recovery.rests ?? [])];
  let lying: Stretch[] =
    told?.lying.map(({ from_m, to_m }) => ({ from_m, to_m })) ??
    (laid_m > NOTHING_M ? [{ from_m: 0, to_m: laid_m }] : []);
  let toMakeGood =
    told?.to_make_good ??
    [...crossings]
      .filter(
        ({ properties: one }) => one.line === line.id && one.passed_at !== null && one.state !== 'struck_out',
      )
      .map(({ id }) => id);
  for (const { at, body } of unsent) {
    switch (body.kind) {
      case 'section_taken_up': {
        if (body.line !== line.id) break;
        const { from_m, to_m, onto, length_m, splices } = body;
        sections.push({
          at,
          team,
          from_m,
          to_m,
          onto,
          length_m,
          splices,
          class: wireClass(length_m, splices),
        });
        lying = without(lying, body);
        break;
      }
      case 'wire_lost': {
        if (body.line !== line.id) break;
        const { from_m, to_m, length_m, fate, because } = body;
        not_back.push({ at, team, from_m, to_m, length_m, fate, because });
        lying = without(lying, body);
        break;
      }
      case 'crossing_made_good':
        toMakeGood = toMakeGood.filter((id) => id !== body.crossing);
        break;
      case 'reel_returned': {
        if (body.line !== line.id) break;
        const { reel, left_m } = body;
        // Measured again, the last measure counts.
        rests = [...rests.filter((rest) => rest.reel !== reel), { reel, at, left_m }];
        break;
      }
      default:
        break;
    }
  }
  return { sections, not_back, rests, lying, toMakeGood };
}

/** What lies, parted where another reel was begun: what came off one reel is best told as one section. */
export const atJoints = (
  lying: readonly Stretch[],
  reels: readonly { from_chainage_m: number }[],
): Stretch[] =>
  reels
    .slice(1)
    .reduce<Stretch[]>(
      (parts, { from_chainage_m: joint_m }) => without(parts, { from_m: joint_m, to_m: joint_m }),
      [...lying],
    );

/** Whoever is further from the wire than this does not stand at it. Planning value, no source. */
const AT_THE_WIRE_M = 100;

/** Where along the laid wire somebody stands; null away from it. */
export function alongWire({ properties }: LineFeature, at: Place | null): number | null {
  const along = at && alongTrace((properties.laid ?? []).map(place), at);
  return along && along.aside_m <= AT_THE_WIRE_M ? along.chainage_m : null;
}

/** The stretch to begin with: where somebody stands, or the one nearest to it; without a place the first. */
export function nextStretch(lying: readonly Stretch[], at_m: number | null): Stretch | null {
  const away = ({ from_m, to_m }: Stretch) => (at_m === null ? 0 : Math.max(from_m - at_m, at_m - to_m, 0));
  return lying.reduce<Stretch | null>((best, one) => (best && away(best) <= away(one) ? best : one), null);
}

export const long_m = (stretches: readonly Stretch[]): number =>
  stretches.reduce((sum, { from_m, to_m }) => sum + to_m - from_m, 0);

export interface Filled {
  label: string;
  length_m: number;
  splices: number;
  class: WireClass;
}

/** What is on each reel by now; a length that is added is spliced to the one before. */
export function filled(
  sections: readonly Pick<SectionUp, 'onto' | 'length_m' | 'splices'>[],
): readonly Filled[] {
  const reels: Filled[] = [];
  for (const { onto, length_m, splices } of sections) {
    const before = reels.find((reel) => reel.label === onto);
    if (!before) {
      reels.push({ label: onto, length_m, splices, class: wireClass(length_m, splices) });
      continue;
    }
    before.length_m += length_m;
    before.splices += splices + 1;
    before.class = wireClass(before.length_m, before.splices);
  }
  return reels;
}
