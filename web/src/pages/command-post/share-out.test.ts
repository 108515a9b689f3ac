import { describe, expect, it } from 'vitest';
import type { CrossingFeature, ShareOut } from '../../api/types.ts';
import { givenOut, moved, roundsOf, teamsOf } from './share-out.ts';

const crossing = (id: string, properties: Record<string, unknown> = {}) =>
  ({
    id,
    geometry: { type: 'Point', coordinates: [id.length, 54] },
    properties: { given_to: null, in_hand: null, finished_by: null, finished_at: null, ...properties },
  }) as unknown as CrossingFeature;

const stop = (id: string, team: string, place: number, in_hand = false) => ({
  crossing: id,
  in_hand,
  to: { team, place },
  travel_min: 1,
  distance_m: 100,
  begins_after_min: 1,
  ends_after_min: 2,
});

const shared = {
  rounds: [
    { team: 'Follow-up 1', stops: [stop('held', 'Follow-up 1', 1, true), stop('a', 'Follow-up 1', 2)] },
    { team: 'Follow-up 2', stops: [stop('b', 'Follow-up 2', 1), stop('c', 'Follow-up 2', 2)] },
  ],
} as unknown as ShareOut;

describe('the share-out', () => {
  it('knows the follow-up teams with a good pass, and where each was last', () => {
    const pass = (party: 'lead_team' | 'follow_up_team', team: string, revoked_at: string | null = null) => ({
      party,
      team,
      revoked_at,
    });
    const passes = [
      pass('follow_up_team', 'Follow-up 10'),
      pass('follow_up_team', 'Follow-up 2'),
      pass('follow_up_team', 'Follow-up 2'),
      pass('lead_team', 'Lead 1'),
      pass('follow_up_team', 'Follow-up 3', '2026-05-04T08:00:00Z'),
    ];
    const crossings = [
      crossing('x', { finished_by: 'Follow-up 10', finished_at: '2026-05-04T08:00:00Z' }),
      crossing('longer', { finished_by: 'Follow-up 10', finished_at: '2026-05-04T09:00:00Z' }),
    ];
    const crews = [{ team: 'Follow-up 2', position: [1, 2] as [number, number] }];
    expect(teamsOf(passes, crews, crossings)).toEqual([
      { name: 'Follow-up 2', at: [1, 2] },
      { name: 'Follow-up 10', at: [6, 54] },
    ]);
  });

  it('moves a crossing within a round and to another team, and leaves what is in hand', () => {
    const rounds = roundsOf(shared);
    expect([...moved(rounds, 'c', 'Follow-up 2', 0)]).toEqual([
      ['Follow-up 1', ['a']],
      ['Follow-up 2', ['c', 'b']],
    ]);
    expect(moved(rounds, 'a', 'Follow-up 2', 2).get('Follow-up 2')).toEqual(['b', 'c', 'a']);
    expect(moved(rounds, 'a', 'Follow-up 2', 2).get('Follow-up 1')).toEqual([]);
  });

  it('reports what changes and nothing that stands so', () => {
    const crossings = new Map(
      [
        crossing('held'),
        crossing('a', { given_to: { team: 'Follow-up 1', place: 2 } }),
        crossing('b', { given_to: { team: 'Follow-up 1', place: 3 } }),
        crossing('c'),
        crossing('gone', { given_to: { team: 'Follow-up 2', place: 9 } }),
        crossing('others', { given_to: { team: 'Follow-up 7', place: 1 } }),
      ].map((one) => [one.id, one]),
    );
    expect(givenOut(shared, crossings)).toEqual([
      { kind: 'crossing_given_out', crossing: 'gone' },
      { kind: 'crossing_given_out', crossing: 'held', to: { team: 'Follow-up 1', place: 1 } },
      { kind: 'crossing_given_out', crossing: 'b', to: { team: 'Follow-up 2', place: 1 } },
      { kind: 'crossing_given_out', crossing: 'c', to: { team: 'Follow-up 2', place: 2 } },
    ]);
  });
});
