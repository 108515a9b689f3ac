import { describe, expect, it, test } from 'vitest';
import type { JudgedTest, LineFeature } from '../../api/types.ts';
import { conditions, rows, testBody, testWords, untyped, type TestTyped } from './test.ts';

const line = { properties: { from: 'Post', to: 'Mill exchange' } } as LineFeature;
const filled = (more: Partial<TestTyped>): TestTyped => ({ ...untyped(), ...more });

describe('the report of a test', () => {
  test('a call-back from the wire with nothing but what was heard', () => {
    expect(
      testBody(
        filled({ from: 'along', rang: true, spoke: true, quality: 'weak', to_whom: ' Post ' }),
        'l',
        'metric',
      ),
    ).toEqual({
      body: {
        kind: 'test_made',
        line: 'l',
        from: 'along',
        rang: true,
        spoke: true,
        quality: 'weak',
        to_whom: 'Post',
      },
    });
  });

  test('readings go out in ohms, decibels and degrees Celsius, with how they were taken', () => {
    const typed = filled({
      occasion: 'splice',
      from: 'far_end',
      rang: true,
      loop: '2.4 k',
      insulation: '5 M',
      loss: '9,5',
      temperature: '50',
      weather: 'rain',
      instrument: 'ohmmeter 4',
      wire: 'wd_1a_tt',
    });
    expect(testBody(typed, 'l', 'miles')).toEqual({
      body: {
        kind: 'test_made',
        line: 'l',
        from: 'far_end',
        rang: true,
        spoke: false,
        after: 'splice',
        readings: {
          loop_ohm: 2400,
          insulation_ohm: 5e6,
          loss_db: 9.5,
          // 50 °F (NIST Special Publication 811, appendix B.8).
          temperature_c: 10,
          weather: 'rain',
          instrument: 'ohmmeter 4',
          wire: 'wd_1a_tt',
        },
      },
    });
  });

  test('weather and instrument alone are no reading', () => {
    const made = testBody(filled({ from: 'near_end', weather: 'dry', instrument: 'x' }), 'l', 'metric');
    expect('body' in made && 'readings' in made.body).toBe(false);
  });

  // SS0440 p. 69: a line must ring and talk.
  test('the final test proves the line, and never one that does not ring and talk', () => {
    expect(
      testBody(filled({ occasion: 'final', rang: true, spoke: true, loop: '238' }), 'l', 'metric'),
    ).toEqual({
      body: { kind: 'line_proved', line: 'l', readings: { loop_ohm: 238 } },
    });
    expect(testBody(filled({ occasion: 'final', rang: true }), 'l', 'metric')).toHaveProperty(
      'problems.occasion',
    );
  });

  it.each([
    ['from', {}],
    ['chainage', { from: 'along', chainage: 'by the barn' }],
    ['loop', { from: 'near_end', loop: 'none' }],
    ['insulation', { from: 'near_end', insulation: '200 M' }],
    ['loss', { from: 'near_end', loss: '201' }],
    ['temperature', { from: 'near_end', temperature: '96' }],
  ] as const)('what cannot be read is said beside it: %s', (field, more) => {
    const made = testBody(filled(more), 'l', 'metric');
    expect(Object.keys('problems' in made ? made.problems : {})).toEqual([field]);
  });
});

const judged = {
  test: {
    at: '2026-05-04T14:00:00Z',
    team: 'Lead 1',
    from: 'far_end',
    chainage_m: 2834,
    to_whom: 'Post',
    rang: true,
    spoke: true,
    quality: 'noisy',
    after: 'splice',
    readings: { loop_ohm: 430, temperature_c: 12, weather: 'dry', instrument: 'ohmmeter 4' },
    is_final: false,
  },
  judged: {
    verdict: 'worse',
    parts: [
      { what: 'call', verdict: 'worse', words: '' },
      { what: 'loop', verdict: 'good', words: '' },
    ],
    expected: {
      allowance_db: 42,
      least_insulation_ohm: 1e4,
      loss_dry_db: 3.1,
      loss_wet_db: 5,
      notes: [],
      reading: { least_ohm: 400, most_ohm: 460, resistance_ohm: 430, tolerance_ohm: 30, how: '', shares: [] },
      wire: 'wd_1_tt',
      wire_m: 3401,
    },
  },
} as unknown as JudgedTest;

describe('a judged test', () => {
  test('says who, from where to whom, and after what', () => {
    expect(testWords(judged, line, 'metric')).toBe('Lead 1, from Mill exchange to Post, after a splice');
  });

  test('has what was read beside what a sound line should give', () => {
    expect(rows(judged)).toEqual([
      {
        what: 'Call',
        read: 'rang, spoke, noisy',
        expected: 'rings and talks, clear',
        verdict: 'serves, worse than it should',
      },
      { what: 'Loop', read: '430 Ω', expected: '400 Ω to 460 Ω', verdict: 'good' },
    ]);
  });

  test('says under which conditions it was read', () => {
    expect(conditions(judged, 'metric')).toBe('WD-1/TT, 3.40 km of wire, 12 °C, dry, ohmmeter 4');
  });

  test('has no rows where the line was not judged', () => {
    expect(rows({ ...judged, judged: null })).toEqual([]);
  });
});
