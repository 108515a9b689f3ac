/**
 * Made-up histories for the tests and the bench: each is told twice, as the service's arrays and as plain changes in
 * order, so that a moment found in the one can be held against the other folded step by step.
 */
import type { Construction, CrossingState, LineState, OperationReplay } from '../../api/types.ts';

/** The same numbers from the same seed (mulberry32), from 0 to below 1. */
export function chance(seed: number): () => number {
  let state = seed;
  return () => {
    state = (state + 0x6d2b79f5) | 0;
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state);
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
}

export interface FoldedLine {
  designation: string;
  trace: [number, number][] | null;
  state: LineState;
  laid: [number, number][];
  laid_m: number;
}
export interface FoldedCrossing {
  line: number;
  position: [number, number];
  chainage_m: number;
  construction: Construction | null;
  state: CrossingState;
  team: number | null;
  inTraffic: boolean;
}
export interface Folded {
  lines: Map<number, FoldedLine>;
  crossings: Map<number, FoldedCrossing>;
}

export interface History {
  replay: OperationReplay;
  /** the operation after so many entries, folded from the first one on */
  folded: (entries: number) => Folded;
}

const states: CrossingState[] = ['marked', 'passed', 'in_hand', 'finished', 'proved', 'struck_out'];
const lineStates: LineState[] = ['laying', 'through', 'finished', 'proved', 'handed_over'];
const constructions: (Construction | null)[] = ['buried', 'through_culvert', 'overhead_trees', null];
const id = (kind: number, number: number) =>
  `0192d3c4-000${kind}-7000-8000-${String(number).padStart(12, '0')}`;

/** A history with so many entries, lines and crossings. Each line is planned first, each crossing foreseen after that. */
export function madeUp(seed: number, count: number, lines: number, crossings: number): History {
  const random = chance(seed);
  const below = (most: number) => Math.floor(random() * most);
  const one = <T>(list: readonly T[]): T => list[below(list.length)] as T;
  const position = (): [number, number] => [-4.7 + random() * 0.2, 54 + random() * 0.2];
  const replay: OperationReplay = {
    sequence: count,
    from: '2026-03-04T06:00:00Z',
    teams: ['Lead 1', 'Follow-up 1', 'Follow-up 2'].map((team, number) => ({
      team,
      party: number === 0 ? 'lead_team' : 'follow_up_team',
    })),
    kinds: ['line_planned', 'crossing_foreseen', 'trace_extended', 'crossing_marked', 'correction'],
    entries: { sequence: [], received_ms: [], happened_ms: [], kind: [], line: [], crossing: [], team: [] },
    corrections: [],
    lines: [],
    crossings: [],
  };
  const steps: ((folded: Folded) => void)[] = [];
  let now_ms = 0;

  for (let sequence = 1; sequence <= count; sequence += 1) {
    // Now and then nothing happens for hours, and something is told late.
    now_ms += random() < 0.002 ? 3_600_000 * random() * 5 : 1_000 + random() * 20_000;
    const entry = replay.entries;
    const told = (kind: number, line: number, crossing: number | null) => {
      entry.sequence.push(sequence);
      entry.received_ms.push(Math.round(now_ms));
      entry.happened_ms.push(Math.round(random() < 0.05 ? now_ms * random() : now_ms));
      entry.kind.push(kind);
      entry.line.push(line);
      entry.crossing.push(crossing);
      entry.team.push(below(3));
    };
    if (sequence <= lines) plan(sequence, sequence - 1, told);
    else if (sequence <= lines + crossings) foresee(sequence, sequence - lines - 1, told);
    else if (random() < 0.6) lay(sequence, below(lines), told);
    else if (random() < 0.8) work(sequence, below(crossings), told);
    else if (random() < 0.7) change(sequence, below(lines), told);
    else if (random() < 0.5) plan(sequence, below(lines), told);
    else move(sequence, below(crossings), told);
  }

  type Told = (kind: number, line: number, crossing: number | null) => void;

  function plan(sequence: number, number: number, told: Told): void {
    const trace = random() < 0.2 ? null : [position(), position(), position()];
    const designation = String(100 - number);
    let line = replay.lines[number];
    if (!line) {
      line = {
        line: id(1, number),
        plans: [],
        changes: [],
        laid: { sequence: [], begins: [], ends: [], length_m: [], positions: [] },
        up: [],
      };
      replay.lines.push(line);
      line.changes.push(stands(sequence, 'planned'));
    }
    line.plans.push({ sequence, designation, from: 'Post', to: 'Exchange', plan: null, trace });
    told(0, number, null);
    steps.push(({ lines: all }) => {
      const before = all.get(number);
      if (before) before.trace = trace;
      else all.set(number, { designation, trace, state: 'planned', laid: [], laid_m: 0 });
    });
  }

  function foresee(sequence: number, number: number, told: Told): void {
    const line = below(lines);
    const there = { position: position(), chainage_m: random() * 9_000, construction: one(constructions) };
    replay.crossings.push({
      crossing: id(2, number),
      line,
      places: [{ sequence, obstacle: 'road', ...there }],
      states: {
        sequence: [sequence],
        state: ['foreseen'],
        in_hand: [null],
        given_to: [null],
        in_traffic: [false],
        conflicts: [0],
      },
    });
    told(1, line, number);
    steps.push(({ crossings: all }) =>
      all.set(number, { line, ...there, state: 'foreseen', team: null, inTraffic: false }),
    );
  }

  function lay(sequence: number, number: number, told: Told): void {
    const { laid } = replay.lines[number] as OperationReplay['lines'][number];
    // A handful of corrections lay a trace anew; the rest of the time it grows.
    const anew = random() < 8 / count;
    // A few steps on from where the wire ends, of some ten metres each.
    let [lon, lat] = (anew ? null : (laid.positions.at(-1) as [number, number] | undefined)) ?? position();
    const more = Array.from({ length: 1 + below(3) }, (): [number, number] => {
      lon += (random() - 0.45) * 2e-4;
      lat += (random() - 0.5) * 2e-4;
      return [lon, lat];
    });
    const begins = anew ? laid.positions.length : (laid.begins.at(-1) ?? 0);
    const length_m = (anew ? 0 : (laid.length_m.at(-1) ?? 0)) + 10;
    laid.positions.push(...more);
    laid.sequence.push(sequence);
    laid.begins.push(begins);
    laid.ends.push(laid.positions.length);
    laid.length_m.push(length_m);
    told(anew ? 4 : 2, number, null);
    steps.push(({ lines: all }) => {
      const line = all.get(number);
      if (!line) return;
      line.laid = anew ? more : [...line.laid, ...more];
      line.laid_m = length_m;
    });
  }

  function work(sequence: number, number: number, told: Told): void {
    const { states: rows, line } = replay.crossings[number] as OperationReplay['crossings'][number];
    const state = one(states);
    const team = state === 'in_hand' ? 1 + below(2) : null;
    const inTraffic = random() < 0.3;
    rows.sequence.push(sequence);
    rows.state.push(state);
    rows.in_hand.push(team);
    rows.given_to.push(null);
    rows.in_traffic.push(inTraffic);
    rows.conflicts.push(0);
    told(3, line, number);
    steps.push(({ crossings: all }) => {
      Object.assign(all.get(number) ?? {}, { state, team, inTraffic });
    });
  }

  function change(sequence: number, number: number, told: Told): void {
    const state = one(lineStates);
    replay.lines[number]?.changes.push(stands(sequence, state));
    told(2, number, null);
    steps.push(({ lines: all }) => {
      Object.assign(all.get(number) ?? {}, { state });
    });
  }

  function move(sequence: number, number: number, told: Told): void {
    const crossing = replay.crossings[number] as OperationReplay['crossings'][number];
    const there = { position: position(), chainage_m: random() * 9_000, construction: one(constructions) };
    crossing.places.push({ sequence, obstacle: 'road', ...there });
    told(4, crossing.line, number);
    steps.push(({ crossings: all }) => {
      Object.assign(all.get(number) ?? {}, there);
    });
  }

  return {
    replay,
    folded(entries) {
      const sum: Folded = { lines: new Map(), crossings: new Map() };
      for (const step of steps.slice(0, Math.max(entries, 0))) step(sum);
      return sum;
    },
  };
}

const stands = (sequence: number, state: LineState) => ({
  sequence,
  state,
  team: null,
  trouble: null,
  silent: false,
  ordered_up: false,
  reels: 0,
  splices: 0,
});
