/**
 * The tag: how a crossing is drawn, on the strip, in lists and on the map alike. Its fill tells the
 * state, its letter the construction, a broken bar beside it that wire lies in traffic; so it reads
 * without colour. The drawing is the project's own; it claims no symbol standard.
 */
export const states = [
  'foreseen',
  'marked',
  'passed',
  'in_hand',
  'finished',
  'proved',
  'struck_out',
] as const;
export type State = (typeof states)[number];

export const constructions = [
  'through_culvert',
  'under_bridge',
  'under_rails',
  'overhead_trees',
  'overhead_poles',
  'overhead_lance_poles',
  'buried',
  'ladder',
] as const;
export type Construction = (typeof constructions)[number];

export interface TagLook {
  state: State;
  /** null: nobody has chosen one yet */
  construction: Construction | null;
  /** wire lies where traffic goes */
  inTraffic?: boolean;
  /** the mark of the team that has it in hand, four characters at most: 'F1' */
  team?: string | null;
}

const letters: Record<Construction, string> = {
  through_culvert: 'C',
  under_bridge: 'B',
  under_rails: 'U',
  overhead_trees: 'T',
  overhead_poles: 'P',
  overhead_lance_poles: 'L',
  buried: 'D',
  // Two rails and a rung: the letter is its picture.
  ladder: 'H',
};

const constructionNames: Record<Construction, string> = {
  through_culvert: 'through a culvert',
  under_bridge: 'under a bridge',
  under_rails: 'under the rails',
  overhead_trees: 'overhead on trees',
  overhead_poles: 'overhead on poles',
  overhead_lance_poles: 'overhead on lance poles',
  buried: 'dug in (buried)',
  ladder: 'ladder',
};

const stateNames: Record<State, string> = {
  foreseen: 'foreseen',
  marked: 'marked',
  passed: 'passed, not finished',
  in_hand: 'in hand',
  finished: 'finished',
  proved: 'proved',
  struck_out: 'struck out',
};

export const letterOf = (construction: Construction | null): string =>
  construction === null ? '?' : letters[construction];

export const constructionWords = (construction: Construction | null): string =>
  construction === null ? 'construction not chosen' : constructionNames[construction];

export const stateWords = (state: State): string => stateNames[state];

/** The tag in words, for whoever hears the page instead of seeing it. */
export function tagWords({ state, construction, inTraffic, team }: TagLook): string {
  const withTeam = state === 'in_hand' && team ? ` with ${team}` : '';
  const words = [constructionWords(construction), stateWords(state) + withTeam];
  if (inTraffic) words.push('wire lies in traffic');
  return words.join(', ');
}

/** A colour by its token's name, so that the same marks are drawn in CSS and on a canvas. */
export type Paint = 'ink' | 'paper' | 'hazard' | 'none';

export type Mark =
  | { shape: 'path'; d: string; fill: Paint; stroke: Paint; width: number; dash?: readonly number[] }
  | { shape: 'text'; text: string; x: number; y: number; size: number; fill: Paint };

/** The room a tag takes, in the units of its marks; it is tied to the line at (0, 0) and hangs down. */
export const tagBox = { left: -27, top: 0, width: 54, height: 56 } as const;

const body = 'M-8 10H8L17 19V50H-17V19Z';
const lowerHalf = 'M-17 35H17V50H-17Z';
const ring = 'M-10 5.5H10L21.5 17V54.5H-21.5V17Z';
const string = 'M0 0V15';
const eyelet = 'M2.2 16A2.2 2.2 0 1 1-2.2 16A2.2 2.2 0 1 1 2.2 16Z';

/** Everything a tag is made of, in the order it is drawn. */
export function tagMarks({ state, construction, inTraffic = false, team = null }: TagLook): Mark[] {
  const full = state === 'finished' || state === 'proved';
  const half = state === 'passed' || state === 'in_hand';
  const dash = state === 'foreseen' ? { dash: [3.5, 2.5] } : {};
  const outline = { shape: 'path', fill: 'none', stroke: 'ink' } as const;
  const marks: Mark[] = [];

  // A ground of paper keeps the tag whole over roads, water and other tags' strings.
  if (state === 'proved') marks.push({ ...outline, d: ring, fill: 'paper', width: 2 });
  marks.push({ shape: 'path', d: body, fill: full ? 'ink' : 'paper', stroke: 'ink', width: 2.5, ...dash });
  if (half) marks.push({ shape: 'path', d: lowerHalf, fill: 'ink', stroke: 'none', width: 0 });
  marks.push({ ...outline, d: string, width: 1.8 });
  marks.push({ shape: 'path', d: eyelet, fill: full ? 'paper' : 'ink', stroke: 'none', width: 0 });
  marks.push({
    shape: 'text',
    text: letterOf(construction),
    x: 0,
    y: half ? 33 : 42,
    size: half ? 16 : 23,
    fill: full ? 'paper' : 'ink',
  });
  if (state === 'in_hand' && team) {
    const mark = team.slice(0, 4);
    marks.push({ shape: 'text', text: mark, x: 0, y: 47, size: mark.length > 3 ? 10 : 12, fill: 'paper' });
  }
  if (state === 'struck_out') marks.push({ ...outline, d: 'M-23 53L23 12', width: 3.5 });
  if (inTraffic) {
    marks.push({
      shape: 'path',
      d: 'M-23.5 11V51',
      fill: 'none',
      stroke: 'hazard',
      width: 6,
      dash: [7, 3.6],
    });
  }
  return marks;
}
