/** The books of stores in words: whether they come out, and what one reel has been through. The sums are the service's. */
import type {
  Entry,
  LineFeature,
  LineRecovery,
  OperationStores,
  ReelAccount,
  WireAccount,
} from '../../api/types.ts';
import { lineName } from '../../operation/look.ts';
import { happenedAt } from '../../operation/times.ts';
import { wireClass } from '../../recovery/standing.ts';
import { fateWords, spliceWords, stretchWords } from '../../recovery/taking-up.ts';
import { distance, FOOT_M, type Units } from '../../ui/figures.ts';

/** A ledger's figure: whole metres or feet, whatever its size, so that a column can be added up. */
export const entered = (length_m: number, units: Units): string => {
  const text = (units === 'metric' ? length_m : length_m / FOOT_M).toFixed(0);
  return Number(text) === 0 ? '0' : text;
};

/** Whether an account comes out: 'balances', or how much is missing or too much. */
export function balanceWords({ balanced, missing_m }: WireAccount, units: Units): string {
  if (balanced) return 'balances';
  return missing_m > 0
    ? `${distance(missing_m, units)} is missing`
    : `${distance(-missing_m, units)} more came back than went out`;
}

/** What to look into where an account does not come out. */
export function lookInto({ balanced, missing_m, on_reel_m }: WireAccount): string | null {
  if (balanced) return null;
  if (missing_m < 0) return 'Look at the lengths, and at what was told twice.';
  return on_reel_m > 0
    ? 'Measure what is left on the reels, and say what was lost or left, and why.'
    : 'Say what was lost or left, and why.';
}

/** What the service wants looked into beyond the reels' own rows, which say it with their figures. */
export const otherWords = ({ words }: OperationStores): string[] =>
  words.filter((one) => !one.startsWith('reel '));

export interface OnLine {
  line: string;
  designation: string;
  reels: readonly ReelAccount[];
}

/** The reels by the lines that they were issued for, in the books' order. */
export function byLine(reels: readonly ReelAccount[]): OnLine[] {
  const lines = new Map<string, OnLine & { reels: ReelAccount[] }>();
  for (const reel of reels) {
    const known = lines.get(reel.line);
    if (known) known.reels.push(reel);
    else lines.set(reel.line, { line: reel.line, designation: reel.designation, reels: [reel] });
  }
  return [...lines.values()];
}

export interface Event {
  /** null: not at one time */
  at: string | null;
  words: string;
}

export interface Known {
  lines: ReadonlyMap<string, LineFeature>;
  /** by line, of those that are looked up */
  recoveries: ReadonlyMap<string, LineRecovery>;
  entries: readonly Entry[];
  units: Units;
}

/**
 * What went with the reel of this label: drawn by whom, laid on which lines with how many splices, brought back, taken up
 * from there, filled again. In the order of time; what has no time of its own stands after what it followed.
 */
export function history(label: string, known: Known): Event[] {
  const { units } = known;
  const written = (length_m: number) => distance(length_m, units);
  const told: Event[] = [];
  for (const { id, properties: line } of known.lines.values()) {
    const name = lineName(line.designation);
    const recovery = known.recoveries.get(id)?.recovery;
    line.reels.forEach((reel, index) => {
      if (reel.label !== label) return;
      // What was laid before a reel is on record came off the first one.
      const from_m = index === 0 ? 0 : reel.from_chainage_m;
      const to_m = line.reels[index + 1]?.from_chainage_m ?? line.laid_length_m;
      const within = (at_m: number) => at_m >= from_m && (at_m < to_m || index === line.reels.length - 1);
      const entry = known.entries.find(
        ({ report: { body } }) => body.kind === 'reel_started' && body.reel === reel.id,
      );
      const by = entry ? (entry.report.made_by ?? entry.by).team : line.team;
      told.push({
        at: entry ? happenedAt(entry).toISOString() : null,
        words: `Drawn for ${name}${by ? ` by ${by}` : ''} with ${written(reel.length_m)} on it.`,
      });
      if (to_m > from_m) {
        const splices = line.splices.filter(({ chainage_m }) => within(chainage_m)).length;
        told.push({
          at: null,
          words: `Laid on ${name} from ${stretchWords({ from_m, to_m }, units)}: ${spliceWords(splices)} made in it, class ${wireClass(to_m - from_m, splices).toUpperCase()}.`,
        });
      }
      for (const rest of recovery?.rests ?? []) {
        if (rest.reel === reel.id)
          told.push({ at: rest.at, words: `Brought back: ${written(rest.left_m)} left on it, measured.` });
      }
      const meets = (one: { from_m: number; to_m: number }) => one.from_m < to_m && one.to_m > from_m;
      for (const up of recovery?.sections ?? []) {
        if (meets(up) && up.onto !== label)
          told.push({
            at: up.at,
            words: `Of its wire on ${name}, ${stretchWords(up, units)} came up onto ${up.onto}, by ${up.team}.`,
          });
      }
      for (const gone of recovery?.not_back ?? []) {
        if (meets(gone))
          told.push({
            at: gone.at,
            words: `Of its wire on ${name}, ${stretchWords(gone, units)} was ${fateWords[gone.fate]}: ${gone.because}`,
          });
      }
    });
    for (const up of recovery?.sections ?? []) {
      if (up.onto === label)
        told.push({
          at: up.at,
          words: `Filled by ${up.team}: ${written(up.length_m)} of ${name}, ${stretchWords(up, units)}, ${spliceWords(up.splices)}, class ${up.class.toUpperCase()}.`,
        });
    }
  }
  return inOrder(told);
}

function inOrder(told: readonly Event[]): Event[] {
  let before = -Infinity;
  return told
    .map((event) => {
      if (event.at !== null) before = Date.parse(event.at);
      return { event, key: before };
    })
    .sort((a, b) => a.key - b.key)
    .map(({ event }) => event);
}
