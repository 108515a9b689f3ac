/**
 * What the records of a line say, in rows and words, for sheets of paper: it orders what the service tells and writes
 * it out, and judges nothing.
 */
import type {
  CrossingFeature,
  FaultKind,
  JudgedTest,
  LineFeature,
  LineTests,
  LineTrouble,
  PlacedTag,
  Sign,
  Trouble,
} from '../../api/types.ts';
import { distance_m, length_m } from '../../operation/ground.ts';
import { place } from '../../operation/look.ts';
import type { Place } from '../../operation/reporter.svelte.ts';
import { constructionWords } from '../../strip/tag.ts';
import { distance, type Units } from '../../ui/figures.ts';

export const records = [
  'map',
  'strip',
  'circuit',
  'crossings',
  'sheets',
  'reels',
  'tests',
  'tags',
  'labels',
] as const;
export type RecordKind = (typeof records)[number];

export const recordNames: Record<RecordKind, string> = {
  map: 'Line-route map',
  strip: 'Strip',
  circuit: 'Circuit diagram',
  crossings: 'Crossing list',
  sheets: 'Crossing sheets, one for each',
  reels: 'Reel and splice list',
  tests: 'Test log and trouble log',
  tags: 'Tag list',
  labels: 'Tag labels to cut out',
};

/** A day and a time that mean the same whenever the sheet is read: '2026-11-26 14:05 (UTC+01:00)'. */
export function written(at: Date, zoned = false): string {
  if (Number.isNaN(at.getTime())) return 'not known';
  const two = (value: number) => String(value).padStart(2, '0');
  const day = `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}`;
  const text = `${day} ${two(at.getHours())}:${two(at.getMinutes())}`;
  if (!zoned) return text;
  const ahead = -at.getTimezoneOffset();
  const sign = ahead < 0 ? '-' : '+';
  return `${text} (UTC${sign}${two(Math.floor(Math.abs(ahead) / 60))}:${two(Math.abs(ahead) % 60)})`;
}

export const when = (at: string | null): string => (at === null ? '' : written(new Date(at)));

/** Where the wire lies at a chainage; null where it does not reach so far. */
export function placeAt(line: LineFeature, chainage_m: number): Place | null {
  const laid = (line.properties.laid ?? []).map(place);
  const [first] = laid;
  if (!first) return null;
  // The device's lengths differ from the service's by a few parts in 100,000: they are brought to the same end.
  const own_m = length_m(laid);
  const stretch = line.properties.laid_length_m > 0 ? own_m / line.properties.laid_length_m : 1;
  let left_m = chainage_m * stretch;
  if (left_m > own_m + 1) return null;
  let from = first;
  for (const to of laid.slice(1)) {
    const leg_m = distance_m(from, to);
    if (left_m <= leg_m && leg_m > 0) {
      const share = left_m / leg_m;
      return [from[0] + share * (to[0] - from[0]), from[1] + share * (to[1] - from[1])];
    }
    left_m -= leg_m;
    from = to;
  }
  return from;
}

/** The line's crossings from the near end, without those that were struck out. */
export const crossingsOf = (line: LineFeature, all: Iterable<CrossingFeature>): CrossingFeature[] =>
  [...all]
    .filter(({ properties }) => properties.line === line.id && properties.state !== 'struck_out')
    .sort((a, b) => a.properties.chainage_m - b.properties.chainage_m);

export type Mark = 'end' | 'reel' | 'splice' | 'call' | 'test' | 'watch';

/** Something on the wire that is no crossing. */
export interface OnWire {
  mark: Mark;
  chainage_m: number;
  words: string;
  at: string | null;
}

/** What is on the wire, from the near end: its ends, reels, splices, calls back and places of tests. */
export function onWire({ properties }: LineFeature, tags: readonly PlacedTag[], units: Units): OnWire[] {
  const things: OnWire[] = [
    { mark: 'end', chainage_m: 0, words: properties.from, at: properties.started_at },
    ...properties.reels.map(({ from_chainage_m, label, length_m: on_m }) => ({
      mark: 'reel' as const,
      chainage_m: from_chainage_m,
      words: `${label} put on, ${distance(on_m, units)}`,
      at: null,
    })),
    ...properties.splices.map(({ chainage_m, at }) => ({
      mark: 'splice' as const,
      chainage_m,
      words: 'Splice',
      at,
    })),
    ...properties.call_backs.map(({ chainage_m, at, team }) => ({
      mark: 'call' as const,
      chainage_m,
      words: `Call back good, ${team}`,
      at,
    })),
    ...tags
      .filter(({ at }) => at === 'test_point')
      .map(({ chainage_m }) => ({ mark: 'test' as const, chainage_m, words: 'Test point', at: null })),
    ...(properties.watch
      ? [
          {
            mark: 'watch' as const,
            chainage_m: properties.watch.chainage_m,
            words: `Watch: ${properties.watch.who}, ${properties.watch.team}`,
            at: properties.watch.since,
          },
        ]
      : []),
    {
      mark: 'end',
      chainage_m: properties.length_m,
      words: properties.to,
      at: properties.through_at,
    },
  ];
  return inOrder(things);
}

/** By chainage; what is at one place keeps its order, and the far end comes last. */
function inOrder(things: OnWire[]): OnWire[] {
  const last = things.length - 1;
  return things
    .map((thing, index) => ({ thing, index }))
    .sort((a, b) => {
      if (a.index === last || b.index === last) return a.index - b.index;
      return Math.round((a.thing.chainage_m - b.thing.chainage_m) * 10) || a.index - b.index;
    })
    .map(({ thing }) => thing);
}

export interface Node {
  chainage_m: number;
  marks: Mark[];
  words: string[];
  /** the wire's length to the one before */
  from_last_m: number | null;
}

/** The circuit's nodes: what lies within a metre of another is one. Calls back are no part of a circuit. */
export function circuit(line: LineFeature, tags: readonly PlacedTag[], units: Units): Node[] {
  const nodes: Node[] = [];
  for (const { mark, chainage_m, words } of onWire(line, tags, units).filter(({ mark }) => mark !== 'call')) {
    const last = nodes.at(-1);
    if (
      last &&
      Math.abs(chainage_m - last.chainage_m) <= 1 &&
      !(mark === 'end' && last.marks.includes('end'))
    ) {
      if (!last.marks.includes(mark)) last.marks.push(mark);
      last.words.push(words);
    } else {
      nodes.push({
        chainage_m,
        marks: [mark],
        words: [words],
        from_last_m: last ? chainage_m - last.chainage_m : null,
      });
    }
  }
  return nodes;
}

export const inRows = <T>(list: readonly T[], each: number): T[][] =>
  Array.from({ length: Math.ceil(list.length / each) }, (_, row) => list.slice(row * each, (row + 1) * each));

/** Parts of a strip, so that each can be read on paper: one for every 5 km and for every 10 crossings. */
export function stripParts(length_m: number, crossings: number): { from_m: number; to_m: number }[] {
  if (!(length_m > 0)) return [{ from_m: 0, to_m: 0 }];
  const parts = Math.min(20, Math.max(1, Math.ceil(length_m / 5_000), Math.ceil(crossings / 10)));
  return Array.from({ length: parts }, (_, part) => ({
    from_m: (part * length_m) / parts,
    to_m: ((part + 1) * length_m) / parts,
  }));
}

const qualityWords = {
  clear: 'clear',
  weak: 'weak',
  noisy: 'noisy',
  comes_and_goes: 'comes and goes',
} as const;
const verdictWords = { good: 'good', worse: 'worse than it should be', bad: 'bad' } as const;
const afterWords = {
  splice: 'after a splice',
  reel: 'after a reel',
  crossing: 'after a crossing',
  line_laid: 'after the line was laid',
  repair: 'after a repair',
} as const;

export const signWords: Record<Sign, string> = {
  crank_easy: 'the crank turns very easily',
  crank_hard: 'the crank turns hard or in jerks',
  nothing_passes: 'neither ring nor talk passes',
  comes_and_goes: 'it comes and goes',
  weak: 'weak',
  hum: 'it hums',
  other_party: 'another party is heard',
};

export const faultWords: Record<FaultKind, string> = {
  open: 'open: a conductor is parted',
  short: 'short: the two conductors touch',
  earth: 'earth: a conductor touches the ground',
  cross: 'cross: a conductor touches another line',
};

/** Ohms as they are read: 'kΩ' from a thousand, 'MΩ' from a million. */
export function ohms(ohm: number): string {
  const [value, unit] = ohm >= 1e6 ? [ohm / 1e6, 'MΩ'] : ohm >= 1e3 ? [ohm / 1e3, 'kΩ'] : [ohm, 'Ω'];
  return `${Number(value.toPrecision(4))} ${unit}`;
}

export interface TestRow {
  at: string;
  where: string;
  who: string;
  heard: string;
  read: string;
  verdict: string;
}

/** Tests and good calls back in the order in which they were made. */
export function testRows(line: LineFeature, tests: LineTests, units: Units): TestRow[] {
  const calls = line.properties.call_backs.map(({ at, chainage_m, team }) => ({
    at,
    where: `${distance(chainage_m, units)} along`,
    who: team,
    heard: 'call back',
    read: '',
    verdict: 'good',
  }));
  const tested = tests.tests.map((test) => testRow(test, units));
  return [...calls, ...tested].sort((a, b) => Date.parse(a.at) - Date.parse(b.at));
}

const said = <T>(value: T | null | undefined, words: (value: T) => string): string | null =>
  value === null || value === undefined ? null : words(value);

function testRow({ test, judged }: JudgedTest, units: Units): TestRow {
  const { readings } = test;
  const ends = {
    near_end: 'near end',
    far_end: 'far end',
    along: `${distance(test.chainage_m, units)} along`,
  };
  const read = [
    said(readings?.loop_ohm, (ohm) => `loop ${ohms(ohm)}`),
    said(readings?.insulation_ohm, (ohm) => `insulation ${ohms(ohm)}`),
    said(readings?.loss_db, (loss_db) => `loss ${Number(loss_db.toFixed(1))} dB`),
    said(readings?.temperature_c, (temperature_c) => `at ${Math.round(temperature_c)} °C`),
    said(readings?.instrument, (instrument) => `with ${instrument}`),
  ];
  return {
    at: test.at,
    where: [ends[test.from], test.after ? afterWords[test.after] : null, test.is_final ? 'final test' : null]
      .filter((words) => words !== null)
      .join(', '),
    who: test.to_whom === null ? test.team : `${test.team} to ${test.to_whom}`,
    heard: [
      test.rang ? 'rang' : 'did not ring',
      test.spoke ? 'spoke' : 'did not speak',
      test.quality ? qualityWords[test.quality] : null,
    ]
      .filter((words) => words !== null)
      .join(', '),
    read: read.filter((words) => words !== null).join(', '),
    verdict: judged
      ? [
          verdictWords[judged.verdict],
          ...judged.parts.filter(({ verdict }) => verdict !== 'good').map(({ words }) => words),
        ].join(': ')
      : test.rang && test.spoke
        ? 'rang and spoke'
        : 'bad',
  };
}

export interface TroubleRow {
  /** which trouble, from 1 */
  number: number;
  at: string;
  who: string;
  what: string;
  where: string;
}

/** Every trouble from the first sign to its clearing, in the order in which they came. */
export function troubleRows(trouble: LineTrouble, units: Units): TroubleRow[] {
  const all = [...trouble.cleared, ...(trouble.open ? [trouble.open] : [])];
  const began = ({ told, steps }: Trouble) => Date.parse(told[0]?.at ?? steps[0]?.at ?? '') || 0;
  return all.sort((a, b) => began(a) - began(b)).flatMap((one, index) => rowsOf(one, index + 1, units));
}

function rowsOf({ told, steps, cleared }: Trouble, number: number, units: Units): TroubleRow[] {
  const stretch = ({ from_m, to_m }: { from_m: number; to_m: number }) =>
    `${distance(from_m, units)} to ${distance(to_m, units)}`;
  const rows = [
    ...told.map(({ at, team, signs, remark }) => ({
      at,
      who: team,
      what: ['Trouble: ' + (signs.map((sign) => signWords[sign]).join(', ') || 'no sign told'), remark]
        .filter((words) => words !== null)
        .join('. '),
      where: '',
    })),
    ...steps.map(({ at, team, finding, stretch: left, told_nothing }) => ({
      at,
      who: team,
      what: told_nothing ?? stepWords(finding, units),
      where: `left to search: ${stretch(left)}`,
    })),
    ...cleared.map(({ at, team, fault, cause, cut, chainage_m }) => ({
      at,
      who: team,
      what: `Cleared. ${faultWords[fault]}. Cause: ${cause}${cut ? '. The wire was cut' : ''}`,
      where: chainage_m === null ? '' : `${distance(chainage_m, units)} along`,
    })),
  ];
  return rows.sort((a, b) => Date.parse(a.at) - Date.parse(b.at)).map((row) => ({ number, ...row }));
}

function stepWords(finding: Trouble['steps'][number]['finding'], units: Units): string {
  if ('measured' in finding) return 'Measured for the place of the fault';
  const { chainage_m, near_answers, far_answers } = finding.answered;
  const answers = (end: string, does: boolean) => `the ${end} end ${does ? 'answers' : 'does not answer'}`;
  return `From ${distance(chainage_m, units)} along ${answers('near', near_answers)}, ${answers('far', far_answers)}`;
}

/** What a label's code holds: a short text that is read without any signal, and no secret. */
export function labelText(line: LineFeature, tag: PlacedTag): string {
  const parts = [
    `Line ${tag.marking}`,
    `tag ${tag.number}`,
    tag.words,
    `${Math.round(tag.chainage_m)} m along`,
  ];
  if (tag.grid !== null) parts.push(tag.grid);
  parts.push(`${line.properties.from} to ${line.properties.to}`);
  return parts.join(', ');
}

export const crossingWords = ({ properties }: CrossingFeature, obstacle: string): string =>
  `${obstacle}, ${constructionWords(properties.construction)}`;
