// What the sentences say is the project's own wording, and a common practice of log keeping, no source:
// who, what, where. What they must never do is name the wrong crossing or write a figure nobody gave.
import { describe, expect, it } from 'vitest';
import type { Body, CrossingFeature, Entry, LineFeature } from '../api/types.ts';
import { lineSentence, reportSentence, worthTelling, type Known } from './sentence.ts';

const now = Date.parse('2026-05-04T14:32:00');
const time = (clock: string) => new Date(`2026-05-04T${clock}:00`).toISOString();

const line = (properties: Partial<LineFeature['properties']> = {}): LineFeature => ({
  type: 'Feature',
  id: 'l12',
  geometry: null,
  properties: {
    designation: '12',
    from: 'Command post',
    to: 'Mill exchange',
    state: 'laying',
    laid_length_m: 4600,
    length_m: 7200,
    laid: [],
    head: null,
    head_grid: null,
    plan: null,
    team: 'Lead 1',
    reels: [],
    reel_left_m: null,
    splices: [],
    call_backs: [],
    started_at: time('12:00'),
    through_at: null,
    proved_at: null,
    handed_over_at: null,
    handed_over_to: null,
    proof_lost: null,
    watch: null,
    in_trouble_since: null,
    silent_min: 0,
    silent_since: null,
    ordered_up: null,
    ...properties,
  },
});

const crossing = (id: string, properties: Partial<CrossingFeature['properties']> = {}): CrossingFeature => ({
  type: 'Feature',
  id,
  geometry: { type: 'Point', coordinates: [-4.6, 54.1] },
  properties: {
    line: 'l12',
    chainage_m: 3400,
    changed: 1,
    obstacle: 'stream',
    construction: 'overhead_trees',
    state: 'passed',
    clearance_m: null,
    depth_m: null,
    span_m: null,
    finished_at: null,
    finished_by: null,
    grid: '30U VF 02946 01487',
    hard_surface: false,
    given_to: null,
    in_hand: null,
    left_undone: [],
    opened_at: time('13:00'),
    passed_at: null,
    proved_at: null,
    because: null,
    struck_out_because: null,
    conflicts: [],
    wire_in_traffic: false,
    ...properties,
  },
});

const known = (more: Partial<Known> = {}): Known => ({
  lines: new Map([['l12', line()]]),
  crossings: new Map([['c', crossing('c')]]),
  entries: [],
  units: 'metric',
  now,
  ...more,
});

const entry = (
  body: Body,
  team = 'Follow-up 1',
  party: Entry['by']['party'] = 'follow_up_team',
  id = 'r',
): Entry => ({
  sequence: 1,
  received_at: time('14:18'),
  by: { party, team },
  report: { id, at: time('14:18'), body },
});

const marked = { crossing: 'c', line: 'l12', obstacle: 'stream', position: [-4.6, 54.1] } as const;

describe('a report as a sentence', () => {
  const told: [Body, string][] = [
    [
      { kind: 'line_planned', line: 'l9', designation: '9', from: 'Post', to: 'Mill' },
      'planned line 9, Post to Mill',
    ],
    [{ kind: 'line_started', line: 'l12' }, 'started laying line 12'],
    [{ kind: 'trace_extended', line: 'l12', positions: [[-4.6, 54.1]] }, 'laid line 12 on'],
    [
      { kind: 'reel_started', line: 'l12', reel: 'x', label: 'R5', length_m: 1600 },
      'put reel R5 on line 12, 1.60 km of wire',
    ],
    [
      { kind: 'reel_started', line: 'l12', reel: 'x', label: 'Reel 5', length_m: 1600 },
      'put Reel 5 on line 12, 1.60 km of wire',
    ],
    [{ kind: 'splice_made', line: 'l12', chainage_m: 2100 }, 'made a splice at 2.10 km of line 12'],
    [{ kind: 'splice_made', line: 'l12' }, 'made a splice in line 12'],
    [
      { kind: 'crossing_foreseen', ...marked, position: [...marked.position] },
      'foresaw the stream at 3.40 km of line 12',
    ],
    [
      { kind: 'crossing_marked', ...marked, position: [...marked.position], construction: 'overhead_trees' },
      'marked the stream at 3.40 km of line 12, overhead on trees',
    ],
    [
      { kind: 'crossing_passed', crossing: 'c', clear_of_traffic: false },
      'passed the stream at 3.40 km of line 12, wire lies in traffic',
    ],
    [
      { kind: 'crossing_passed', crossing: 'c', clear_of_traffic: true },
      'passed the stream at 3.40 km of line 12, clear of traffic',
    ],
    [{ kind: 'crossing_taken', crossing: 'c' }, 'took the stream at 3.40 km of line 12 in hand'],
    [
      { kind: 'crossing_given_out', crossing: 'c', to: { team: 'Follow-up 2', place: 3 } },
      'gave the stream at 3.40 km of line 12 to Follow-up 2, as number 3',
    ],
    [
      { kind: 'crossing_given_out', crossing: 'c' },
      'gave the stream at 3.40 km of line 12 to nobody any more',
    ],
    [
      { kind: 'crossing_given_back', crossing: 'c', because: 'no poles' },
      'gave back the stream at 3.40 km of line 12: no poles',
    ],
    [
      { kind: 'crossing_finished', crossing: 'c', clearance_m: 4.5 },
      'finished the stream at 3.40 km of line 12, overhead on trees, 4.50 m high',
    ],
    [
      { kind: 'crossing_finished', crossing: 'c', construction: 'buried', depth_m: 0.3 },
      'finished the stream at 3.40 km of line 12, dug in (buried), 0.30 m deep',
    ],
    [{ kind: 'crossing_proved', crossing: 'c' }, 'proved the stream at 3.40 km of line 12'],
    [
      { kind: 'crossing_struck_out', crossing: 'c', because: 'dry' },
      'struck out the stream at 3.40 km of line 12: dry',
    ],
    [
      { kind: 'call_back_good', line: 'l12', from_far_end: false, chainage_m: 4300 },
      'called back at 4.30 km of line 12: good',
    ],
    [{ kind: 'call_back_good', line: 'l12', from_far_end: false }, 'called back over line 12: good'],
    [
      { kind: 'call_back_good', line: 'l12', from_far_end: true },
      'called from the far end of line 12: the line is through',
    ],
    [{ kind: 'line_proved', line: 'l12' }, 'proved line 12 over its whole length'],
    [
      {
        kind: 'plan_issued',
        line: 'l12',
        plan: 3,
        trace: [
          [-4.67, 54.08],
          [-4.65, 54.09],
        ],
      },
      'issued plan 3 of line 12',
    ],
    [{ kind: 'line_handed_over', line: 'l12', to: 'Harbour' }, 'handed line 12 over to Harbour'],
    [
      { kind: 'correction', corrects: 'gone', because: 'by mistake' },
      'withdrew an earlier report: by mistake',
    ],
    [{ kind: 'note', text: 'Water is rising.' }, 'noted: Water is rising.'],
    [{ kind: 'note', text: 'By torch.', about: 7 }, 'noted on entry 7: By torch.'],
    [{ kind: 'note', text: 'Deep.', line: 'l12' }, 'noted on line 12: Deep.'],
    [{ kind: 'note', text: 'Deep.', crossing: 'c' }, 'noted on the stream at 3.40 km of line 12: Deep.'],
  ];

  it.each(told)('%o', (body, words) => {
    expect(reportSentence(entry(body), known())).toBe(`Follow-up 1 ${words}`);
  });

  it('writes miles and feet where they were chosen', () => {
    // 3,400 m over 1,609.344 m to the mile (1959 agreement) is 2.1126 mi.
    expect(reportSentence(entry({ kind: 'crossing_taken', crossing: 'c' }), known({ units: 'miles' }))).toBe(
      'Follow-up 1 took the stream at 2.11 mi of line 12 in hand',
    );
  });

  it('says that the command post freed what a team had in hand', () => {
    const body: Body = { kind: 'crossing_given_back', crossing: 'c', because: 'truck broke down' };
    expect(reportSentence(entry(body, 'Post', 'command_post'), known())).toBe(
      'Post freed the stream at 3.40 km of line 12: truck broke down',
    );
  });

  it('tells what a correction corrects, where that report is still at hand', () => {
    const wrong = entry(
      { kind: 'reel_started', line: 'l12', reel: 'x', label: 'R5', length_m: 800 },
      'Lead 1',
      'lead_team',
      'wrong',
    );
    const instead = { kind: 'reel_started', line: 'l12', reel: 'x', label: 'R6', length_m: 800 } as const;
    expect(
      reportSentence(
        entry({ kind: 'correction', corrects: 'wrong', because: 'misread', instead }, 'Lead 1', 'lead_team'),
        known({ entries: [wrong] }),
      ),
    ).toBe(
      'Lead 1 corrected “put reel R5 on line 12, 800 m of wire” to “put reel R6 on line 12, 800 m of wire”: misread',
    );
  });

  it('names neither a line nor a crossing that it does not know', () => {
    const empty = known({ lines: new Map(), crossings: new Map() });
    expect(reportSentence(entry({ kind: 'crossing_taken', crossing: 'c' }), empty)).toBe(
      'Follow-up 1 took a crossing in hand',
    );
    expect(reportSentence(entry({ kind: 'line_started', line: 'l12' }), empty)).toBe(
      'Follow-up 1 started laying a line',
    );
  });
});

describe('latest reports', () => {
  it('tell a trace that grows once, until something else happened on that line', () => {
    const grown = (sequence: number): Entry => ({
      ...entry({ kind: 'trace_extended', line: 'l12', positions: [[-4.6, 54.1]] }),
      sequence,
    });
    const spliced: Entry = { ...entry({ kind: 'splice_made', line: 'l12' }), sequence: 4 };
    const other: Entry = { ...entry({ kind: 'note', text: 'Rain.' }), sequence: 6 };
    const kept = worthTelling([grown(8), grown(7), other, grown(5), spliced, grown(3), grown(2)]);
    expect(kept.map(({ sequence }) => sequence)).toEqual([8, 6, 4, 3]);
  });
});

describe('a line as a sentence', () => {
  const sentence = (properties: Partial<LineFeature['properties']>, crossings: CrossingFeature[] = []) => {
    const { state, more } = lineSentence(
      line(properties),
      known({ crossings: new Map(crossings.map((one) => [one.id, one])) }),
    );
    return `${state} ${more}`;
  };

  it('says how far the laying is, and when the last call back was good', () => {
    expect(sentence({ call_backs: [{ at: time('14:21'), chainage_m: 4300, team: 'Lead 1' }] })).toBe(
      'Line 12 is laying. 4.60 km of 7.20 km. Call-back good at 14:21, from 4.30 km.',
    );
    expect(sentence({})).toContain('No call-back yet.');
  });

  it('counts as unfinished what is marked, passed or in hand, on this line alone', () => {
    const on = [
      crossing('a', { state: 'marked' }),
      crossing('b', { state: 'in_hand' }),
      crossing('d', { state: 'passed' }),
      crossing('e', { state: 'finished' }),
      crossing('f', { state: 'struck_out' }),
      crossing('g', { state: 'foreseen' }),
      crossing('h', { state: 'passed', line: 'another' }),
    ];
    expect(sentence({ state: 'through', through_at: time('13:05') }, on)).toBe(
      'Line 12 is through since 13:05, 3 crossings unfinished.',
    );
  });

  it('says what comes next where everything is done', () => {
    expect(sentence({ state: 'finished', through_at: time('13:05') })).toContain('Prove it');
    expect(sentence({ state: 'proved', proved_at: time('13:40') })).toBe(
      'Line 12 is proved since 13:40. Hand it over to its switchboard.',
    );
    expect(
      sentence({
        state: 'handed_over',
        handed_over_at: time('14:00'),
        handed_over_to: 'Harbour switchboard',
      }),
    ).toBe('Line 12 is handed over to Harbour switchboard at 14:00.');
  });

  it('says that it is in trouble before what it was', () => {
    expect(sentence({ state: 'handed_over', in_trouble_since: time('15:10') })).toMatch(
      /^Line 12 is in trouble since 15:10\. It was handed over\./,
    );
  });

  it('says that it is to come up, whatever it was before, until nothing of it lies', () => {
    const ordered_up = { at: time('14:30'), confirmed_dead_by: 'Harbour switchboard' };
    expect(sentence({ state: 'proved', proved_at: time('13:40'), ordered_up })).toBe(
      'Line 12 is to come up. Ordered up at 14:30, confirmed dead by Harbour switchboard.',
    );
    expect(sentence({ state: 'recovered', ordered_up })).toBe(
      'Line 12 is taken up. Nothing of it lies any more.',
    );
  });

  it('says that a plan has no trace yet instead of a length of nothing', () => {
    expect(sentence({ state: 'planned', length_m: 0, laid_length_m: 0 })).toBe(
      'Line 12 is planned. Command post to Mill exchange, no trace drawn yet, no crossing foreseen.',
    );
  });
});
