/**
 * One report and what became of it, for the sheet that asked for it: the refusal is read where the
 * person is looking, not at the foot of the page.
 */
import type { Body } from '../api/types.ts';
import type { Place, Reporter } from './reporter.svelte.ts';

export type AnswerState = 'none' | 'waiting' | 'kept' | 'recorded' | 'refused';

export class Answer {
  readonly #reporter: Reporter;
  #id = $state<string | null>(null);
  /** the device itself could not keep it */
  #unkept = $state<string | null>(null);

  constructor(reporter: Reporter) {
    this.#reporter = reporter;
  }

  async report(body: Body, place: Place | null = null): Promise<void> {
    this.#id = null;
    this.#unkept = null;
    try {
      this.#id = (await this.#reporter.report(body, place)).id;
    } catch (reason) {
      this.#unkept = reason instanceof Error ? reason.message : 'This device could not keep the report.';
    }
  }

  get #outcome() {
    return this.#id === null ? null : this.#reporter.outcomeOf(this.#id);
  }

  get state(): AnswerState {
    if (this.#unkept !== null) return 'refused';
    if (this.#id === null) return 'none';
    const outcome = this.#outcome?.outcome ?? 'waiting';
    if (outcome === 'waiting') return this.#reporter.delivery === 'delivered' ? 'waiting' : 'kept';
    return outcome === 'refused' ? 'refused' : 'recorded';
  }

  /** It is on its way or safe on the device: pressed again, it would be told twice. */
  get sent(): boolean {
    return this.state === 'waiting' || this.state === 'kept';
  }

  /** Why it was refused, for the person. */
  get problem(): string | null {
    const outcome = this.#outcome;
    return this.#unkept ?? (outcome?.outcome === 'refused' ? outcome.reason.title : null);
  }

  /** It was read here: the foot of the page need not say it again. */
  read(): void {
    if (this.#id !== null && this.state === 'refused') void this.#reporter.see([this.#id]);
  }
}
