/**
 * A report as one sentence, and a line as another: what a command post reads aloud. It names crossings by
 * what is crossed, how far along and which line, and writes only figures that the service gave.
 */
import type { Body, CrossingFeature, Entry, LineFeature, Obstacle } from '../api/types.ts';
import { constructionWords } from '../strip/tag.ts';
import { clock, distance, height, type Units } from '../ui/figures.ts';
import { capital, lineName, lineStateWords, obstacleWords } from './look.ts';

/** What the sentences may speak of. */
export interface Known {
  lines: ReadonlyMap<string, LineFeature>;
  crossings: ReadonlyMap<string, CrossingFeature>;
  entries: readonly Entry[];
  units: Units;
  /** the reader's time, by which a time is today's or not */
  now: number;
}

type Kind = Body['kind'];
type Of<K extends Kind> = Extract<Body, { kind: K }>;
type Verbs = { [K in Kind]: (body: Of<K>, known: Known, by: Entry['by']) => string };

const lineOf = (id: string, { lines }: Known): string => {
  const line = lines.get(id);
  return line ? lineName(line.properties.designation) : 'a line';
};

const along = (chainage_m: number | null | undefined, line: string, known: Known): string =>
  typeof chainage_m === 'number'
    ? `at ${distance(chainage_m, known.units)} of ${lineOf(line, known)}`
    : `of ${lineOf(line, known)}`;

/** 'the stream at 3.40 km of line 12' */
export function crossingName(id: string, known: Known): string {
  const crossing = known.crossings.get(id)?.properties;
  if (!crossing) return 'a crossing';
  return `the ${obstacleWords[crossing.obstacle]} ${along(crossing.chainage_m, crossing.line, known)}`;
}

/** A crossing in the words of the report that named it, where its state is not known yet. */
function named(body: { crossing: string; obstacle: Obstacle; line: string }, known: Known): string {
  return known.crossings.has(body.crossing)
    ? crossingName(body.crossing, known)
    : `a ${obstacleWords[body.obstacle]} ${along(null, body.line, known)}`;
}

const how = (construction: Parameters<typeof constructionWords>[0] | undefined): string =>
  construction ? `, ${constructionWords(construction)}` : '';

const because = (reason: string | null | undefined): string => (reason ? `: ${reason}` : '');

/** Many write 'Reel 5' on it: the word stands once. */
const reelCalled = (label: string): string => (/^reel\b/i.test(label) ? label : `reel ${label}`);

const verbs: Verbs = {
  line_planned: ({ designation, from, to }) => `planned ${lineName(designation)}, ${from} to ${to}`,
  line_started: ({ line }, known) => `started laying ${lineOf(line, known)}`,
  trace_extended: ({ line }, known) => `laid ${lineOf(line, known)} on`,
  reel_started: ({ label, line, length_m }, known) =>
    `put ${reelCalled(label)} on ${lineOf(line, known)}, ${distance(length_m, known.units)} of wire`,
  splice_made: ({ line, chainage_m }, known) =>
    typeof chainage_m === 'number'
      ? `made a splice ${along(chainage_m, line, known)}`
      : `made a splice in ${lineOf(line, known)}`,
  crossing_foreseen: (body, known) => `foresaw ${named(body, known)}${how(body.construction)}`,
  crossing_marked: (body, known) => `marked ${named(body, known)}${how(body.construction)}`,
  crossing_passed: ({ crossing, clear_of_traffic }, known) =>
    `passed ${crossingName(crossing, known)}, ${clear_of_traffic ? 'clear of traffic' : 'wire lies in traffic'}`,
  crossing_taken: ({ crossing }, known) => `took ${crossingName(crossing, known)} in hand`,
  crossing_given_out: ({ crossing, to }, known) =>
    to
      ? `gave ${crossingName(crossing, known)} to ${to.team}, as number ${to.place}`
      : `gave ${crossingName(crossing, known)} to nobody any more`,
  crossing_given_back: ({ crossing, because: reason }, known, by) =>
    `${by.party === 'command_post' ? 'freed' : 'gave back'} ${crossingName(crossing, known)}${because(reason)}`,
  crossing_finished: ({ crossing, construction, clearance_m, depth_m }, known) => {
    const built = construction ?? known.crossings.get(crossing)?.properties.construction;
    const high = typeof clearance_m === 'number' ? `, ${height(clearance_m, known.units)} high` : '';
    const deep = typeof depth_m === 'number' ? `, ${height(depth_m, known.units)} deep` : '';
    return `finished ${crossingName(crossing, known)}${how(built)}${high}${deep}`;
  },
  crossing_proved: ({ crossing }, known) => `proved ${crossingName(crossing, known)}`,
  crossing_struck_out: ({ crossing, because: reason }, known) =>
    `struck out ${crossingName(crossing, known)}${because(reason)}`,
  call_back_good: ({ line, from_far_end, chainage_m }, known) =>
    from_far_end
      ? `called from the far end of ${lineOf(line, known)}: the line is through`
      : typeof chainage_m === 'number'
        ? `called back ${along(chainage_m, line, known)}: good`
        : `called back over ${lineOf(line, known)}: good`,
  plan_issued: ({ line, plan }, known) => `issued plan ${plan} of ${lineOf(line, known)}`,
  line_proved: ({ line }, known) => `proved ${lineOf(line, known)} over its whole length`,
  line_handed_over: ({ line, to }, known) => `handed ${lineOf(line, known)} over to ${to}`,
  test_made: ({ line, from, chainage_m, rang, spoke }, known) => {
    const place =
      from === 'along'
        ? along(chainage_m, line, known)
        : `from the ${from === 'far_end' ? 'far' : 'near'} end of ${lineOf(line, known)}`;
    return `tested ${place}: ${rang && spoke ? 'good' : rang || spoke ? 'not good' : 'nothing passes'}`;
  },
  watch_set: ({ line, who }, known) => `left ${who} on watch with a telephone at ${lineOf(line, known)}`,
  trouble_reported: ({ line }, known) => `reported trouble on ${lineOf(line, known)}`,
  trouble_narrowed: ({ line, finding }, known) =>
    'answered' in finding
      ? `tested ${along(finding.answered.chainage_m, line, known)} for the trouble`
      : `measured ${lineOf(line, known)} for the trouble`,
  trouble_cleared: ({ line, cause, chainage_m, cut }, known) =>
    `cleared the trouble ${along(chainage_m, line, known)}${cut ? ', the wire was cut' : ''}${because(cause)}`,
  line_ordered_up: ({ line, confirmed_dead_by }, known) =>
    `ordered ${lineOf(line, known)} up, confirmed dead by ${confirmed_dead_by}`,
  section_taken_up: ({ line, length_m, onto }, known) =>
    `took ${distance(length_m, known.units)} of ${lineOf(line, known)} up onto ${reelCalled(onto)}`,
  crossing_made_good: ({ crossing }, known) => `made ${crossingName(crossing, known)} good again`,
  wire_lost: ({ line, length_m, fate, because: reason }, known) =>
    `${fate} ${distance(length_m, known.units)} of ${lineOf(line, known)}${because(reason)}`,
  reel_returned: ({ line, left_m }, known) =>
    `returned a reel of ${lineOf(line, known)} with ${distance(left_m, known.units)} on it`,
  correction: ({ corrects, because: reason, instead }, known, by) => {
    const wrong = known.entries.find((entry) => entry.report.id === corrects);
    const said = wrong ? `“${deed(wrong.report.body, known, wrong.by)}”` : 'an earlier report';
    return instead
      ? `corrected ${said} to “${deed(instead, known, by)}”${because(reason)}`
      : `withdrew ${said}${because(reason)}`;
  },
  note: ({ text, line, crossing, about }, known) => {
    const of = crossing
      ? ` on ${crossingName(crossing, known)}`
      : line
        ? ` on ${lineOf(line, known)}`
        : about
          ? ` on entry ${about}`
          : '';
    return `noted${of}: ${text}`;
  },
};

/** What was done, without who: 'took the stream at 3.40 km of line 12 in hand'. */
function deed<K extends Kind>(body: Of<K>, known: Known, by: Entry['by']): string {
  // The table has a verb for each kind, and each takes a body of its own kind.
  const verb = verbs[body.kind] as (body: Of<K>, known: Known, by: Entry['by']) => string;
  return verb(body, known, by);
}

/** 'Follow-up 1 took the stream at 3.40 km of line 12 in hand', and who sent it where it was sent for them */
export function reportSentence({ by, report }: Entry, known: Known): string {
  const maker = report.made_by ?? by;
  const sent = maker.team === by.team ? '' : ` (sent by ${by.team})`;
  return `${maker.team} ${deed(report.body, known, maker)}${sent}`;
}

/**
 * The entries worth a line each, newest first: a trace that grows report by report is told once, by its
 * newest, until something else happened on that line.
 */
export function worthTelling(entries: readonly Entry[]): Entry[] {
  const growing = new Set<string>();
  return entries.filter(({ report: { body } }) => {
    if (body.kind !== 'trace_extended') {
      if ('line' in body && body.line) growing.delete(body.line);
      return true;
    }
    if (growing.has(body.line)) return false;
    growing.add(body.line);
    return true;
  });
}

/** A line in a sentence: what it is, and what else there is to say of it. */
export function lineSentence(
  { id, properties: line }: LineFeature,
  { crossings, units, now }: Known,
): { state: string; more: string } {
  const name = capital(lineName(line.designation));
  const at = (time: string | null) => (time ? clock(new Date(time), new Date(now)) : 'a time not known');
  const own = [...crossings.values()].map((crossing) => crossing.properties).filter((c) => c.line === id);
  const count = (...states: string[]) => own.filter(({ state }) => states.includes(state)).length;
  const unfinished = count('marked', 'passed', 'in_hand');
  const call = line.call_backs.at(-1);
  const called = call
    ? `Call-back good at ${at(call.at)}, from ${distance(call.chainage_m, units)}.`
    : 'No call-back yet.';
  if (line.ordered_up && line.state !== 'recovered') {
    return {
      state: `${name} is to come up.`,
      more: `Ordered up at ${at(line.ordered_up.at)}, confirmed dead by ${line.ordered_up.confirmed_dead_by}.`,
    };
  }
  if (line.in_trouble_since) {
    return {
      state: `${name} is in trouble`,
      more: `since ${at(line.in_trouble_since)}. It was ${lineStateWords[line.state]}. ${called}`,
    };
  }
  switch (line.state) {
    case 'planned': {
      const foreseen = count('foreseen');
      const long = line.length_m > 0 ? distance(line.length_m, units) : 'no trace drawn yet';
      return {
        state: `${name} is planned.`,
        more: `${line.from} to ${line.to}, ${long}, ${crossingsWords(foreseen)} foreseen.`,
      };
    }
    case 'laying':
      return {
        state: `${name} is laying.`,
        more: `${distance(line.laid_length_m, units)} of ${distance(line.length_m, units)}. ${called}`,
      };
    case 'through':
      return {
        state: `${name} is through`,
        more: `since ${at(line.through_at)}, ${crossingsWords(unfinished)} unfinished.`,
      };
    case 'finished':
      return {
        state: `${name} is finished.`,
        more: `Through since ${at(line.through_at)}, no crossing unfinished. Prove it over its whole length.`,
      };
    case 'proved':
      return {
        state: `${name} is proved`,
        more: `since ${at(line.proved_at)}. Hand it over to its switchboard.`,
      };
    case 'handed_over':
      return {
        state: `${name} is handed over`,
        more: `to ${line.handed_over_to ?? 'its switchboard'} at ${at(line.handed_over_at)}.`,
      };
    case 'recovered':
      return { state: `${name} is taken up.`, more: 'Nothing of it lies any more.' };
  }
}

const crossingsWords = (count: number): string =>
  count === 0 ? 'no crossing' : count === 1 ? '1 crossing' : `${count} crossings`;
