/**
 * A refused report laid out to be put right: which of its figures and words may be said otherwise, and the
 * report that follows from what was written. It knows no rule; the service judges what is sent anew.
 */
import type { Body, Choice, Construction, Guide, Item } from '../api/types.ts';
import { constructionWords } from '../strip/tag.ts';
import type { Units } from '../ui/figures.ts';
import { choiceOf, guideFor } from './guidance.ts';
import { lengthTyped, lengthWritten } from './measure.ts';

export type Written = Record<string, string | boolean | readonly string[]>;

export type Asked =
  | { key: string; as: 'length'; label: string; needed: boolean }
  | { key: string; as: 'words'; label: string; needed: boolean; long: boolean }
  | { key: string; as: 'yes or no'; label: string }
  | { key: string; as: 'way'; label: string; ways: readonly { value: Construction; label: string }[] }
  | { key: string; as: 'list'; label: string; items: readonly Item[] };

/** Where a crossing is what it is: what may be built there hangs on it. */
export interface Ground {
  obstacle: Guide['obstacle'];
  hard_surface: boolean;
  construction: Construction | null;
}

const length = (key: string, label: string, needed = false): Asked => ({ key, as: 'length', label, needed });
const words = (key: string, label: string, needed = true, long = false): Asked => ({
  key,
  as: 'words',
  label,
  needed,
  long,
});

/** What is asked, in the order in which it is asked; empty where there is nothing to say otherwise. */
export function askedOf(body: Body, ground: Ground | null, guides: readonly Guide[]): Asked[] {
  const guide = ground && guideFor(guides, ground.obstacle, ground.hard_surface);
  const built = 'construction' in body ? (body.construction ?? null) : null;
  const choice = choiceOf(guide, built ?? ground?.construction ?? null);
  const way: Asked[] = guide
    ? [
        {
          key: 'construction',
          as: 'way',
          label: 'How is it crossed?',
          ways: guide.allowed.map(({ construction }) => ({
            value: construction,
            label: constructionWords(construction),
          })),
        },
      ]
    : [];
  const list = (of: (choice: Choice) => readonly Item[]): Asked[] =>
    choice ? [{ key: 'done', as: 'list', label: 'What was done', items: of(choice) }] : [];
  const height = length('clearance_m', 'Height of the lowest point');
  const stretch = [length('from_m', 'From', true), length('to_m', 'To', true)];
  switch (body.kind) {
    case 'crossing_foreseen':
    case 'crossing_marked':
      return [...way, height, length('span_m', 'Distance between the ties')];
    case 'crossing_passed':
      return [
        { key: 'clear_of_traffic', as: 'yes or no', label: 'Left clear of traffic' },
        height,
        ...list((one) => one.lead),
      ];
    case 'crossing_finished':
      return [...way, height, length('depth_m', 'Depth of the wire'), ...list((one) => one.finish)];
    case 'crossing_given_back':
      return [words('because', 'Why?', false, true)];
    case 'crossing_struck_out':
    case 'correction':
      return [words('because', 'Why?', true, true)];
    case 'splice_made':
    case 'call_back_good':
      return [length('chainage_m', 'How far along the line')];
    case 'reel_started':
      return [words('label', 'What is written on the reel'), length('length_m', 'Wire on it', true)];
    case 'line_planned':
      return [words('designation', 'Number'), words('from', 'From'), words('to', 'To')];
    case 'line_ordered_up':
      return [words('confirmed_dead_by', 'Confirmed dead by')];
    case 'section_taken_up':
      return [
        ...stretch,
        words('onto', 'Written on the reel'),
        length('length_m', 'Wire that came up', true),
      ];
    case 'wire_lost':
      return [...stretch, length('length_m', 'How much wire', true), words('because', 'Why?', true, true)];
    case 'reel_returned':
      return [length('left_m', 'Left on it', true)];
    case 'line_handed_over':
      return [words('to', 'Handed over to')];
    case 'note':
      return [words('text', 'The remark', true, true)];
    default:
      return [];
  }
}

/** What the report said, as it stands in the fields to be changed. */
export function written(body: Body, asked: readonly Asked[], units: Units): Written {
  const said = body as unknown as Record<string, unknown>;
  return Object.fromEntries(
    asked.map(({ key, as }): [string, Written[string]] => {
      const value = said[key];
      if (as === 'length') return [key, lengthWritten(typeof value === 'number' ? value : null, units)];
      if (as === 'yes or no') return [key, value === true];
      if (as === 'list') return [key, Array.isArray(value) ? (value as string[]) : []];
      return [key, typeof value === 'string' ? value : ''];
    }),
  );
}

/** The report put right, or what is wrong with each field. */
export function putRight(
  body: Body,
  asked: readonly Asked[],
  said: Written,
  units: Units,
): { body: Body } | { problems: Record<string, string> } {
  const problems: Record<string, string> = {};
  const right: Record<string, unknown> = { ...body };
  for (const one of asked) {
    const value = said[one.key];
    if (one.as === 'yes or no') right[one.key] = value === true;
    else if (one.as === 'list') {
      const ticked = Array.isArray(value) ? (value as readonly string[]) : [];
      right[one.key] = one.items.map((item) => item.id).filter((id) => ticked.includes(id));
    } else {
      const text = typeof value === 'string' ? value.trim() : '';
      const figure = one.as === 'length' ? lengthTyped(text, units) : text;
      if (text === '') {
        if ('needed' in one && one.needed) problems[one.key] = 'This has to be said.';
        right[one.key] = null;
      } else if (figure === null) problems[one.key] = 'Write a length, such as 4.3 m or 14 ft.';
      else right[one.key] = figure;
    }
  }
  return Object.keys(problems).length > 0 ? { problems } : { body: right as unknown as Body };
}

/** The most letters that a note holds. */
const NOTE = 500;

/** What was refused, as a note that stands whatever the rules say: nothing that somebody saw is lost. */
export function asNote(
  body: Body,
  told: string,
  at: string,
  reason: string,
  known: (id: string) => boolean,
): Body {
  const about = body as Partial<Record<'line' | 'crossing' | 'because' | 'text', string | null>>;
  const said = about.text ?? about.because ?? '';
  const text = `Not recorded, as told at ${at}: ${told}${said ? `, “${said}”` : ''}. ${reason}`;
  return {
    kind: 'note',
    text: text.length > NOTE ? `${text.slice(0, NOTE - 1)}…` : text,
    ...(about.crossing && known(about.crossing) ? { crossing: about.crossing } : {}),
    ...(!about.crossing && about.line && known(about.line) ? { line: about.line } : {}),
  };
}
