import 'fake-indexeddb/auto';
import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { forgetEverything, Outbox, type Answer, type Delivery, type Kept, type Report } from './outbox.ts';

const page = new EventTarget();
let open: Outbox[] = [];

/** A lock of one holder at a time, as navigator.locks is. */
let tail: Promise<void> = Promise.resolve();
const lock = (run: () => Promise<void>): Promise<void> => {
  const turn = tail.then(run);
  tail = turn.catch(() => undefined);
  return turn;
};

beforeEach(() => {
  vi.stubGlobal('window', page);
  tail = Promise.resolve();
});

afterEach(async () => {
  await Promise.all(open.map((outbox) => outbox.close()));
  open = [];
  await forgetEverything();
  vi.unstubAllGlobals();
});

/** A service that records each id once, as the real one does; it can be cut off. */
class Service {
  reachable = true;
  loseAnswers = 0;
  unwelcome = false;
  batches: string[][] = [];
  log: Report[] = [];
  readonly atOnce = { now: 0, most: 0 };

  readonly send = async (_operation: string, reports: readonly Report[]): Promise<Delivery> => {
    this.atOnce.now += 1;
    this.atOnce.most = Math.max(this.atOnce.most, this.atOnce.now);
    await Promise.resolve();
    this.atOnce.now -= 1;
    if (!this.reachable) return { delivered: false, why: 'unreachable' };
    if (this.unwelcome) return { delivered: false, why: 'unwelcome' };
    this.batches.push(reports.map((report) => kindOf(report)));
    if (reports.some((report) => kindOf(report) === 'unreadable')) {
      return {
        delivered: false,
        why: 'unreadable',
        reason: { type: '/problems/body', title: 'No such kind.' },
      };
    }
    const answers = reports.map((report): Answer => {
      const known = this.log.findIndex((other) => other.id === report.id);
      if (known >= 0)
        return { id: report.id, outcome: 'already recorded', sequence: known + 1, reason: null };
      if (kindOf(report) === 'refused') {
        const reason = { type: '/problems/overhead-rail', title: 'Never over a railway.' };
        return { id: report.id, outcome: 'refused', sequence: null, reason };
      }
      return { id: report.id, outcome: 'recorded', sequence: this.log.push(report), reason: null };
    });
    if (this.loseAnswers > 0) {
      this.loseAnswers -= 1;
      return { delivered: false, why: 'unreachable' };
    }
    return { delivered: true, answers };
  };
}

const kindOf = (report: Report) => report.body.kind;
const outcomes = (kept: readonly Kept[]) => kept.map((one) => one.outcome.outcome);

async function opened(service: Service, more: Partial<Parameters<typeof Outbox.open>[0]> = {}) {
  const outbox = await Outbox.open({
    operation: 'op',
    sender: 'lead_team/Lead 1',
    send: service.send,
    lock,
    ...more,
  });
  open.push(outbox);
  return outbox;
}

it('a report is on the device before anybody is told that it is done, signal or not', async () => {
  const service = new Service();
  service.reachable = false;
  const outbox = await opened(service);
  const report = await outbox.report({ kind: 'splice_made', line: 'l' }, [-4.67, 54.08]);
  const [kept] = await outbox.kept();
  expect(kept?.report).toEqual(report);
  expect(kept?.report.body).toEqual({ kind: 'splice_made', line: 'l' });
  expect(kept?.report.position).toEqual([-4.67, 54.08]);
  expect(kept?.outcome).toEqual({ outcome: 'waiting' });
});

it('what waited is sent in the order it was made, once the signal is back', async () => {
  const service = new Service();
  service.reachable = false;
  const outbox = await opened(service);
  for (const kind of ['one', 'two', 'three', 'four']) await outbox.report({ kind }, null);
  await outbox.flush();
  expect(service.log).toEqual([]);
  service.reachable = true;
  page.dispatchEvent(new Event('online'));
  await outbox.flush();
  expect(service.log.map(kindOf)).toEqual(['one', 'two', 'three', 'four']);
  expect(outcomes(await outbox.kept())).toEqual(['recorded', 'recorded', 'recorded', 'recorded']);
});

it('it outlives the page, and the next start sends it', async () => {
  const service = new Service();
  service.reachable = false;
  const first = await opened(service);
  await first.report({ kind: 'before' }, null);
  await first.close();
  service.reachable = true;
  const second = await opened(service);
  await second.flush();
  expect(service.log.map(kindOf)).toEqual(['before']);
});

it('a lost answer makes no second entry', async () => {
  const service = new Service();
  service.loseAnswers = 1;
  const outbox = await opened(service);
  await outbox.report({ kind: 'splice_made' }, null);
  await outbox.flush();
  await outbox.flush();
  expect(service.log).toHaveLength(1);
  expect((await outbox.kept())[0]?.outcome).toEqual({ outcome: 'already recorded', sequence: 1 });
});

it('a refusal is kept with its reason until its sender has seen it, and holds up nobody', async () => {
  const service = new Service();
  const outbox = await opened(service);
  const refused = await outbox.report({ kind: 'refused' }, null);
  await outbox.report({ kind: 'after' }, null);
  await outbox.flush();
  const [first, second] = await outbox.kept();
  expect(first?.outcome).toMatchObject({ outcome: 'refused', reason: { title: 'Never over a railway.' } });
  expect(first?.seen).toBe(false);
  expect(second?.outcome.outcome).toBe('recorded');
  await outbox.see([refused.id]);
  expect((await outbox.kept())[0]?.seen).toBe(true);
});

it('one report that the service can not read does not stop the others', async () => {
  const service = new Service();
  service.reachable = false;
  const outbox = await opened(service);
  for (const kind of ['one', 'unreadable', 'three']) await outbox.report({ kind }, null);
  await outbox.flush();
  service.reachable = true;
  await outbox.flush();
  expect(outcomes(await outbox.kept())).toEqual(['recorded', 'refused', 'recorded']);
  expect(service.log.map(kindOf)).toEqual(['one', 'three']);
});

it('an answer that speaks of none of them leaves them waiting, and is not asked for without end', async () => {
  const states: string[] = [];
  const outbox = await opened(new Service(), {
    send: () => Promise.resolve({ delivered: true, answers: [] }),
    ondelivery: (state) => states.push(state),
  });
  await outbox.report({ kind: 'one' }, null);
  await outbox.flush();
  expect(outcomes(await outbox.kept())).toEqual(['waiting']);
  expect(states.at(-1)).toBe('unreachable');
});

it('a pass that is no longer good keeps everything and says so', async () => {
  const service = new Service();
  service.unwelcome = true;
  const states: string[] = [];
  const outbox = await opened(service, { ondelivery: (state) => states.push(state) });
  await outbox.report({ kind: 'one' }, null);
  await outbox.flush();
  expect(states).toContain('unwelcome');
  expect(outcomes(await outbox.kept())).toEqual(['waiting']);
});

it('two tabs never send at the same time, and each report goes once', async () => {
  const service = new Service();
  const [one, other] = await Promise.all([opened(service), opened(service)]);
  await Promise.all(
    Array.from({ length: 20 }, (_, index) => (index % 2 ? one : other).report({ kind: `k${index}` }, null)),
  );
  await Promise.all([one.flush(), other.flush()]);
  await Promise.all([one.flush(), other.flush()]);
  expect(service.atOnce.most).toBe(1);
  expect(service.log).toHaveLength(20);
  expect(service.batches.flat()).toHaveLength(20);
});

it('a report made while a batch is under way goes with the next one at once', async () => {
  const service = new Service();
  let release: () => void = () => undefined;
  const held = new Promise<void>((resolve) => (release = resolve));
  const outbox = await opened(service, {
    send: async (operation, reports) => {
      await held;
      return service.send(operation, reports);
    },
  });
  await outbox.report({ kind: 'one' }, null);
  const flushed = outbox.flush();
  await outbox.report({ kind: 'two' }, null);
  release();
  await flushed;
  expect(service.log.map(kindOf)).toEqual(['one', 'two']);
});

it('each operation sees its own', async () => {
  const service = new Service();
  service.reachable = false;
  const here = await opened(service);
  const there = await opened(service, { operation: 'other' });
  await here.report({ kind: 'one' }, null);
  expect(await there.kept()).toEqual([]);
});

it('does not grow for ever, and never forgets what waits or was not seen', async () => {
  const service = new Service();
  const outbox = await opened(service);
  const refused = await outbox.report({ kind: 'refused' }, null);
  for (let index = 0; index < 250; index += 1) await outbox.report({ kind: 'note' }, null);
  await outbox.flush();
  const kept = await outbox.kept();
  expect(kept.length).toBeLessThanOrEqual(201);
  expect(kept[0]?.report.id).toBe(refused.id);
});

it('a full device is told in words, and nothing is called stored', async () => {
  const service = new Service();
  const outbox = await opened(service);
  vi.spyOn(IDBObjectStore.prototype, 'add').mockImplementation(() => {
    throw new DOMException('full', 'QuotaExceededError');
  });
  await expect(outbox.report({ kind: 'one' }, null)).rejects.toThrow('no room left');
  vi.restoreAllMocks();
  expect(await outbox.kept()).toEqual([]);
});

it('tells of every change', async () => {
  const service = new Service();
  const seen: string[][] = [];
  const outbox = await opened(service, { onchange: (kept) => seen.push(outcomes(kept)) });
  await outbox.report({ kind: 'one' }, null);
  await outbox.flush();
  expect(seen).toContainEqual(['waiting']);
  expect(seen.at(-1)).toEqual(['recorded']);
});
