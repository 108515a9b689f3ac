/**
 * Entries of the wire log by their numbers, fetched when somebody wants to see where a figure comes from and kept for
 * as long as the page is. The log is append-only: an entry that is here stays right.
 */
import type { Entry } from '../../api/types.ts';

/** The most that the service gives at once. */
const PAGE = 200;

export type Fetch = (before: number, limit: number) => Promise<readonly Entry[]>;

export class Log {
  readonly #fetch: Fetch;
  readonly #known = new Map<number, Entry>();

  constructor(fetch: Fetch) {
    this.#fetch = fetch;
  }

  /** Those of these numbers, oldest first. */
  async entries(numbers: readonly number[]): Promise<Entry[]> {
    const wanted = [...new Set(numbers)].sort((a, b) => a - b);
    for (;;) {
      const missing = wanted.findLast((number) => !this.#known.has(number));
      if (missing === undefined) break;
      const page = await this.#fetch(missing + 1, PAGE);
      for (const entry of page) this.#known.set(entry.sequence, entry);
      if (!this.#known.has(missing)) throw new Error(`The log has no entry ${missing}.`);
    }
    return wanted.flatMap((number) => this.#known.get(number) ?? []);
  }

  /** All that were fetched so far: a correction names the entry that it is about. */
  get known(): Entry[] {
    return [...this.#known.values()];
  }
}
