/**
 * The operation as this device last knew it, so that a page can open from it without a network. One answer a
 * seat in the browser's Cache storage, replaced as a whole: a page that is killed in the middle leaves the one
 * before. It stands apart from the outbox on purpose: whatever goes wrong with what was heard must not touch
 * what was reported.
 */
import type { CrossingFeature, Entry, Guide, LineFeature, Operation, Session } from '../api/types.ts';

/** Raised when the shape changes: what another version kept is not read. */
const FORMAT = 1;
const CACHE = 'laywire-state';

export interface KnownState {
  session: Session;
  operation: Operation;
  lines: readonly LineFeature[];
  crossings: readonly CrossingFeature[];
  entries: readonly Entry[];
  guides: readonly Guide[];
  sequence: number;
  /** when it was known to be so, by this device's clock */
  at: number;
}

const address = (seat: string) => `/kept/${encodeURIComponent(seat)}`;

/** Keeps it; false where the browser has no room or refuses storage. */
export async function keepState(state: KnownState): Promise<boolean> {
  try {
    const cache = await caches.open(CACHE);
    await cache.put(address(state.session.seat), Response.json({ format: FORMAT, ...state }));
    return true;
  } catch {
    return false;
  }
}

/** What is kept for the first of these seats that has anything; for no seat, the only one there is. */
export async function keptState(seats: readonly (string | null)[]): Promise<KnownState | null> {
  try {
    const cache = await caches.open(CACHE);
    for (const seat of seats) {
      const all = seat === null ? await cache.matchAll() : [await cache.match(address(seat))];
      const state = all.length === 1 && all[0] ? read(await all[0].json()) : null;
      if (state) return state;
    }
  } catch {
    // No storage, or nothing that can be read: then the service has to answer.
  }
  return null;
}

export async function forgetState(seat: string): Promise<void> {
  try {
    await (await caches.open(CACHE)).delete(address(seat));
  } catch {
    // A browser that refuses storage has nothing to forget.
  }
}

function read(found: unknown): KnownState | null {
  const state = found as (KnownState & { format: unknown }) | null;
  return state?.format === FORMAT ? state : null;
}
