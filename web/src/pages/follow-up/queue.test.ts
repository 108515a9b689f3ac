import { expect, it } from 'vitest';
import type { Client } from '../../api/client.ts';
import { hasMoved, Queue } from './queue.svelte.ts';

it('a team has moved when it is more than 20 m away', () => {
  expect(hasMoved(null, [0, 0])).toBe(true);
  // 0.0001 degree of the equator is 11.1 m.
  expect(hasMoved([0, 0], [0.0001, 0])).toBe(false);
  expect(hasMoved([0, 0], [0.0002, 0])).toBe(true);
});

/** Answers one call after another, as a test lets it. */
function service() {
  const asked: string[] = [];
  const answers: ((answer: unknown) => void)[] = [];
  const client = {
    GET: (_path: string, { params }: { params: { query: { from: string; order: string } } }) => {
      asked.push(`${params.query.order} ${params.query.from}`);
      return new Promise((resolve) => answers.push(resolve));
    },
  } as unknown as Client;
  return { asked, answers, client };
}

const good = (name: string) => ({ response: { ok: true }, data: { waiting: [name] } });

it('what is asked while an answer is on its way is asked once, the last of it', async () => {
  const { asked, answers, client } = service();
  const queue = new Queue(client, 'operation');
  const done = queue.ask([1, 2], 'near');
  void queue.ask([1, 2], 'along');
  void queue.ask([3, 4], 'hazard');
  answers[0]?.(good('first'));
  await Promise.resolve();
  while (answers.length < 2) await Promise.resolve();
  answers[1]?.(good('second'));
  await done;
  expect(asked).toEqual(['near 1,2', 'hazard 3,4']);
  expect(queue.waiting).toEqual(['second']);
});

it('without an answer the last queue stays, and says why', async () => {
  const { answers, client } = service();
  const queue = new Queue(client, 'operation');
  const first = queue.ask([1, 2], 'near');
  answers[0]?.(good('first'));
  await first;
  const second = queue.ask([1, 2], 'near');
  answers[1]?.(Promise.reject(new TypeError('no network')));
  await second;
  expect(queue.waiting).toEqual(['first']);
  expect(queue.trouble).toBe('No signal.');
});
