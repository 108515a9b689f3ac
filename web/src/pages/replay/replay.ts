/**
 * An operation played again on the device: how lines and crossings stood after any entry of the log, found by halving in
 * the service's arrays. It decides nothing: what the service's fold kept of an entry is what is shown. What stands as it
 * stood at the moment before is given back as the same object, so that a page draws anew only what changed.
 */
import type { Kind, LineState, OperationReplay } from '../../api/types.ts';
import type { LonLat, MapContent, MapCrossing, MapTrace } from '../../map/RouteMap.ts';
import { length_m } from '../../operation/ground.ts';
import { capital, kindWords, lineName, obstacleWords, place, teamMark } from '../../operation/look.ts';
import type { Place } from '../../operation/reporter.svelte.ts';
import type { StripCrossing, StripLine } from '../../strip/line.ts';
import { distance, type Units } from '../../ui/figures.ts';

/** The last row with a number that is not above this; -1 before the first. The numbers ascend. */
export function rowAt(numbers: ArrayLike<number>, most: number): number {
  let [low, high] = [0, numbers.length];
  while (low < high) {
    const middle = (low + high) >>> 1;
    if ((numbers[middle] ?? Infinity) <= most) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}

/** A line at a moment. */
export interface LineMoment {
  id: string;
  state: LineState;
  /** who lays it */
  team: string | null;
  /** whether a trouble is not cleared */
  trouble: boolean;
  silent: boolean;
  orderedUp: boolean;
  strip: StripLine;
}

/** The operation as the log had it after an entry. */
export interface Moment {
  /** by their numbers */
  lines: readonly LineMoment[];
  content: MapContent;
}

interface CrossingShown {
  placed: number;
  stood: number;
  line: number;
  strip: StripCrossing;
  map: MapCrossing;
}

interface LineShown {
  planned: number;
  changed: number;
  laid: number;
  crossings: readonly CrossingShown[];
  moment: LineMoment;
  plannedTrace: MapTrace | null;
  laidTrace: MapTrace | null;
}

type Line = OperationReplay['lines'][number];
type Crossing = OperationReplay['crossings'][number];

const through: readonly LineState[] = ['through', 'finished', 'proved', 'handed_over', 'recovered'];

export class Played {
  readonly replay: OperationReplay;
  /** the numbers of the rows that are not columns, one list for each line and crossing */
  readonly #plans: readonly number[][];
  readonly #changes: readonly number[][];
  readonly #places: readonly number[][];
  readonly #laid: readonly (readonly LonLat[])[];
  readonly #planLengths: readonly (number | null)[][];
  readonly #ofLine: readonly number[][];
  #lines: (LineShown | null)[];
  #crossings: (CrossingShown | null)[];
  #moment: Moment = { lines: [], content: { planned: [], laid: [], crossings: [] } };

  /** `plannedNow_m`: how long the service says that a line's plan is now, for the plan with so many positions. */
  constructor(
    replay: OperationReplay,
    plannedNow_m: (line: string, positions: number) => number | null = () => null,
  ) {
    this.replay = replay;
    const numbers = (rows: readonly { sequence: number }[]) => rows.map(({ sequence }) => sequence);
    this.#plans = replay.lines.map(({ plans }) => numbers(plans));
    this.#changes = replay.lines.map(({ changes }) => numbers(changes));
    this.#places = replay.crossings.map(({ places }) => numbers(places));
    this.#planLengths = replay.lines.map(({ line, plans }) =>
      plans.map(({ trace }, row) => {
        if (!trace) return null;
        const now_m = row === plans.length - 1 ? plannedNow_m(line, trace.length) : null;
        return now_m ?? length_m(trace.map((position): Place => place(position)));
      }),
    );
    this.#laid = replay.lines.map(({ laid }) => laid.positions.map(place));
    const ofLine: number[][] = replay.lines.map(() => []);
    replay.crossings.forEach(({ line }, number) => ofLine[line]?.push(number));
    this.#ofLine = ofLine;
    this.#lines = replay.lines.map(() => null);
    this.#crossings = replay.crossings.map(() => null);
  }

  /** The operation after the entry with this number; before the first there is nothing. */
  at(sequence: number): Moment {
    this.#crossings = this.replay.crossings.map((crossing, number) =>
      this.#crossing(crossing, number, sequence),
    );
    this.#lines = this.replay.lines.map((line, number) => this.#line(line, number, sequence));
    const there = this.#lines.filter((line) => line !== null);
    const { content } = this.#moment;
    const lines = there.map(({ moment }) => moment).sort(byNumber);
    this.#moment = {
      lines: kept(this.#moment.lines, lines),
      content: keptContent(content, {
        planned: kept(
          content.planned,
          there.flatMap(({ plannedTrace }) => plannedTrace ?? []),
        ),
        laid: kept(
          content.laid,
          there.flatMap(({ laidTrace }) => laidTrace ?? []),
        ),
        crossings: kept(
          content.crossings,
          this.#crossings.flatMap((crossing) => crossing?.map ?? []),
        ),
      }),
    };
    return this.#moment;
  }

  /** A team's call sign by its place in the list. */
  team(place_: number | null | undefined): string | null {
    return typeof place_ === 'number' ? (this.replay.teams[place_]?.team ?? null) : null;
  }

  #crossing(crossing: Crossing, number: number, sequence: number): CrossingShown | null {
    const stood = rowAt(crossing.states.sequence, sequence);
    const placed = rowAt(this.#places[number] ?? [], sequence);
    const before = this.#crossings[number];
    if (before?.stood === stood && before.placed === placed) return before;
    const there = crossing.places[placed];
    const state = crossing.states.state[stood];
    if (!there || !state) return null;
    const holder = this.team(crossing.states.in_hand[stood]);
    const look = {
      state,
      construction: there.construction,
      inTraffic: crossing.states.in_traffic[stood] ?? false,
      team: holder === null ? null : teamMark(holder),
    };
    const id = crossing.crossing;
    return {
      placed,
      stood,
      line: crossing.line,
      strip: { id, chainage_m: there.chainage_m, obstacle: obstacleWords[there.obstacle], ...look },
      map: { id, position: place(there.position), ...look },
    };
  }

  #line(line: Line, number: number, sequence: number): LineShown | null {
    const planned = rowAt(this.#plans[number] ?? [], sequence);
    const changed = rowAt(this.#changes[number] ?? [], sequence);
    const laid = rowAt(line.laid.sequence, sequence);
    const before = this.#lines[number];
    const own = (this.#ofLine[number] ?? []).flatMap((one) => this.#crossings[one] ?? []);
    const crossings = before ? kept(before.crossings, own) : own;
    const same = before?.planned === planned && before.changed === changed && before.laid === laid;
    if (same && before.crossings === crossings) return before;
    const plan = line.plans[planned];
    const change = line.changes[changed];
    if (!plan || !change) return null;
    const laid_m = line.laid.length_m[laid] ?? 0;
    const plan_m = this.#planLengths[number]?.[planned] ?? null;
    const name = capital(lineName(plan.designation));
    const moment: LineMoment = {
      id: line.line,
      state: change.state,
      team: this.team(change.team),
      trouble: change.trouble !== null,
      silent: change.silent,
      orderedUp: change.ordered_up,
      strip: {
        designation: name,
        ends: { left: plan.from, right: plan.to },
        planned_m: plan_m ?? (through.includes(change.state) ? laid_m : null),
        laid_m,
        crossings: crossings.map(({ strip }) => strip),
        callBacks_m: [],
        splices_m: [],
        reels_m: [],
      },
    };
    const trace = plan.trace;
    const plannedTrace =
      before?.planned === planned
        ? before.plannedTrace
        : trace && { id: line.line, name, positions: trace.map(place) };
    return {
      planned,
      changed,
      laid,
      crossings,
      moment,
      plannedTrace,
      laidTrace:
        before?.laid === laid && before.planned === planned
          ? before.laidTrace
          : this.#laidTrace(line, number, laid, trace ? null : name),
    };
  }

  /** What lies of a line. Where its plan is drawn as well, that bears the name. */
  #laidTrace({ line, laid }: Line, number: number, row: number, name: string | null): MapTrace | null {
    const positions = this.#laid[number]?.slice(laid.begins[row] ?? 0, laid.ends[row] ?? 0) ?? [];
    return positions.length < 2 ? null : { id: line, ...(name === null ? {} : { name }), positions };
  }
}

const byNumber = (a: LineMoment, b: LineMoment): number =>
  a.strip.designation.localeCompare(b.strip.designation, 'en', { numeric: true });

/** The list before, where nothing of it changed. */
function kept<T>(before: readonly T[], now: readonly T[]): readonly T[] {
  return before.length === now.length && now.every((one, number) => one === before[number]) ? before : now;
}

function keptContent(before: MapContent, now: MapContent): MapContent {
  const same =
    before.planned === now.planned && before.laid === now.laid && before.crossings === now.crossings;
  return same ? before : now;
}

/** Where nothing happens for longer than this, nothing is missed by going on to what does. */
export const IDLE_MS = 120_000;

/**
 * The time that is played: each entry's place on it, from 0 on. An entry comes when it happened, or at once where it was
 * told after something that happened later. Without idle time no wait is longer than [`IDLE_MS`].
 */
export class PlayedTime {
  /** each entry's place, in milliseconds from the first one's */
  readonly places_ms: Float64Array;
  /** each entry's time, in milliseconds from the replay's first receipt */
  readonly #times_ms: Float64Array;
  readonly #from_ms: number;

  constructor({ from, entries }: OperationReplay, skipIdle: boolean) {
    const count = entries.happened_ms.length;
    this.#from_ms = from === null ? 0 : Date.parse(from);
    this.#times_ms = new Float64Array(count);
    this.places_ms = new Float64Array(count);
    let latest = entries.happened_ms[0] ?? 0;
    let at = 0;
    entries.happened_ms.forEach((happened_ms, row) => {
      const wait = Math.max(happened_ms - latest, 0);
      latest += wait;
      at += skipIdle ? Math.min(wait, IDLE_MS) : wait;
      this.#times_ms[row] = latest;
      this.places_ms[row] = at;
    });
  }

  /** How long it plays. */
  get length_ms(): number {
    return this.places_ms.at(-1) ?? 0;
  }

  /** The last entry that has come at a place; -1 where there is none. */
  entryAt(at_ms: number): number {
    return rowAt(this.places_ms, at_ms);
  }

  /** What the clock showed at a place, not beyond the next entry. */
  clockAt(at_ms: number): Date {
    const row = Math.max(this.entryAt(at_ms), 0);
    const [place_, next] = [this.places_ms[row] ?? 0, this.places_ms[row + 1]];
    const [time, nextTime] = [this.#times_ms[row] ?? 0, this.#times_ms[row + 1]];
    const share = next !== undefined && next > place_ ? (at_ms - place_) / (next - place_) : 0;
    return new Date(this.#from_ms + time + Math.max(share, 0) * ((nextTime ?? time) - time));
  }
}

/** When an entry happened, and when it was taken in. */
export function timesOf({ from, entries }: OperationReplay, row: number): { happened: Date; received: Date } {
  const from_ms = from === null ? NaN : Date.parse(from);
  return {
    happened: new Date(from_ms + (entries.happened_ms[row] ?? NaN)),
    received: new Date(from_ms + (entries.received_ms[row] ?? NaN)),
  };
}

const kindOf = ({ kinds, entries }: OperationReplay, row: number): Kind | undefined =>
  kinds[entries.kind[row] ?? -1];

/** An entry in words: 'Lead 1: crossing marked, the stream at 3.40 km of line 12' */
export function entryWords(replay: OperationReplay, row: number, units: Units): string {
  const { entries, crossings, lines, corrections } = replay;
  const kind = kindOf(replay, row);
  const sequence = entries.sequence[row];
  if (kind === undefined || sequence === undefined) return 'Nothing was reported yet';
  const team = replay.teams[entries.team[row] ?? -1]?.team ?? 'Somebody';
  const line = lines[entries.line[row] ?? -1];
  const plan =
    line?.plans[
      Math.max(
        rowAt(
          line.plans.map((one) => one.sequence),
          sequence,
        ),
        0,
      )
    ];
  const crossing = crossings[entries.crossing[row] ?? -1];
  const there =
    crossing?.places[
      Math.max(
        rowAt(
          crossing.places.map((one) => one.sequence),
          sequence,
        ),
        0,
      )
    ];
  const of = plan ? lineName(plan.designation) : null;
  const about = there
    ? `, the ${obstacleWords[there.obstacle]} at ${distance(there.chainage_m, units)}${of ? ` of ${of}` : ''}`
    : of
      ? `, ${of}`
      : '';
  const corrected = kind === 'correction' ? corrections.find((one) => one.sequence === sequence) : undefined;
  const before = corrected ? kindOf(replay, rowAt(entries.sequence, corrected.corrects)) : undefined;
  const what =
    corrected && before
      ? `entry ${corrected.corrects}, “${kindWords[before]}”, ${kindWords[kind]}`
      : kindWords[kind];
  return `${team}: ${what}${about}`;
}
