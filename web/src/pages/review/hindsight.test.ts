// A line of 1,000 m whose times were written down before: begun 10:05, a road at 400 m marked 10:20 and passed 10:24,
// taken 10:40, finished 10:52; a path at 700 m that another team had marked ahead at 10:10, passed 10:45; through 11:00.
import { describe, expect, it } from 'vitest';
import type { Body, CrossingReview, Entry, LineFeature, LineReview, TeamReview } from '../../api/types.ts';
import type { Figure } from './figures.ts';
import {
  asAtTheStart,
  drawnFrom,
  expected,
  lineTime,
  ofWhatWasLaid,
  picture,
  teamTime,
} from './hindsight.ts';

const at = (clock: string) => new Date(`2026-05-04T${clock}:00Z`).getTime();
const known = (value: number, ...entries: number[]): Figure => ({ value, entries, unknown: null });
const unknown = (...entries: number[]): Figure => ({
  value: null,
  entries,
  unknown: 'nobody has reported it',
});

const entry = (sequence: number, clock: string, team: string, kind: Body['kind'], made_by?: string) =>
  ({
    sequence,
    by: { team, party: 'lead_team' },
    received_at: '2026-05-04T18:00:00Z',
    report: {
      at: new Date(at(clock)).toISOString(),
      body: { kind },
      ...(made_by ? { made_by: { team: made_by, party: 'follow_up_team' } } : {}),
    },
  }) as unknown as Entry;

const entries = [
  entry(1, '10:00', 'Post', 'line_planned'),
  entry(2, '10:05', 'Lead 1', 'line_started'),
  entry(3, '10:10', 'Lead 2', 'crossing_marked'),
  entry(4, '10:20', 'Lead 1', 'crossing_marked'),
  entry(5, '10:24', 'Lead 1', 'crossing_passed'),
  entry(6, '10:40', 'Post', 'crossing_taken', 'Follow-up 1'),
  entry(7, '10:45', 'Lead 1', 'crossing_passed'),
  entry(8, '10:52', 'Follow-up 1', 'crossing_finished'),
  entry(9, '10:58', 'Lead 1', 'trace_extended'),
  entry(10, '11:00', 'Lead 1', 'call_back_good'),
];

const crossing = (chainage_m: number, figures: Partial<Record<keyof CrossingReview, Figure>>) =>
  ({
    chainage_m,
    obstacle: 'road',
    construction: 'buried',
    passing: unknown(),
    waiting: unknown(),
    finishing: unknown(),
    unfinished: unknown(),
    ...figures,
  }) as unknown as CrossingReview;

const line = {
  line: 'l',
  state: 'through',
  order_to_start: known(5, 1, 2),
  laying: known(30, 2, 4, 5, 10),
  at_crossings: known(25, 2, 4, 5, 10),
  order_to_through: known(60, 1, 10),
  order_to_finished: unknown(10),
  order_to_proved: unknown(),
  through_to_finished: unknown(10),
  finished_to_proved: unknown(),
  reels: { count: 2, entries: [] },
  wire: { laid_m: known(1000, 9) },
  crossings: [
    crossing(400, {
      passing: known(4, 4, 5),
      waiting: known(16, 5, 6),
      finishing: known(12, 6, 8),
      unfinished: known(28, 5, 8),
    }),
    crossing(700, { passing: known(35, 3, 7), waiting: unknown(7), unfinished: unknown(7) }),
  ],
} as unknown as LineReview;

const feature = {
  id: 'l',
  properties: {
    team: 'Lead 1',
    length_m: 1000,
    call_backs: [{ at: '2026-05-04T11:00:00Z', chainage_m: 1000, team: 'Lead 1' }],
  },
} as unknown as LineFeature;

describe('the picture of a line', () => {
  const drawn = picture(line, feature, entries, at('12:00'));

  it('has the laying team where its reports were, and not where another team marked ahead of it', () => {
    expect(drawn?.ways[0]).toEqual({
      team: 'Lead 1',
      work: 'laying',
      knots: [
        { at_ms: at('10:05'), chainage_m: 0 },
        { at_ms: at('10:20'), chainage_m: 400 },
        { at_ms: at('10:24'), chainage_m: 400 },
        { at_ms: at('10:45'), chainage_m: 700 },
        { at_ms: at('11:00'), chainage_m: 1000 },
      ],
    });
  });

  it('has the follow-up team by who did it, whoever sent it', () => {
    expect(drawn?.ways.slice(1)).toEqual([
      {
        team: 'Follow-up 1',
        work: 'finishing',
        knots: [
          { at_ms: at('10:40'), chainage_m: 400 },
          { at_ms: at('10:52'), chainage_m: 400 },
        ],
      },
    ]);
  });

  it('hangs a crossing from when it was passed until it was finished, and leaves the other open', () => {
    expect(drawn?.open).toEqual([
      { number: 1, chainage_m: 400, passed_ms: at('10:24'), finished_ms: at('10:52') },
      { number: 2, chainage_m: 700, passed_ms: at('10:45'), finished_ms: null },
    ]);
    const [first] = drawn?.open ?? [];
    // The bar is as long as the review says that the crossing was unfinished.
    expect(((first?.finished_ms ?? 0) - (first?.passed_ms ?? 0)) / 60_000).toBe(28);
    expect(drawn?.calls).toEqual([{ at_ms: at('11:00'), chainage_m: 1000 }]);
  });

  it('asks for the entries that it is drawn from', () => {
    expect([...new Set(drawnFrom(line))].sort((a, b) => a - b)).toEqual([1, 2, 3, 4, 5, 6, 7, 8, 9, 10]);
  });

  it('ends where the wire lies while the line is not through', () => {
    const laying = { ...line, order_to_through: unknown(1), wire: { laid_m: known(850, 9) } };
    const knots = picture(laying as unknown as LineReview, feature, entries, at('12:00'))?.ways[0]?.knots;
    expect(knots?.at(-1)).toEqual({ at_ms: at('10:58'), chainage_m: 850 });
  });

  it('is none of a line that was never begun', () => {
    const planned = { ...line, order_to_start: unknown(1) } as unknown as LineReview;
    expect(picture(planned, feature, entries, at('12:00'))).toBeNull();
  });
});

describe('where a line’s time went', () => {
  it('goes as far as the line has come, and the parts come to the whole', () => {
    const time = lineTime(line);
    expect(time).toEqual({
      to: 'through',
      whole_min: 60,
      parts: [
        { name: 'order to start', minutes: 5 },
        { name: 'laying', minutes: 30 },
        { name: 'lead team at crossings', minutes: 25 },
      ],
    });
    expect(time?.parts.reduce((sum, part) => sum + part.minutes, 0)).toBe(time?.whole_min);
  });

  it('is not told of a line that is not through, or of a team that told of no crossing', () => {
    const laying = { ...line, order_to_through: unknown() } as unknown as LineReview;
    expect(lineTime(laying)).toBeNull();
    const none = { span: unknown(), at_crossings: unknown(), waiting: unknown(), between: unknown() };
    expect(teamTime(none as unknown as TeamReview)).toBeNull();
  });
});

describe('the forecast beside it', () => {
  it('is asked as if nothing had been done', () => {
    const asked = { line: { legs: [] }, so_far: { laid_m: 40 }, runs: 1, try_helps: true };
    expect(asAtTheStart(asked)).toEqual({ line: { legs: [] }, so_far: null, runs: 500, try_helps: false });
  });

  it('has the crossings and the reels of a line that has no forecast any more', () => {
    expect(ofWhatWasLaid(line, 1000, { lead_means: 'foot', light: 'night' }).line).toEqual({
      legs: [{ length_m: 1000, ground: 'roadside' }],
      crossings: [
        { chainage_m: 400, obstacle: 'road', construction: 'buried' },
        { chainage_m: 700, obstacle: 'road', construction: 'buried' },
      ],
      reel_changes: 1,
      lead_means: 'foot',
      light: 'night',
    });
  });

  it('counts its minutes from when the line was begun', () => {
    const time = (p50_min: number, p90_min: number) => ({ p50_min, p90_min });
    const forecast = {
      through: time(50, 70),
      crossings: [{ chainage_m: 400, passed: time(20, 25), finished: time(40, 55) }],
    } as unknown as Parameters<typeof expected>[0];
    expect(expected(forecast, 1000, at('10:05'))).toEqual({
      laying: [
        { chainage_m: 400, half_ms: at('10:25'), most_ms: at('10:30') },
        { chainage_m: 1000, half_ms: at('10:55'), most_ms: at('11:15') },
      ],
      finishing: [{ chainage_m: 400, half_ms: at('10:45'), most_ms: at('11:00') }],
    });
  });
});
