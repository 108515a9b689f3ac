/** What the service's answers to a batch mean for what waits: the only place in the browser that reads their status. */
import type { ProblemDocument } from '../api/types.ts';
import type { Delivery, Reason } from '../outbox/outbox.ts';

/** Where the service answered but can't take it now, and when it may: seconds, or a date (RFC 9110, section 10.2.3). */
export function pauseAsked_ms(retryAfter: string | null, now_ms: number): number | null {
  if (retryAfter === null || retryAfter.trim() === '') return null;
  const seconds = Number(retryAfter);
  const pause_ms = Number.isFinite(seconds) ? seconds * 1000 : Date.parse(retryAfter) - now_ms;
  return Number.isFinite(pause_ms) ? Math.max(0, pause_ms) : null;
}

/** What an answer that is no receipt means for a batch. */
export function whatItMeans(
  status: number,
  problem: Partial<ProblemDocument> | undefined,
  pause_ms: number | null,
): Exclude<Delivery, { delivered: true }> {
  // Only the service's own word says that a batch is at fault: anything else in between may answer as it likes.
  const own = problem?.type?.startsWith('urn:laywire:problem:') ?? false;
  if (own && [401, 403, 404].includes(status)) return { delivered: false, why: 'unwelcome' };
  if (own && status >= 400 && status < 500 && status !== 408 && status !== 429) {
    const { title, type }: Reason = { title: `It was answered ${status}.`, ...problem };
    return { delivered: false, why: 'unreadable', reason: { title, ...(type ? { type } : {}) } };
  }
  if (status === 401) return { delivered: false, why: 'unwelcome' };
  return { delivered: false, why: 'busy', after_ms: pause_ms };
}
