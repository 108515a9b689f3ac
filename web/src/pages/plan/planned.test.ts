import { describe, expect, it } from 'vitest';
import type { CrossingFeature, ForeseenCrossing, PlannedCrossing } from '../../api/types.ts';
import { keysOf, planned, toSend, toStrip, type Change } from './planned.ts';

const found = (way: number, more: Partial<ForeseenCrossing> = {}): ForeseenCrossing =>
  ({
    obstacle: 'road',
    passes: 'on_the_ground',
    chainage_m: 100 * way,
    position: [-4.6, 54 + way / 100],
    hard_surface: true,
    met: [{ drawn: { osm_way: way } }],
    proposed: { construction: 'through_culvert', detour_m: 80 },
    ...more,
  }) as unknown as ForeseenCrossing;

const stands = (id: string, position: [number, number]): CrossingFeature =>
  ({
    id,
    geometry: { coordinates: position },
    properties: { obstacle: 'road' },
  }) as unknown as CrossingFeature;

function plan(
  crossings: ForeseenCrossing[],
  changes = new Map<string, Change | null>(),
  known: CrossingFeature[] = [],
  ids = new Map<string, string>(),
  earlier: PlannedCrossing[] = [],
) {
  let n = 0;
  return planned(crossings, changes, known, ids, () => `new ${(n += 1)}`, earlier);
}

describe('the crossings of a plan', () => {
  it('are as proposed, and what lies under the ground is none', () => {
    const all = plan([found(1), found(2, { passes: 'beneath' }), found(3)]);
    expect(all.map(({ id, construction }) => [id, construction])).toEqual([
      ['new 1', 'through_culvert'],
      ['new 2', 'through_culvert'],
    ]);
  });

  it('keep their names and changes while the trace is moved', () => {
    const ids = new Map<string, string>();
    const [first] = plan([found(1), found(2)], new Map(), [], ids);
    const changes = new Map([[first?.key ?? '', { construction: null, because: 'the culvert is choked' }]]);
    // Way 2 is no longer met, way 1 elsewhere, and something new before it.
    const moved = plan([found(9), found(1, { chainage_m: 140 })], changes, [], ids);
    expect(moved[1]).toMatchObject({ id: 'new 1', construction: null });
    expect(moved[1] && toSend(moved[1])).toMatchObject({
      crossing: 'new 1',
      construction: null,
      because: 'the culvert is choked',
      detour_m: null,
    });
    expect(moved[0] && toSend(moved[0])).toMatchObject({ because: null, detour_m: 80 });
  });

  it('are told apart where one road is met twice', () => {
    const keys = keysOf([found(1), found(1), found(2)]);
    expect(new Set(keys).size).toBe(3);
    expect(keys).toEqual(keysOf([found(1), found(1), found(2)]));
  });

  it('that an earlier plan gave the line keep their ids', () => {
    const known = [stands('old', [-4.6, 54.0101]), stands('far', [-4.6, 54.9])];
    expect(plan([found(1), found(2)], new Map(), known).map(({ id }) => id)).toEqual(['old', 'new 1']);
  });

  it('of the saved plan that is drawn on from keep its ids, its changes and its reasons, until they are taken back', () => {
    const saved: PlannedCrossing = {
      crossing: 'saved',
      obstacle: 'road',
      position: [-4.6, 54.01],
      construction: 'ladder',
      because: 'the culvert is choked',
    };
    const [one] = plan([found(1)], new Map(), [], new Map(), [saved]);
    expect(one).toMatchObject({
      id: 'saved',
      construction: 'ladder',
      change: { because: 'the culvert is choked' },
    });
    const back = new Map([[one?.key ?? '', null]]);
    const [again] = plan([found(1)], back, [], new Map(), [saved]);
    expect(again).toMatchObject({ id: 'saved', construction: 'through_culvert', change: null });
  });

  it('hang on the strip as foreseen', () => {
    const [one] = plan([found(1)]);
    expect(one && toStrip(one)).toMatchObject({ chainage_m: 100, obstacle: 'road', state: 'foreseen' });
  });
});
