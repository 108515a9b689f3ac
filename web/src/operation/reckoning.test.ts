import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { Problem, Unreachable } from '../api/client.ts';
import { Reckoning } from './reckoning.svelte.ts';

beforeEach(() => void vi.useFakeTimers());
afterEach(() => void vi.useRealTimers());

/** A service that answers when it is told to. */
function service() {
  const asked: { question: number; answer: (answer: string) => void; fail: (reason: Error) => void }[] = [];
  const reckoning = new Reckoning<number, string>(
    (question) =>
      new Promise((answer, fail) => {
        asked.push({ question, answer, fail });
      }),
  );
  return { asked, reckoning };
}

it('asks at once the first time, and then only when the numbers have settled', async () => {
  const { asked, reckoning } = service();
  reckoning.ask(1);
  await vi.advanceTimersByTimeAsync(0);
  asked[0]?.answer('one');
  await vi.advanceTimersByTimeAsync(0);
  expect(reckoning.answer).toBe('one');
  for (const question of [12, 123, 1234]) reckoning.ask(question);
  await vi.advanceTimersByTimeAsync(200);
  expect(asked).toHaveLength(1);
  await vi.advanceTimersByTimeAsync(100);
  expect(asked.map(({ question }) => question)).toEqual([1, 1234]);
  expect(reckoning.behind).toBe(true);
});

it('an answer that was overtaken is not shown', async () => {
  const { asked, reckoning } = service();
  reckoning.ask(1);
  await vi.advanceTimersByTimeAsync(0);
  reckoning.ask(2);
  await vi.advanceTimersByTimeAsync(300);
  asked[1]?.answer('two');
  asked[0]?.answer('one');
  await vi.advanceTimersByTimeAsync(0);
  expect(reckoning.answer).toBe('two');
});

it('keeps the last good answer when the next question is refused, and names the field', async () => {
  const { asked, reckoning } = service();
  reckoning.ask(1);
  await vi.advanceTimersByTimeAsync(0);
  asked[0]?.answer('one');
  await vi.advanceTimersByTimeAsync(0);
  reckoning.ask(2);
  await vi.advanceTimersByTimeAsync(300);
  const title = 'left.tie_height_m is 0; give a number from 0.1 to 100.';
  asked[1]?.fail(new Problem({ title, status: 422, type: 'urn:laywire:problem:cannot-reckon' }));
  await vi.advanceTimersByTimeAsync(0);
  expect(reckoning.answer).toBe('one');
  expect(reckoning.answers).toBe(1);
  expect(reckoning.refused).toEqual({ field: 'left.tie_height_m', title });
});

it('says that there is no signal, keeps what it has, and asks again when there is', async () => {
  const { asked, reckoning } = service();
  reckoning.ask(1);
  await vi.advanceTimersByTimeAsync(0);
  asked[0]?.fail(new Unreachable(null));
  await vi.advanceTimersByTimeAsync(0);
  expect(reckoning.unreachable).toBe(true);
  reckoning.again();
  await vi.advanceTimersByTimeAsync(0);
  asked[1]?.answer('one');
  await vi.advanceTimersByTimeAsync(0);
  expect(reckoning.unreachable).toBe(false);
  expect(reckoning.answer).toBe('one');
  reckoning.again();
  await vi.advanceTimersByTimeAsync(0);
  expect(asked).toHaveLength(2);
});

it('asks nothing while a number cannot be read', async () => {
  const { asked, reckoning } = service();
  reckoning.ask(1);
  reckoning.ask(null);
  await vi.advanceTimersByTimeAsync(300);
  expect(asked).toHaveLength(0);
  expect(reckoning.asking).toBe(false);
});
