import { describe, expect, it } from 'vitest';
import type { Body, CrossingFeature, Entry, LineFeature } from '../../api/types.ts';
import { attention, canBeTakenBack, totals } from './attention.ts';

type Figures = CrossingFeature['properties'];

const crossing = (id: string, properties: Partial<Figures>): CrossingFeature =>
  ({
    id,
    properties: {
      state: 'marked',
      wire_in_traffic: false,
      given_to: null,
      in_hand: null,
      passed_at: null,
      opened_at: at(0),
      ...properties,
    },
  }) as CrossingFeature;

const at = (minute: number) => new Date(Date.UTC(2026, 4, 4, 12, minute)).toISOString();
const ids = (list: readonly CrossingFeature[]) => list.map(({ id }) => id);

describe('what needs eyes', () => {
  it('has each crossing in one list: wire in traffic goes before who has it in hand', () => {
    const lists = attention([
      crossing('traffic, in hand', {
        state: 'in_hand',
        wire_in_traffic: true,
        passed_at: at(9),
        in_hand: { team: 'F1', since: at(20) },
      }),
      crossing('in hand', { state: 'in_hand', passed_at: at(5), in_hand: { team: 'F2', since: at(8) } }),
      crossing('marked', {}),
      crossing('passed', { state: 'passed', passed_at: at(3) }),
      crossing('foreseen', { state: 'foreseen' }),
      crossing('finished', { state: 'finished' }),
      crossing('struck out', { state: 'struck_out' }),
    ]);
    expect(ids(lists.inTraffic)).toEqual(['traffic, in hand']);
    expect(ids(lists.inHand)).toEqual(['in hand']);
    expect(ids(lists.open)).toEqual(['marked', 'passed']);
  });

  it('puts the longest first: in traffic since the wire lies there, not since somebody took it', () => {
    const lies = (id: string, minute: number, since: number | null) =>
      crossing(id, {
        state: since === null ? 'passed' : 'in_hand',
        wire_in_traffic: true,
        passed_at: at(minute),
        in_hand: since === null ? null : { team: 'F1', since: at(since) },
      });
    expect(ids(attention([lies('b', 10, null), lies('c', 12, null), lies('a', 2, 30)]).inTraffic)).toEqual([
      'a',
      'b',
      'c',
    ]);
  });
});

describe('the operation in one line of figures', () => {
  it('adds up lines and crossings, without what was struck out', () => {
    const line = (laid_length_m: number, length_m: number) =>
      ({ properties: { laid_length_m, length_m } }) as LineFeature;
    expect(
      totals(
        [line(4600, 7200), line(4000, 4000)],
        [
          crossing('a', { state: 'finished' }),
          crossing('b', { state: 'proved' }),
          crossing('c', { state: 'passed', wire_in_traffic: true }),
          crossing('d', { state: 'struck_out' }),
          crossing('e', { state: 'foreseen' }),
        ],
      ),
    ).toEqual({ laid_m: 8600, length_m: 11200, finished: 2, crossings: 4, inTraffic: 1 });
  });
});

describe('taking a report back', () => {
  const entry = (id: string, body: Partial<Body>) => ({ report: { id, body } }) as Entry;
  const call = entry('call', { kind: 'call_back_good' });

  it('is for what can be taken back, and once', () => {
    expect(canBeTakenBack(call, [call])).toBe(true);
    expect(canBeTakenBack(call, [call, entry('other', { kind: 'correction', corrects: 'call' })])).toBe(
      false,
    );
    for (const kind of ['line_planned', 'crossing_marked', 'correction'] as const) {
      expect(canBeTakenBack(entry('it', { kind }), [])).toBe(false);
    }
  });
});
