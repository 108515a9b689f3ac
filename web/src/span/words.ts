/** A reckoned span in words and figures: what the drawing shows, for who reads or hears it. */
import type { SpanAnswer } from '../api/types.ts';
import { height, heightNeeded, pull, type Units } from '../ui/figures.ts';
import { hangIn } from './drawing.ts';

export const conditionWords: Record<string, string> = {
  stringing: 'as it is strung',
  hot: 'on the hottest day',
  iced: 'with its ice on it',
  windy: 'in the wind and cold it has to stand',
};

/** Whether the wire hangs high enough, and by how much not, in one sentence. */
export function verdict({ clearance, strength }: SpanAnswer, over: string, units: Units): string {
  if (!clearance) return '';
  const when = conditionWords[clearance.governs] ?? clearance.governs;
  if (clearance.least_m === null) return `The wire breaks ${when}.`;
  // Water asks for no height of its own: only that the wire hangs clear of it.
  const asked =
    clearance.required_m > 0
      ? `${heightNeeded(clearance.required_m, units)} is asked`
      : 'it has to hang clear';
  if (clearance.enough) {
    const pulled = strength.enough ? '' : ' But it is pulled too hard: see below.';
    return `High enough: ${height(clearance.least_m, units)} over the ${over} ${when}, where ${asked}.${pulled}`;
  }
  // Less is missing than a centimetre or an inch: say the least that can be said, never 0.
  const short = heightNeeded(clearance.required_m - clearance.least_m, units);
  return `Too low by ${short}: ${height(clearance.least_m, units)} over the ${over} ${when}, where ${asked}.`;
}

export interface Row {
  name: string;
  figure: string;
}

/** The figures that a crew works by. */
export function figures(answer: SpanAnswer, units: Units): Row[] {
  const { clearance, strength, left_poles, right_poles, left_guys, right_guys, largest_span } = answer;
  const both = (left: string, right: string) =>
    left === right ? `${left} at both ends` : `left ${left}, right ${right}`;
  const rows: Row[] = [];
  const row = (name: string, figure: string) => rows.push({ name, figure });
  if (typeof clearance?.left_tie_height_m === 'number' && typeof clearance.right_tie_height_m === 'number') {
    row(
      'Ties needed, with this sag',
      both(
        heightNeeded(clearance.left_tie_height_m, units),
        heightNeeded(clearance.right_tie_height_m, units),
      ),
    );
  }
  if (left_poles && right_poles) {
    const [left, right] = [
      heightNeeded(left_poles.least_length_m, units),
      heightNeeded(right_poles.least_length_m, units),
    ];
    row(
      'Lance poles',
      both(`${left_poles.poles} of ${left} or longer`, `${right_poles.poles} of ${right} or longer`),
    );
    const laps = [left_poles.overlap_m, right_poles.overlap_m].filter((lap) => typeof lap === 'number');
    if (laps.length > 0) row('They overlap by', heightNeeded(Math.min(...laps), units));
  }
  if (left_guys && right_guys) {
    row(
      'Guys',
      both(
        `${left_guys.guys} of ${heightNeeded(left_guys.length_m, units)}`,
        `${right_guys.guys} of ${heightNeeded(right_guys.length_m, units)}`,
      ),
    );
    row(
      'Their stakes',
      both(`${heightNeeded(left_guys.out_m, units)} out`, `${heightNeeded(right_guys.out_m, units)} out`),
    );
  }
  const strung = hangIn(answer, 'stringing');
  if (strung) {
    row(
      'String it to',
      `${height(strung.sag_m, units)} of sag, a pull of ${pull(strung.level_tension_n, units)}`,
    );
    row('Wire between the ties', heightNeeded(strung.wire_length_m, units));
  }
  const when = conditionWords[strength.governs] ?? strength.governs;
  row(
    'Pulled hardest',
    strength.greatest_n === null
      ? `it breaks ${when}`
      : `${pull(strength.greatest_n, units)} ${when}; ${pull(strength.allowed_n, units)} is allowed`,
  );
  if (largest_span) row('Longest span with these ties', height(largest_span.span_m, units));
  return rows;
}
