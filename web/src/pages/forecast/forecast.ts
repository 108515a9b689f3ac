/**
 * A line's forecast in words: when it is through and finished, what would help, and from what it is reckoned. It
 * writes down what the service reckoned and reckons nothing of the trade itself. Times are rounded up to whole
 * five minutes, since nobody forecasts work to the minute.
 */
import type {
  ForecastHelp,
  ForecastMoment,
  ForecastOrder,
  ForecastQuestion,
  ForecastShown,
  Means,
} from '../../api/types.ts';
import { obstacleWords } from '../../operation/look.ts';
import { constructionWords } from '../../strip/tag.ts';
import { clock, duration } from '../../ui/figures.ts';

/** Times are told in steps of this. */
const STEP_MIN = 5;
/** A difference that is smaller is none: it lies within what chance makes of so many runs. */
const WORTH_TELLING_MIN = 5;
/** Teams in one question (the service's bound). */
export const MOST_TEAMS = 20;
/** How long after the lead team others may set out, in minutes (the service's bound). */
const MOST_AFTER_MIN = 10_000;

export type Light = 'sun' | 'day' | 'night';
export type Rest = 'none' | 'hourly' | 'long';

/** What the form has, as it is written; null leaves it as a saved plan has it. */
export interface Choices {
  teams: string;
  order: ForecastOrder;
  light: Light | null;
  leadMeans: Means | null;
  followUpMeans: Means | null;
  rest: Rest;
  /** minutes after the lead team that the follow-up teams set out */
  after: string | null;
  /** the time of day at which the lead team sets out; empty: now */
  start: string;
}

/** The choices as they are asked for; or which of them cannot be read, and why. */
export interface Asked {
  teams: number;
  order: ForecastOrder;
  light: Light | null;
  leadMeans: Means | null;
  followUpMeans: Means | null;
  rest: Rest;
  after_min: number | null;
  start: string | null;
}
export type Problems = Partial<Record<'teams' | 'after' | 'start', string>>;

export const whole = (text: string, least: number, most: number): number | null => {
  const figure = /^\d{1,5}$/.test(text.trim()) ? Number(text) : NaN;
  return figure >= least && figure <= most ? figure : null;
};

export function read(choices: Choices): { asked: Asked | null; problems: Problems } {
  const teams = whole(choices.teams, 1, MOST_TEAMS);
  const after = choices.after?.trim() ?? null;
  const after_min = after === '' ? 0 : after === null ? null : whole(after, 0, MOST_AFTER_MIN);
  const afterRead = after === null || after_min !== null;
  const start = choices.start.trim() === '' ? null : choices.start.trim();
  const startRead = start === null || /^([01]?\d|2[0-3]):[0-5]\d$/.test(start);
  const problems: Problems = {
    ...(teams === null ? { teams: `Write a whole number from 1 to ${MOST_TEAMS}.` } : {}),
    ...(!afterRead ? { after: 'Write whole minutes from 0 to 10,000.' } : {}),
    ...(startRead ? {} : { start: 'Write a time of day, as in 06:30.' }),
  };
  if (teams === null || !afterRead || !startRead) return { asked: null, problems };
  const { order, light, leadMeans, followUpMeans, rest } = choices;
  return { asked: { teams, order, light, leadMeans, followUpMeans, rest, after_min, start }, problems };
}

/** Rests of common practice, as the service is asked for them; no source. */
export const rests: Record<Rest, Pick<ForecastQuestion, 'break_after_min' | 'break_length_min'>> = {
  none: {},
  hourly: { break_after_min: 50, break_length_min: 10 },
  long: { break_after_min: 240, break_length_min: 30 },
};

/** The rests that may be chosen, in words. */
export const restChoices: readonly { value: Rest; label: string }[] = [
  { value: 'none', label: 'none' },
  { value: 'hourly', label: '10 min after 50 min of work' },
  { value: 'long', label: '30 min after 4 h of work' },
];

/** The orders of the follow-up teams' work that may be chosen, in words. */
export const orderChoices: readonly { value: ForecastOrder; label: string }[] = [
  { value: 'along', label: 'the next along the wire' },
  { value: 'nearest', label: 'the nearest that is passed' },
  { value: 'traffic_first', label: 'main highways and railways first' },
];

/** The next time that a clock here shows this, from a moment on. */
export function nextTime(start: string, from: Date): Date {
  const [hours = 0, minutes = 0] = start.split(':').map(Number);
  const at = new Date(from);
  at.setHours(hours, minutes, 0, 0);
  if (at < from) at.setDate(at.getDate() + 1);
  return at;
}

/** What the service is asked; what is left to the plan is left out. A start is the next such time after `now`. */
export function question(asked: Asked, now: Date): ForecastQuestion {
  const { teams, order, light, leadMeans, followUpMeans, rest, after_min, start } = asked;
  return {
    follow_up_teams: teams,
    order,
    ...(light === null ? {} : { light }),
    ...(leadMeans === null ? {} : { lead_means: leadMeans }),
    ...(followUpMeans === null ? {} : { follow_up_means: followUpMeans }),
    ...(after_min === null ? {} : { follow_up_after_min: after_min }),
    ...(start === null ? {} : { set_out_at: nextTime(start, now).toISOString() }),
    ...rests[rest],
  };
}

/** Follow-up teams that were heard of on a line; one at the least. */
export function teamsSeen(
  crossings: Iterable<{ in_hand: { team: string } | null; finished_by: string | null }>,
): number {
  const names = new Set<string>();
  for (const { in_hand, finished_by } of crossings) {
    if (in_hand) names.add(in_hand.team);
    if (finished_by !== null) names.add(finished_by);
  }
  return Math.min(Math.max(names.size, 1), MOST_TEAMS);
}

const STEP_MS = STEP_MIN * 60_000;
const minutesUp = (minutes: number): number => Math.ceil(minutes / STEP_MIN - 1e-9) * STEP_MIN;

/** A moment so many minutes after another, at the next whole five minutes. */
export const momentAfter = (from_ms: number, minutes: number): Date =>
  new Date(Math.ceil((from_ms + minutes * 60_000) / STEP_MS) * STEP_MS);

/** How long from now, at the next whole five minutes: '3 h 00 min' */
export const longWords = (minutes: number): string => duration(minutesUp(minutes) * 60);

/** The time of day, and the day where it is not today: '17:55', '01:00 tomorrow' */
export function timeOfDay(at: Date, now: Date): string {
  const time = clock(at, at);
  const tomorrow = new Date(now);
  tomorrow.setDate(tomorrow.getDate() + 1);
  return at.toDateString() === tomorrow.toDateString() ? `${time} tomorrow` : clock(at, now);
}

/** 'through by 17:55, as likely as not; by 18:25 nine times in ten' */
export function byWhen(done: string, moment: ForecastMoment, from_ms: number, now: Date): string {
  const [half, nine] = [moment.p50_min, moment.p90_min].map((minutes) =>
    timeOfDay(momentAfter(from_ms, minutes), now),
  );
  return half === nine
    ? `${done} by ${half}, nine times in ten`
    : `${done} by ${half}, as likely as not; by ${nine} nine times in ten`;
}

const ordinals = ['', '', 'second', 'third', 'fourth', 'fifth'];

/** What is altered: 'A second follow-up team', 'The road crossings: through a culvert …' */
export function alteredWords({ altered: change }: ForecastHelp): string {
  switch (change.what) {
    case 'another_team': {
      const ordinal = ordinals[change.follow_up_teams];
      return ordinal
        ? `A ${ordinal} follow-up team`
        : `Another follow-up team, ${change.follow_up_teams} in all`;
    }
    case 'another_order':
      return orderHelps[change.order];
    case 'at_once':
      return 'The follow-up team sets out with the lead team';
    case 'another_construction': {
      const where =
        change.count === 1
          ? `one ${obstacleWords[change.obstacle]}`
          : `${change.count} crossings of a ${obstacleWords[change.obstacle]}`;
      return `At ${where}: ${constructionWords(change.construction)} in place of ${constructionWords(change.instead_of)}`;
    }
  }
}

const orderHelps: Record<ForecastOrder, string> = {
  along: 'Finishing along the wire, from the near end',
  nearest: 'Finishing the nearest passed crossing first',
  traffic_first: 'Finishing main highways and railways first, then roads',
};

const differences = (help: ForecastHelp): [figure: number, less: string, more: string][] => [
  [help.through_sooner_min, 'through {} sooner', 'through {} later'],
  [help.finished_sooner_min, 'finished {} sooner', 'finished {} later'],
  [
    help.unsafe_less_min,
    'wire lies across traffic for {} less in all',
    'wire lies across traffic for {} more in all',
  ],
];

/** By how much: 'finished 3 h 05 min sooner, wire lies across traffic for 18 h 20 min less in all' */
export function helpWords(help: ForecastHelp): string {
  const told = differences(help)
    .filter(([figure]) => Math.abs(figure) >= WORTH_TELLING_MIN)
    .map(([figure, less, more]) =>
      (figure > 0 ? less : more).replace(
        '{}',
        duration(Math.round(Math.abs(figure) / STEP_MIN) * STEP_MIN * 60),
      ),
    );
  return told.length > 0 ? told.join(', ') : 'no difference worth telling';
}

/** What an alteration comes to: it helps, it helps at a price, it does harm, or it makes no difference worth telling. */
export function comesTo(help: ForecastHelp): 'help' | 'price' | 'harm' | 'nothing' {
  const figures = differences(help).map(([figure]) => figure);
  const better = figures.some((figure) => figure >= WORTH_TELLING_MIN);
  const worse = figures.some((figure) => figure <= -WORTH_TELLING_MIN);
  if (better) return worse ? 'price' : 'help';
  return worse ? 'harm' : 'nothing';
}

/** What a team has shown so far, and what is made of it. */
export function shownWords(shown: ForecastShown): { lead: string; followUp: string } {
  const words = (took_min: number, planned_min: number, times: number, what: string) => {
    if (planned_min <= 0) return 'nothing shown yet, so it is reckoned as planned';
    const factor =
      Math.abs(times - 1) < 0.005 ? 'as planned' : `with ${times.toFixed(2)} times the plan’s time`;
    return `${duration(took_min * 60)} ${what}, planned at ${duration(planned_min * 60)}; the rest is reckoned ${factor}`;
  };
  return {
    lead: words(shown.lead_min, shown.lead_planned_min, shown.lead_times, 'to the last crossing passed'),
    followUp: words(
      shown.follow_up_min,
      shown.follow_up_planned_min,
      shown.follow_up_times,
      'at the crossings it finished',
    ),
  };
}

/** The light from a moment on: 'day now, night from 16:46, day from 2026-11-27 07:58' */
export function lightWords(light: readonly { at: string; light: 'day' | 'night' }[], now: Date): string {
  return light
    .map((change, number) =>
      number === 0
        ? `${change.light} at first`
        : `${change.light} from ${timeOfDay(new Date(change.at), now)}`,
    )
    .join(', ');
}

/** One bar of the picture of spreads, as parts of the picture's width from 0 to 1. */
export interface Spread {
  half: number;
  nine: number;
}

export interface Picture {
  through: Spread | null;
  finished: Spread;
  /** dark stretches */
  nights: { from: number; to: number }[];
  /** whole hours, or some of them */
  hours: { at: number; label: string }[];
}

/** At most as many times stand below the picture. */
const MOST_HOURS = 6;
const HOUR_MS = 3_600_000;

/** The picture's places: from the beginning to a little behind the last time. */
export function picture(
  through: ForecastMoment | null,
  finished: ForecastMoment,
  light: readonly { at: string; light: 'day' | 'night' }[],
  from_ms: number,
): Picture {
  const whole_ms = Math.max(finished.p90_min, through?.p90_min ?? 0, 10) * 60_000 * 1.06;
  const at = (ms: number) => Math.min(Math.max((ms - from_ms) / whole_ms, 0), 1);
  const spread = (moment: ForecastMoment): Spread => ({
    half: at(from_ms + moment.p50_min * 60_000),
    nine: at(from_ms + moment.p90_min * 60_000),
  });
  const nights = light.flatMap((change, number) => {
    if (change.light === 'day') return [];
    const until = light[number + 1];
    const from = at(Date.parse(change.at));
    const to = until ? at(Date.parse(until.at)) : 1;
    return to > from ? [{ from, to }] : [];
  });
  const step_h =
    [1, 2, 3, 6, 12, 24, 48, 96, 168].find((hours) => whole_ms / (hours * HOUR_MS) <= MOST_HOURS) ?? 336;
  const first = new Date(from_ms);
  first.setMinutes(0, 0, 0);
  first.setHours(Math.ceil((first.getHours() + 1) / step_h) * step_h);
  const hours = [];
  for (let ms = first.getTime(); ms < from_ms + whole_ms * 0.97; ms += step_h * HOUR_MS)
    hours.push({ at: at(ms), label: clock(new Date(ms), new Date(ms)) });
  return { through: through && spread(through), finished: spread(finished), nights, hours };
}
