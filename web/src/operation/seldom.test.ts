import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { Seldom } from './seldom.ts';

beforeEach(() => {
  vi.useFakeTimers();
});
afterEach(() => {
  vi.useRealTimers();
});

test('the first change is acted upon at once, and those after it together', () => {
  const act = vi.fn();
  const seldom = new Seldom(30_000, act);
  seldom.changed();
  expect(act).toHaveBeenCalledTimes(1);
  for (let n = 0; n < 5; n += 1) {
    vi.advanceTimersByTime(1_000);
    seldom.changed();
  }
  expect(act).toHaveBeenCalledTimes(1);
  vi.advanceTimersByTime(25_000);
  expect(act).toHaveBeenCalledTimes(2);
  vi.advanceTimersByTime(60_000);
  expect(act).toHaveBeenCalledTimes(2);
});

test('nothing is acted upon after it was left', () => {
  const act = vi.fn();
  const seldom = new Seldom(30_000, act);
  seldom.changed();
  seldom.changed();
  seldom.leave();
  vi.advanceTimersByTime(60_000);
  expect(act).toHaveBeenCalledTimes(1);
});
