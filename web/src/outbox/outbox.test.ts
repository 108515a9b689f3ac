import 'fake-indexeddb/auto';
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import { openDB } from 'idb';
import { databaseName } from './database.ts';
import {
  forgetEverything,
  Outbox,
  type Answer,
  type Delivery,
  type Kept,
  type Report,
  type Surroundings,
} from './outbox.ts';

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
  /** asks to be left alone for so long */
  busy_ms: number | null | undefined = undefined;
  /** refuses everything of the kind 'refused' */
  strict = true;
  tries = 0;
  batches: string[][] = [];
  log: Report[] = [];
  readonly atOnce = { now: 0, most: 0 };

  readonly send = async (_operation: string, reports: readonly Report[]): Promise<Delivery> => {
    this.atOnce.now += 1;
    this.atOnce.most = Math.max(this.atOnce.most, this.atOnce.now);
    await Promise.resolve();
    this.atOnce.now -= 1;
    this.tries += 1;
    if (this.busy_ms !== undefined) return { delivered: false, why: 'busy', after_ms: this.busy_ms };
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
      if (this.strict && kindOf(report) === 'refused') {
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
  await outbox.take(
    Array.from({ length: 250 }, (_, index) => ({ ...refused, id: `note-${index}`, body: { kind: 'note' } })),
  );
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

/** A clock that is set by hand: what is due runs when its time has come. */
class Hours implements Surroundings {
  at = 1_700_000_000_000;
  due: { at: number; run: () => void }[] = [];
  readonly waits: number[] = [];
  readonly now = () => this.at;
  readonly chance = () => 0.5;
  readonly later = (run: () => void, delay: number) => {
    const one = { at: this.at + delay, run };
    this.waits.push(delay);
    this.due.push(one);
    return () => (this.due = this.due.filter((other) => other !== one));
  };
  /** Goes on to the next thing that is due, and says how long that took. */
  next(): number {
    const [first] = this.due.sort((a, b) => a.at - b.at);
    if (!first) throw new Error('nothing is due');
    const waited = first.at - this.at;
    this.at = Math.max(this.at, first.at);
    this.due = this.due.filter((one) => one !== first);
    first.run();
    return waited;
  }
}

describe('without an answer', () => {
  it('it is tried again ever later, up to half a minute, and at once when the network is back', async () => {
    const service = new Service();
    const hours = new Hours();
    service.reachable = false;
    const outbox = await opened(service, { surroundings: hours });
    await outbox.report({ kind: 'one' }, null);
    await outbox.flush();
    for (let round = 0; round < 8; round += 1) {
      hours.next();
      await outbox.flush();
    }
    const waits = hours.waits.filter((wait, index) => wait !== hours.waits[index - 1]);
    expect(waits[0]).toBeLessThan(1_000);
    expect([...waits].sort((a, b) => a - b)).toEqual(waits);
    // Half of 30 s is fixed and half is chance, which is a half here.
    expect(waits.at(-1)).toBe(22_500);
    service.reachable = true;
    page.dispatchEvent(new Event('online'));
    await outbox.flush();
    expect(service.log).toHaveLength(1);
    expect(hours.due).toEqual([]);
  });

  it('when nothing waits nothing is asked: an idle page leaves the battery alone', async () => {
    const service = new Service();
    const hours = new Hours();
    const outbox = await opened(service, { surroundings: hours });
    await outbox.flush();
    expect([service.tries, hours.due.length]).toEqual([0, 0]);
  });

  it('a service that asks to be left alone is, whatever happens meanwhile', async () => {
    const service = new Service();
    const hours = new Hours();
    const states: string[] = [];
    service.busy_ms = 120_000;
    const outbox = await opened(service, { surroundings: hours, ondelivery: (state) => states.push(state) });
    await outbox.report({ kind: 'one' }, null);
    await outbox.flush();
    const tries = service.tries;
    page.dispatchEvent(new Event('online'));
    page.dispatchEvent(new Event('focus'));
    await outbox.report({ kind: 'two' }, null);
    await outbox.flush();
    expect([service.tries, states.at(-1)]).toEqual([tries, 'busy']);
    service.busy_ms = undefined;
    expect(hours.next()).toBeGreaterThanOrEqual(120_000);
    await outbox.flush();
    expect(service.log.map(kindOf)).toEqual(['one', 'two']);
  });

  it('however long it asks for, ten minutes are enough', async () => {
    const service = new Service();
    const hours = new Hours();
    service.busy_ms = 1e9;
    const outbox = await opened(service, { surroundings: hours });
    await outbox.report({ kind: 'one' }, null);
    await outbox.flush();
    expect(hours.next()).toBeLessThanOrEqual(602_000);
  });
});

describe('a wrong clock', () => {
  const clock = (ahead_ms: number | null, measured: number | null = ahead_ms) => ({
    ahead_ms,
    measure() {
      this.ahead_ms = measured;
      return Promise.resolve();
    },
  });

  it('is told with each report, and the time that the device showed stays', async () => {
    const service = new Service();
    const outbox = await opened(service, { clock: clock(94_694_400_000) });
    const report = await outbox.report({ kind: 'one' }, null, new Date('2029-05-04T08:00:00Z'));
    await outbox.flush();
    expect(report).toMatchObject({ at: '2029-05-04T08:00:00.000Z', clock_offset_ms: 94_694_400_000 });
    expect(service.log).toEqual([report]);
  });

  it('that nobody measured before the signal went is measured before what waits is sent', async () => {
    const service = new Service();
    service.reachable = false;
    const unmeasured = await opened(service, { clock: clock(null) });
    await unmeasured.report({ kind: 'one' }, null);
    await unmeasured.close();
    service.reachable = true;
    const outbox = await opened(service, { clock: clock(null, -3_000) });
    await outbox.flush();
    expect(service.log[0]?.clock_offset_ms).toBe(-3_000);
    expect((await outbox.kept())[0]?.report.clock_offset_ms).toBe(-3_000);
  });

  it('that can not be measured stops no report', async () => {
    const service = new Service();
    const outbox = await opened(service, { clock: clock(null) });
    await outbox.report({ kind: 'one' }, null);
    await outbox.flush();
    expect(service.log[0]?.clock_offset_ms).toBeNull();
  });

  it('that is set back changes no order', async () => {
    const service = new Service();
    const outbox = await opened(service);
    await outbox.report({ kind: 'one' }, null, new Date('2029-01-01T00:00:00Z'));
    await outbox.report({ kind: 'two' }, null, new Date('2001-01-01T00:00:00Z'));
    await outbox.flush();
    expect(service.log.map(kindOf)).toEqual(['one', 'two']);
  });
});

describe('a refused report', () => {
  it('stays in sight until it is withdrawn, and is never sent then', async () => {
    const service = new Service();
    const outbox = await opened(service);
    const { id } = await outbox.report({ kind: 'refused' }, null);
    await outbox.flush();
    await outbox.see([id]);
    expect(outcomes(await outbox.kept())).toEqual(['refused']);
    await outbox.withdraw(id);
    service.strict = false;
    await outbox.flush();
    expect(outcomes(await outbox.kept())).toEqual(['withdrawn']);
    expect(service.log).toEqual([]);
  });

  it('is put right: what is said anew is of the same moment and place, and the first stays to be looked at', async () => {
    const service = new Service();
    const outbox = await opened(service);
    const first = await outbox.report({ kind: 'refused' }, [-4.67, 54.08], new Date('2026-05-04T08:00:00Z'));
    await outbox.flush();
    await outbox.putRight(first.id, { kind: 'right' });
    await outbox.flush();
    const [refused, right] = await outbox.kept();
    expect(refused?.outcome).toMatchObject({ outcome: 'put right', by: right?.report.id });
    expect(service.log).toEqual([{ ...first, id: right?.report.id, body: { kind: 'right' } }]);
    // Not twice.
    await outbox.putRight(first.id, { kind: 'right' });
    expect(await outbox.kept()).toHaveLength(2);
  });

  it('is sent again as it is, behind what waits, under its own id', async () => {
    const service = new Service();
    const outbox = await opened(service);
    const first = await outbox.report({ kind: 'refused' }, null);
    await outbox.flush();
    service.reachable = false;
    await outbox.report({ kind: 'waits' }, null);
    await outbox.again(first.id);
    await outbox.flush();
    Object.assign(service, { reachable: true, strict: false });
    await outbox.flush();
    expect(service.log.map(({ id, body }) => [id === first.id, body.kind])).toEqual([
      [false, 'waits'],
      [true, 'refused'],
    ]);
  });
});

describe('another pass', () => {
  it('sends nothing of another team in its own name, and says what waits', async () => {
    const service = new Service();
    service.unwelcome = true;
    const lost = await opened(service);
    await lost.report({ kind: 'one' }, null);
    await lost.flush();
    await lost.close();
    service.unwelcome = false;
    const other = await opened(service, { sender: 'lead_team/Lead 2' });
    await other.flush();
    expect(service.log).toEqual([]);
    expect(await other.others()).toMatchObject([
      { sender: 'lead_team/Lead 1', reports: [{ body: { kind: 'one' } }] },
    ]);
    await other.close();
    // The same team with a new pass, its cookie wiped and all: what waited goes out.
    const again = await opened(service);
    await again.flush();
    expect(service.log.map(kindOf)).toEqual(['one']);
    expect(await again.others()).toEqual([]);
  });
});

describe('from another device', () => {
  it('reports are taken in once, in their order, with their ids', async () => {
    const service = new Service();
    service.reachable = false;
    const field = await opened(service);
    for (const kind of ['one', 'two']) await field.report({ kind }, null);
    const made = (await field.kept()).map((kept) => kept.report);
    await field.close();
    await forgetEverything();

    service.reachable = true;
    const desk = await opened(service);
    await desk.report({ kind: 'own' }, null);
    expect(await desk.take(made)).toBe(2);
    expect(await desk.take(made)).toBe(0);
    await desk.flush();
    expect(service.log.map(kindOf)).toEqual(['own', 'one', 'two']);
    expect(service.log.slice(1)).toEqual(made);
  });
});

describe('the store', () => {
  it('of the first shape is taken over with all that waits in it', async () => {
    const old = await openDB(databaseName, 1, {
      upgrade(fresh) {
        const store = fresh.createObjectStore('report', { keyPath: 'order', autoIncrement: true });
        store.createIndex('report_id', 'report.id', { unique: true });
        store.createIndex('report_operation', 'operation');
      },
    });
    const kept = (id: string, outcome: object) => ({
      operation: 'op',
      sender: 'lead_team/Lead 1',
      report: { id, at: '2026-05-04T08:00:00.000Z', position: [-4.67, 54.08], body: { kind: id } },
      outcome,
      seen: false,
    });
    await old.add('report', kept('one', { outcome: 'recorded', sequence: 1 }));
    await old.add('report', kept('two', { outcome: 'waiting' }));
    await old.add('report', kept('three', { outcome: 'waiting' }));
    old.close();
    const service = new Service();
    const outbox = await opened(service);
    await outbox.flush();
    expect(service.log).toMatchObject([
      {
        id: 'two',
        at: '2026-05-04T08:00:00.000Z',
        clock_offset_ms: null,
        made_by: null,
        position: [-4.67, 54.08],
      },
      { id: 'three' },
    ]);
    expect(outcomes(await outbox.kept())).toEqual(['recorded', 'recorded', 'recorded']);
  });

  it('gives way to a newer page, and an outbox that lost it opens it again', async () => {
    const service = new Service();
    const outbox = await opened(service);
    await outbox.report({ kind: 'one' }, null);
    await outbox.flush();
    // A newer page would raise the number; taking the store away asks the same of this one.
    await forgetEverything();
    await outbox.report({ kind: 'two' }, null);
    await outbox.flush();
    expect(service.log.map(kindOf)).toEqual(['one', 'two']);
  });

  it('that is full lets go of what was recorded long ago before it refuses anything', async () => {
    const service = new Service();
    const outbox = await opened(service);
    await outbox.report({ kind: 'old' }, null);
    await outbox.flush();
    const add = Reflect.get(IDBObjectStore.prototype, 'add') as (...with_: unknown[]) => IDBRequest;
    let full = true;
    vi.spyOn(IDBObjectStore.prototype, 'add').mockImplementation(function (
      this: IDBObjectStore,
      ...with_: unknown[]
    ) {
      if (full) {
        full = false;
        throw new DOMException('full', 'QuotaExceededError');
      }
      return add.apply(this, with_) as IDBRequest<IDBValidKey>;
    });
    await outbox.report({ kind: 'new' }, null);
    vi.restoreAllMocks();
    await outbox.flush();
    expect((await outbox.kept()).map((kept) => kept.report.body.kind)).toEqual(['new']);
    expect(service.log.map(kindOf)).toEqual(['old', 'new']);
  });
});

it('a page killed between the sending and the answer sends the same again, and it stands once', async () => {
  const service = new Service();
  const killed = await opened(service, {
    send: async (operation, reports) => {
      await service.send(operation, reports);
      // The page is gone before it hears: nothing is settled.
      return { delivered: false, why: 'unreachable' };
    },
  });
  await killed.report({ kind: 'one' }, null);
  await killed.flush();
  await killed.close();
  const again = await opened(service);
  await again.flush();
  expect(service.log).toHaveLength(1);
  expect((await again.kept())[0]?.outcome).toEqual({ outcome: 'already recorded', sequence: 1 });
});

it('a batch holds no more than the service reads at once', async () => {
  const service = new Service();
  service.reachable = false;
  const outbox = await opened(service);
  for (let index = 0; index < 5; index += 1) {
    await outbox.report({ kind: 'long', trace: 'x'.repeat(140_000) } as { kind: string }, null);
  }
  service.reachable = true;
  await outbox.flush();
  expect(service.batches.map((batch) => batch.length)).toEqual([2, 2, 1]);
});
