/** The review as it was read, and what the pictures of its lines are drawn from. */
/* eslint svelte/prefer-svelte-reactivity: 'off' -- the map here is never changed, only replaced as a whole. */
import { answered, inWords, Problem } from '../../api/client.ts';
import type { ForecastAnswer, LineReview, Review } from '../../api/types.ts';
import type { Picture } from '../../chart/time-distance.ts';
import type { Live } from '../../operation/live.svelte.ts';
import { asAtTheStart, drawnFrom, expected, ofWhatWasLaid, picture, type Planned } from './hindsight.ts';
import { Log } from './log.ts';

export class Hindsight {
  readonly #live: Live;
  readonly log: Log;
  review = $state.raw<Review | null>(null);
  /** each line's picture, as soon as its entries are here */
  pictures = $state.raw<ReadonlyMap<string, Picture>>(new Map());
  problem = $state<string | null>(null);
  busy = $state(false);

  /** the question that is under way: what an earlier one brings late is not shown any more */
  #question = 0;

  constructor(live: Live) {
    this.#live = live;
    const path = { op: live.session.operation };
    this.log = new Log((before, limit) =>
      answered(live.client.GET('/api/operations/{op}/log', { params: { path, query: { before, limit } } })),
    );
  }

  /** Reads it anew. */
  async read(planned: Planned): Promise<void> {
    const question = (this.#question += 1);
    this.busy = true;
    this.problem = null;
    const path = { op: this.#live.session.operation };
    try {
      const review = await answered(
        this.#live.client.GET('/api/operations/{op}/review', { params: { path, query: planned } }),
      );
      if (question !== this.#question) return;
      this.review = review;
      const pictures = await this.#draw(review, planned);
      if (question === this.#question) this.pictures = pictures;
    } catch (reason) {
      if (question !== this.#question) return;
      this.problem = inWords(reason, 'No signal: the review could not be fetched.');
    } finally {
      if (question === this.#question) this.busy = false;
    }
  }

  async #draw(review: Review, planned: Planned): Promise<Map<string, Picture>> {
    const pictures = new Map<string, Picture>();
    const told_ms = review.to === null ? Date.now() : Date.parse(review.to);
    for (const line of review.lines) {
      const feature = this.#live.lines.get(line.line);
      if (!feature || feature.properties.started_at === null) continue;
      const drawn = picture(line, feature, await this.log.entries(drawnFrom(line)), told_ms);
      if (!drawn) continue;
      pictures.set(line.line, drawn);
      const forecast = await this.#forecast(line, drawn.length_m, planned);
      if (forecast?.crossings.length === line.crossings.length)
        pictures.set(line.line, { ...drawn, expected: expected(forecast, drawn.length_m, drawn.from_ms) });
    }
    return pictures;
  }

  /** The line played through from its start. Where the service can't, the picture goes without. */
  async #forecast(line: LineReview, length_m: number, planned: Planned): Promise<ForecastAnswer | null> {
    const { client, session } = this.#live;
    const path = { op: session.operation, line: line.line };
    const done = ['finished', 'proved', 'handed_over', 'recovered'].includes(line.state);
    try {
      const question = done
        ? ofWhatWasLaid(line, length_m, planned)
        : asAtTheStart(
            (
              await answered(
                client.GET('/api/operations/{op}/lines/{line}/forecast', {
                  params: { path, query: { ...planned, runs: 1 } },
                }),
              )
            ).asked,
          );
      return await answered(client.POST('/api/reckon/forecast', { body: question }));
    } catch (reason) {
      if (reason instanceof Problem) return null;
      throw reason;
    }
  }
}
