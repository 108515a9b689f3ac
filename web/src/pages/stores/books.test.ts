import { describe, expect, it } from 'vitest';
import type { Entry, LineFeature, LineRecovery, ReelAccount, WireAccount } from '../../api/types.ts';
import { balanceWords, byLine, entered, history, lookInto, type Known } from './books.ts';

const account = (more: Partial<WireAccount>): WireAccount => ({
  issued_m: 1_000,
  laid_m: 0,
  on_reel_m: 0,
  returned_m: 1_000,
  lost_m: 0,
  missing_m: 0,
  balanced: true,
  ...more,
});

describe('whether the books come out', () => {
  it('is said in words, with what is missing or too much', () => {
    expect(balanceWords(account({}), 'metric')).toBe('balances');
    expect(balanceWords(account({ balanced: false, missing_m: 40 }), 'metric')).toBe('40 m is missing');
    expect(balanceWords(account({ balanced: false, missing_m: -40 }), 'metric')).toBe(
      '40 m more came back than went out',
    );
  });

  it('says what to look into, and asks for a measure only where wire is still on a reel', () => {
    expect(lookInto(account({}))).toBeNull();
    expect(lookInto(account({ balanced: false, missing_m: 40, on_reel_m: 5 }))).toContain('Measure');
    expect(lookInto(account({ balanced: false, missing_m: 40 }))).not.toContain('Measure');
    expect(lookInto(account({ balanced: false, missing_m: -40 }))).toContain('told twice');
  });
});

it('a ledger has whole metres or feet, and no zero with a sign', () => {
  // 1000 m / 0.3048 m: 3280.8 ft.
  expect([entered(1_000, 'metric'), entered(1_000, 'miles'), entered(-0.2, 'metric')]).toEqual([
    '1000',
    '3281',
    '0',
  ]);
});

it('reels stand under the line that they were issued for', () => {
  const reel = (line: string, label: string) => ({ line, designation: line, label }) as ReelAccount;
  const lines = byLine([reel('3', 'R 1'), reel('12', 'R 2'), reel('3', 'R 3')]);
  expect(lines.map(({ designation, reels }) => [designation, reels.map(({ label }) => label)])).toEqual([
    ['3', ['R 1', 'R 3']],
    ['12', ['R 2']],
  ]);
});

describe('what a reel has been through', () => {
  const line = {
    id: 'line',
    properties: {
      designation: '3',
      team: 'Lead 1',
      laid_length_m: 1_500,
      reels: [
        { id: 'one', label: 'R 1', length_m: 1_000, from_chainage_m: 20 },
        { id: 'two', label: 'R 2', length_m: 1_000, from_chainage_m: 800 },
      ],
      splices: [
        { chainage_m: 10, at: '' },
        { chainage_m: 500, at: '' },
        { chainage_m: 800, at: '' },
      ],
    },
  } as unknown as LineFeature;
  const recovery = {
    recovery: {
      sections: [
        {
          at: '2026-05-05T09:00:00Z',
          team: 'Follow-up 1',
          from_m: 0,
          to_m: 700,
          onto: 'R 2',
          length_m: 800,
          splices: 2,
          class: 'a',
        },
      ],
      not_back: [
        {
          at: '2026-05-05T10:00:00Z',
          team: 'Follow-up 1',
          from_m: 700,
          to_m: 800,
          length_m: 110,
          fate: 'lost',
          because: 'under the new road',
        },
      ],
      rests: [{ reel: 'one', at: '2026-05-05T08:00:00Z', left_m: 90 }],
    },
  } as unknown as LineRecovery;
  const begun = {
    sequence: 4,
    by: { party: 'lead_team', team: 'Lead 2' },
    received_at: '2026-05-04T08:00:01Z',
    report: {
      id: 'r',
      at: '2026-05-04T08:00:00Z',
      body: { kind: 'reel_started', line: 'line', reel: 'one', label: 'R 1', length_m: 1_000 },
    },
  } as unknown as Entry;
  const known: Known = {
    lines: new Map([['line', line]]),
    recoveries: new Map([['line', recovery]]),
    entries: [begun],
    units: 'metric',
  };

  it('is told from the draw to what became of its wire', () => {
    expect(history('R 1', known).map(({ words }) => words)).toEqual([
      'Drawn for line 3 by Lead 2 with 1.00 km on it.',
      'Laid on line 3 from 0 m to 800 m: 2 splices made in it, class A.',
      'Brought back: 90 m left on it, measured.',
      'Of its wire on line 3, 0 m to 700 m came up onto R 2, by Follow-up 1.',
      'Of its wire on line 3, 700 m to 800 m was lost: under the new road',
    ]);
  });

  it('has what it was filled with again, and the line’s team where the draw is not in the entries at hand', () => {
    expect(history('R 2', known).map(({ words }) => words)).toEqual([
      'Drawn for line 3 by Lead 1 with 1.00 km on it.',
      'Laid on line 3 from 800 m to 1.50 km: 1 splice made in it, class A.',
      'Filled by Follow-up 1: 800 m of line 3, 0 m to 700 m, 2 splices, class A.',
    ]);
  });

  it('is nothing of a reel that nobody knows', () => expect(history('R 9', known)).toEqual([]));
});
