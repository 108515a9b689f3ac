import { describe, expect, it } from 'vitest';
import type { LineProperties } from '../api/types.ts';
import { comingUp } from './coming-up.ts';
import { countTyped, lastWord, lyingWords, makeGoodWords } from './taking-up.ts';

const call = (at: string) => ({ at, team: 'Lead 1', chainage_m: 0 });
const test = (at: string, rang: boolean, spoke: boolean) =>
  ({ test: { at, team: 'Follow-up 1', rang, spoke } }) as Parameters<typeof lastWord>[1][number];
const ordered = { at: '2026-05-04T10:00:00Z', confirmed_dead_by: 'Switchboard crew' };
const line = (more: Partial<LineProperties>) =>
  ({ designation: '3', state: 'proved', ordered_up: null, ...more }) as LineProperties;

describe('the last word over a line', () => {
  it('is a living one until a test after it found nothing', () => {
    const calls = [call('2026-05-04T08:00:00Z'), call('2026-05-04T09:00:00Z')];
    expect(lastWord(calls, [])).toMatchObject({ alive: true, at: '2026-05-04T09:00:00Z' });
    expect(lastWord(calls, [test('2026-05-04T08:30:00Z', false, false)])).toMatchObject({ alive: true });
    expect(lastWord(calls, [test('2026-05-04T09:30:00Z', false, false)])).toMatchObject({
      alive: false,
      team: 'Follow-up 1',
    });
  });

  it('is a living one where the bell rang and nobody was heard', () => {
    expect(lastWord([], [test('2026-05-04T09:30:00Z', true, false)])?.alive).toBe(true);
  });

  it('is a living one of two at one time, whichever is told first', () => {
    const at = '2026-05-04T09:30:00Z';
    expect(lastWord([call(at)], [test(at, false, false)])?.alive).toBe(true);
    expect(lastWord([], [test(at, false, false), test(at, true, true)])?.alive).toBe(true);
  });

  it('compares times and not how they are written', () => {
    const dead = test('2026-05-04T10:30:00+02:00', false, false);
    expect(lastWord([call('2026-05-04T09:00:00Z')], [dead])?.alive).toBe(true);
  });

  it('is none where nobody ever tried', () => expect(lastWord([], [])).toBeNull());
});

describe('in words', () => {
  it('the stretches that lie are named from the near end', () => {
    const lying = [
      { from_m: 0, to_m: 400 },
      { from_m: 600, to_m: 1_000 },
    ];
    expect(lyingWords(lying, 'metric')).toBe(
      '800 m still lies in 2 stretches: 0 m to 400 m, 600 m to 1.00 km.',
    );
    expect(lyingWords(lying.slice(0, 1), 'metric')).toBe('400 m still lies: 0 m to 400 m.');
    expect(lyingWords([], 'metric')).toBe('Nothing of it lies any more.');
  });

  it('a team hears of a line that was ordered up, and of no other', () => {
    expect(comingUp(line({}))).toBeNull();
    expect(comingUp(line({ ordered_up: ordered }))).toBe('Line 3 is to come up');
    expect(comingUp(line({ ordered_up: ordered, state: 'recovered' }))).toBe(
      'Line 3 is up: what is left to do',
    );
  });

  it('the railway is told when everybody is clear of it', () => {
    expect(makeGoodWords('under_rails')).toContain('Tell the railway');
    expect(makeGoodWords(null)).toContain('tags off');
  });
});

it('splices are counted in whole numbers', () => {
  expect(['0', ' 12 ', '', '3.5', '-1', '1000', 'two'].map(countTyped)).toEqual([
    0,
    12,
    null,
    null,
    null,
    null,
    null,
  ]);
});
