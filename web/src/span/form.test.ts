import { describe, expect, it } from 'vitest';
import type { Choice, CrossingFeature, Obstacle } from '../api/types.ts';
import { begunWith, refusedIn, SpanForm } from './form.svelte.ts';

const crossing = (obstacle: Obstacle, known: object = {}): CrossingFeature =>
  ({
    id: 'c',
    properties: { obstacle, span_m: null, clearance_m: null, construction: 'overhead_poles', ...known },
  }) as unknown as CrossingFeature;
const choice = { construction: 'overhead_poles', least_height_m: 4.2672 } as Choice;

describe('the numbers begin with', () => {
  it('the normal span, where nobody has measured one', () => {
    // SS0440 p. 33: normal span 100 ft.
    expect(begunWith(crossing('road'), choice).span_m).toBe(30.48);
    expect(begunWith(crossing('road', { span_m: 42 }), choice).span_m).toBe(42);
  });

  it('ties high enough for the civil height over a road, and not only for the field’s', () => {
    // IEEE C2 (NESC) rule 232: 15.5 ft.
    expect(begunWith(crossing('road'), choice)['left.tie_height_m']).toBeGreaterThan(15.5 * 0.3048);
  });

  it('the height that was measured, with the sag above it', () => {
    const begun = begunWith(crossing('road', { clearance_m: 5, span_m: 20 }), choice);
    expect(begun['left.tie_height_m']).toBeCloseTo(5.5, 9);
  });

  it('a road or a water that lies within the span, in its middle', () => {
    for (const obstacle of ['main_highway', 'road', 'dirt_road', 'path', 'stream'] as const) {
      for (const span_m of [1, 6, 30.48, 500]) {
        const begun = begunWith(crossing(obstacle, { span_m }), choice);
        expect(begun['over.from_m']).toBeGreaterThanOrEqual(0);
        expect(begun['over.to_m']).toBeGreaterThan(begun['over.from_m']);
        expect(begun['over.to_m']).toBeLessThanOrEqual(span_m);
      }
    }
  });

  it('level water', () => {
    expect(begunWith(crossing('stream'), null)['over.crown_m']).toBe(0);
  });
});

describe('the ground from a grid of heights', () => {
  it('is begun with, to a decimetre, and goes into the question', () => {
    const form = new SpanForm(crossing('road'), choice, 'metric');
    form.ground({ right_m: 3.04, over_m: 1.52 });
    expect(form.input?.right.ground_m).toBe(3);
    expect(form.input?.over).toMatchObject({ from_level_m: 1.5, to_level_m: 1.5 });
    expect(form.byGrid).toBe(true);
  });

  it('does not touch what somebody has typed meanwhile', () => {
    const form = new SpanForm(crossing('road'), choice, 'metric');
    form.typed['right.ground_m'] = '2';
    form.ground({ right_m: 3, over_m: 1.5 });
    expect(form.input?.right.ground_m).toBe(2);
    expect(form.input?.over?.from_level_m).toBe(0);
    expect(form.byGrid).toBe(false);
  });
});

describe('the question', () => {
  it('is made in metres, whatever is typed in', () => {
    const form = new SpanForm(crossing('road'), choice, 'miles');
    form.typed.span_m = '100 ft';
    expect(form.input?.span_m).toBeCloseTo(30.48, 9);
    form.show('metric');
    expect(form.typed.span_m).toBe('30.48');
    expect(form.input?.span_m).toBeCloseTo(30.48, 9);
  });

  it('is not asked while a number cannot be read, and the number says so', () => {
    const form = new SpanForm(crossing('road'), choice, 'metric');
    form.typed['left.tie_height_m'] = 'high';
    expect(form.input).toBeNull();
    expect(form.problem('left.tie_height_m', null)).toMatch(/^Write a length/);
    expect(form.problem('right.tie_height_m', null)).toBeUndefined();
  });

  it('asks by the pull or by the sag, never by both', () => {
    const form = new SpanForm(crossing('road'), choice, 'metric');
    expect(form.input?.strung).toEqual({ sag_m: 0.61 });
    form.by = 'tension';
    form.typed['strung.tension_n'] = '40 N';
    expect(form.input?.strung).toEqual({ tension_n: 40 });
  });

  it('names no weather as still air at freezing', () => {
    const form = new SpanForm(crossing('road'), choice, 'metric');
    form.loading = 'none';
    expect(form.input?.loading).toEqual({ custom: { temperature_c: 0 } });
  });

  it('raises both ties to what is needed, and never below it', () => {
    const form = new SpanForm(crossing('road'), choice, 'metric');
    form.raise(5.5397, 6.01);
    expect(form.input?.left.tie_height_m).toBe(5.55);
    expect(form.input?.right.tie_height_m).toBe(6.05);
  });
});

describe('a refusal', () => {
  const refused = (field: string, title: string) => ({ field, title });

  it('stands beside the number that it names, with its range in the units on screen', () => {
    const form = new SpanForm(crossing('road'), choice, 'metric');
    const said = refused('span_m', 'span_m is 0.1; give a number from 0.5 to 2000.');
    expect(form.problem('span_m', said)).toBe('Give one from 0.50 m to 2000.00 m.');
    expect(form.names(said)).toBe(true);
    expect(form.problem('left.tie_height_m', said)).toBeUndefined();
    expect(refusedIn(said, 'miles')).toBe('Give one from 1 ft 8 in to 6561 ft 9 in.');
  });

  it('calls the numbers by the names that stand on the sheet', () => {
    const title =
      'over.from_m 9.00 m to over.to_m 39.00 m is not between the ties: give two offsets that rise, from 0 to span_m 30.00 m.';
    expect(refusedIn(refused('over.from_m', title), 'metric')).toBe(
      '‘near edge, from the left tie’ 9.00 m to ‘far edge, from the left tie’ 39.00 m is not between the ties: give two offsets that rise, from 0 to ‘span’ 30.00 m.',
    );
  });
});
