/**
 * The numbers of one span while they are changed: what a crossing is begun with, what is typed, and the question
 * that they make. Whether a figure will do is the service's to say; here it is only read.
 */
import type { Choice, Construction, CrossingFeature, Obstacle, SpanInput } from '../api/types.ts';
import { NORMAL_SPAN_M } from '../operation/guidance.ts';
import { lengthTyped, lengthWritten } from '../operation/measure.ts';
import type { Refused } from '../operation/reckoning.svelte.ts';
import { FOOT_M, heightNeeded, POUND_N, pull, saidIn, type Units } from '../ui/figures.ts';
import type { Rise } from './ground.ts';

export const loadings = ['none', 'light', 'medium', 'heavy'] as const;
export type Loading = (typeof loadings)[number];

/** Each number by the field of the question that it goes into. */
export const labels = {
  span_m: 'Span',
  'left.tie_height_m': 'Left tie height',
  'right.tie_height_m': 'Right tie height',
  'strung.sag_m': 'Sag in the middle',
  'strung.tension_n': 'Pull along the wire',
  'over.from_m': 'Near edge, from the left tie',
  'over.to_m': 'Far edge, from the left tie',
  'over.from_level_m': 'Its level, above the ground at the left tie',
  'over.crown_m': 'Crown, its middle above its edges',
  'right.ground_m': 'Ground at the right tie, above that at the left',
} as const;
export type Field = keyof typeof labels;

/** Two feet of sag in a hundred of span: then one pair of WD-1 keeps to half its strength in the light district. Planning value. */
const SAG_SHARE = 0.02;
/** How wide what is crossed is begun with. Planning values of our own, to be measured. */
const WIDTH_M: Record<Obstacle, number> = {
  main_highway: 7.3,
  road: 6,
  dirt_road: 4,
  path: 1.5,
  railway: 4,
  stream: 12,
};
/** A road falls two in a hundred from its middle to its edges. Common practice, no source. */
const FALL_SHARE = 0.02;
/** IEEE C2 (NESC) rule 232: 15.5 ft over a road open to trucks. Only what the numbers begin with: the service says what is asked. */
const TRUCKS_M = 15.5 * FOOT_M;
/** What is begun with over water, above its highest. Planning value of our own. */
const OVER_WATER_M = 3;

const round = (length_m: number, step_m: number) =>
  Number((Math.ceil(length_m / step_m - 1e-9) * step_m).toFixed(3));

export type Numbers = Record<Field, number>;

/** What the span of this crossing is begun with: what is known of it, and planning values for the rest. */
export function begunWith({ properties }: CrossingFeature, choice: Choice | null): Numbers {
  const span_m = properties.span_m ?? NORMAL_SPAN_M;
  const wide_m = Math.min(WIDTH_M[properties.obstacle], span_m / 2);
  const from_m = round((span_m - wide_m) / 2, 0.01);
  const sag_m = round(span_m * SAG_SHARE, 0.01);
  const water = properties.obstacle === 'stream';
  const crown_m = water ? 0 : round((wide_m / 2) * FALL_SHARE, 0.01);
  const vehicles = ['main_highway', 'road', 'dirt_road'].includes(properties.obstacle);
  const least_m = Math.max(choice?.least_height_m ?? 0, vehicles ? TRUCKS_M : 0, water ? OVER_WATER_M : 0);
  // What was measured was measured as it was strung; else heat will let it down by a quarter more, or less.
  const tie_m =
    properties.clearance_m !== null
      ? properties.clearance_m + sag_m + crown_m
      : least_m + 1.25 * sag_m + crown_m;
  return {
    span_m: span_m,
    'left.tie_height_m': round(tie_m, 0.1),
    'right.tie_height_m': round(tie_m, 0.1),
    'strung.sag_m': sag_m,
    'strung.tension_n': 25,
    'over.from_m': from_m,
    'over.to_m': round(from_m + wide_m, 0.01),
    'over.from_level_m': 0,
    'over.crown_m': crown_m,
    'right.ground_m': 0,
  };
}

const isPull = (field: Field) => field === 'strung.tension_n';

function read(field: Field, text: string, units: Units): number | null {
  if (!isPull(field)) return lengthTyped(text, units);
  const [, figure] = /^\s*(\d+(?:[.,]\d+)?)\s*(?:n|lb)?\s*$/i.exec(text) ?? [];
  return figure === undefined ? null : Number(figure.replace(',', '.')) * (units === 'metric' ? 1 : POUND_N);
}

/** To a centimetre, or a hundredth of a foot. */
const written = (length_m: number, units: Units) =>
  lengthWritten(
    units === 'metric' ? Number(length_m.toFixed(2)) : Number((length_m / FOOT_M).toFixed(2)) * FOOT_M,
    units,
  );

function write(field: Field, figure: number, units: Units): string {
  if (!isPull(field)) return written(figure, units);
  return String(Number((units === 'metric' ? figure : figure / POUND_N).toFixed(2)));
}

const fields = Object.keys(labels) as Field[];

export class SpanForm {
  readonly obstacle: Obstacle;
  readonly construction: Construction | null;
  readonly typed = $state({}) as Record<Field, string>;
  by = $state<'sag' | 'tension'>('sag');
  loading = $state<Loading>('light');
  /** whether the ground was begun with from a grid of heights */
  byGrid = $state(false);
  #units = $state<Units>('metric');

  constructor(crossing: CrossingFeature, choice: Choice | null, units: Units) {
    this.obstacle = crossing.properties.obstacle;
    this.construction = choice?.construction ?? crossing.properties.construction;
    this.#units = units;
    const begun = begunWith(crossing, choice);
    for (const field of fields) this.typed[field] = write(field, begun[field], units);
  }

  /** The same numbers in other units; what cannot be read stays as it was typed. */
  show(units: Units): void {
    if (units === this.#units) return;
    for (const field of fields) {
      const figure = read(field, this.typed[field], this.#units);
      if (figure !== null) this.typed[field] = write(field, figure, units);
    }
    this.#units = units;
  }

  /** The ground as a grid of heights has it, where nobody has typed anything else. */
  ground({ right_m, over_m }: Rise): void {
    const untouched = write('right.ground_m', 0, this.#units);
    const rises = { 'right.ground_m': right_m, 'over.from_level_m': over_m } as const;
    if (Object.keys(rises).some((field) => this.typed[field as keyof typeof rises] !== untouched)) return;
    for (const field of ['right.ground_m', 'over.from_level_m'] as const)
      this.typed[field] = write(field, Number(rises[field].toFixed(1)), this.#units);
    this.byGrid = true;
  }

  /** Both ties as high as the answer says that they have to be, rounded up. */
  raise(left_m: number, right_m: number): void {
    const step_m = this.#units === 'metric' ? 0.05 : FOOT_M / 12;
    this.typed['left.tie_height_m'] = lengthWritten(round(left_m, step_m), this.#units);
    this.typed['right.tie_height_m'] = lengthWritten(round(right_m, step_m), this.#units);
  }

  get water(): boolean {
    return this.obstacle === 'stream';
  }

  /** The question, or null while a number of it cannot be read. */
  get input(): SpanInput | null {
    const figure = (field: Field) => read(field, this.typed[field], this.#units) ?? NaN;
    const level_m = figure('over.from_level_m');
    const input: SpanInput = {
      span_m: figure('span_m'),
      left: { tie_height_m: figure('left.tie_height_m') },
      right: { tie_height_m: figure('right.tie_height_m'), ground_m: figure('right.ground_m') },
      strung:
        this.by === 'sag' ? { sag_m: figure('strung.sag_m') } : { tension_n: figure('strung.tension_n') },
      // Still air at the freezing point, for who reckons with no weather at all.
      loading: this.loading === 'none' ? { custom: { temperature_c: 0 } } : this.loading,
      over: {
        obstacle: this.obstacle,
        from_m: figure('over.from_m'),
        to_m: figure('over.to_m'),
        from_level_m: level_m,
        to_level_m: level_m,
        crown_m: this.water ? 0 : figure('over.crown_m'),
      },
      ...(this.construction ? { construction: this.construction } : {}),
    };
    return fields.some((field) => this.#asked(field) && read(field, this.typed[field], this.#units) === null)
      ? null
      : input;
  }

  /** What is wrong with a number, for beside it. */
  problem(field: Field, refused: Refused | null): string | undefined {
    if (read(field, this.typed[field], this.#units) === null) {
      return isPull(field)
        ? 'Write a pull: a figure alone.'
        : 'Write a length: a figure alone, or with its unit.';
    }
    return refused?.field === field ? refusedIn(refused, this.#units) : undefined;
  }

  /** Whether the refusal stands beside one of the numbers; else it has to be said by itself. */
  names(refused: Refused): boolean {
    return fields.some((field) => field === refused.field && this.#asked(field));
  }

  #asked(field: Field): boolean {
    if (field === 'strung.sag_m') return this.by === 'sag';
    if (field === 'strung.tension_n') return this.by === 'tension';
    return field !== 'over.crown_m' || !this.water;
  }
}

/** A refusal with the numbers' own names and in the chosen units. */
export function refusedIn({ title }: Refused, units: Units): string {
  const [, field, least, most] =
    /^(\S+) is \S+; give a number from (\S+) to ([\d.e+-]*\d)\.?$/.exec(title) ?? [];
  if (field && least && most) {
    const written = (figure: string) =>
      field.endsWith('_n') ? pull(Number(figure), units) : heightNeeded(Number(figure), units);
    return `Give one from ${written(least)} to ${written(most)}.`;
  }
  const named = fields.reduce(
    (text, name) => text.replaceAll(name, `‘${labels[name].toLowerCase()}’`),
    title,
  );
  return saidIn(named, units);
}
