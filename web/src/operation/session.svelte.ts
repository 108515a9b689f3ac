/**
 * Who is in, and where. The secret is in a cookie that no script can read; kept here is only the seat,
 * the pass's public name, so that two pages of one browser can speak with two passes.
 */
import { answered, clientFor, Problem, type Client } from '../api/client.ts';
import type { Party, Session } from '../api/types.ts';
import { forgetGround } from '../offline/ground.svelte.ts';
import { forgetState } from '../offline/state.ts';

const KEY = 'laywire.seat';

let now = $state.raw<Session | null>(null);

export const session = {
  get now(): Session | null {
    return now;
  },
};

/** The page of each party. An observer sees what the command post sees, without its buttons. */
export const pageOf: Record<Party, string> = {
  command_post: '/command-post',
  lead_team: '/lead',
  follow_up_team: '/follow-up',
  observer: '/command-post',
};

export const clientOf = (of: Session): Client => clientFor(of.seat);

/** Comes in with a pass as it was typed or scanned. */
export async function join(pass: string): Promise<Session> {
  const joined = await answered(clientFor(null).POST('/api/session', { body: { pass } }));
  remember(joined.seat);
  now = joined;
  return joined;
}

/** Comes in again with what the browser holds; null when it holds nothing that is good. */
export async function comeBack(): Promise<Session | null> {
  for (const seat of seats()) {
    try {
      now = await answered(clientFor(seat).GET('/api/session'));
      remember(now.seat);
      return now;
    } catch (reason) {
      // A service that is down, or busy, has not said that the pass is no good.
      if (!(reason instanceof Problem) || reason.document.status >= 500 || reason.document.status === 429)
        throw reason;
      if (seat) await forgetState(seat);
    }
  }
  return null;
}

/** Is in as the device remembers it: whether the pass is still good, the service says when it is reached. */
export function comeBackAs(remembered: Session): void {
  now = remembered;
}

/** Goes out: cookie, state and ground are taken away, the pass stays good. What was reported stays until it is sent. */
export async function leave(): Promise<void> {
  if (!now) return;
  const { operation } = now;
  await answered(clientOf(now).DELETE('/api/session'));
  forget();
  // A browser that keeps nothing has nothing to forget.
  await forgetGround(operation).catch(() => undefined);
}

/** The pass is not good any more. */
export function forget(): void {
  if (now) void forgetState(now.seat);
  now = null;
  try {
    sessionStorage.removeItem(KEY);
    localStorage.removeItem(KEY);
  } catch {
    // A browser that refuses storage has nothing to forget.
  }
}

function remember(seat: string): void {
  try {
    sessionStorage.setItem(KEY, seat);
    localStorage.setItem(KEY, seat);
  } catch {
    // Then it lasts as long as the page.
  }
}

/** This page's seat, else the last one used in this browser, else whatever single pass it holds. */
export function seats(): (string | null)[] {
  try {
    const found = [sessionStorage.getItem(KEY), localStorage.getItem(KEY)];
    return [...found.filter((seat, index) => seat !== null && found.indexOf(seat) === index), null];
  } catch {
    return [null];
  }
}
