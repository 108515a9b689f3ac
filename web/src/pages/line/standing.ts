/**
 * Where a line stands, for its page: what is missing before the next thing can be said of it, who watches it, and how
 * long nobody could speak over it. It reads the service's figures and decides nothing.
 */
import type { CrossingFeature, LineFeature } from '../../api/types.ts';
import { obstacleWords } from '../../operation/look.ts';
import { clock, distance, duration, type Units } from '../../ui/figures.ts';

export interface Missing {
  /** 'it is through' */
  before: string;
  items: string[];
}

/** Less of a plan than this is nothing to lay. */
const NOTHING_M = 0.5;

/** What has to happen before the line comes on; null where it is as far as it comes, or is to be taken up. */
export function missing(
  { id, properties: line }: LineFeature,
  crossings: Iterable<CrossingFeature>,
  units: Units,
): Missing | null {
  if (line.ordered_up) return null;
  const own = [...crossings]
    .filter(({ properties }) => properties.line === id)
    .sort((a, b) => a.properties.chainage_m - b.properties.chainage_m);
  const named = ({ properties: { obstacle, chainage_m } }: CrossingFeature) =>
    `the ${obstacleWords[obstacle]} at ${distance(chainage_m, units)}`;
  const trouble = line.in_trouble_since === null ? [] : ['The trouble on it is cleared.'];
  switch (line.state) {
    case 'planned':
      return { before: 'it is laid', items: ['The lead team begins it.'] };
    case 'laying': {
      const left_m = line.length_m - line.laid_length_m;
      return {
        before: 'it is through',
        items: [
          ...(left_m > NOTHING_M ? [`${distance(left_m, units)} more are laid, by the plan.`] : []),
          ...own
            .filter(({ properties: { state } }) => state === 'foreseen' || state === 'marked')
            .map((crossing) => `The wire is reported over ${named(crossing)}.`),
          `A call from ${line.to} is good.`,
        ],
      };
    }
    case 'through':
      return {
        before: 'it is finished',
        items: own
          .filter(({ properties: { state } }) => ['marked', 'passed', 'in_hand'].includes(state))
          .map((crossing) => {
            const { in_hand } = crossing.properties;
            const who = in_hand ? `${in_hand.team} has it in hand` : 'nobody has it in hand';
            return `Still to finish: ${named(crossing)}; ${who}.`;
          }),
      };
    case 'finished':
      return { before: 'it is proved', items: [...trouble, 'The final test over its whole length is good.'] };
    case 'proved':
      return { before: 'it is handed over', items: [...trouble, 'The switchboard’s crew takes it.'] };
    case 'handed_over':
    case 'recovered':
      return null;
  }
}

export interface Fact {
  name: string;
  words: string;
}

const lostBecause = {
  crossing_open: 'a crossing on it is open',
  wire_cut: 'its wire was cut',
} as const;

/** From which time it stands as it stands, and what else is known of it; only what there is. */
export function facts({ properties: line }: LineFeature, units: Units, now: number): Fact[] {
  const at = (time: string) => clock(new Date(time), new Date(now));
  const told: Fact[] = [];
  const tell = (name: string, words: string) => told.push({ name, words });
  if (line.in_trouble_since) tell('In trouble', `since ${at(line.in_trouble_since)}`);
  if (line.proof_lost)
    tell(
      'Proof lost',
      `proved at ${at(line.proof_lost.was_proved_at)}; since then ${lostBecause[line.proof_lost.because]}. It has to be proved again.`,
    );
  if (line.ordered_up)
    tell(
      'Ordered up',
      `at ${at(line.ordered_up.at)}, confirmed dead by ${line.ordered_up.confirmed_dead_by}`,
    );
  if (line.started_at) tell('Begun', `${at(line.started_at)}${line.team ? `, by ${line.team}` : ''}`);
  if (line.through_at) tell('Through', at(line.through_at));
  if (line.proved_at) tell('Proved', at(line.proved_at));
  if (line.handed_over_at)
    tell(
      'Handed over',
      `${at(line.handed_over_at)}${line.handed_over_to ? `, to ${line.handed_over_to}` : ''}`,
    );
  tell(
    'On watch',
    line.watch
      ? `${line.watch.who} since ${at(line.watch.since)}, at ${distance(line.watch.chainage_m, units)}, left there by ${line.watch.team}`
      : 'nobody',
  );
  tell('Without communication', silence(line, now));
  tell('Wire laid', `${distance(line.laid_length_m, units)} of ${distance(line.length_m, units)}`);
  if (line.state === 'laying') {
    if (line.head_grid) tell('Laying head', line.head_grid);
    if (line.reel_left_m !== null) tell('Left on the reel', distance(line.reel_left_m, units));
  }
  return told;
}

/** How long nobody could speak over a line that once spoke, and whether that goes on. */
function silence({ silent_min, silent_since }: LineFeature['properties'], now: number): string {
  const going_ms = silent_since ? Math.max(0, now - Date.parse(silent_since)) : 0;
  const all = duration(silent_min * 60 + going_ms / 1000);
  if (silent_since) return `${all}, and still since ${clock(new Date(silent_since), new Date(now))}`;
  return silent_min > 0 ? all : 'none reported';
}
