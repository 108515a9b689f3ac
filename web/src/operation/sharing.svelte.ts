/**
 * Whether this device shares where it is: off until its crew says so, and over after the hours that were
 * chosen, or at leaving. It tells the last position alone, and seldom. Nothing of it goes through the outbox:
 * a position that could not be sent is old by the time that it could.
 */
import { answered, type Client } from '../api/client.ts';
import { forget, keep, keptText } from '../ui/kept.ts';
import { distance_m } from './ground.ts';
import type { Place } from './reporter.svelte.ts';

/** Told when the crew has moved so far, but not oftener than this; and so often when it stands. Our own choice. */
const MOVED_M = 20;
const OFTENEST_MS = 30_000;
const AT_LEAST_MS = 120_000;

export const hoursOffered = [1, 4, 8] as const;

interface Sent {
  place: Place;
  at_ms: number;
}

export class Sharing {
  #until_ms = $state(0);
  #sent: Sent | null = null;
  readonly #key: string;
  readonly #client: Client;
  readonly #path: { op: string };

  constructor(client: Client, operation: string, seat: string) {
    this.#client = client;
    this.#path = { op: operation };
    this.#key = `sharing.${seat}`;
    this.#until_ms = Number(keptText(this.#key)) || 0;
  }

  /** Until when it is shared; null when it is not. */
  until(now_ms: number): number | null {
    return this.#until_ms > now_ms ? this.#until_ms : null;
  }

  start(hours: number, now_ms = Date.now()): void {
    this.#until_ms = now_ms + hours * 3_600_000;
    this.#sent = null;
    keep(this.#key, String(this.#until_ms));
  }

  /** Shares no more; the service forgets the position at once, or by itself when it can't be told. */
  async stop(): Promise<void> {
    this.#until_ms = 0;
    forget(this.#key);
    const { error } = await this.#client
      .DELETE('/api/operations/{op}/positions/mine', { params: { path: this.#path } })
      .catch(() => ({ error: true }));
    if (error)
      throw new Error('It stops here at once. The others see the last place until the time that you gave.');
  }

  /** Where the crew is now; tells it if it is shared and worth telling. */
  async hear(place: Place, accuracy_m: number | null, now_ms = Date.now()): Promise<void> {
    const left_ms = this.#until_ms - now_ms;
    if (left_ms <= 0 || !this.#isDue(place, now_ms)) return;
    const before = this.#sent;
    this.#sent = { place, at_ms: now_ms };
    try {
      await answered(
        this.#client.PUT('/api/operations/{op}/positions/mine', {
          params: { path: this.#path },
          body: { position: [...place], accuracy_m, minutes: Math.ceil(left_ms / 60_000) },
        }),
      );
    } catch {
      // No signal, or too soon: the next position will do, after the same wait.
      this.#sent = before && { ...before, at_ms: now_ms };
    }
  }

  #isDue(place: Place, now_ms: number): boolean {
    if (!this.#sent) return true;
    const since_ms = now_ms - this.#sent.at_ms;
    return (
      since_ms >= AT_LEAST_MS || (since_ms >= OFTENEST_MS && distance_m(this.#sent.place, place) >= MOVED_M)
    );
  }
}
