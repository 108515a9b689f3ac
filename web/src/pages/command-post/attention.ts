/**
 * What needs a command post's eyes, in that order: wire in traffic, what teams have in hand, what stands
 * open; each list with the longest first. And the whole operation in one line of figures.
 */
import type { CrossingFeature, Entry, Kind, LineFeature } from '../../api/types.ts';

export interface Attention {
  inTraffic: CrossingFeature[];
  /** in hand, and not among those with wire in traffic */
  inHand: CrossingFeature[];
  /** marked or passed, nobody has it, and no wire in traffic */
  open: CrossingFeature[];
}

/** Since when a crossing has stood as it stands: in hand, else passed, else opened. */
export const standsSince = ({ properties }: CrossingFeature): string =>
  properties.in_hand?.since ?? properties.passed_at ?? properties.opened_at;

/** Since when its wire lies there. Who has it in hand does not make that shorter. */
const liesSince = ({ properties }: CrossingFeature): string => properties.passed_at ?? properties.opened_at;

export function attention(crossings: Iterable<CrossingFeature>): Attention {
  const lists: Attention = { inTraffic: [], inHand: [], open: [] };
  for (const crossing of crossings) {
    const { wire_in_traffic, state } = crossing.properties;
    if (wire_in_traffic) lists.inTraffic.push(crossing);
    else if (state === 'in_hand') lists.inHand.push(crossing);
    else if (state === 'marked' || state === 'passed') lists.open.push(crossing);
  }
  const longest =
    (since: (crossing: CrossingFeature) => string) => (a: CrossingFeature, b: CrossingFeature) =>
      Date.parse(since(a)) - Date.parse(since(b)) || a.id.localeCompare(b.id);
  lists.inTraffic.sort(longest(liesSince));
  lists.inHand.sort(longest(standsSince));
  lists.open.sort(longest(standsSince));
  return lists;
}

export interface Totals {
  laid_m: number;
  length_m: number;
  finished: number;
  crossings: number;
  inTraffic: number;
}

/** The operation added up; what is struck out counts nowhere. */
export function totals(lines: Iterable<LineFeature>, crossings: Iterable<CrossingFeature>): Totals {
  const sum: Totals = { laid_m: 0, length_m: 0, finished: 0, crossings: 0, inTraffic: 0 };
  for (const { properties } of lines) {
    sum.laid_m += properties.laid_length_m;
    sum.length_m += properties.length_m;
  }
  for (const { properties } of crossings) {
    if (properties.state === 'struck_out') continue;
    sum.crossings += 1;
    if (properties.state === 'finished' || properties.state === 'proved') sum.finished += 1;
    if (properties.wire_in_traffic) sum.inTraffic += 1;
  }
  return sum;
}

/** What is taken back in another way: a line stays planned, a crossing is struck out, a correction corrected. */
const standing: readonly Kind[] = ['line_planned', 'crossing_foreseen', 'crossing_marked', 'correction'];

/** Whether a report can be taken back: it is of a kind that can, and no correction speaks of it yet. */
export function canBeTakenBack(entry: Entry, entries: readonly Entry[]): boolean {
  return (
    !standing.includes(entry.report.body.kind) &&
    !entries.some(({ report: { body } }) => body.kind === 'correction' && body.corrects === entry.report.id)
  );
}
