/**
 * What this device has reported and may not have sent yet. A report is stored before anybody is told
 * that it is done, sent in the order it was made, one batch at a time across all tabs, and kept with
 * its outcome where its sender sees it. It never judges a report: the service does, exactly once by the
 * report's id, so a batch whose answer was lost is simply sent again.
 */
import { deleteDB } from 'idb';
import { delay_ms } from '../feed/feed.ts';
import { databaseName, openDatabase, type Database } from './database.ts';
import { uuid7 } from './uuid7.ts';

/** A body as the API wants it; which kinds there are is the API's business. */
export interface ReportBody {
  kind: string;
}

/** Whose report it is. */
export interface Maker {
  party: string;
  team: string;
}

export interface Report<B extends ReportBody = ReportBody> {
  id: string;
  /** the device's time, ISO 8601, right or wrong */
  at: string;
  /** how far the device's clock was ahead, where that was known */
  clock_offset_ms: number | null;
  /** who made it, where the command post sends it for a team */
  made_by: Maker | null;
  position: readonly [lon: number, lat: number] | null;
  body: B;
}

/** Why a report was refused, as the service said it (RFC 9457). */
export interface Reason {
  title: string;
  type?: string;
}

export type Outcome =
  | { outcome: 'waiting' }
  | { outcome: 'recorded' | 'already recorded'; sequence: number | null }
  | { outcome: 'refused'; reason: Reason }
  /** it was refused, and its sender took it back or said it anew */
  | { outcome: 'withdrawn'; reason: Reason }
  | { outcome: 'put right'; reason: Reason; by: string };

export interface Kept<B extends ReportBody = ReportBody> {
  /** rises with every report of this device: the order of sending */
  order: number;
  operation: string;
  sender: string;
  report: Report<B>;
  outcome: Outcome;
  /** the sender has seen that it was refused */
  seen: boolean;
  /** it may have left the device: it was sent at least once, answered or not */
  left?: true;
}

/** What the service says to one report of a batch. */
export interface Answer {
  id: string;
  outcome: 'recorded' | 'already recorded' | 'refused';
  sequence: number | null;
  reason: Reason | null;
}

/** What became of sending a batch. */
export type Delivery =
  | { delivered: true; answers: readonly Answer[] }
  /** no answer: the batch waits, and is tried again ever later, or at once when there is a sign of the network */
  | { delivered: false; why: 'unreachable' }
  /** the service can't now, or not so much: nothing is sent before its time, whatever else happens */
  | { delivered: false; why: 'busy'; after_ms: number | null }
  /** the pass is no longer good: it waits until somebody joins again */
  | { delivered: false; why: 'unwelcome' }
  /** the service can't read the batch, so not one of it was recorded */
  | { delivered: false; why: 'unreadable'; reason: Reason };

export type Send = (operation: string, reports: readonly Report[]) => Promise<Delivery>;

/** Runs one flush at a time, in this tab and in others. */
export type Lock = (run: () => Promise<void>) => Promise<void>;

/** How far this device's clock is off; `measure` asks the service where nobody has yet. */
export interface DeviceClock {
  readonly ahead_ms: number | null;
  measure: () => Promise<void>;
}

/** What the browser provides; another clock and another chance stand in for it in tests. */
export interface Surroundings {
  now: () => number;
  later: (run: () => void, delay_ms: number) => () => void;
  /** from 0 up to but not 1 */
  chance: () => number;
}

const browser: Surroundings = {
  now: () => Date.now(),
  later: (run, delay) => {
    const timer = setTimeout(run, delay);
    return () => clearTimeout(timer);
  },
  chance: () => Math.random(),
};

export type DeliveryState = 'delivered' | 'unreachable' | 'busy' | 'unwelcome';

export interface OutboxOptions {
  operation: string;
  /** who reports, by party and call sign: another team's pass in this browser does not send them */
  sender: string;
  send: Send;
  /** called with all that is kept for the operation, oldest first, after every change */
  onchange?: (kept: readonly Kept[]) => void;
  /** called when a flush ends: whether the service could be reached and let us in */
  ondelivery?: (state: DeliveryState) => void;
  clock?: DeviceClock;
  lock?: Lock;
  surroundings?: Surroundings;
}

/** Reports that wait in this browser and that this sender does not send. */
export interface Others {
  operation: string;
  sender: string;
  reports: Report[];
}

/** Most reports of one batch, and most letters: a long trace fills one by itself. */
const BATCH = 100;
const BATCH_LETTERS = 300_000;

/** However long the service asks to be left alone, it is asked again after this. */
const LONGEST_PAUSE_MS = 600_000;

/** Most settled reports that are kept for the sender to look back at. */
const SETTLED = 200;

const oneTab: Lock = async (run) => {
  // Without TLS a browser has no locks; then exactly-once is the service's alone, which knows each id.
  if ('locks' in navigator) await navigator.locks.request('laywire-outbox', run);
  else await run();
};

export class OutboxFull extends Error {
  override readonly name = 'OutboxFull';
  constructor(cause: unknown) {
    super(
      'This device has no room left: it was not kept. Free some storage, then report it again. What was reported before is safe.',
      { cause },
    );
  }
}

export class Outbox {
  readonly #options: OutboxOptions;
  readonly #lock: Lock;
  readonly #surroundings: Surroundings;
  #database: Promise<Database> | null = null;
  #flushing: Promise<void> | null = null;
  #asked = 0;
  /** how often it was tried in vain, one after another */
  #attempt = 0;
  #notBefore = 0;
  #cancelRetry: (() => void) | null = null;
  #closed = false;

  private constructor(options: OutboxOptions) {
    this.#options = options;
    this.#lock = options.lock ?? oneTab;
    this.#surroundings = options.surroundings ?? browser;
  }

  /** Opens the device's outbox for one operation and sends what still waits in it. */
  static async open(options: OutboxOptions): Promise<Outbox> {
    const outbox = new Outbox(options);
    await outbox.#tell();
    window.addEventListener('online', outbox.#wake);
    window.addEventListener('focus', outbox.#wake);
    // A phone that is taken out of the pocket shows the page and may not say that it has the focus.
    window.addEventListener('visibilitychange', outbox.#wake);
    outbox.#wake();
    return outbox;
  }

  /** The store; opened anew when a newer page took it, or the browser closed it. */
  #store(): Promise<Database> {
    this.#database ??= openDatabase(() => (this.#database = null)).catch((cause: unknown) => {
      this.#database = null;
      throw cause;
    });
    return this.#database;
  }

  /**
   * Stores a report and begins to send it. When this resolves it is on the device's disk, sent or not. Whoever
   * gives an id of its own may do it again when it can't know whether it was done: it is stored once.
   */
  async report<B extends ReportBody>(
    body: B,
    position: Report['position'],
    at: Date = new Date(this.#surroundings.now()),
    id: string = uuid7(),
  ): Promise<Report<B>> {
    // A copy of just what will be sent: a page's own object may change, or be one that can't be stored.
    const report = JSON.parse(
      JSON.stringify({
        id,
        at: at.toISOString(),
        clock_offset_ms: this.#options.clock?.ahead_ms ?? null,
        made_by: null,
        position,
        body,
      } satisfies Report<B>),
    ) as Report<B>;
    try {
      await this.#keep([report]);
    } catch (cause) {
      // The index of ids allows each once: this one is here already.
      if (!(cause instanceof DOMException && cause.name === 'ConstraintError')) throw cause;
    }
    await this.#tell();
    this.#wake();
    return report;
  }

  /**
   * Takes reports in that were made on another device, to be sent from here in their order. One that this
   * device has already is left as it is. Returns how many are new here.
   */
  async take(reports: readonly Report[]): Promise<number> {
    const store = await this.#store();
    const known = await Promise.all(
      reports.map(({ id }) =>
        store.getFromIndex('report', 'report_id', id).then((kept) => kept !== undefined),
      ),
    );
    const fresh = reports.filter((_, index) => !known[index]);
    if (fresh.length > 0) await this.#keep(fresh);
    await this.#tell();
    this.#wake();
    return fresh.length;
  }

  /** Keeps reports, all of them or none. What was recorded long ago makes room for them when there is none. */
  async #keep(reports: readonly Report[]): Promise<void> {
    try {
      await this.#add(reports);
    } catch (cause) {
      if (!isFull(cause)) throw cause;
      try {
        await this.#forgetSettled();
        await this.#add(reports);
      } catch (again) {
        throw isFull(again) ? new OutboxFull(again) : again;
      }
    }
  }

  async #add(reports: readonly Report[]): Promise<void> {
    // The key is made by the store, so that two tabs never take the same place in the order.
    const write = (await this.#store()).transaction('report', 'readwrite', { durability: 'strict' });
    const { operation, sender } = this.#options;
    const added = reports.map((report) =>
      write.store.add({ operation, sender, report, outcome: { outcome: 'waiting' }, seen: false } as Kept),
    );
    await Promise.all([...added, write.done]);
  }

  /**
   * Takes a report out again that has certainly not left the device. False when it may have: then only a
   * correction takes it back.
   */
  async takeOut(id: string): Promise<boolean> {
    const write = (await this.#store()).transaction('report', 'readwrite');
    const kept = await write.store.index('report_id').get(id);
    const here = kept?.outcome.outcome === 'waiting' && !kept.left;
    if (here) await write.store.delete(kept.order);
    await write.done;
    if (here) await this.#tell();
    return here;
  }

  /** Says of reports that they leave now, and gives those that were not withdrawn in the meantime. */
  async #leave(waiting: readonly Kept[]): Promise<Kept[]> {
    const write = (await this.#store()).transaction('report', 'readwrite');
    const leaving: Kept[] = [];
    for (const { order } of waiting) {
      const kept = await write.store.get(order);
      if (!kept) continue;
      leaving.push(kept);
      if (!kept.left) await write.store.put({ ...kept, left: true });
    }
    await write.done;
    return leaving;
  }

  /** All that this sender has kept for this operation, oldest first. */
  async kept(): Promise<Kept[]> {
    const { operation, sender } = this.#options;
    const all = await (await this.#store()).getAllFromIndex('report', 'report_operation', operation);
    return all.filter((kept) => kept.sender === sender);
  }

  /** What waits here of other senders, or of this one in another operation: it goes out with their pass alone. */
  async others(): Promise<Others[]> {
    const { operation, sender } = this.#options;
    const found = new Map<string, Others>();
    for (const kept of await (await this.#store()).getAll('report')) {
      if (kept.outcome.outcome !== 'waiting') continue;
      if (kept.operation === operation && kept.sender === sender) continue;
      const key = `${kept.operation} ${kept.sender}`;
      const others = found.get(key) ?? { operation: kept.operation, sender: kept.sender, reports: [] };
      others.reports.push(kept.report);
      found.set(key, others);
    }
    return [...found.values()];
  }

  /** The sender has read why these were refused. */
  async see(ids: readonly string[]): Promise<void> {
    for (const id of ids) await this.#change(id, (kept) => ({ ...kept, seen: true }));
    await this.#tell();
  }

  /** A refused report is taken back by its sender. It stays to be looked at, and is never sent. */
  async withdraw(id: string): Promise<void> {
    await this.#change(id, (kept) => ({
      ...kept,
      seen: true,
      outcome: { ...kept.outcome, outcome: 'withdrawn' },
    }));
    await this.#tell();
  }

  /** A refused report is said anew, of the same moment and place: the one that was refused stays to be looked at. */
  async putRight(id: string, body: ReportBody): Promise<void> {
    const refused = await (await this.#store()).getFromIndex('report', 'report_id', id);
    if (refused?.outcome.outcome !== 'refused') return;
    const right = JSON.parse(JSON.stringify({ ...refused.report, id: uuid7(), body })) as Report;
    await this.#keep([right]);
    await this.#change(id, (kept) => ({
      ...kept,
      seen: true,
      outcome: { ...kept.outcome, outcome: 'put right', by: right.id },
    }));
    await this.#tell();
    this.#wake();
  }

  /** A refused report is sent once more as it is, behind what waits: what stood in its way may be gone. */
  async again(id: string): Promise<void> {
    const write = (await this.#store()).transaction('report', 'readwrite', { durability: 'strict' });
    const kept = await write.store.index('report_id').get(id);
    if (kept?.outcome.outcome === 'refused') {
      const { order, ...rest } = kept;
      await write.store.delete(order);
      await write.store.add({ ...rest, outcome: { outcome: 'waiting' }, seen: false } as Kept);
    }
    await write.done;
    await this.#tell();
    this.#wake();
  }

  /** Changes one that was refused. */
  async #change(
    id: string,
    change: (kept: Kept & { outcome: { outcome: 'refused'; reason: Reason } }) => Kept,
  ): Promise<void> {
    const write = (await this.#store()).transaction('report', 'readwrite');
    const kept = await write.store.index('report_id').get(id);
    if (kept?.outcome.outcome === 'refused') {
      await write.store.put(change({ ...kept, outcome: kept.outcome }));
    }
    await write.done;
  }

  /**
   * Sends what waits, oldest first, until nothing does or the service can't be reached. Whoever calls
   * while a flush runs gets that one's promise, and one more round is made for what came since.
   */
  flush(): Promise<void> {
    this.#asked += 1;
    this.#flushing ??= this.#flushUntilQuiet();
    return this.#flushing;
  }

  /** Stops listening; what waits stays on the device. */
  async close(): Promise<void> {
    this.#closed = true;
    window.removeEventListener('online', this.#wake);
    window.removeEventListener('focus', this.#wake);
    window.removeEventListener('visibilitychange', this.#wake);
    this.#cancelRetry?.();
    await this.#flushing?.catch(() => undefined);
    (await this.#database?.catch(() => null))?.close();
    this.#database = null;
  }

  readonly #wake = (): void => {
    // A failed flush has told its state by `ondelivery`; the reports wait for the next one.
    void this.flush().catch(() => this.#tryLater('unreachable', null));
  };

  /** Sets the next try, later each time and with some chance in it. Nothing waits by the clock when nothing waits. */
  #tryLater(why: 'unreachable' | 'busy', after_ms: number | null): void {
    this.#options.ondelivery?.(why);
    if (this.#closed) return;
    const { now, later, chance } = this.#surroundings;
    const usual_ms = delay_ms(this.#attempt, chance());
    const asked_ms = Math.min(after_ms ?? 0, LONGEST_PAUSE_MS);
    // A hundred phones that were told the same time do not all come at it.
    const wait_ms = asked_ms > usual_ms ? asked_ms + 2_000 * chance() : usual_ms;
    this.#attempt += 1;
    this.#notBefore = why === 'busy' ? now() + wait_ms : 0;
    this.#cancelRetry?.();
    this.#cancelRetry = later(this.#wake, wait_ms);
  }

  async #flushUntilQuiet(): Promise<void> {
    let answered: number;
    try {
      do {
        answered = this.#asked;
        await this.#lock(() => this.#sendWaiting());
      } while (answered !== this.#asked && !this.#closed);
    } finally {
      // In the same step as the last look at #asked: nobody can ask in between and be forgotten.
      this.#flushing = null;
    }
  }

  async #sendWaiting(): Promise<void> {
    while (!this.#closed) {
      const batch = await this.#nextBatch();
      if (batch.length === 0) {
        this.#arrived();
        return;
      }
      if (this.#surroundings.now() < this.#notBefore) {
        this.#options.ondelivery?.('busy');
        return;
      }
      const leaving = await this.#leave(batch);
      // All of it was taken out in the meantime.
      if (leaving.length === 0) continue;
      const delivery = await this.#options.send(
        this.#options.operation,
        leaving.map((kept) => kept.report),
      );
      const settled = delivery.delivered
        ? await this.#settle(delivery.answers)
        : delivery.why === 'unreadable'
          ? await this.#sendOneByOne(leaving, delivery.reason)
          : this.#notDelivered(delivery);
      if (settled === null) return;
      if (settled === 0) {
        // An answer that speaks of none of them would be asked for without end.
        this.#tryLater('unreachable', null);
        return;
      }
      this.#attempt = 0;
    }
  }

  /** Everything is sent: there is nothing to try again. */
  #arrived(): void {
    this.#attempt = 0;
    this.#notBefore = 0;
    this.#cancelRetry?.();
    this.#cancelRetry = null;
    this.#options.ondelivery?.('delivered');
  }

  #notDelivered(delivery: Exclude<Delivery, { delivered: true } | { why: 'unreadable' }>): null {
    // A pass that is no longer good does not become so by asking: it waits until somebody joins again.
    if (delivery.why === 'unwelcome') this.#options.ondelivery?.('unwelcome');
    else this.#tryLater(delivery.why, delivery.why === 'busy' ? delivery.after_ms : null);
    return null;
  }

  /** The oldest that wait, as many as one batch holds, each with the clock's offset where that is known by now. */
  async #nextBatch(): Promise<Kept[]> {
    const waiting = (await this.kept()).filter((kept) => kept.outcome.outcome === 'waiting');
    const batch: Kept[] = [];
    let letters = 0;
    for (const kept of waiting.slice(0, BATCH)) {
      letters += JSON.stringify(kept.report).length;
      if (batch.length > 0 && letters > BATCH_LETTERS) break;
      batch.push(kept);
    }
    const { clock } = this.#options;
    if (!clock || batch.every(({ report }) => report.clock_offset_ms !== null)) return batch;
    if (clock.ahead_ms === null) await clock.measure();
    const { ahead_ms } = clock;
    if (ahead_ms === null) return batch;
    const write = (await this.#store()).transaction('report', 'readwrite');
    for (const kept of batch.filter(({ report }) => report.clock_offset_ms === null)) {
      // While the clock was measured it may have been taken out: it must not come back.
      if (!(await write.store.getKey(kept.order))) continue;
      kept.report = { ...kept.report, clock_offset_ms: ahead_ms };
      await write.store.put(kept);
    }
    await write.done;
    return batch;
  }

  /**
   * A batch that the service can't read records nothing, and would stop every report behind it. Each is
   * sent alone, so that only the one at fault is kept back as refused. Returns how many were settled, or null
   * when it broke off.
   */
  async #sendOneByOne(waiting: readonly Kept[], reason: Reason): Promise<number | null> {
    const [only] = waiting;
    const refusal = ({ report }: Kept, why: Reason): Answer => ({
      id: report.id,
      outcome: 'refused',
      sequence: null,
      reason: why,
    });
    if (only && waiting.length === 1) return this.#settle([refusal(only, reason)]);
    let settled = 0;
    for (const kept of waiting) {
      const alone = await this.#options.send(this.#options.operation, [kept.report]);
      if (alone.delivered) settled += await this.#settle(alone.answers);
      else if (alone.why === 'unreadable') settled += await this.#settle([refusal(kept, alone.reason)]);
      else return this.#notDelivered(alone);
    }
    return settled;
  }

  async #settle(answers: readonly Answer[]): Promise<number> {
    const write = (await this.#store()).transaction('report', 'readwrite');
    let settled = 0;
    for (const { id, outcome, sequence, reason } of answers) {
      const kept = await write.store.index('report_id').get(id);
      if (kept?.outcome.outcome !== 'waiting') continue;
      settled += 1;
      await write.store.put({
        ...kept,
        outcome:
          outcome === 'refused'
            ? { outcome, reason: reason ?? { title: 'Refused, and no reason given.' } }
            : { outcome, sequence },
      });
    }
    await forgetOld(write.store, SETTLED);
    await write.done;
    await this.#tell();
    return settled;
  }

  async #forgetSettled(): Promise<void> {
    const write = (await this.#store()).transaction('report', 'readwrite');
    await forgetOld(write.store, 0);
    await write.done;
  }

  async #tell(): Promise<void> {
    if (this.#options.onchange) this.#options.onchange(await this.kept());
  }
}

/** Keeps the store from growing for ever: what is recorded is the service's; what waits or was refused stays. */
async function forgetOld(
  store: { getAll: () => Promise<Kept[]>; delete: (order: number) => Promise<void> },
  most: number,
): Promise<void> {
  const done = (await store.getAll()).filter(
    ({ outcome }) => outcome.outcome !== 'waiting' && outcome.outcome !== 'refused',
  );
  for (const { order } of done.slice(0, Math.max(0, done.length - most))) await store.delete(order);
}

/** The disk, or this page's share of it, is full. */
const isFull = (cause: unknown): boolean =>
  cause instanceof DOMException && cause.name === 'QuotaExceededError';

/**
 * Asks the browser not to clear what this device keeps, and says whether it won't. Without that some
 * clear it after a week; the page then tells its person to send before.
 */
export async function askToKeep(): Promise<boolean> {
  return 'storage' in navigator ? navigator.storage.persist() : false;
}

/** Forgets everything this device has kept, sent or not. Only for a person who was asked first. */
export const forgetEverything = (): Promise<void> => deleteDB(databaseName);
