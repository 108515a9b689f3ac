import { describe, expect, it } from 'vitest';
import type { Entry } from '../../api/types.ts';
import { Log } from './log.ts';

/** A log of so many entries, as the service gives it: the newest before a number first. */
function service(count: number) {
  const questions: [before: number, limit: number][] = [];
  const fetch = (before: number, limit: number): Promise<Entry[]> => {
    questions.push([before, limit]);
    const last = Math.min(before - 1, count);
    const page = Array.from({ length: Math.min(limit, last) }, (_, index) => ({ sequence: last - index }));
    return Promise.resolve(page as Entry[]);
  };
  return { log: new Log(fetch), questions };
}

const numbers = (entries: readonly Entry[]) => entries.map((entry) => entry.sequence);

describe('entries behind a figure', () => {
  it('come oldest first, each once, by as few questions as it takes', async () => {
    const { log, questions } = service(900);
    expect(numbers(await log.entries([880, 700, 880, 20]))).toEqual([20, 700, 880]);
    expect(questions).toEqual([
      [881, 200],
      [21, 200],
    ]);
  });

  it('are not asked for again', async () => {
    const { log, questions } = service(50);
    await log.entries([50]);
    expect(numbers(await log.entries([3, 41]))).toEqual([3, 41]);
    expect(questions).toHaveLength(1);
  });

  it('that are not there are told, and not waited for', async () => {
    await expect(service(5).log.entries([9])).rejects.toThrow('no entry 9');
  });

  it('are none where a figure has none', async () => {
    const { log, questions } = service(5);
    expect(await log.entries([])).toEqual([]);
    expect(questions).toEqual([]);
  });
});
