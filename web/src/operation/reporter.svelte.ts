/**
 * What this device reports: stored first, then sent, and kept in sight until the service has answered.
 * The outbox does the keeping; this gives the pages one object to speak with and to show.
 */
import type { Client } from '../api/client.ts';
import type { Body, Report as Sent, Session } from '../api/types.ts';
import { Clock } from '../outbox/clock.ts';
import {
  Outbox,
  type Delivery,
  type DeliveryState,
  type Kept,
  type Maker,
  type Others,
  type Report,
} from '../outbox/outbox.ts';
import { readUnsentFile, unsentFile, UnsentFileError } from '../outbox/unsent-file.ts';
import { pauseAsked_ms, whatItMeans } from './answers.ts';
import { clientOf } from './session.svelte.ts';

export type Place = readonly [lon: number, lat: number];

/** Longer than this no answer is waited for: a line that broke in silence would hold everything up. */
const LONGEST_WAIT_MS = 30_000;

export interface Refused {
  report: Report<Body>;
  title: string;
}

export class Reporter {
  kept = $state.raw<readonly Kept[]>([]);
  delivery = $state.raw<DeliveryState>('delivered');
  /** what waits here and goes out with another pass alone */
  others = $state.raw<readonly Others[]>([]);
  /** what is laid over the page: all that is unsent, or one refused report to be put right */
  showing = $state.raw<{ sheet: 'unsent' } | { sheet: 'refused'; id: string } | null>(null);
  #outbox: Outbox | null = null;
  #session: Session | null = null;

  async open(session: Session): Promise<void> {
    const client = clientOf(session);
    const clock = new Clock();
    this.#session = session;
    this.#outbox = await Outbox.open({
      operation: session.operation,
      sender: senderOf(session),
      send: (operation, reports) => send(client, clock, operation, reports),
      clock: {
        get ahead_ms() {
          return clock.ahead_ms;
        },
        measure: () => measure(clock),
      },
      onchange: (kept) => (this.kept = kept),
      ondelivery: (state) => (this.delivery = state),
    });
    this.others = await this.#outbox.others();
  }

  async close(): Promise<void> {
    await this.#outbox?.close();
  }

  get #open(): Outbox {
    if (!this.#outbox) throw new Error('The outbox is not open yet.');
    return this.#outbox;
  }

  /** Stores the report; when this resolves it is safe on the device. With an id of its own it is stored once. */
  async report(body: Body, position: Place | null, id?: string): Promise<Report<Body>> {
    return this.#open.report(body, position, undefined, id);
  }

  /** Takes a report out again that has not left the device; false when only a correction will do. */
  async takeOut(id: string): Promise<boolean> {
    return this.#open.takeOut(id);
  }

  /** The refusals that nobody has read yet. */
  get refused(): Refused[] {
    return this.#refusals(false);
  }

  /** The refusals that were read and are still to be put right or withdrawn. */
  get leftRefused(): Refused[] {
    return this.#refusals(true);
  }

  #refusals(seen: boolean): Refused[] {
    return this.kept.flatMap((kept) =>
      kept.outcome.outcome === 'refused' && kept.seen === seen
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

  async withdraw(id: string): Promise<void> {
    await this.#open.withdraw(id);
  }

  async putRight(id: string, body: Body): Promise<void> {
    await this.#open.putRight(id, body);
  }

  async again(id: string): Promise<void> {
    await this.#open.again(id);
  }

  async flush(): Promise<void> {
    await this.#outbox?.flush();
  }

  /** What became of one report, once the service has answered. */
  outcomeOf(id: string): Kept['outcome'] | null {
    return this.kept.find((kept) => kept.report.id === id)?.outcome ?? null;
  }

  /** What waits, as a file for another device: this sender's own, or what another left here. */
  unsentFile(others: Others | null = null): { name: string; text: string } {
    const session = this.#session;
    if (!session) throw new Error('The outbox is not open yet.');
    const { operation, sender, reports } = others ?? {
      operation: session.operation,
      sender: senderOf(session),
      reports: this.waiting.map((kept) => kept.report),
    };
    return unsentFile({ operation, sender: makerOf(sender), reports });
  }

  /**
   * Takes a file of another device in and sends it from here. A team sends its own; the command post sends for
   * any team, and the log says both who made a report and who sent it. Returns what was done, in words.
   */
  async takeFile(text: string): Promise<string> {
    const session = this.#session;
    if (!session) throw new Error('The outbox is not open yet.');
    const { operation, sender, reports } = readUnsentFile(text);
    if (operation !== session.operation) {
      throw new UnsentFileError('These reports are of another operation: come in with a pass for that one.');
    }
    const own = sender.party === session.party && sender.team === session.team;
    if (!own && session.party !== 'command_post') {
      throw new UnsentFileError(
        `${sender.team} made these reports: a device of ${sender.team} sends them, or the command post does.`,
      );
    }
    const made = own ? reports : reports.map((report) => ({ made_by: sender, ...withMaker(report) }));
    const fresh = await this.#open.take(made);
    const known = reports.length - fresh;
    const from = own ? '' : ` of ${sender.team}`;
    return (
      `${fresh} ${fresh === 1 ? 'report' : 'reports'}${from} taken in; they go out from here.` +
      (known > 0 ? ` ${known} ${known === 1 ? 'was' : 'were'} here before.` : '')
    );
  }
}

const senderOf = ({ party, team }: Session): string => `${party}/${team}`;

/** A sender's key taken apart again: a party's name has no stroke in it. */
export function makerOf(sender: string): Maker {
  const [party = '', ...team] = sender.split('/');
  return { party, team: team.join('/') };
}

/** A report that was sent for somebody keeps its maker; one without leaves the place to whoever's file it is. */
function withMaker({
  made_by,
  ...report
}: Report): Omit<Report, 'made_by'> & Partial<Pick<Report, 'made_by'>> {
  return made_by ? { ...report, made_by } : report;
}

/** As the API wants it: what is not known is left out. */
function bare(report: Report): Sent {
  return Object.fromEntries(Object.entries(report).filter(([, value]) => value !== null)) as unknown as Sent;
}

async function send(
  client: Client,
  clock: Clock,
  operation: string,
  reports: readonly Report[],
): Promise<Delivery> {
  const asked_ms = Date.now();
  try {
    const { data, error, response } = await client.POST('/api/operations/{op}/reports', {
      params: { path: { op: operation } },
      body: reports.map(bare),
      signal: AbortSignal.timeout(LONGEST_WAIT_MS),
    });
    const heard_ms = Date.now();
    clock.heard(response.headers.get('date'), asked_ms, heard_ms);
    if (Array.isArray(data)) {
      return {
        delivered: true,
        answers: data.map(({ id, outcome, sequence, reason }) => ({ id, outcome, sequence, reason })),
      };
    }
    const pause_ms = pauseAsked_ms(response.headers.get('retry-after'), heard_ms);
    return whatItMeans(response.status, error, pause_ms);
  } catch {
    // No answer, one that broke off, or one that is no JSON: the service's word was not heard.
    return { delivered: false, why: 'unreachable' };
  }
}

/** Asks for the time where nothing has been sent yet. Without an answer it is not known, and that is said. */
async function measure(clock: Clock): Promise<void> {
  const asked_ms = Date.now();
  try {
    const answer = await fetch('/api/health', {
      cache: 'no-store',
      signal: AbortSignal.timeout(LONGEST_WAIT_MS),
    });
    clock.heard(answer.headers.get('date'), asked_ms, Date.now());
  } catch {
    // The reports go out without it.
  }
}
