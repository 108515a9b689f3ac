/**
 * The follow-up team's queue, reckoned on the device from what it knows and what it reported itself: the same
 * with a signal and without, and as old as what the page shows. It orders as the service's own queue does, with
 * figures by `ground.ts`.
 */
import type { CrossingFeature, CrossingState, Order } from '../../api/types.ts';
import { direction_deg, distance_m } from '../../operation/ground.ts';
import { place } from '../../operation/look.ts';
import type { Place } from '../../operation/reporter.svelte.ts';
import { chainageOn, type Drawn } from '../../operation/unsent.ts';

export const unfinished: readonly CrossingState[] = ['marked', 'passed', 'in_hand'];

export interface Waiting {
  crossing: CrossingFeature;
  designation: string;
  /** over the ground, or along the line when the order says so */
  distance_m: number;
  direction_deg: number;
  open_since: string;
}

export function queueFrom(from: Place, order: Order, { lines, crossings }: Drawn): Waiting[] {
  const near = [...crossings.values()]
    .filter((crossing) => unfinished.includes(crossing.properties.state))
    .map((crossing) => {
      const there = place(crossing.geometry.coordinates);
      const { line, passed_at, opened_at } = crossing.properties;
      return {
        crossing,
        designation: lines.get(line)?.properties.designation ?? '?',
        distance_m: distance_m(from, there),
        direction_deg: direction_deg(from, there),
        open_since: passed_at ?? opened_at,
      };
    })
    .sort(nearest);
  if (order === 'hazard') near.sort((a, b) => inTraffic(b) - inTraffic(a));
  if (order !== 'along') return near;
  // Along the line that the team stands at: that of the nearest.
  const line = lines.get(near[0]?.crossing.properties.line ?? '');
  if (!line) return [];
  const at_m = chainageOn(line, from);
  return near
    .filter((row) => row.crossing.properties.line === line.id)
    .map((row) => ({ ...row, distance_m: Math.abs(row.crossing.properties.chainage_m - at_m) }))
    .sort(nearest);
}

const nearest = (a: Waiting, b: Waiting): number =>
  a.distance_m - b.distance_m || (a.crossing.id < b.crossing.id ? -1 : 1);

const inTraffic = (row: Waiting): number => Number(row.crossing.properties.wire_in_traffic);
