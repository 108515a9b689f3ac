/**
 * A line's review as pictures want it: moments from the entries that its figures name, in the order in which things
 * happened. Where an entry is missing, nothing is drawn in its place.
 */
import type {
  CrossingReview,
  Entry,
  ForecastAnswer,
  ForecastInput,
  LineFeature,
  LineReview,
  Means,
  Review,
  TeamReview,
} from '../../api/types.ts';
import type { Cases } from '../../chart/spread.ts';
import type { Expected, Knot, Picture, Way } from '../../chart/time-distance.ts';
import type { Part } from '../../chart/where-time-went.ts';
import { happenedAt } from '../../operation/times.ts';
import { constructionWords } from '../../strip/tag.ts';
import type { Figure } from './figures.ts';

/** One part of a line's time with its name. */
export interface Stage {
  name: string;
  figure: Figure;
}

/** The stages that make up the time from the order to the proof. */
export function stages(line: LineReview): Stage[] {
  return [
    { name: 'order to start', figure: line.order_to_start },
    { name: 'laying', figure: line.laying },
    { name: 'lead team at crossings', figure: line.at_crossings },
    { name: 'through to finished', figure: line.through_to_finished },
    { name: 'finished to proved', figure: line.finished_to_proved },
  ];
}

/** The times from the order on, each longer than the one before. */
export function fromTheOrder(line: LineReview): Stage[] {
  return [
    { name: 'through', figure: line.order_to_through },
    { name: 'finished', figure: line.order_to_finished },
    { name: 'proved', figure: line.order_to_proved },
  ];
}

/** Where a line's time went, up to the furthest that it has come; null while it is not through. */
export function lineTime(line: LineReview): { to: string; whole_min: number; parts: Part[] } | null {
  const come = fromTheOrder(line).findLast(({ figure }) => figure.value !== null);
  if (!come || come.figure.value === null) return null;
  const last = { through: 3, finished: 4, proved: 5 }[come.name] ?? 0;
  const parts = stages(line)
    .slice(0, last)
    .flatMap(({ name, figure }) => (figure.value === null ? [] : [{ name, minutes: figure.value }]));
  return { to: come.name, whole_min: come.figure.value, parts };
}

/** Where a team's time went; null where it told of no work at a crossing. */
export function teamTime({ span, at_crossings, waiting, between }: TeamReview): {
  whole_min: number;
  parts: Part[];
} | null {
  const whole_min = (span as Figure).value;
  if (whole_min === null) return null;
  const part = (name: string, { value }: Figure): Part[] =>
    value === null ? [] : [{ name, minutes: value }];
  return {
    whole_min,
    parts: [
      ...part('at crossings', at_crossings),
      ...part('waiting', waiting),
      ...part('laying, travel, rests', between),
    ],
  };
}

/** Enough for half and nine of ten: the drawing is no finer. */
const RUNS = 500;

const ofCrossing = (crossing: CrossingReview): number[] => [
  ...crossing.passing.entries,
  ...crossing.waiting.entries,
  ...crossing.finishing.entries,
  ...crossing.unfinished.entries,
];

/** The entries that the picture of a line is drawn from. */
export function drawnFrom(line: LineReview): number[] {
  const lastLaid = line.wire.laid_m.entries.at(-1);
  return [
    ...line.order_to_start.entries,
    ...line.order_to_through.entries,
    ...line.crossings.flatMap(ofCrossing),
    ...(lastLaid === undefined ? [] : [lastLaid]),
  ];
}

const teamOf = ({ report, by }: Entry): string => (report.made_by ?? by).team;

interface Moments {
  marked: number | null;
  passed: number | null;
  finished: number | null;
}

/**
 * The picture of a line that was begun, from its review and the entries that `drawnFrom` names; null while it was not.
 * A crossing that was marked before the wire had come there, by a team that went ahead, is no place of the laying team's.
 */
export function picture(
  line: LineReview,
  feature: LineFeature,
  entries: readonly Entry[],
  told_ms: number,
): Picture | null {
  const by = new Map(entries.map((entry) => [entry.sequence, entry]));
  const when = (numbers: readonly number[], ...kinds: Entry['report']['body']['kind'][]): number | null => {
    const found = numbers.flatMap((number) => by.get(number) ?? []);
    const last = found.findLast((entry) => kinds.includes(entry.report.body.kind));
    return last ? happenedAt(last).getTime() : null;
  };
  const started_ms = when(line.order_to_start.entries, 'line_started');
  if (started_ms === null) return null;

  const laying: Knot[] = [{ at_ms: started_ms, chainage_m: 0 }];
  const finishing = new Map<string, Knot[]>();
  const open: Picture['open'][number][] = [];
  let over_ms = started_ms;
  line.crossings.forEach((crossing, index) => {
    const { chainage_m } = crossing;
    const moments: Moments = {
      marked: when(crossing.passing.entries, 'crossing_marked'),
      passed: when(crossing.passing.entries, 'crossing_passed'),
      finished: when(crossing.unfinished.entries, 'crossing_finished'),
    };
    if (moments.passed !== null) {
      if (moments.marked !== null && moments.marked >= over_ms && moments.marked <= moments.passed)
        laying.push({ at_ms: moments.marked, chainage_m });
      laying.push({ at_ms: moments.passed, chainage_m });
      over_ms = Math.max(over_ms, moments.passed);
      open.push({
        number: index + 1,
        chainage_m,
        passed_ms: moments.passed,
        finished_ms: moments.finished === null ? null : Math.max(moments.finished, moments.passed),
      });
    }
    for (const number of new Set(ofCrossing(crossing))) {
      const entry = by.get(number);
      if (!entry) continue;
      const { kind } = entry.report.body;
      if (kind !== 'crossing_taken' && kind !== 'crossing_finished' && kind !== 'crossing_given_back')
        continue;
      const knots = finishing.get(teamOf(entry)) ?? [];
      knots.push({ at_ms: happenedAt(entry).getTime(), chainage_m });
      finishing.set(teamOf(entry), knots);
    }
  });

  const { length_m, call_backs, team } = feature.properties;
  const through_ms = when(line.order_to_through.entries, 'call_back_good', 'test_made');
  const laid_ms = when(line.wire.laid_m.entries.slice(-1), 'trace_extended');
  if (through_ms !== null) laying.push({ at_ms: through_ms, chainage_m: length_m });
  else if (laid_ms !== null)
    laying.push({ at_ms: laid_ms, chainage_m: (line.wire.laid_m as Figure).value ?? 0 });

  const inOrder = (knots: readonly Knot[]) =>
    knots.toSorted((a, b) => a.at_ms - b.at_ms || a.chainage_m - b.chainage_m);
  const ways: Way[] = [
    { team: team ?? 'Lead team', work: 'laying', knots: inOrder(laying) },
    ...[...finishing].map(([name, knots]): Way => ({ team: name, work: 'finishing', knots: inOrder(knots) })),
  ];
  return {
    length_m,
    from_ms: started_ms,
    told_ms,
    ways,
    open,
    calls: call_backs.map((call) => ({ at_ms: Date.parse(call.at), chainage_m: call.chainage_m })),
    expected: null,
  };
}

/** What carried the lead team's reels and by which light: what times are compared with. */
export interface Planned {
  lead_means: Means;
  light: 'day' | 'night';
}

/** The question of a line's forecast put as it stood when it was begun: nothing done, and nothing shown. */
export function asAtTheStart(asked: ForecastInput): ForecastInput {
  return { ...asked, so_far: null, try_helps: false, runs: RUNS };
}

/** The same of a line that is through and has no forecast any more: it took the reels that it took. */
export function ofWhatWasLaid(line: LineReview, length_m: number, planned: Planned): ForecastInput {
  return {
    line: {
      legs: [{ length_m, ground: 'roadside' }],
      crossings: line.crossings.flatMap(({ chainage_m, obstacle, construction }) =>
        construction === null ? [] : [{ chainage_m: Math.min(chainage_m, length_m), obstacle, construction }],
      ),
      reel_changes: Math.max(line.reels.count - 1, 0),
      ...planned,
    },
    try_helps: false,
    runs: RUNS,
  };
}

/** What a forecast from the start expected along the line. */
export function expected(
  forecast: ForecastAnswer,
  length_m: number,
  started_ms: number,
): NonNullable<Picture['expected']> {
  const at = (minutes: number) => started_ms + minutes * 60_000;
  const along = (which: 'passed' | 'finished'): Expected[] =>
    forecast.crossings.map((crossing) => ({
      chainage_m: crossing.chainage_m,
      half_ms: at(crossing[which].p50_min),
      most_ms: at(crossing[which].p90_min),
    }));
  return {
    laying: [
      ...along('passed'),
      {
        chainage_m: length_m,
        half_ms: at(forecast.through.p50_min),
        most_ms: at(forecast.through.p90_min),
      },
    ],
    finishing: along('finished'),
  };
}

/** Each construction's cases over the whole operation. */
export function cases(review: Review, which: 'passing' | 'finishing'): Cases[] {
  const all = review.lines.flatMap((line) => line.crossings);
  return review.constructions.map((built) => ({
    name: constructionWords(built.construction),
    minutes: all
      .filter((crossing) => crossing.construction === built.construction)
      .flatMap((crossing) => (crossing[which] as Figure).value ?? []),
    planned_min: which === 'passing' ? built.passing_planned_min : built.finishing_planned_min,
  }));
}
