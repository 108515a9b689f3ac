/**
 * A question to the service's reckoning while its numbers change: asked a moment after the last change, the
 * last good answer kept meanwhile, a refusal said beside the number that it names, and no answer said plainly.
 */
import { untrack } from 'svelte';
import { Problem, Unreachable } from '../api/client.ts';

/** A number that is being typed is not asked about at every key. */
const SETTLES_MS = 250;

export interface Refused {
  /** the field that is named, as a path into the question */
  field: string | null;
  title: string;
}

export class Reckoning<Asked, Answer> {
  /** the last good answer, and what it answers */
  answer = $state.raw<Answer | null>(null);
  answers = $state.raw<Asked | null>(null);
  refused = $state.raw<Refused | null>(null);
  unreachable = $state(false);
  asking = $state(false);

  readonly #call: (asked: Asked, signal: AbortSignal) => Promise<Answer>;
  #last = '';
  #asked: Asked | null = null;
  #timer: ReturnType<typeof setTimeout> | null = null;
  #under: AbortController | null = null;

  constructor(call: (asked: Asked, signal: AbortSignal) => Promise<Answer>) {
    this.#call = call;
  }

  /** Whether the answer is to other numbers than those that stand there now. */
  get behind(): boolean {
    return this.asking || this.unreachable || this.refused !== null;
  }

  /** Asks, unless it is the same question again; null while a number cannot be read. */
  ask(asked: Asked | null, after_ms = this.answer === null ? 0 : SETTLES_MS): void {
    const text = JSON.stringify(asked);
    if (text === this.#last) return;
    this.leave();
    this.#last = text;
    this.#asked = asked;
    if (asked === null) return;
    this.asking = true;
    this.#timer = setTimeout(() => void this.#go(asked), after_ms);
  }

  /** Once more, when the way to the service is open again. */
  again(): void {
    const asked = this.#asked;
    if (!this.unreachable || asked === null) return;
    this.#last = '';
    this.ask(asked, 0);
  }

  /** Nobody waits for it any more. */
  leave(): void {
    if (this.#timer) clearTimeout(this.#timer);
    this.#under?.abort();
    this.#timer = null;
    this.#under = null;
    this.asking = false;
  }

  async #go(asked: Asked): Promise<void> {
    const under = new AbortController();
    this.#under = under;
    try {
      const answer = await this.#call(asked, under.signal);
      if (under.signal.aborted) return;
      this.answer = answer;
      this.answers = asked;
      this.#settle(null, false);
    } catch (reason) {
      if (under.signal.aborted) return;
      if (reason instanceof Unreachable) this.#settle(null, true);
      else if (reason instanceof Problem) this.#settle(refusal(reason), false);
      else throw reason;
    }
  }

  #settle(refused: Refused | null, unreachable: boolean): void {
    this.refused = refused;
    this.unreachable = unreachable;
    this.asking = false;
  }
}

/**
 * A reckoning for as long as a component is there: asked when what it hangs on changes, and once more when the signal is
 * back. To be called while the component is made.
 */
export function reckonWhileSeen<Asked, Answer>(
  feed: () => string,
  question: () => Asked | null,
  call: (asked: Asked, signal: AbortSignal) => Promise<Answer>,
  after_ms?: number,
): Reckoning<Asked, Answer> {
  const reckoning = new Reckoning<Asked, Answer>(call);
  $effect(() => {
    const asked = question();
    untrack(() => reckoning.ask(asked, after_ms));
  });
  $effect(() => {
    if (feed() === 'live') untrack(() => reckoning.again());
  });
  $effect(() => () => reckoning.leave());
  return reckoning;
}

/** The field stands in the document, or as the path with which the words begin. */
function refusal({ document: { title, field } }: Problem): Refused {
  return { field: field ?? /^[a-z_]+(?:\.[a-z_]+)*(?= )/.exec(title)?.[0] ?? null, title };
}
