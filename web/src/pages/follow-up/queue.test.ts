import { describe, expect, it } from 'vitest';
import type { Queue, Body, CrossingFeature, CrossingState, LineFeature } from '../../api/types.ts';
import { withUnsent, type Drawn } from '../../operation/unsent.ts';
import type { Kept } from '../../outbox/outbox.ts';
import { byRoad, placeInRound, queueFrom } from './queue.ts';

const line = (id: string, designation: string, coordinates: number[][]) =>
  ({
    type: 'Feature',
    id,
    geometry: { type: 'LineString', coordinates },
    properties: { designation, state: 'planned', laid: [], laid_length_m: 0, length_m: 0 },
  }) as unknown as LineFeature;

const crossing = (
  id: string,
  on: string,
  coordinates: [number, number],
  chainage_m: number,
  more: Partial<CrossingFeature['properties']> = {},
) =>
  ({
    type: 'Feature',
    id,
    geometry: { type: 'Point', coordinates },
    properties: {
      line: on,
      state: 'passed' as CrossingState,
      obstacle: 'road',
      construction: 'buried',
      chainage_m,
      given_to: null,
      in_hand: null,
      wire_in_traffic: false,
      opened_at: '2026-05-04T08:00:00Z',
      passed_at: '2026-05-04T08:10:00Z',
      ...more,
    },
  }) as unknown as CrossingFeature;

/** A line that goes east for 2.2 km and comes back 220 m to the north: what is near may be far along it. */
const hairpin = line('a', '12', [
  [0, 0],
  [0.02, 0],
  [0.02, 0.002],
  [0, 0.002],
]);
const other = line('b', '14', [
  [0.03, 0],
  [0.04, 0],
]);
const all = [
  crossing('near', 'a', [0.001, 0.002], 4_559),
  crossing('along', 'a', [0.004, 0], 445),
  crossing('other', 'b', [0.031, 0], 111, { wire_in_traffic: true }),
  crossing('foreseen', 'a', [0.0005, 0], 56, { state: 'foreseen' }),
  crossing('finished', 'a', [0.0006, 0], 67, { state: 'finished' }),
];
const drawn: Drawn = {
  lines: new Map([hairpin, other].map((one) => [one.id, one])),
  crossings: new Map(all.map((one) => [one.id, one])),
};
const ids = (rows: ReturnType<typeof queueFrom>) => rows.map((row) => row.crossing.id);

describe('on the device', () => {
  it('the nearest comes first, over the ground, and what is foreseen or finished does not wait', () => {
    const rows = queueFrom([0, 0], 'near', drawn);
    expect(ids(rows)).toEqual(['near', 'along', 'other']);
    // One and two thousandths of a degree at the equator of WGS 84: 111.3 m east and 221.1 m north.
    expect(rows[0]?.distance_m).toBeCloseTo(Math.hypot(111.32, 221.15), 1);
    expect(rows[1]?.direction_deg).toBeCloseTo(90, 6);
    expect(rows[2]?.designation).toBe('14');
    expect(rows[0]?.open_since).toBe('2026-05-04T08:10:00Z');
  });

  it('along the line is along the line of the nearest, by its chainage', () => {
    const rows = queueFrom([0, 0], 'along', drawn);
    expect(ids(rows)).toEqual(['along', 'near']);
    expect(rows.map((row) => Math.round(row.distance_m))).toEqual([445, 4_559]);
  });

  it('wire in traffic goes before what is nearer', () => {
    expect(ids(queueFrom([0, 0], 'hazard', drawn))).toEqual(['other', 'near', 'along']);
  });

  it('by road is in the order of the service, and what it has not told of stays behind', () => {
    const rows = queueFrom([0, 0], 'road', drawn);
    const told = (id: string, travel_min: number | null) =>
      ({ crossing: { id }, travel_min, distance_m: 7 }) as unknown as Queue['waiting'][number];
    const answer = { waiting: [told('other', 4), told('along', null)] } as unknown as Queue;
    expect(ids(byRoad(rows, answer))).toEqual(['other', 'along', 'near']);
    expect(byRoad(rows, answer).map((row) => row.travel_min)).toEqual([4, null, undefined]);
    expect(ids(byRoad(rows, null))).toEqual(['near', 'along', 'other']);
  });

  it('what was given to this team has its place, and the rest comes last', () => {
    const one = drawn.crossings.get('near');
    if (!one) throw new Error('it is there');
    const given = { ...one, properties: { ...one.properties, given_to: { team: 'Follow-up 1', place: 2 } } };
    expect(placeInRound(given, 'Follow-up 1')).toBe(2);
    expect(placeInRound(given, 'Follow-up 2')).toBe(Infinity);
    expect(placeInRound(one, 'Follow-up 1')).toBe(Infinity);
  });

  it('what was reported without a signal counts at once', () => {
    const waits = (body: Body, order: number): Kept => ({
      order,
      operation: 'o',
      sender: 'follow_up_team/Follow-up 1',
      report: {
        id: `r${order}`,
        at: '2026-05-04T09:00:00Z',
        clock_offset_ms: null,
        made_by: null,
        position: null,
        body,
      },
      outcome: { outcome: 'waiting' },
      seen: false,
    });
    const by = { party: 'follow_up_team', team: 'Follow-up 1' } as const;
    const seen = withUnsent(
      drawn,
      [
        waits({ kind: 'crossing_finished', crossing: 'near', done: [] } as unknown as Body, 1),
        waits({ kind: 'crossing_struck_out', crossing: 'along', because: 'Nothing here.' }, 2),
      ],
      9,
      by,
    );
    expect(ids(queueFrom([0, 0], 'near', seen))).toEqual(['other']);
    expect(ids(queueFrom([0, 0], 'near', drawn))).toEqual(['near', 'along', 'other']);
  });

  it('nothing unfinished is an empty queue, in every order', () => {
    const nothing: Drawn = { lines: drawn.lines, crossings: new Map() };
    for (const order of ['near', 'along', 'hazard', 'road'] as const)
      expect(queueFrom([0, 0], order, nothing)).toEqual([]);
  });
});
