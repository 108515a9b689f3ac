/** The section's own rates as the service estimates them, from this operation and from the cases that were brought along. */
import { answered, inWords } from '../../api/client.ts';
import type { Light, Means, OwnRates as Answer, RateCase } from '../../api/types.ts';
import type { Live } from '../../operation/live.svelte.ts';
import { broughtAlong, CasesUnread, LARGEST_BYTES, readCases } from './rates.ts';

interface Laid {
  light: Light;
  lead_means: Means;
}

export class OwnRates {
  readonly #live: Live;
  answer = $state.raw<Answer | null>(null);
  /** cases of earlier operations, as their files had them */
  brought = $state.raw<readonly RateCase[]>([]);
  problem = $state<string | null>(null);
  busy = $state(false);

  #laid: Laid = { light: 'day', lead_means: 'foot' };
  /** what is to be brought along, as soon as the service has answered */
  #wanted: readonly RateCase[] = [];
  /** the question that is under way: what an earlier one brings late is not shown any more */
  #question = 0;

  constructor(live: Live) {
    this.#live = live;
  }

  /** Asks anew, of an operation that was laid so. */
  async read(laid: Laid): Promise<void> {
    this.#laid = laid;
    await this.#ask(this.#wanted);
  }

  /** Takes a file along. What it spoils is said, and all that was there before stays. */
  async take(file: File): Promise<void> {
    this.problem = null;
    let together: RateCase[];
    try {
      if (file.size > LARGEST_BYTES)
        throw new CasesUnread(`${file.name} is larger than 2 MB: it is not a file of cases.`);
      together = broughtAlong(
        this.#wanted,
        readCases(file.name, await file.text()),
        this.#live.session.operation,
      );
    } catch (reason) {
      this.problem =
        reason instanceof CasesUnread ? reason.message : `${file.name} cannot be read: choose it again.`;
      return;
    }
    await this.#ask(together);
  }

  /** This operation alone again. */
  async alone(): Promise<void> {
    await this.#ask([]);
  }

  async #ask(cases: readonly RateCase[]): Promise<void> {
    const question = (this.#question += 1);
    this.#wanted = cases;
    this.busy = true;
    this.problem = null;
    const { client, session } = this.#live;
    try {
      const answer = await answered(
        client.POST('/api/operations/{op}/review/rates', {
          params: { path: { op: session.operation } },
          body: { ...this.#laid, cases: [...cases] },
        }),
      );
      if (question !== this.#question) return;
      this.answer = answer;
      this.brought = cases;
    } catch (reason) {
      if (question !== this.#question) return;
      this.#wanted = this.brought;
      this.problem = inWords(reason, 'No signal: the rates could not be fetched.');
    } finally {
      if (question === this.#question) this.busy = false;
    }
  }
}
