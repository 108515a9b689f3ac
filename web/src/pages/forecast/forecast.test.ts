import { expect, test } from 'vitest';
import type { ForecastHelp, ForecastMoment } from '../../api/types.ts';
import {
  alteredWords,
  byWhen,
  comesTo,
  helpWords,
  lightWords,
  longWords,
  nextTime,
  picture,
  question,
  read,
  shownWords,
  teamsSeen,
  timeOfDay,
  type Asked,
  type Choices,
} from './forecast.ts';

const now = new Date(2026, 10, 26, 14, 53, 20);
const time = (p50_min: number, p90_min: number): ForecastMoment => ({
  p50_min,
  p90_min,
  mean_min: p50_min,
  deviation_min: 10,
  p50_at: null,
  p90_at: null,
});
const choices: Choices = {
  teams: '2',
  order: 'along',
  light: 'sun',
  leadMeans: 'foot',
  followUpMeans: 'vehicle',
  rest: 'none',
  after: '',
  start: '',
};
const asked = (more: Partial<Asked>): Asked => {
  const { asked: read_ } = read(choices);
  if (!read_) throw new Error('these choices can be read');
  return { ...read_, ...more };
};

test('a time is told by the clock, never earlier than it was forecast, in steps of five minutes', () => {
  expect(byWhen('through', time(177.2, 209.6), now.getTime(), now)).toBe(
    'through by 17:55, as likely as not; by 18:25 nine times in ten',
  );
});

test('a time that does not spread is told once', () => {
  expect(byWhen('finished', time(1, 1.5), now.getTime(), now)).toBe('finished by 14:55, nine times in ten');
});

test('a time that is not of today has its day', () => {
  expect(timeOfDay(new Date(2026, 10, 28, 7, 5), now)).toBe('2026-11-28 07:05');
  expect(byWhen('finished', time(499, 591), now.getTime(), now)).toContain('00:45 tomorrow');
});

test('how long is rounded up to five minutes as well', () => {
  expect([0, 0.1, 5, 177.2].map(longWords)).toEqual(['0 min', '5 min', '5 min', '3 h 00 min']);
});

test('figures that cannot be read say what can', () => {
  for (const teams of ['0', '21', '1.5', 'two', '-1'])
    expect(read({ ...choices, teams })).toMatchObject({ asked: null, problems: { teams: /1 to 20/ } });
  expect(read({ ...choices, after: '10001' }).problems.after).toBeDefined();
  expect(read({ ...choices, start: '24:00' }).problems.start).toBeDefined();
  expect(read({ ...choices, after: '90', start: '6:30' }).asked).toMatchObject({
    after_min: 90,
    start: '6:30',
  });
});

test('a time of day is the next such time', () => {
  expect(nextTime('15:00', now)).toEqual(new Date(2026, 10, 26, 15, 0));
  expect(nextTime('06:30', now)).toEqual(new Date(2026, 10, 27, 6, 30));
});

test('all that was chosen stands in one question', () => {
  expect(question(asked({}), now)).toEqual({
    follow_up_teams: 2,
    order: 'along',
    light: 'sun',
    lead_means: 'foot',
    follow_up_means: 'vehicle',
    follow_up_after_min: 0,
  });
  expect(question(asked({ rest: 'hourly', start: '06:30' }), now)).toMatchObject({
    break_after_min: 50,
    break_length_min: 10,
    set_out_at: new Date(2026, 10, 27, 6, 30).toISOString(),
  });
});

test('what is left to a saved plan is not asked for', () => {
  const open: Choices = { ...choices, light: null, leadMeans: null, followUpMeans: null, after: null };
  const { asked: left, problems } = read(open);
  expect(problems).toEqual({});
  expect(left && question(left, now)).toEqual({ follow_up_teams: 2, order: 'along' });
  const { asked: chosen } = read({ ...open, after: '90', light: 'night' });
  expect(chosen && question(chosen, now)).toMatchObject({ light: 'night', follow_up_after_min: 90 });
});

test('as many follow-up teams are taken as were heard of on the line', () => {
  const heard = (in_hand: string | null, finished_by: string | null) => ({
    in_hand: in_hand === null ? null : { team: in_hand },
    finished_by,
  });
  expect(teamsSeen([])).toBe(1);
  expect(
    teamsSeen([heard(null, 'Follow-up 1'), heard('Follow-up 1', null), heard('Follow-up 2', null)]),
  ).toBe(2);
});

const help = (more: Partial<ForecastHelp>): ForecastHelp => ({
  altered: { what: 'another_team', follow_up_teams: 2 },
  through: time(0, 0),
  finished: time(0, 0),
  through_sooner_min: 0,
  finished_sooner_min: 0,
  unsafe_less_min: 0,
  ...more,
});

test('what helps says by how much, and what has a price says which', () => {
  const team = help({ finished_sooner_min: 185.6, unsafe_less_min: 1102.2 });
  expect(alteredWords(team)).toBe('A second follow-up team');
  expect(helpWords(team)).toBe(
    'finished 3 h 05 min sooner, wire lies across traffic for 18 h 20 min less in all',
  );
  expect(comesTo(team)).toBe('help');

  const order = help({
    altered: { what: 'another_order', order: 'traffic_first' },
    finished_sooner_min: -11.1,
    unsafe_less_min: 500.3,
  });
  expect(helpWords(order)).toBe('finished 10 min later, wire lies across traffic for 8 h 20 min less in all');
  expect(comesTo(order)).toBe('price');
  expect(comesTo({ ...order, unsafe_less_min: -761.5 })).toBe('harm');

  const little = help({ finished_sooner_min: 4, unsafe_less_min: -3 });
  expect(helpWords(little)).toBe('no difference worth telling');
  expect(comesTo(little)).toBe('nothing');
});

test('another construction says where and in place of what', () => {
  const one = help({
    altered: {
      what: 'another_construction',
      obstacle: 'dirt_road',
      instead_of: 'buried',
      construction: 'through_culvert',
      count: 3,
    },
  });
  expect(alteredWords(one)).toMatch(/^At 3 crossings of a dirt road: .*culvert.* in place of .*buried/);
});

test('what was shown is told beside the plan, and nothing shown is said to be nothing', () => {
  const shown = shownWords({
    lead_min: 108,
    lead_planned_min: 228.1,
    lead_times: 0.583,
    follow_up_min: 0,
    follow_up_planned_min: 0,
    follow_up_times: 1,
  });
  expect(shown.lead).toBe(
    '1 h 48 min to the last crossing passed, planned at 3 h 48 min; the rest is reckoned with 0.58 times the plan’s time',
  );
  expect(shown.followUp).toBe('nothing shown yet, so it is reckoned as planned');
});

const dusk = [
  { at: now.toISOString(), light: 'day' as const },
  { at: new Date(2026, 10, 26, 16, 46, 32).toISOString(), light: 'night' as const },
];

test('the light is told as it changes', () => {
  expect(lightWords(dusk, now)).toBe('day at first, night from 16:46');
});

test('the picture has each time at its place, the night, and whole hours', () => {
  const drawn = picture(time(60, 120), time(180, 300), dusk, now.getTime());
  const whole_min = 300 * 1.06;
  expect(drawn.through?.half).toBeCloseTo(60 / whole_min);
  expect(drawn.finished.nine).toBeCloseTo(300 / whole_min);
  expect(drawn.nights).toHaveLength(1);
  expect(drawn.nights[0]?.from).toBeCloseTo(113.2 / whole_min, 3);
  expect(drawn.nights[0]?.to).toBe(1);
  expect(drawn.hours.map(({ label }) => label)).toEqual([
    '15:00',
    '16:00',
    '17:00',
    '18:00',
    '19:00',
    '20:00',
  ]);
  expect(drawn.hours[0]?.at).toBeCloseTo(6.667 / whole_min, 3);
});

test('a line that is through already has its finishing alone in the picture', () => {
  expect(picture(null, time(1, 2), [], now.getTime()).through).toBeNull();
});
