/**
 * The operation as it stands: lines and crossings, read once and kept up by the feed. It decides
 * nothing of the trade; what the service says a line or crossing is now, it is.
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
import { openFeed, type FeedState } from '../feed/feed.ts';
import { Crews } from './crews.svelte.ts';
import { clientOf } from './session.svelte.ts';

/** How many of the latest entries a page keeps. */
const LATEST = 60;
/** Many reports at once are shown at once. */
const GATHER_MS = 60;
/** Where the whole state could not be read, it is tried again after this. */
const AGAIN_MS = 3_000;

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

  #news: News[] = [];
  #gathering: ReturnType<typeof setTimeout> | null = null;
  #closeFeed: (() => void) | null = null;
  #again: ReturnType<typeof setTimeout> | null = null;
  #clock: ReturnType<typeof setInterval> | null = null;
  #left = false;

  constructor(session: Session) {
    this.session = session;
    this.client = clientOf(session);
  }

  /** Reads the whole state and watches from there on. */
  async start(): Promise<void> {
    this.#clock ??= setInterval(() => (this.now = Date.now()), 15_000);
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
    this.#watch();
  }

  leave(): void {
    this.#left = true;
    this.#closeFeed?.();
    for (const timer of [this.#gathering, this.#again]) if (timer) clearTimeout(timer);
    if (this.#clock) clearInterval(this.#clock);
  }

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
      if (reason instanceof Problem && reason.document.status === 401) this.welcome = false;
    }
  }

  #readAnew(): void {
    if (this.#left) return;
    this.#again = null;
    this.start().catch(() => {
      this.#heard('lost');
      this.#again = setTimeout(() => this.#readAnew(), AGAIN_MS);
    });
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
      if (body.kind === 'line_planned' || body.kind === 'correction') anew = true;
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
  }
}

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
