import { describe, expect, it } from 'vitest';
import type { Body, CrossingFeature, LineFeature } from '../api/types.ts';
import type { Kept } from '../outbox/outbox.ts';
import { distance_m } from './ground.ts';
import { chainageOn, withUnsent, type Drawn } from './unsent.ts';

const line = {
  type: 'Feature',
  id: 'line',
  geometry: {
    type: 'LineString',
    coordinates: [
      [0, 0],
      [0.02, 0],
      [0.02, 0.02],
    ],
  },
  properties: {
    designation: '12',
    state: 'laying',
    laid: [
      [0, 0],
      [0.01, 0],
    ],
    laid_length_m: distance_m([0, 0], [0.01, 0]),
    length_m: 4_450,
    reels: [],
    reel_left_m: null,
  },
} as unknown as LineFeature;

const drawn: Drawn = { lines: new Map([['line', line]]), crossings: new Map() };
const by = { party: 'lead_team', team: 'Lead 1' } as const;
const kept = (body: Body, outcome: Kept['outcome'] = { outcome: 'waiting' }): Kept => ({
  order: 0,
  operation: 'o',
  sender: 'lead_team/Lead 1',
  report: {
    id: 'r',
    at: '2026-05-04T08:00:00Z',
    clock_offset_ms: null,
    made_by: null,
    position: null,
    body,
  },
  outcome,
  seen: false,
});
const marked: Body = {
  kind: 'crossing_marked',
  crossing: 'c',
  line: 'line',
  obstacle: 'road',
  construction: 'overhead_poles',
  position: [0.015, 0],
};
const crossing = ({ crossings }: Drawn): CrossingFeature['properties'] | undefined =>
  crossings.get('c')?.properties;

describe('without a signal', () => {
  it('a marked crossing stands on the page and can be passed', () => {
    const one = withUnsent(drawn, [kept(marked)], 7, by);
    expect(crossing(one)).toMatchObject({ state: 'marked', hard_surface: true, passed_at: null });
    expect(crossing(one)?.chainage_m).toBeCloseTo(distance_m([0, 0], [0.015, 0]), 1);
    const passed: Body = { kind: 'crossing_passed', crossing: 'c', clear_of_traffic: false };
    expect(crossing(withUnsent(drawn, [kept(marked), kept(passed)], 7, by))).toMatchObject({
      state: 'passed',
      wire_in_traffic: true,
    });
  });

  it('what is taken is in hand, and given back it is as it was', () => {
    const all = [kept(marked), kept({ kind: 'crossing_taken', crossing: 'c' })];
    expect(crossing(withUnsent(drawn, all, 7, by))).toMatchObject({
      state: 'in_hand',
      in_hand: { team: 'Lead 1' },
    });
    all.push(kept({ kind: 'crossing_given_back', crossing: 'c' }));
    expect(crossing(withUnsent(drawn, all, 7, by))).toMatchObject({ state: 'marked', in_hand: null });
  });

  it('laid wire grows, and a position that comes twice adds nothing', () => {
    const more: Body = { kind: 'trace_extended', line: 'line', positions: [[0.015, 0]] };
    const { lines } = withUnsent(drawn, [kept(more), kept(more)], 7, by);
    expect(lines.get('line')?.properties.laid).toHaveLength(3);
    expect(lines.get('line')?.properties.laid_length_m).toBeCloseTo(distance_m([0, 0], [0.015, 0]), 3);
    expect(line.properties.laid).toHaveLength(2);
  });
});

describe('with an answer', () => {
  it('a recorded report counts until the feed has brought it, and not after', () => {
    const recorded = kept(marked, { outcome: 'recorded', sequence: 8 });
    expect(crossing(withUnsent(drawn, [recorded], 7, by))).toBeDefined();
    expect(withUnsent(drawn, [recorded], 8, by)).toBe(drawn);
  });

  it('a refused one never counts', () => {
    const refused = kept(marked, { outcome: 'refused', reason: { title: 'Not here.' } });
    expect(withUnsent(drawn, [refused], 7, by)).toBe(drawn);
  });
});

it('a place ahead on the plan is beyond the head, however near the wire passed by before', () => {
  // 200 m off the middle of the laid wire, but on the plan's last leg is where it is nearest.
  const back = [0.0199, 0.015] as const;
  expect(chainageOn(line, back)).toBeGreaterThan(line.properties.laid_length_m);
  expect(chainageOn(line, [0.005, 0.0001])).toBeCloseTo(distance_m([0, 0], [0.005, 0]), 1);
});
