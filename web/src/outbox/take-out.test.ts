import 'fake-indexeddb/auto';
import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { KeptWork, forgetAllWork } from './kept-work.ts';
import { forgetEverything, Outbox, type Delivery, type Report } from './outbox.ts';
import { uuid7 } from './uuid7.ts';

let outbox: Outbox;
let sent: string[][];
/** what the service does with a batch; the signal is there or is not */
let answer: (reports: readonly Report[]) => Promise<Delivery>;
/** held by who is sending, in this tab or in another */
let gate: Promise<void>;

const recorded = (reports: readonly Report[]): Promise<Delivery> =>
  Promise.resolve({
    delivered: true,
    answers: reports.map(({ id }, n) => ({ id, outcome: 'recorded', sequence: n + 1, reason: null })),
  });
const unreachable = (): Promise<Delivery> => Promise.resolve({ delivered: false, why: 'unreachable' });

beforeEach(async () => {
  vi.stubGlobal('window', new EventTarget());
  sent = [];
  answer = recorded;
  gate = Promise.resolve();
  outbox = await Outbox.open({
    operation: 'op',
    sender: 'lead_team/Lead 1',
    send: (_operation, reports) => {
      sent.push(reports.map(({ body }) => body.kind));
      return answer(reports);
    },
    lock: (run) => gate.then(run),
  });
});

afterEach(async () => {
  await outbox.close();
  await forgetEverything();
  await forgetAllWork();
  vi.unstubAllGlobals();
});

it('what has not left the device is withdrawn and never sent', async () => {
  let free = () => {};
  gate = new Promise((open) => (free = open));
  const slip = await outbox.report({ kind: 'slip' }, null);
  await outbox.report({ kind: 'meant' }, null);
  expect(await outbox.takeOut(slip.id)).toBe(true);
  expect(await outbox.takeOut(slip.id)).toBe(false);
  free();
  await outbox.flush();
  expect(sent).toEqual([['meant']]);
});

it('what is taken out while the clock is measured does not come back', async () => {
  await outbox.close();
  const clock = {
    ahead_ms: null as number | null,
    measure: async () => {
      for (const { report } of await outbox.kept()) expect(await outbox.takeOut(report.id)).toBe(true);
      clock.ahead_ms = 40;
    },
  };
  outbox = await Outbox.open({
    operation: 'op',
    sender: 'lead_team/Lead 1',
    clock,
    lock: (run) => run(),
    send: (_operation, reports) => {
      sent.push(reports.map(({ body }) => body.kind));
      return answer(reports);
    },
  });
  await outbox.report({ kind: 'slip' }, null);
  await outbox.flush();
  expect(sent).toEqual([]);
  expect(await outbox.kept()).toEqual([]);
});

it('what may have left is not withdrawn, answered or not: only a correction takes it back', async () => {
  answer = unreachable;
  const lost = await outbox.report({ kind: 'lost' }, null);
  await outbox.flush();
  expect(await outbox.takeOut(lost.id)).toBe(false);
  answer = recorded;
  await outbox.flush();
  expect(await outbox.takeOut(lost.id)).toBe(false);
  expect((await outbox.kept())[0]?.outcome.outcome).toBe('recorded');
});

it('a report with an id of its own is stored once, however often it is asked for', async () => {
  const id = uuid7();
  for (let time = 0; time < 3; time += 1) await outbox.report({ kind: 'laid' }, null, new Date(), id);
  await outbox.flush();
  await outbox.report({ kind: 'laid' }, null, new Date(), id);
  await outbox.flush();
  expect(await outbox.kept()).toHaveLength(1);
  expect(sent).toEqual([['laid']]);
});

it('work under way is found again, by its name', async () => {
  const work = new KeptWork();
  await work.write('one', { laid: [[-4.67, 54.08]] });
  await work.write('two', 2);
  await work.close();
  const again = new KeptWork();
  expect(await again.read('one')).toEqual({ laid: [[-4.67, 54.08]] });
  await again.forget('one');
  expect(await again.read('one')).toBeUndefined();
  expect(await again.read('two')).toBe(2);
  await again.close();
});
