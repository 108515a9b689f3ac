// The mile is 1,609.344 m exactly (international yard and pound agreement of 1959). Medians are worked by hand.
import { describe, expect, it, test } from 'vitest';
import type { Learned, OwnRates, RateCase, RateEstimate } from '../../api/types.ts';
import {
  asRead,
  broughtAlong,
  broughtWords,
  byKind,
  CasesUnread,
  isFarOut,
  learnedWords,
  middle,
  operationWords,
  readCases,
  spreadOf,
  toRead,
  trust,
  whatWords,
} from './rates.ts';

const [here, before, longAgo] = [1, 2, 3].map((digit) => `0193c3a0-0000-7000-8000-00000000000${digit}`) as [
  string,
  string,
  string,
];
const dug: Learned = { what: 'finishing', construction: 'buried', light: 'day' };
const laid: Learned = { what: 'laying', means: 'foot', light: 'night' };
const one = (time_min: number, operation = here, figure: Learned = dug, entries = [4, 9]): RateCase => ({
  operation,
  figure,
  time_min,
  entries,
});
const estimate = (figure: Learned, more: Partial<RateEstimate> = {}): RateEstimate => ({
  figure,
  profile: 'a.name',
  profile_min: 20,
  all: { cases: 3, median_min: 12, p10_min: 10, p90_min: 14 },
  without_far_out: null,
  far_out: [],
  too_few: false,
  words: '',
  line: 'a.name = { min = 12.00 }',
  ...more,
});

describe('a file of cases', () => {
  const file = (cases: unknown) => readCases('cases.json', JSON.stringify(cases));

  it('is read back as it was saved', () => {
    const cases = [one(12), one(9.5, before, laid, [])];
    expect(file(cases)).toEqual(cases);
  });

  it('that is no file of cases is told apart from one that has a bad case', () => {
    for (const text of ['', 'no', '{}', '3', '{"cases": []}'])
      expect(() => readCases('list.json', text), text).toThrow(/^list\.json is not a file of cases/);
    expect(() => file([])).toThrow('cases.json has no case in it.');
  });

  it('with one bad case is refused as a whole, and the case is named', () => {
    const bad: unknown[] = [
      null,
      7,
      { ...one(12), operation: 'the last one' },
      { ...one(12), time_min: 0 },
      { ...one(12), time_min: -1 },
      { ...one(12), time_min: '12' },
      // longer than a week
      { ...one(12), time_min: 10_081 },
      { ...one(12), figure: { what: 'splicing', light: 'day' } },
      { ...one(12), figure: { ...dug, construction: 'toString' } },
      { ...one(12), figure: { ...laid, means: 'sledge' } },
      { ...one(12), figure: { ...dug, light: 'dusk' } },
      { ...one(12), entries: [1.5] },
      { ...one(12), entries: Array.from({ length: 101 }, (_, index) => index + 1) },
    ];
    for (const value of bad)
      expect(() => file([one(10), value]), JSON.stringify(value)).toThrow(
        /^Case 2 of cases\.json cannot be read/,
      );
    expect(() => file([one(10), null])).toThrow(CasesUnread);
  });

  it('has at most as many cases as the service takes', () => {
    expect(file(Array.from({ length: 4_000 }, () => one(12)))).toHaveLength(4_000);
    expect(() => file(Array.from({ length: 4_001 }, () => one(12)))).toThrow(
      '4001 cases, and 4000 are the most',
    );
  });

  it('brings nothing along but what the service knows of a case', () => {
    expect(file([{ ...one(12), team: 'Lead 1' }])).toEqual([one(12)]);
  });
});

describe('cases that are brought along', () => {
  it('are added to those of other operations, and take the place of those of their own', () => {
    const kept = [one(8, before), one(9, before), one(7, longAgo)];
    expect(broughtAlong(kept, [one(10, before)], here)).toEqual([one(7, longAgo), one(10, before)]);
    expect(broughtAlong([], kept, here)).toEqual(kept);
    expect(broughtWords(kept)).toBe('3 cases of 2 earlier operations');
    expect(broughtWords([one(7, longAgo)])).toBe('1 case of 1 earlier operation');
  });

  it('are not those of this operation, which its log has', () => {
    expect(broughtAlong([], [one(8), one(9, before)], here)).toEqual([one(9, before)]);
    expect(() => broughtAlong([one(9, before)], [one(8)], here)).toThrow('counted already');
  });

  it('are refused where all together they are too many', () => {
    const many = Array.from({ length: 3_000 }, () => one(8, before));
    expect(() =>
      broughtAlong(
        many,
        many.map(() => one(8, longAgo)),
        here,
      ),
    ).toThrow('6000 cases, and 4000 are the most');
  });
});

test('a figure is named by what it is of, and by night says so', () => {
  expect(learnedWords(dug)).toBe('dug in (buried)');
  expect(learnedWords(laid)).toBe('the crew, by night');
  expect(whatWords('laying', 'metric')).toContain('a kilometre');
  expect(whatWords('laying', 'miles')).toContain('a mile');
});

test('laying is read for each mile by whoever reads miles, and a crossing’s minutes stay what they are', () => {
  expect(asRead(laid, 100, 'metric')).toBe(100);
  expect(asRead(laid, 100, 'miles')).toBeCloseTo(160.9344, 6);
  expect(asRead(dug, 100, 'miles')).toBe(100);
});

test('an estimate says whether it is offered, and if not why', () => {
  expect(trust(estimate(dug))).toBe('offered');
  expect(trust(estimate(dug, { too_few: true, line: null }))).toBe('too few to trust');
  expect(trust(estimate(dug, { profile: null, line: null }))).toBe(
    'a profile has no figure of its own for it',
  );
  expect(trust(estimate(dug, { line: null }))).toBe('a profile would refuse it');
});

describe('rates by their kind', () => {
  const far = one(95, before);
  const answer: OwnRates = {
    cases: [one(12, longAgo), far, one(10, before), one(14), one(70, here, laid)],
    left_out: 0,
    estimates: [
      estimate(laid, { profile_min: 60 }),
      estimate(dug, { far_out: [far], all: { cases: 4, median_min: 13, p10_min: 10, p90_min: 70 } }),
    ],
    profile: '',
    cannot_know: [],
  };
  const kinds = byKind(answer, here);
  const of = (what: string) => kinds.find((kind) => kind.what === what)?.rates ?? [];
  const [finishing] = of('finishing');
  if (!finishing) throw new Error('finishing has a rate');

  it('have this operation’s cases apart from the earlier ones’, and leave out a kind of which there is none', () => {
    expect(kinds.map(({ what }) => what)).toEqual(['laying', 'finishing']);
    expect(finishing.own).toEqual([one(14)]);
    expect(finishing.earlier.map((case_) => case_.time_min)).toEqual([12, 95, 10]);
    expect(middle(finishing.earlier)).toBe(12);
    expect(middle([])).toBeNull();
  });

  it('show what lies far out first, and once', () => {
    expect(toRead(finishing).map((case_) => case_.time_min)).toEqual([95, 14, 12, 10]);
    expect(toRead(finishing).map((case_) => isFarOut(case_, finishing.estimate))).toEqual([
      true,
      false,
      false,
      false,
    ]);
  });

  it('number the earlier operations, which have no names in a file', () => {
    expect(answer.cases.map(operationWords(answer.cases, here))).toEqual([
      'earlier operation 1',
      'earlier operation 2',
      'earlier operation 2',
      'this operation',
      'this operation',
    ]);
  });

  it('are drawn with every case, those far out among them', () => {
    expect(spreadOf(of('finishing'), 'metric')).toEqual([
      { name: 'dug in (buried)', minutes: [14, 12, 95, 10], planned_min: 20, far_out: [95] },
    ]);
    expect(spreadOf(of('laying'), 'miles')[0]?.planned_min).toBeCloseTo(96.56064, 6);
  });
});
