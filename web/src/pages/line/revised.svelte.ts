/** Asks the service again whenever the line has changed, and when the signal is back. */
import { untrack } from 'svelte';
import type { LineFeature } from '../../api/types.ts';
import type { Reckoning } from '../../operation/reckoning.svelte.ts';

interface Heard {
  readonly lines: ReadonlyMap<string, LineFeature>;
  readonly feed: string;
}

/** The question is only which turn it is: the service knows the line as it is now. */
export function revised<Answer>(heard: Heard, line: string, look: Reckoning<number, Answer>): void {
  let turn = 0;
  // A change of the line is another object; what changes on other lines leaves it as it is.
  const now = $derived(heard.lines.get(line));
  $effect(() => {
    if (now) untrack(() => look.ask((turn += 1)));
  });
  $effect(() => {
    if (heard.feed === 'live') untrack(() => look.again());
  });
}
