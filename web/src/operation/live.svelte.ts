/**
 * The operation as it stands: lines and crossings, read once, kept up by the feed, and kept on the device, from
 * where a page opens when the service can't be reached. It decides nothing of the trade; what the service says
 * a line or crossing is now, it is.
 */
/* eslint svelte/prefer-svelte-reactivity: 'off' -- maps here are never changed, only replaced as a whole. */
import { answered, Problem, type Client } from '../api/client.ts';
import type {
  CrewNews,
  Crews as AllCrews,
  CrossingFeature,
  Entry,
  Guide,
  LineFeature,
  News,
  Operation,
  Session,
} from '../api/types.ts';
import { delay_ms, openFeed, type FeedState } from '../feed/feed.ts';
import { forgetState, keepState, type KnownState } from '../offline/state.ts';
import { within } from '../offline/within.ts';
import { Crews } from './crews.svelte.ts';
import { clientOf, session } from './session.svelte.ts';

/** How many of the latest entries a page keeps. */
const LATEST = 60;
/** Many reports at once are shown at once. */
const GATHER_MS = 60;
/** How long a page waits for the service when it could open from what the device keeps. */
export const PATIENCE_MS = 1_000;
/** An answer that takes longer than this does not come: it is asked for again. */
const ANSWER_MS = 30_000;
/** What changed is on the device this soon. */
const KEEP_MS = 5_000;
/** While nothing changes, the device notes this often that it is still so. */
const STILL_SO_MS = 300_000;
/** A feed that breaks off for no longer than this is not worth a word. */
const WORTH_TELLING_MS = 15_000;

export class Live {
  readonly session: Session;
  readonly client: Client;
  /** where the other crews are, of those that share it */
  readonly crews = new Crews();

  operation = $state.raw<Operation | null>(null);
  lines = $state.raw<ReadonlyMap<string, LineFeature>>(new Map());
  crossings = $state.raw<ReadonlyMap<string, CrossingFeature>>(new Map());
  /** the newest first */
  entries = $state.raw<readonly Entry[]>([]);
  guides = $state.raw<readonly Guide[]>([]);
  feed = $state.raw<FeedState>('connecting');
  /** since when nothing has been heard, while that is so */
  lostAt = $state<number | null>(null);
  /** whether the pass is still good */
  welcome = $state(true);
  /** the last entry that is in what is shown */
  sequence = $state(0);
  /** the time at the last tick, for 'open 38 min' */
  now = $state(Date.now());
  /** when what is shown was last put on this device; null where it is not */
  keptAt = $state<number | null>(null);
  /** what is shown is what the device kept: the service has not been heard yet */
  fromDevice = $state(false);

  #news: News[] = [];
  #gathering: ReturnType<typeof setTimeout> | null = null;
  #closeFeed: (() => void) | null = null;
  #again: ReturnType<typeof setTimeout> | null = null;
  #keeping: ReturnType<typeof setTimeout> | null = null;
  #clock: ReturnType<typeof setInterval> | null = null;
  #attempt = 0;
  #left = false;

  constructor(joined: Session) {
    this.session = joined;
    this.client = clientOf(joined);
  }

  /** Since when what is shown may have changed without this device hearing of it; null when it is up to date. */
  get asOf(): number | null {
    if (this.lostAt === null) return null;
    return this.fromDevice || this.now - this.lostAt > WORTH_TELLING_MS ? this.lostAt : null;
  }

  /**
   * Reads the whole state and watches from there on. Without an answer in time it shows what the device kept, if
   * anything, and goes on asking.
   */
  async open(kept: KnownState | null): Promise<void> {
    const started = this.start();
    if (!kept) return started;
    try {
      await within(started, PATIENCE_MS);
    } catch (reason) {
      if (isUnwelcome(reason)) throw reason;
      this.#showKept(kept);
      within(started, ANSWER_MS).catch((late: unknown) => this.#failed(late));
    }
  }

  /** Reads the whole state and watches from there on. */
  async start(): Promise<void> {
    if (!this.#clock) {
      this.#clock = setInterval(() => this.#tick(), 15_000);
      window.addEventListener('online', this.#atOnce);
      document.addEventListener('visibilitychange', this.#seen);
      window.addEventListener('pagehide', this.#keepNow);
    }
    // One question as long as there is no answer; the rest when there is one.
    if (this.fromDevice) await answered(this.client.GET('/api/session'));
    const path = { op: this.session.operation };
    const [operation, guides, lines, crossings, entries] = await Promise.all([
      answered(this.client.GET('/api/operations/{op}', { params: { path } })),
      answered(this.client.GET('/api/operations/{op}/guide', { params: { path } })),
      answered(this.client.GET('/api/operations/{op}/lines', { params: { path } })),
      answered(this.client.GET('/api/operations/{op}/crossings', { params: { path } })),
      answered(this.client.GET('/api/operations/{op}/log', { params: { path, query: { limit: LATEST } } })),
    ]);
    if (this.#left) return;
    this.operation = operation;
    this.guides = guides;
    this.lines = new Map(lines.features.map((line) => [line.id, line]));
    this.crossings = new Map(crossings.features.map((crossing) => [crossing.id, crossing]));
    this.entries = entries;
    // What both have for certain; an entry that comes twice changes nothing the second time.
    this.sequence = Math.min(lines.sequence, crossings.sequence);
    this.fromDevice = false;
    this.#attempt = 0;
    this.#watch();
    if (this.keptAt === null) this.#keepNow();
    else this.#keepSoon();
  }

  leave(): void {
    this.#left = true;
    this.#closeFeed?.();
    this.#keepNow();
    for (const timer of [this.#gathering, this.#again, this.#keeping]) if (timer) clearTimeout(timer);
    if (this.#clock) clearInterval(this.#clock);
    window.removeEventListener('online', this.#atOnce);
    document.removeEventListener('visibilitychange', this.#seen);
    window.removeEventListener('pagehide', this.#keepNow);
  }

  #showKept(kept: KnownState): void {
    this.operation = kept.operation;
    this.guides = kept.guides;
    this.lines = new Map(kept.lines.map((line) => [line.id, line]));
    this.crossings = new Map(kept.crossings.map((crossing) => [crossing.id, crossing]));
    this.entries = kept.entries;
    this.sequence = kept.sequence;
    this.keptAt = kept.at;
    this.lostAt = kept.at;
    this.now = Date.now();
    this.fromDevice = true;
  }

  #tick(): void {
    this.now = Date.now();
    if (this.feed === 'live' && this.now - (this.keptAt ?? 0) > STILL_SO_MS) this.#keepSoon();
  }

  #keepSoon(): void {
    this.#keeping ??= setTimeout(this.#keepNow, KEEP_MS);
  }

  readonly #keepNow = (): void => {
    if (this.#keeping) clearTimeout(this.#keeping);
    this.#keeping = null;
    const { operation, guides, entries, sequence } = this;
    // Whoever has gone out leaves nothing to open from.
    const mayBeKept = this.welcome && session.now?.seat === this.session.seat;
    if (!operation || this.fromDevice || !mayBeKept) return;
    const [lines, crossings] = [[...this.lines.values()], [...this.crossings.values()]];
    const at = this.lostAt ?? Date.now();
    const state = { session: this.session, operation, lines, crossings, entries, guides, sequence, at };
    void keepState(state).then((kept) => (this.keptAt = kept ? at : null));
  };

  readonly #seen = (): void => {
    // A phone that goes into a pocket may never come back to this page.
    if (document.visibilityState === 'hidden') this.#keepNow();
    else this.#atOnce();
  };

  /** The signal may be back: the rest of the delay is not waited for. */
  readonly #atOnce = (): void => {
    if (!this.#again) return;
    clearTimeout(this.#again);
    this.#readAnew();
  };

  #watch(): void {
    this.#closeFeed?.();
    // Opened anew on purpose, it is not lost: only what comes after its first try says so.
    let trying = true;
    this.#closeFeed = openFeed({
      address: `/api/operations/${this.session.operation}/feed`,
      seat: this.session.seat,
      after: this.sequence,
      onevent: ({ entry }) => this.#gather(entry as News),
      onresync: () => this.#readAnew(),
      oncrews: (kind, said) => {
        if (kind === 'crews') this.crews.hearAll(said as AllCrews);
        else this.crews.hear(said as CrewNews);
      },
      onstate: (state) => {
        if (!trying) this.#heard(state);
        trying = false;
      },
    });
  }

  #heard(state: FeedState): void {
    this.feed = state;
    if (state === 'lost') void this.#askAtTheDoor();
    this.lostAt = state === 'live' ? null : (this.lostAt ?? Date.now());
  }

  /** A feed that was closed for good may have lost its pass: that is said at once, and not called 'no signal'. */
  async #askAtTheDoor(): Promise<void> {
    try {
      await answered(this.client.GET('/api/session'));
      this.welcome = true;
    } catch (reason) {
      if (isUnwelcome(reason)) this.#turnedAway();
    }
  }

  /** A pass that is no longer good must not open this page from the device either. */
  #turnedAway(): void {
    this.welcome = false;
    this.keptAt = null;
    void forgetState(this.session.seat);
  }

  #readAnew(): void {
    if (this.#left) return;
    this.#again = null;
    within(this.start(), ANSWER_MS).then(
      () => (this.welcome = true),
      (reason: unknown) => this.#failed(reason),
    );
  }

  /** The whole state could not be read: it is tried again, later each time. */
  #failed(reason: unknown): void {
    if (this.#left) return;
    if (isUnwelcome(reason)) this.#turnedAway();
    this.feed = 'lost';
    this.lostAt ??= Date.now();
    this.#again = setTimeout(() => this.#readAnew(), delay_ms(this.#attempt, Math.random()));
    this.#attempt += 1;
  }

  #gather(news: News): void {
    this.#news.push(news);
    this.#gathering ??= setTimeout(() => this.#apply(), GATHER_MS);
  }

  #apply(): void {
    this.#gathering = null;
    const all = this.#news;
    this.#news = [];
    const lines = new Map(this.lines);
    const crossings = new Map(this.crossings);
    const known = new Set(this.entries.map((entry) => entry.sequence));
    let anew = false;
    for (const { entry, lines: changed, crossings: crossed } of all) {
      if (entry.sequence <= this.sequence) continue;
      const { body } = entry.report;
      // A plan's trace, or what a correction made of a laid one, does not come with the entry.
      if (['line_planned', 'plan_issued', 'correction'].includes(body.kind)) anew = true;
      if (body.kind === 'trace_extended') {
        const line = lines.get(body.line);
        if (line) lines.set(line.id, longer(line, body.positions));
      }
      for (const line of changed) lines.set(line.id, keepTraces(line, lines.get(line.id)));
      for (const crossing of crossed) crossings.set(crossing.id, crossing);
      this.sequence = entry.sequence;
    }
    this.lines = lines;
    this.crossings = crossings;
    const fresh = all.map((news) => news.entry).filter((entry) => !known.has(entry.sequence));
    this.entries = [...fresh.reverse(), ...this.entries].slice(0, LATEST);
    if (anew) this.#readAnew();
    else this.#keepSoon();
  }
}

/** The service was reached, and does not know the pass. */
export const isUnwelcome = (reason: unknown): boolean =>
  reason instanceof Problem && reason.document.status === 401;

/** The line as it is now, with the traces that the feed does not repeat. */
function keepTraces(line: LineFeature, before: LineFeature | undefined): LineFeature {
  if (!before) return line;
  return {
    ...line,
    geometry: line.geometry ?? before.geometry,
    properties: { ...line.properties, laid: line.properties.laid ?? before.properties.laid ?? [] },
  };
}

function longer(line: LineFeature, positions: readonly number[][]): LineFeature {
  const laid = [...(line.properties.laid ?? [])];
  for (const position of positions) {
    const head = laid.at(-1);
    if (head?.[0] !== position[0] || head?.[1] !== position[1]) laid.push(position);
  }
  return { ...line, properties: { ...line.properties, laid } };
}
