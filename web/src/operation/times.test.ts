import { expect, it } from 'vitest';
import type { Entry } from '../api/types.ts';
import { happenedAt, otherTimes } from './times.ts';

const entry = (at: string, clock_offset_ms: number | null, received_at: string) =>
  ({ received_at, report: { at, clock_offset_ms } }) as unknown as Entry;
const now = new Date('2026-05-04T18:00:00');
const local = (time: string) => new Date(time).toISOString();

it('of a clock that was three years fast all three times are told', () => {
  const told = entry(local('2029-05-28T10:00:00'), 1_120 * 86_400_000, local('2026-05-04T16:02:00'));
  expect(happenedAt(told)).toEqual(new Date('2026-05-04T10:00:00'));
  expect(otherTimes(told, now)).toBe('2029-05-28 10:00 by the device’s clock, received 16:02');
});

it('what came late from a right clock says when it was taken in, and what came at once says nothing', () => {
  const late = entry(local('2026-05-04T10:00:00'), 0, local('2026-05-04T16:02:00'));
  expect(otherTimes(late, now)).toBe('received 16:02');
  const prompt = entry(local('2026-05-04T16:01:58'), 400, local('2026-05-04T16:02:00'));
  expect(otherTimes(prompt, now)).toBe('');
});

it('nothing happened after it was told of', () => {
  const ahead = entry(local('2031-01-01T00:00:00'), null, local('2026-05-04T16:02:00'));
  expect(happenedAt(ahead)).toEqual(new Date('2026-05-04T16:02:00'));
});
