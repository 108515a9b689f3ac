/**
 * What this device has reported and may not have sent yet. A report is stored before anybody is told
 * that it is done, sent in the order it was made, one batch at a time across all tabs, and kept with
 * its outcome where its sender sees it. It never judges a report: the service does, exactly once by the
 * report's id, so a batch whose answer was lost is simply sent again.
 */
import { deleteDB, openDB, type DBSchema, type IDBPDatabase } from 'idb';
import { uuid7 } from './uuid7.ts';

/** A body as the API wants it; which kinds there are is the API's business. */
export interface ReportBody {
  kind: string;
}

export interface Report<B extends ReportBody = ReportBody> {
  id: string;
  /** the device's time, ISO 8601 */
  at: string;
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
  | { outcome: 'refused'; reason: Reason };

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
  /** no answer, or the service can't now: the batch waits */
  | { delivered: false; why: 'unreachable' }
  /** the pass is no longer good: it waits until somebody joins again */
  | { delivered: false; why: 'unwelcome' }
  /** the service can't read the batch, so not one of it was recorded */
  | { delivered: false; why: 'unreadable'; reason: Reason };

export type Send = (operation: string, reports: readonly Report[]) => Promise<Delivery>;

/** Runs one flush at a time, in this tab and in others. */
export type Lock = (run: () => Promise<void>) => Promise<void>;

export interface OutboxOptions {
  operation: string;
  /** who reports, by party and call sign: another team's pass in this browser does not send them */
  sender: string;
  send: Send;
  /** called with all that is kept for the operation, oldest first, after every change */
  onchange?: (kept: readonly Kept[]) => void;
  /** called when a flush ends: whether the service could be reached and let us in */
  ondelivery?: (state: 'delivered' | 'unreachable' | 'unwelcome') => void;
  lock?: Lock;
}

interface Schema extends DBSchema {
  report: {
    key: number;
    value: Kept;
    indexes: { report_id: string; report_operation: string };
  };
}

export const databaseName = 'laywire-outbox';

/** Most reports of one batch. */
const BATCH = 100;

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
      'This device has no room left to keep the report. Free some storage, then report again; it was not stored.',
      { cause },
    );
  }
}

export class Outbox {
  readonly #database: IDBPDatabase<Schema>;
  readonly #options: OutboxOptions;
  readonly #lock: Lock;
  #flushing: Promise<void> | null = null;
  #asked = 0;
  #closed = false;

  private constructor(database: IDBPDatabase<Schema>, options: OutboxOptions) {
    this.#database = database;
    this.#options = options;
    this.#lock = options.lock ?? oneTab;
  }

  /** Opens the device's outbox for one operation and sends what still waits in it. */
  static async open(options: OutboxOptions): Promise<Outbox> {
    const database = await openDB<Schema>(databaseName, 1, {
      upgrade(fresh) {
        const store = fresh.createObjectStore('report', { keyPath: 'order', autoIncrement: true });
        store.createIndex('report_id', 'report.id', { unique: true });
        store.createIndex('report_operation', 'operation');
      },
      // A newer version of the page in another tab wants to change the store: let it.
      blocking: (_current, _wanted, event) => (event.target as IDBDatabase).close(),
    });
    const outbox = new Outbox(database, options);
    window.addEventListener('online', outbox.#wake);
    window.addEventListener('focus', outbox.#wake);
    await outbox.#tell();
    outbox.#wake();
    return outbox;
  }

  /**
   * Stores a report and begins to send it. When this resolves it is on the device's disk, sent or not. Whoever
   * gives an id of its own may do it again when it can't know whether it was done: it is stored once.
   */
  async report<B extends ReportBody>(
    body: B,
    position: Report['position'],
    at: Date = new Date(),
    id: string = uuid7(),
  ): Promise<Report<B>> {
    // A copy of just what will be sent: a page's own object may change, or be one that can't be stored.
    const report = JSON.parse(
      JSON.stringify({ id, at: at.toISOString(), position, body } satisfies Report<B>),
    ) as Report<B>;
    const kept: Omit<Kept, 'order'> = {
      operation: this.#options.operation,
      sender: this.#options.sender,
      report,
      outcome: { outcome: 'waiting' },
      seen: false,
    };
    try {
      // The key is made by the store, so that two tabs never take the same place in the order.
      const write = this.#database.transaction('report', 'readwrite', { durability: 'strict' });
      await Promise.all([write.store.add(kept as Kept), write.done]);
    } catch (cause) {
      if (cause instanceof DOMException && cause.name === 'QuotaExceededError') throw new OutboxFull(cause);
      // The index of ids allows each once: this one is here already.
      if (!(cause instanceof DOMException && cause.name === 'ConstraintError')) throw cause;
    }
    await this.#tell();
    this.#wake();
    return report;
  }

  /**
   * Takes a report out again that has certainly not left the device. False when it may have: then only a
   * correction takes it back.
   */
  async withdraw(id: string): Promise<boolean> {
    const write = this.#database.transaction('report', 'readwrite');
    const kept = await write.store.index('report_id').get(id);
    const here = kept?.outcome.outcome === 'waiting' && !kept.left;
    if (here) await write.store.delete(kept.order);
    await write.done;
    if (here) await this.#tell();
    return here;
  }

  /** Says of reports that they leave now, and gives those that were not withdrawn in the meantime. */
  async #leave(waiting: readonly Kept[]): Promise<Kept[]> {
    const write = this.#database.transaction('report', 'readwrite');
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
    const all = await this.#database.getAllFromIndex('report', 'report_operation', operation);
    return all.filter((kept) => kept.sender === sender);
  }

  /** The sender has read why these were refused. */
  async see(ids: readonly string[]): Promise<void> {
    const write = this.#database.transaction('report', 'readwrite');
    for (const id of ids) {
      const kept = await write.store.index('report_id').get(id);
      if (kept?.outcome.outcome === 'refused') await write.store.put({ ...kept, seen: true });
    }
    await write.done;
    await this.#tell();
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
    await this.#flushing?.catch(() => undefined);
    this.#database.close();
  }

  readonly #wake = (): void => {
    // A failed flush has told its state by `ondelivery`; the reports wait for the next one.
    void this.flush().catch(() => this.#options.ondelivery?.('unreachable'));
  };

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
      const waiting = await this.#leave(
        (await this.kept()).filter((kept) => kept.outcome.outcome === 'waiting').slice(0, BATCH),
      );
      if (waiting.length === 0) {
        this.#options.ondelivery?.('delivered');
        return;
      }
      const delivery = await this.#options.send(
        this.#options.operation,
        waiting.map((kept) => kept.report),
      );
      if (!delivery.delivered && delivery.why !== 'unreadable') {
        this.#options.ondelivery?.(delivery.why);
        return;
      }
      const settled = delivery.delivered
        ? await this.#settle(delivery.answers)
        : await this.#sendOneByOne(waiting, delivery.reason);
      if (settled === 0) {
        // An answer that speaks of none of them would be asked for without end.
        this.#options.ondelivery?.('unreachable');
        return;
      }
    }
  }

  /**
   * A batch that the service can't read records nothing, and would stop every report behind it. Each is
   * sent alone, so that only the one at fault is kept back as refused. Returns how many were settled.
   */
  async #sendOneByOne(waiting: readonly Kept[], reason: Reason): Promise<number> {
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
      else break;
    }
    return settled;
  }

  async #settle(answers: readonly Answer[]): Promise<number> {
    const write = this.#database.transaction('report', 'readwrite');
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
    await this.#forgetOld(write.store);
    await write.done;
    await this.#tell();
    return settled;
  }

  /** Keeps the store from growing for ever: what is recorded is the service's; what waits or is unseen stays. */
  async #forgetOld(store: {
    getAll: () => Promise<Kept[]>;
    delete: (order: number) => Promise<void>;
  }): Promise<void> {
    const done = (await store.getAll()).filter(
      ({ outcome, seen }) => outcome.outcome !== 'waiting' && (outcome.outcome !== 'refused' || seen),
    );
    for (const { order } of done.slice(0, Math.max(0, done.length - SETTLED))) await store.delete(order);
  }

  async #tell(): Promise<void> {
    if (this.#options.onchange) this.#options.onchange(await this.kept());
  }
}

/**
 * Asks the browser not to clear what this device keeps, and says whether it won't. Without that some
 * clear it after a week; the page then tells its person to send before.
 */
export async function askToKeep(): Promise<boolean> {
  return 'storage' in navigator ? navigator.storage.persist() : false;
}

/** Forgets everything this device has kept, sent or not. Only for a person who was asked first. */
export const forgetEverything = (): Promise<void> => deleteDB(databaseName);
