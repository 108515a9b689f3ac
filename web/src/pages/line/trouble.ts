/**
 * Trouble on a line in words, and the reports that follow from what was filled in: its signs, what answered from a place,
 * what an instrument read, and how it was cleared. Which stretch is left, the service says.
 */
import type { Body, FaultKind, FaultTest, LineFeature, Sign, TroubleStep } from '../../api/types.ts';
import type { LonLat } from '../../map/RouteMap.ts';
import { distance_m } from '../../operation/ground.ts';
import { lengthTyped } from '../../operation/measure.ts';
import { distance, type Units } from '../../ui/figures.ts';
import { faradsIn, faradsWords, ohmsIn, ohmsWords } from './readings.ts';
import type { Problems } from './test.ts';

export const signWords: Record<Sign, string> = {
  nothing_passes: 'Neither ring nor talk passes',
  crank_easy: 'The crank turns very easily',
  crank_hard: 'The crank turns hard, or in jerks',
  comes_and_goes: 'The line comes and goes',
  weak: 'Ring and talk are weak',
  hum: 'Noise or hum',
  other_party: 'Another party is heard',
};
export const signs = Object.keys(signWords) as Sign[];

export const faultWords: Record<FaultKind, string> = {
  open: 'open, a conductor is parted',
  short: 'short, the two conductors touch',
  earth: 'earth, a conductor touches the ground',
  cross: 'cross, it touches another line',
};

/** The signs' words in a sentence. */
export const signsWords = (told: readonly Sign[]): string =>
  told.map((sign) => signWords[sign].toLowerCase()).join('; ');

export interface Reading {
  key: string;
  label: string;
  /** nanofarads instead of ohms */
  farads?: true;
  needed: boolean;
}

export type Measuring = 'short' | 'leak' | 'open' | 'cross' | 'murray' | 'varley';

const ohms = (key: string, label: string, needed = true): Reading => ({ key, label, needed });
const farads = (key: string, label: string, needed = true): Reading => ({ key, label, farads: true, needed });

/** What is read at which test; the names of the readings are the API's own. */
export const measurings: Record<Measuring, { label: string; note: string; readings: readonly Reading[] }> = {
  short: {
    label: 'Short',
    note: 'between the conductors, with the far ends parted',
    readings: [ohms('near_ohm', 'At the near end'), ohms('far_ohm', 'At the far end', false)],
  },
  leak: {
    label: 'Leak',
    note: 'to the mate or to earth, with no sound wire to help',
    readings: [
      ohms('near_open_ohm', 'Near end, far end open'),
      ohms('near_joined_ohm', 'Near end, far end joined'),
      ohms('far_open_ohm', 'Far end, near end open', false),
      ohms('far_joined_ohm', 'Far end, near end joined', false),
    ],
  },
  open: {
    label: 'Open',
    note: 'capacitance between the conductors',
    readings: [
      farads('near_capacitance_f', 'At the near end'),
      farads('far_capacitance_f', 'At the far end', false),
      farads('whole_capacitance_f', 'Of the whole line while it was sound', false),
    ],
  },
  cross: {
    label: 'Cross',
    note: 'between the two lines’ conductors that touch, all far ends parted',
    readings: [ohms('near_ohm', 'At the near end')],
  },
  murray: {
    label: 'Earth, by the bridge’s arms',
    note: 'a sound conductor joined to the faulty one at the far end',
    readings: [
      ohms('faulty_arm', 'Arm on the faulty side'),
      ohms('sound_arm', 'Arm on the sound side'),
      ohms('loop_ohm', 'Loop, measured before', false),
    ],
  },
  varley: {
    label: 'Earth, by a rheostat',
    note: 'a sound conductor joined to the faulty one at the far end, equal arms',
    readings: [ohms('balance_ohm', 'Rheostat at balance'), ohms('loop_ohm', 'Loop, measured before', false)],
  },
};

export interface Measured {
  kind: Measuring;
  /** by the reading's key */
  typed: Readonly<Record<string, string>>;
  /** what a leak leads to */
  path: 'pair' | 'earth';
  wet: boolean;
}

/** The report of readings, or what is wrong with which. */
export function measuredBody(
  { kind, typed, path, wet }: Measured,
  line: string,
): { body: Body } | { problems: Partial<Record<string, string>> } {
  const problems: Partial<Record<string, string>> = {};
  const read: Record<string, number> = {};
  for (const { key, farads: capacitance, needed } of measurings[kind].readings) {
    const text = typed[key]?.trim() ?? '';
    const figure = capacitance ? faradsIn(text) : ohmsIn(text);
    if (text === '') {
      if (needed) problems[key] = 'This has to be read.';
    } else if (figure === null)
      problems[key] = capacitance ? 'Write nanofarads: 180.' : 'Write ohms, from 0 to 100 MΩ: 240, or 2.5 M.';
    else read[key] = figure;
  }
  if (Object.keys(problems).length > 0) return { problems };
  // The table of readings has the API's names for each test.
  const test = { [kind]: kind === 'leak' ? { ...read, path } : read } as unknown as FaultTest;
  return { body: { kind: 'trouble_narrowed', line, finding: { measured: { test, wet } } } };
}

export interface AnsweredTyped {
  chainage: string;
  near: 'yes' | 'no' | null;
  far: 'yes' | 'no' | null;
}

export function answeredBody(
  { chainage, near, far }: AnsweredTyped,
  line: string,
  units: Units,
): { body: Body } | { problems: Problems<AnsweredTyped> } {
  const chainage_m = lengthTyped(chainage, units);
  const problems: Problems<AnsweredTyped> = {
    ...(chainage_m === null || chainage_m < 0
      ? { chainage: 'Write how far along the line you tested, such as 2100 m.' }
      : {}),
    ...(near === null ? { near: 'Say whether it answered.' } : {}),
    ...(far === null ? { far: 'Say whether it answered.' } : {}),
  };
  if (chainage_m === null || Object.keys(problems).length > 0) return { problems };
  const answered = { chainage_m, near_answers: near === 'yes', far_answers: far === 'yes' };
  return { body: { kind: 'trouble_narrowed', line, finding: { answered } } };
}

export interface ClearedTyped {
  fault: FaultKind | null;
  cause: string;
  /** empty where it was not on the wire */
  chainage: string;
  cut: boolean;
}

export function clearedBody(
  { fault, cause, chainage, cut }: ClearedTyped,
  line: string,
  units: Units,
): { body: Body } | { problems: Problems<ClearedTyped> } {
  const at_m = chainage.trim() === '' ? null : lengthTyped(chainage, units);
  const problems: Problems<ClearedTyped> = {
    ...(fault === null ? { fault: 'Say what it was.' } : {}),
    ...(cause.trim() === '' ? { cause: 'Say what caused it, for whoever meets the next one.' } : {}),
    ...(chainage.trim() !== '' && (at_m === null || at_m < 0)
      ? { chainage: 'Write how far along the line it was, or leave it empty.' }
      : {}),
  };
  if (fault === null || Object.keys(problems).length > 0) return { problems };
  const body: Body = { kind: 'trouble_cleared', line, fault, cause: cause.trim(), cut };
  return { body: at_m === null ? body : { ...body, chainage_m: at_m } };
}

/** 'from 2.10 km, Post answered and Mill exchange did not' */
export function stepWords(
  { finding }: TroubleStep,
  { properties: { from, to } }: LineFeature,
  units: Units,
): string {
  if ('answered' in finding) {
    const { chainage_m, near_answers, far_answers } = finding.answered;
    const place = `from ${distance(chainage_m, units)}`;
    if (near_answers === far_answers)
      return `${place}, ${near_answers ? `both ${from} and ${to}` : `neither ${from} nor ${to}`} answered`;
    const [yes, no] = near_answers ? [from, to] : [to, from];
    return `${place}, ${yes} answered and ${no} did not`;
  }
  const [kind, read] = Object.entries(finding.measured.test)[0] ?? [];
  const measuring = measurings[kind as Measuring];
  const figures = measuring.readings.flatMap(({ key, label, farads: capacitance }) => {
    const figure = (read as Record<string, unknown>)[key];
    if (typeof figure !== 'number') return [];
    return `${label.toLowerCase()} ${capacitance ? faradsWords(figure) : ohmsWords(figure)}`;
  });
  return `${measuring.label.toLowerCase()} measured: ${figures.join(', ')}`;
}

/** The part of a trace between two distances along it. */
export function partOf(trace: readonly LonLat[], from_m: number, to_m: number): LonLat[] {
  const part: LonLat[] = [];
  let run_m = 0;
  for (const [index, end] of trace.entries()) {
    const begin = trace[index - 1];
    if (!begin) continue;
    const leg_m = distance_m(begin, end);
    if (leg_m === 0) continue;
    const at = (chainage_m: number): LonLat => {
      const share = Math.min(Math.max((chainage_m - run_m) / leg_m, 0), 1);
      return [begin[0] + share * (end[0] - begin[0]), begin[1] + share * (end[1] - begin[1])];
    };
    if (run_m + leg_m > from_m && run_m < to_m) {
      if (part.length === 0) part.push(at(from_m));
      part.push(at(to_m));
    }
    run_m += leg_m;
  }
  return part;
}
