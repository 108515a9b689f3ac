import { describe, expect, it } from 'vitest';
import type { CrossingFeature, LineFeature } from '../../api/types.ts';
import { foreseenNear, nextAhead, notPassed, onReel, spansNear } from './ahead.ts';

const line = (properties: Partial<LineFeature['properties']> = {}): LineFeature =>
  ({
    id: 'line',
    properties: { laid_length_m: 4_600, reels: [{ label: 'Reel 5' }], reel_left_m: 600, ...properties },
  }) as LineFeature;

const crossing = (id: string, properties: Partial<CrossingFeature['properties']>, lon = 0): CrossingFeature =>
  ({
    id,
    geometry: { coordinates: [lon, 0] },
    properties: {
      line: 'line',
      state: 'foreseen',
      obstacle: 'road',
      construction: null,
      span_m: null,
      ...properties,
    },
  }) as unknown as CrossingFeature;

const stream = (chainage_m: number, span_m: number | null = 40) =>
  crossing('stream', { obstacle: 'stream', construction: 'overhead_trees', chainage_m, span_m });

describe('what is ahead', () => {
  it('is the next foreseen crossing from the head, on this line alone', () => {
    const all = [
      crossing('behind', { chainage_m: 4_000 }),
      crossing('far', { chainage_m: 6_000 }),
      crossing('next', { chainage_m: 5_190 }),
      crossing('marked', { chainage_m: 4_700, state: 'marked' }),
      crossing('other', { chainage_m: 4_650, line: 'another' }),
    ];
    expect(nextAhead(line(), all)).toMatchObject({ crossing: { id: 'next' }, away_m: 590 });
    expect(nextAhead(line(), [])).toBeNull();
  });

  it('one that the head has just reached is still ahead, at no distance', () => {
    expect(nextAhead(line(), [crossing('here', { chainage_m: 4_580 })])?.away_m).toBe(0);
  });

  it('the foreseen crossing where I stand is offered, none that is far', () => {
    // 0.001 degree of the equator is 111.3 m.
    const all = [crossing('near', { chainage_m: 1 }, 0.001), crossing('nearer', { chainage_m: 2 }, 0.0005)];
    expect(foreseenNear(line(), all, [0, 0])?.crossing.id).toBe('nearer');
    expect(foreseenNear(line(), all, [0.1, 0])).toBeNull();
  });
});

it('marked crossings wait for the wire, also in the hand of a team that came early', () => {
  const all = [
    crossing('marked', { state: 'marked', chainage_m: 2, passed_at: null }),
    crossing('early', { state: 'in_hand', chainage_m: 1, passed_at: null }),
    crossing('passed', { state: 'in_hand', chainage_m: 3, passed_at: '2026-05-04T08:00:00Z' }),
  ];
  expect(notPassed(line(), all).map(({ id }) => id)).toEqual(['early', 'marked']);
});

describe('streams want unbroken wire', () => {
  it('half the span to either side of the crossing, 100 ft when nobody has measured', () => {
    expect(spansNear(line(), [stream(5_000)], 4_990)).toEqual([{ from_m: 4_980, to_m: 5_020, inside: true }]);
    const [normal] = spansNear(line(), [stream(5_000, null)], 4_000);
    expect((normal?.to_m ?? NaN) - (normal?.from_m ?? NaN)).toBeCloseTo(30.48, 9);
    expect(normal?.inside).toBe(false);
  });

  it('a stream under a bridge has no span', () => {
    const bridge = crossing('b', { obstacle: 'stream', construction: 'under_bridge', chainage_m: 5_000 });
    expect(spansNear(line(), [bridge], 5_000)).toEqual([]);
  });

  it('600 m on the reel reach 500 m over the ground, with 20 % of slack', () => {
    // SS0444 p. 23: about 20 % of the total distance.
    expect(onReel(line(), [stream(5_000)])?.stream).toMatchObject({ enough: true });
    expect(onReel(line(), [stream(5_090)])?.stream).toMatchObject({ enough: false, from_m: 5_070 });
    expect(onReel(line(), [stream(5_200)])?.stream).toBeNull();
    expect(onReel(line({ reels: [], reel_left_m: null }), [])).toBeNull();
  });
});
