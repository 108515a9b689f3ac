/**
 * What this device reports: stored first, then sent, and kept in sight until the service has answered.
 * The outbox does the keeping; this gives the pages one object to speak with and to show.
 */
import { answered, Problem, Unreachable, type Client } from '../api/client.ts';
import type { Body, Receipt, Report as Sent, Session } from '../api/types.ts';
import { Outbox, type Delivery, type Kept, type Report } from '../outbox/outbox.ts';
import { clientOf } from './session.svelte.ts';

export type Place = readonly [lon: number, lat: number];

export class Reporter {
  kept = $state.raw<readonly Kept[]>([]);
  delivery = $state.raw<'delivered' | 'unreachable' | 'unwelcome'>('delivered');
  #outbox: Outbox | null = null;

  async open(session: Session): Promise<void> {
    const client = clientOf(session);
    this.#outbox = await Outbox.open({
      operation: session.operation,
      sender: `${session.party}/${session.team}`,
      send: (operation, reports) => send(client, operation, reports),
      onchange: (kept) => (this.kept = kept),
      ondelivery: (state) => (this.delivery = state),
    });
  }

  async close(): Promise<void> {
    await this.#outbox?.close();
  }

  /** Stores the report; when this resolves it is safe on the device. With an id of its own it is stored once. */
  async report(body: Body, position: Place | null, id?: string): Promise<Report<Body>> {
    if (!this.#outbox) throw new Error('The outbox is not open yet.');
    return this.#outbox.report(body, position, undefined, id);
  }

  /** Takes a report out again that has not left the device; false when only a correction will do. */
  async withdraw(id: string): Promise<boolean> {
    return (await this.#outbox?.withdraw(id)) ?? false;
  }

  /** The refusals that nobody has read yet. */
  get refused(): { report: Report<Body>; title: string }[] {
    return this.kept.flatMap((kept) =>
      kept.outcome.outcome === 'refused' && !kept.seen
        ? [{ report: kept.report as Report<Body>, title: kept.outcome.reason.title }]
        : [],
    );
  }

  get waiting(): readonly Kept[] {
    return this.kept.filter((kept) => kept.outcome.outcome === 'waiting');
  }

  async see(ids: readonly string[]): Promise<void> {
    await this.#outbox?.see(ids);
  }

  async flush(): Promise<void> {
    await this.#outbox?.flush();
  }

  /** What became of one report, once the service has answered. */
  outcomeOf(id: string): Kept['outcome'] | null {
    return this.kept.find((kept) => kept.report.id === id)?.outcome ?? null;
  }
}

async function send(client: Client, operation: string, reports: readonly Report[]): Promise<Delivery> {
  const body = reports.map(({ position, ...rest }) =>
    position ? { ...rest, position } : rest,
  ) as unknown as Sent[];
  try {
    const receipts: Receipt[] = await answered(
      client.POST('/api/operations/{op}/reports', { params: { path: { op: operation } }, body }),
    );
    return {
      delivered: true,
      answers: receipts.map(({ id, outcome, sequence, reason }) => ({ id, outcome, sequence, reason })),
    };
  } catch (reason) {
    if (reason instanceof Unreachable) return { delivered: false, why: 'unreachable' };
    if (!(reason instanceof Problem)) throw reason;
    const { status, title, type } = reason.document;
    if (status === 401) return { delivered: false, why: 'unwelcome' };
    if (status === 429 || status >= 500) return { delivered: false, why: 'unreachable' };
    return { delivered: false, why: 'unreadable', reason: { title, type } };
  }
}
