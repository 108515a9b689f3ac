/** A question to the service that a form puts: whether it is under way, and what went wrong with the last one. */
import { inWords } from '../api/client.ts';

export class Asking {
  busy = $state(false);
  problem = $state<string | null>(null);

  /** What the call brings; null when it went wrong, and then `problem` says why. */
  async ask<T>(call: () => Promise<T>): Promise<T | null> {
    this.busy = true;
    this.problem = null;
    try {
      return await call();
    } catch (reason) {
      this.problem = inWords(reason, 'No signal: nothing was done. Try again.');
      return null;
    } finally {
      this.busy = false;
    }
  }
}
