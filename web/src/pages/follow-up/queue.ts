/**
 * The follow-up team's queue, reckoned on the device from what it knows and what it reported itself: the same
 * with a signal and without, and as old as what the page shows. It orders as the service's own queue does, with
 * figures by `ground.ts`.
 */
import type { CrossingFeature, CrossingState, Order, Queue } from '../../api/types.ts';
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
  /** by road, where the service has told it */
  travel_min?: number | null;
}

/** The place that the command post gave a crossing in this team's round; one that it gave to nobody, or to others, comes last. */
export function placeInRound({ properties: { given_to } }: CrossingFeature, team: string): number {
  return given_to?.team === team ? given_to.place : Infinity;
}

/** The rows in the order of the service's answer, with the travel from it; what it does not know of keeps its place behind. */
export function byRoad(rows: readonly Waiting[], answer: Queue | null): Waiting[] {
  if (!answer) return [...rows];
  const told = new Map(answer.waiting.map((one, place) => [one.crossing.id, { ...one, place }]));
  const place = (row: Waiting) => told.get(row.crossing.id)?.place ?? Infinity;
  return rows
    .map((row) => {
      const one = told.get(row.crossing.id);
      return one ? { ...row, travel_min: one.travel_min, distance_m: one.distance_m } : row;
    })
    .sort((a, b) => (place(a) === place(b) ? nearest(a, b) : place(a) - place(b)));
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
