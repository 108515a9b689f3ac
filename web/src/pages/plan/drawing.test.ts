import { describe, expect, it } from 'vitest';
import { distance_m } from '../../operation/ground.ts';
import type { Place } from '../../operation/reporter.svelte.ts';
import {
  add,
  begun,
  choose,
  insert,
  MOST_STEPS,
  move,
  nudge,
  redo,
  remove,
  replace,
  turnRound,
  undo,
} from './drawing.ts';

const a: Place = [-4.67, 54.08];
const b: Place = [-4.65, 54.09];
const c: Place = [-4.64, 54.1];
const drawn = (...places: Place[]) => places.reduce((steps, place) => add(steps, place), begun([]));

describe('a trace that is being drawn', () => {
  it('grows at its end, and bends behind the place that is chosen', () => {
    expect(drawn(a, b, c).now).toEqual({ places: [a, b, c], chosen: 2 });
    const bent = add(choose(drawn(a, c), 0), b);
    expect(bent.now).toEqual({ places: [a, b, c], chosen: 1 });
  });

  it('gets a place in the middle of a leg', () => {
    const { now } = insert(drawn(a, c), 0);
    expect(now.places[1]).toEqual([(a[0] + c[0]) / 2, (a[1] + c[1]) / 2]);
    expect(now.chosen).toBe(1);
    expect(insert(drawn(a), 0)).toEqual(drawn(a));
  });

  it('is undone and done again step by step, and a new step forgets what was undone', () => {
    const three = drawn(a, b, c);
    expect(undo(three).now.places).toEqual([a, b]);
    expect(redo(undo(three)).now).toEqual(three.now);
    const other = add(undo(three), a);
    expect(other.future).toEqual([]);
    expect(redo(other).now.places).toEqual([a, b, a]);
    expect(undo(begun([a])).now.places).toEqual([a]);
    let back = three;
    for (let step = 0; step < 10; step += 1) back = undo(back);
    expect(back.now.places).toEqual([]);
  });

  it('moves a place in one step, by hand or by metres over the ground', () => {
    const dragged = move(drawn(a, b), 0, c);
    expect(dragged.now.places).toEqual([c, b]);
    expect(undo(dragged).now.places).toEqual([a, b]);
    const nudged = nudge(choose(drawn(a, b), 0), 0, 100);
    const [from] = nudged.now.places;
    expect(from && distance_m(a, from)).toBeCloseTo(100, 0);
    expect(nudge(begun([]), 0, 100).now.places).toEqual([]);
  });

  it('does not count a step that changes nothing', () => {
    const two = drawn(a, b);
    expect(move(two, 1, b).past).toEqual(two.past);
    expect(remove(two, 7)).toBe(two);
    expect(choose(two, 9).now.chosen).toBeNull();
  });

  it('loses a place, and chooses the one before', () => {
    expect(remove(drawn(a, b, c), 1).now).toEqual({ places: [a, c], chosen: 0 });
    expect(remove(drawn(a), 0).now).toEqual({ places: [], chosen: null });
  });

  it('is replaced and turned round as a whole, which can be undone', () => {
    const other = replace(drawn(a), [b, c]);
    expect(other.now.places).toEqual([b, c]);
    expect(undo(other).now.places).toEqual([a]);
    expect(turnRound(other).now).toEqual({ places: [c, b], chosen: 0 });
  });

  it('remembers no more steps than it has to', () => {
    let steps = begun([a]);
    for (let n = 0; n < MOST_STEPS + 50; n += 1) steps = move(steps, 0, [a[0] + n / 1000, a[1]]);
    expect(steps.past).toHaveLength(MOST_STEPS);
  });
});
