/**
 * What this device has reported and the feed has not brought back yet, laid over what the service says: so
 * that without a signal a marked crossing still stands on the page and can be passed. It judges nothing; as
 * soon as the service has answered, its state is shown and this is forgotten. Figures here are by `ground.ts`.
 */
import type { Body, CrossingFeature, LineFeature, Sender } from '../api/types.ts';
import type { Kept, Report } from '../outbox/outbox.ts';
import { gridReference } from '../ui/figures.ts';
import { alongTrace, distance_m, length_m } from './ground.ts';
import { place } from './look.ts';
import type { Place } from './reporter.svelte.ts';

export interface Drawn {
  lines: ReadonlyMap<string, LineFeature>;
  crossings: ReadonlyMap<string, CrossingFeature>;
}

/** Reports that wait, and those recorded after the last entry that is shown. */
export const notShown = (kept: readonly Kept[], sequence: number): Report<Body>[] =>
  kept
    .filter(
      ({ outcome }) =>
        outcome.outcome === 'waiting' ||
        ('sequence' in outcome && outcome.sequence !== null && outcome.sequence > sequence),
    )
    .map((one) => one.report as Report<Body>);

export function withUnsent(shown: Drawn, kept: readonly Kept[], sequence: number, by: Sender): Drawn {
  const unsent = notShown(kept, sequence);
  if (unsent.length === 0) return shown;
  const lines = new Map(shown.lines);
  const crossings = new Map(shown.crossings);
  for (const { at, body } of unsent) {
    switch (body.kind) {
      case 'line_started':
        change(lines, body.line, { state: 'laying', team: by.team, started_at: at });
        break;
      case 'trace_extended':
        extend(lines, body.line, body.positions);
        break;
      case 'reel_started': {
        const line = lines.get(body.line)?.properties;
        if (!line) break;
        const { reel: id, label, length_m } = body;
        const reels = [...line.reels, { id, label, length_m, from_chainage_m: line.laid_length_m }];
        change(lines, body.line, { reels, reel_left_m: length_m });
        break;
      }
      case 'crossing_marked': {
        const line = lines.get(body.line);
        if (line) crossings.set(body.crossing, marked(line, body, at, crossings.get(body.crossing)));
        break;
      }
      case 'crossing_passed':
        change(crossings, body.crossing, {
          ...(crossings.get(body.crossing)?.properties.in_hand ? {} : { state: 'passed' as const }),
          passed_at: at,
          wire_in_traffic: !body.clear_of_traffic,
          ...(typeof body.clearance_m === 'number' ? { clearance_m: body.clearance_m } : {}),
        });
        break;
      case 'crossing_taken':
        change(crossings, body.crossing, { state: 'in_hand', in_hand: { team: by.team, since: at } });
        break;
      case 'crossing_given_out':
        change(crossings, body.crossing, { given_to: body.to ?? null });
        break;
      case 'crossing_given_back': {
        const passed = crossings.get(body.crossing)?.properties.passed_at;
        change(crossings, body.crossing, { state: passed ? 'passed' : 'marked', in_hand: null });
        break;
      }
      case 'crossing_finished':
        change(crossings, body.crossing, {
          state: 'finished',
          given_to: null,
          in_hand: null,
          wire_in_traffic: false,
          finished_at: at,
          finished_by: by.team,
        });
        break;
      case 'crossing_proved':
        change(crossings, body.crossing, { state: 'proved', proved_at: at });
        break;
      case 'crossing_struck_out':
        change(crossings, body.crossing, {
          state: 'struck_out',
          given_to: null,
          in_hand: null,
          wire_in_traffic: false,
          struck_out_because: body.because,
        });
        break;
      default:
        // A splice, a call, a note or a correction shows once the service has it.
        break;
    }
  }
  return { lines, crossings };
}

function change<F extends LineFeature | CrossingFeature>(
  all: Map<string, F>,
  id: string,
  properties: Partial<F['properties']>,
): void {
  const one = all.get(id);
  if (one) all.set(id, { ...one, properties: { ...one.properties, ...properties } });
}

function extend(lines: Map<string, LineFeature>, id: string, positions: readonly number[][]): void {
  const line = lines.get(id);
  if (!line) return;
  const laid = [...(line.properties.laid ?? [])];
  let more_m = 0;
  for (const position of positions) {
    const last = laid.at(-1);
    const step_m = last ? distance_m(place(last), place(position)) : 0;
    if (last && step_m === 0) continue;
    more_m += step_m;
    laid.push(position);
  }
  const head = laid.at(-1) ?? null;
  const laid_length_m = line.properties.laid_length_m + more_m;
  change(lines, id, {
    laid,
    laid_length_m,
    length_m: Math.max(line.properties.length_m, laid_length_m),
    head,
    head_grid: head && gridReference(place(head)),
  });
}

/**
 * How far along the line a place is: on the laid wire when that runs nearer to it than the plan does, else
 * on from the laying head along the plan; without a plan straight on from the head.
 */
export function chainageOn(line: LineFeature, at: Place): number {
  const { laid, laid_length_m } = line.properties;
  const lying = (laid ?? []).map(place);
  const head = lying.at(-1);
  const onWire = alongTrace(lying, at);
  const plan = line.geometry?.coordinates.map(place);
  const onPlan = plan && alongTrace(plan, at);
  if (!plan || !onPlan) {
    if (!head) return 0;
    const atHead = !onWire || onWire.chainage_m >= length_m(lying) - 1e-6;
    return atHead ? laid_length_m + distance_m(head, at) : onWire.chainage_m;
  }
  const headOnPlan_m = head ? (alongTrace(plan, head)?.chainage_m ?? 0) : 0;
  if (onWire && (onWire.aside_m <= onPlan.aside_m || onPlan.chainage_m <= headOnPlan_m))
    return onWire.chainage_m;
  return laid_length_m + Math.max(0, onPlan.chainage_m - headOnPlan_m);
}

function marked(
  line: LineFeature,
  body: Extract<Body, { kind: 'crossing_marked' }>,
  at: string,
  foreseen: CrossingFeature | undefined,
): CrossingFeature {
  return {
    type: 'Feature',
    id: body.crossing,
    geometry: { type: 'Point', coordinates: body.position },
    properties: {
      line: body.line,
      state: 'marked',
      obstacle: body.obstacle,
      hard_surface: body.hard_surface ?? (body.obstacle === 'road' || body.obstacle === 'main_highway'),
      construction: body.construction ?? null,
      chainage_m: chainageOn(line, place(body.position)),
      grid: gridReference(place(body.position)) ?? '',
      clearance_m: body.clearance_m ?? null,
      depth_m: null,
      span_m: body.span_m ?? null,
      wire_in_traffic: false,
      left_undone: [],
      opened_at: at,
      passed_at: null,
      given_to: null,
      in_hand: null,
      finished_at: null,
      finished_by: null,
      proved_at: null,
      because: body.because ?? foreseen?.properties.because ?? null,
      struck_out_because: null,
      conflicts: foreseen?.properties.conflicts ?? [],
      changed: foreseen?.properties.changed ?? 0,
    },
  };
}
