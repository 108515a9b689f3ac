/**
 * The section's own rates in words, and the files of cases that are carried from one operation to the next. The service
 * estimates; here it is only told what it says, and a file is read with care before it is sent there.
 */
import type { Learned, OwnRates, RateCase, RateEstimate } from '../../api/types.ts';
import { median, type Cases } from '../../chart/spread.ts';
import { constructions, constructionWords } from '../../strip/tag.ts';
import { MILE_M, type Units } from '../../ui/figures.ts';

/** As the service bounds what it takes (openapi.json, `RatesAsked` and `Case`). */
const MOST_CASES = 4_000;
const MOST_ENTRIES = 100;
/** A week. */
const LONGEST_MIN = 7 * 24 * 60;
export const LARGEST_BYTES = 2_000_000;
/** More cases than these nobody reads through, one by one; the file has them all. */
export const MOST_SHOWN = 100;

/** What is wrong with a file of cases, and what to do. */
export class CasesUnread extends Error {
  override readonly name = 'CasesUnread';
}

const whats = ['laying', 'passing', 'finishing'] as const;
export type What = (typeof whats)[number];
const means = { vehicle: 'vehicle', wagon: 'wagon', foot: 'the crew' } as const;
const lights = { day: '', night: ', by night' } as const;

const has = <T extends string>(list: readonly T[], value: unknown): value is T =>
  (list as readonly unknown[]).includes(value);
const keys = <T extends string>(of: Record<T, string>) => Object.keys(of) as T[];

function learned(value: unknown): Learned | null {
  if (typeof value !== 'object' || value === null) return null;
  const { what, light, means: by, construction } = value as Record<string, unknown>;
  if (!has(keys(lights), light) || !has(whats, what)) return null;
  if (what === 'laying') return has(keys(means), by) ? { what, light, means: by } : null;
  return has(constructions, construction) ? { what, light, construction } : null;
}

const uuid = /^[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}$/i;

function one(value: unknown): RateCase | null {
  if (typeof value !== 'object' || value === null) return null;
  const { operation, figure: of, time_min, entries } = value as Record<string, unknown>;
  const figure = learned(of);
  if (figure === null || typeof operation !== 'string' || !uuid.test(operation)) return null;
  if (typeof time_min !== 'number' || !(time_min > 0 && time_min <= LONGEST_MIN)) return null;
  if (!Array.isArray(entries) || entries.length > MOST_ENTRIES) return null;
  if (!entries.every((entry): entry is number => Number.isSafeInteger(entry) && Number(entry) > 0))
    return null;
  return { operation, figure, time_min, entries };
}

/** The cases of a file that 'Take the cases along' saved. One that is not sound spoils the file: nothing is left out in silence. */
export function readCases(name: string, text: string): RateCase[] {
  let list: unknown;
  try {
    list = JSON.parse(text);
  } catch {
    list = null;
  }
  if (!Array.isArray(list))
    throw new CasesUnread(`${name} is not a file of cases: choose one that ‘Take the cases along’ saved.`);
  if (list.length === 0) throw new CasesUnread(`${name} has no case in it.`);
  if (list.length > MOST_CASES)
    throw new CasesUnread(`${name} has ${list.length} cases, and ${MOST_CASES} are the most.`);
  return list.map((value, index) => {
    const read = one(value);
    if (read) return read;
    throw new CasesUnread(
      `Case ${index + 1} of ${name} cannot be read: save the cases again from that operation’s review.`,
    );
  });
}

/**
 * What a file adds to what was brought along before. Cases of the same operation count once: the later file's hold, and
 * what it has of this operation is in the log anyway.
 */
export function broughtAlong(
  before: readonly RateCase[],
  read: readonly RateCase[],
  operation: string,
): RateCase[] {
  const earlier = read.filter((one) => one.operation !== operation);
  if (earlier.length === 0)
    throw new CasesUnread('The file has cases of this operation alone, and they are counted already.');
  const anew = new Set(earlier.map((one) => one.operation));
  const all = [...before.filter((one) => !anew.has(one.operation)), ...earlier];
  if (all.length <= MOST_CASES) return all;
  throw new CasesUnread(
    `Together these are ${all.length} cases, and ${MOST_CASES} are the most: leave an operation out.`,
  );
}

const count = (number: number, of: string) => `${number} ${of}${number === 1 ? '' : 's'}`;
export const caseCount = (cases: number) => count(cases, 'case');

/** '12 cases of 2 earlier operations' */
export const broughtWords = (cases: readonly RateCase[]) =>
  `${caseCount(cases.length)} of ${count(new Set(cases.map((one) => one.operation)).size, 'earlier operation')}`;

/** Of what it is a figure, within the others of its kind: 'the crew', 'ladder, by night'. By day goes without saying. */
export const learnedWords = (figure: Learned): string =>
  (figure.what === 'laying' ? means[figure.means] : constructionWords(figure.construction)) +
  lights[figure.light];

/** What each kind of figure is the time of. */
export function whatWords(what: What, units: Units): string {
  if (what === 'passing') return 'Lead team’s least at a crossing';
  if (what === 'finishing') return 'Finishing a crossing';
  return `Laying a ${units === 'metric' ? 'kilometre' : 'mile'}, without the time at crossings`;
}

/** A figure's minutes as they are read: laying is kept for each kilometre, and read for each mile by whoever reads miles. */
export const asRead = (figure: Learned, time_min: number, units: Units): number =>
  figure.what === 'laying' && units !== 'metric' ? (time_min * MILE_M) / 1000 : time_min;

/** What to think of an estimate. */
export function trust({ too_few, line, profile }: RateEstimate): string {
  if (too_few) return 'too few to trust';
  if (line !== null) return 'offered';
  return profile === null ? 'a profile has no figure of its own for it' : 'a profile would refuse it';
}

/** A figure with its cases, this operation's apart from those of the ones before. */
export interface Rate {
  words: string;
  estimate: RateEstimate;
  own: RateCase[];
  earlier: RateCase[];
}

const same = (one: Learned, other: Learned) =>
  one.what === other.what && learnedWords(one) === learnedWords(other);

/** The figures by their kind, in the service's order; a kind of which there is no case is left out. */
export function byKind({ estimates, cases }: OwnRates, operation: string): { what: What; rates: Rate[] }[] {
  return whats
    .map((what) => ({
      what,
      rates: estimates
        .filter(({ figure }) => figure.what === what)
        .map((estimate) => {
          const of = cases.filter(({ figure }) => same(figure, estimate.figure));
          return {
            words: learnedWords(estimate.figure),
            estimate,
            own: of.filter((one) => one.operation === operation),
            earlier: of.filter((one) => one.operation !== operation),
          };
        }),
    }))
    .filter(({ rates }) => rates.length > 0);
}

/** The middle of some cases, null where there is none. */
export const middle = (cases: readonly RateCase[]): number | null => median(cases.map((one) => one.time_min));

const alike = (one: RateCase, other: RateCase) =>
  one.operation === other.operation &&
  one.time_min === other.time_min &&
  one.entries.join() === other.entries.join();

export const isFarOut = (one: RateCase, { far_out }: RateEstimate): boolean =>
  far_out.some((other) => alike(one, other));

/** Cases to read one by one: those far out first, then this operation's, then the earlier ones'. */
export function toRead({ estimate, own, earlier }: Rate): RateCase[] {
  const rest = [...own, ...earlier].filter((one) => !isFarOut(one, estimate));
  return [...estimate.far_out, ...rest].slice(0, MOST_SHOWN);
}

/** Which operation a case is of. A file has no names of operations: the earlier ones are numbered. */
export function operationWords(cases: readonly RateCase[], operation: string): (one: RateCase) => string {
  const earlier = [...new Set(cases.map((one) => one.operation))].filter((one) => one !== operation);
  return (one) =>
    one.operation === operation
      ? 'this operation'
      : `earlier operation ${earlier.indexOf(one.operation) + 1}`;
}

/** What the picture of a kind draws. */
export const spreadOf = (rates: readonly Rate[], units: Units): Cases[] =>
  rates.map(({ words, estimate, own, earlier }) => ({
    name: words,
    minutes: [...own, ...earlier].map((one) => asRead(one.figure, one.time_min, units)),
    planned_min: estimate.profile_min === null ? null : asRead(estimate.figure, estimate.profile_min, units),
    far_out: estimate.far_out.map((one) => asRead(one.figure, one.time_min, units)),
  }));
