/**
 * The follow-up team's queue as the service orders it, asked anew whenever a crossing changed or the team has
 * moved. Without an answer the last one stays on the page with its time. It orders nothing itself.
 */
import { answered, Problem, type Client } from '../../api/client.ts';
import type { Order, Waiting } from '../../api/types.ts';
import { distance_m } from '../../operation/ground.ts';
import type { Place } from '../../operation/reporter.svelte.ts';

/** How far a team moves before the queue is asked anew. */
const MOVED_M = 20;
/** More than a page can use; the rest comes up as these are finished. */
const LIMIT = 50;

export const hasMoved = (from: Place | null, to: Place): boolean =>
  from === null || distance_m(from, to) > MOVED_M;

export class Queue {
  waiting = $state.raw<readonly Waiting[] | null>(null);
  /** when the service last answered */
  at = $state<number | null>(null);
  /** why it did not */
  trouble = $state<string | null>(null);

  readonly #client: Client;
  readonly #operation: string;
  #asking = false;
  #next: { from: Place; order: Order } | null = null;

  constructor(client: Client, operation: string) {
    this.#client = client;
    this.#operation = operation;
  }

  /** Asks; what is asked while an answer is on its way is asked once after it, the last one only. */
  async ask(from: Place, order: Order): Promise<void> {
    this.#next = { from, order };
    if (this.#asking) return;
    this.#asking = true;
    try {
      while (this.#next) {
        const asked: { from: Place; order: Order } = this.#next;
        this.#next = null;
        await this.#fetch(asked.from, asked.order);
      }
    } finally {
      this.#asking = false;
    }
  }

  async #fetch([lon, lat]: Place, order: Order): Promise<void> {
    try {
      const query = { from: `${lon},${lat}`, order, limit: LIMIT };
      const params = { path: { op: this.#operation }, query };
      const queue = await answered(this.#client.GET('/api/operations/{op}/queue', { params }));
      this.waiting = queue.waiting;
      this.at = Date.now();
      this.trouble = null;
    } catch (reason) {
      this.trouble = reason instanceof Problem ? reason.document.title : 'No signal.';
    }
  }
}
