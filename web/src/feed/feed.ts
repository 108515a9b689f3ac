/**
 * The operation's feed: server-sent events, each with its sequence, resumed where it broke off. It
 * applies nothing itself: events go to whoever opened it, in order and each once. The browser's own
 * EventSource tries again every few seconds for as long as there is no signal, which empties a battery, and
 * gives up for good on any answer that is not 200. So this opens it again itself, later each time, with
 * some chance in the delay so that a hundred phones that lost the same signal don't return in the same second.
 */

export interface FeedEvent {
  sequence: number;
  /** the entry as the service sent it, parsed and not yet looked at */
  entry: unknown;
}

/** connecting: at first and while there is no network; live: connected; lost: the service said no. The next try is set. */
export type FeedState = 'connecting' | 'live' | 'lost';

export interface FeedOptions {
  /** '/api/operations/{op}/feed' */
  address: string;
  /** which pass to speak with: an EventSource can set no header */
  seat?: string;
  /** the last sequence already applied */
  after: number;
  onevent: (event: FeedEvent) => void;
  /** what was missed is no longer kept: read the state anew, then open a new feed after it */
  onresync: () => void;
  /** where crews are: no part of the log, without a sequence, and read anew at every connection */
  oncrews?: (kind: 'crews' | 'crew', said: unknown) => void;
  onstate?: (state: FeedState) => void;
  /** an event that could not be read; the feed goes on and asks for a resync */
  onunreadable?: (reason: unknown) => void;
}

/** What the browser provides; another clock and another EventSource stand in for it in tests. */
export interface FeedSurroundings {
  open: (address: string) => EventSource;
  later: (run: () => void, delay_ms: number) => () => void;
  /** from 0 up to but not 1 */
  chance: () => number;
}

const FIRST_DELAY_MS = 1_000;
const LONGEST_DELAY_MS = 30_000;

/** How long to wait before try number `attempt` (from 0): half fixed, half by chance, doubling to 30 s. */
export function delay_ms(attempt: number, chance: number): number {
  const longest = Math.min(LONGEST_DELAY_MS, FIRST_DELAY_MS * 2 ** attempt);
  return longest / 2 + (longest / 2) * chance;
}

const browser: FeedSurroundings = {
  open: (address) => new EventSource(address),
  later: (run, delay) => {
    const timer = setTimeout(run, delay);
    return () => clearTimeout(timer);
  },
  chance: () => Math.random(),
};

/** Opens the feed; the function it gives back closes it for good. */
export function openFeed(options: FeedOptions, surroundings: FeedSurroundings = browser): () => void {
  let after = options.after;
  let attempt = 0;
  let closed = false;
  let source: EventSource | null = null;
  let cancel: (() => void) | null = null;

  const close = () => {
    closed = true;
    cancel?.();
    source?.close();
    window.removeEventListener('online', atOnce);
    window.removeEventListener('offline', broken);
  };

  function connect() {
    cancel = null;
    options.onstate?.('connecting');
    const seat = options.seat ? `&seat=${encodeURIComponent(options.seat)}` : '';
    const opened = surroundings.open(`${options.address}?after=${after}${seat}`);
    source = opened;
    opened.onopen = () => {
      attempt = 0;
      options.onstate?.('live');
    };
    opened.onerror = () => again(opened.readyState === EventSource.CLOSED ? 'lost' : 'connecting');
    opened.addEventListener('entry', ({ data, lastEventId }: MessageEvent<string>) => {
      const sequence = lastEventId === '' ? NaN : Number(lastEventId);
      // A reconnect may send again what had arrived already.
      if (Number.isSafeInteger(sequence) && sequence <= after) return;
      let entry: unknown;
      try {
        if (!Number.isSafeInteger(sequence)) {
          throw new TypeError(`The feed sent an event without a sequence: '${lastEventId}'`);
        }
        entry = JSON.parse(data);
      } catch (reason) {
        // To skip it would be to miss a report without knowing which.
        options.onunreadable?.(reason);
        resync();
        return;
      }
      after = sequence;
      options.onevent({ sequence, entry });
    });
    opened.addEventListener('resync', resync);
    for (const kind of ['crews', 'crew'] as const) {
      opened.addEventListener(kind, ({ data }: MessageEvent<string>) => {
        options.oncrews?.(kind, JSON.parse(data) as unknown);
      });
    }
  }

  function again(state: FeedState) {
    source?.close();
    options.onstate?.(state);
    cancel?.();
    cancel = surroundings.later(connect, delay_ms(attempt, surroundings.chance()));
    attempt += 1;
  }

  function resync() {
    if (closed) return;
    close();
    options.onresync();
  }

  /** The signal is back: don't wait for the rest of the delay. */
  function atOnce() {
    if (!cancel) return;
    cancel();
    attempt = 0;
    connect();
  }

  /** The device knows that it has no network; an open stream would be silent for minutes before it says so. */
  function broken() {
    if (!cancel) again('connecting');
  }

  window.addEventListener('online', atOnce);
  window.addEventListener('offline', broken);
  connect();
  return close;
}
