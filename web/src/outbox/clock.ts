/**
 * How far this device's clock is ahead of the service's, measured by the time that its answers bear. Reports
 * keep the time that the device showed; the offset goes with them. It is kept across starts, since a device
 * may be without a signal when its clock matters.
 */
import { keep, keptText } from '../ui/kept.ts';

const KEY = 'clock.ahead_ms';

/** An answer that took longer than this says too little of when it was written. */
const SLOWEST_MS = 10_000;

export class Clock {
  #ahead_ms: number | null;

  constructor() {
    const kept = Number(keptText(KEY) ?? NaN);
    this.#ahead_ms = Number.isSafeInteger(kept) ? kept : null;
  }

  /** Milliseconds, negative when it is behind; null while it was never measured. */
  get ahead_ms(): number | null {
    return this.#ahead_ms;
  }

  /** An answer came: with its `Date` (RFC 9110, section 6.6.1: whole seconds), asked and heard by this device's clock. */
  heard(date: string | null, asked_ms: number, heard_ms: number): void {
    const written_ms = Date.parse(date ?? '');
    const took_ms = heard_ms - asked_ms;
    if (Number.isNaN(written_ms) || took_ms < 0 || took_ms > SLOWEST_MS) return;
    // Cut off to the second, it is half a second more on the average; half of the way is the answer's.
    const ahead_ms = (asked_ms + heard_ms) / 2 - (written_ms + 500);
    const doubt_ms = 500 + took_ms / 2;
    this.#ahead_ms = Math.abs(ahead_ms) <= doubt_ms ? 0 : Math.round(ahead_ms);
    keep(KEY, String(this.#ahead_ms));
  }
}
