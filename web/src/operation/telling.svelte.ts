/**
 * The last thing this page reported, and the way to take it back while it is fresh. A report that was pressed
 * by mistake and may have left the device is corrected, never erased: the wire log keeps both.
 */
import type { Body } from '../api/types.ts';
import { OutboxFull, type Report } from '../outbox/outbox.ts';
import type { Place, Reporter } from './reporter.svelte.ts';
import { vibration } from './vibration.svelte.ts';

/** How long the way back is offered. */
export const OFFERED_MS = 10_000;

export const BY_MISTAKE = 'Pressed by mistake.';

/** What takes a report back: a correction, striking the new crossing out, or something the page does. */
export type Back = 'withdraw' | 'strike out' | { label: string; press: () => void } | null;

export interface Told {
  words: string;
  report: Report<Body>;
  back: Back;
}

export class Telling {
  told = $state.raw<Told | null>(null);
  /** why the last one could not even be stored */
  trouble = $state<string | null>(null);
  /** what has to be reported first, so that chainages fit: where the wire lies by now */
  before: (() => Promise<void>) | null = null;
  readonly #reporter: Reporter;
  #timer: ReturnType<typeof setTimeout> | null = null;

  constructor(reporter: Reporter) {
    this.#reporter = reporter;
  }

  /** Stores the report, says so, and offers the way back. Null when the device could not keep it. */
  async tell(body: Body, at: Place | null, words: string, back: Back): Promise<Report<Body> | null> {
    await this.before?.();
    const report = await this.quietly(body, at);
    if (!report) return null;
    vibration.done();
    this.#show({ words, report, back });
    return report;
  }

  /** The same without a word, for what the device does by itself. */
  async quietly(body: Body, at: Place | null, id?: string): Promise<Report<Body> | null> {
    try {
      this.trouble = null;
      return await this.#reporter.report(body, at, id);
    } catch (reason) {
      this.trouble =
        reason instanceof OutboxFull
          ? reason.message
          : 'This device could not keep the report: it was not stored. Open the page again, then report once more.';
      return null;
    }
  }

  /** What is shown: what the service refused is said by the refusal. */
  get shown(): Told | null {
    const { told } = this;
    return told && this.#reporter.outcomeOf(told.report.id)?.outcome !== 'refused' ? told : null;
  }

  async takeBack(): Promise<void> {
    const told = this.shown;
    this.close();
    if (!told?.back) return;
    const { back, report } = told;
    if (typeof back === 'object') {
      back.press();
      return;
    }
    // What has not left the device need not be corrected: nobody has heard of it.
    if (await this.#reporter.takeOut(report.id)) {
      this.#show({ words: `Taken back: “${told.words}”`, report, back: null });
      return;
    }
    const body: Body =
      back === 'strike out' && report.body.kind === 'crossing_marked'
        ? { kind: 'crossing_struck_out', crossing: report.body.crossing, because: BY_MISTAKE }
        : { kind: 'correction', corrects: report.id, because: BY_MISTAKE };
    if (await this.quietly(body, report.position)) {
      this.#show({ words: `Taken back: “${told.words}”`, report, back: null });
    }
  }

  close(): void {
    if (this.#timer) clearTimeout(this.#timer);
    this.#timer = null;
    this.told = null;
  }

  #show(told: Told): void {
    this.close();
    this.told = told;
    this.#timer = setTimeout(() => this.close(), OFFERED_MS);
  }
}
