/** Asks the service again whenever the line has changed, and when the signal is back. */
import type { LineFeature } from '../../api/types.ts';
import { reckonWhileSeen, type Reckoning } from '../../operation/reckoning.svelte.ts';

interface Heard {
  readonly lines: ReadonlyMap<string, LineFeature>;
  readonly feed: string;
}

/** The question is only which turn it is: the service knows the line as it is now. */
export function revised<Answer>(
  heard: Heard,
  line: string,
  call: (signal: AbortSignal) => Promise<Answer>,
): Reckoning<number, Answer> {
  let turn = 0;
  // A change of the line is another object; what changes on other lines leaves it as it is.
  const now = $derived(heard.lines.get(line));
  return reckonWhileSeen(
    () => heard.feed,
    () => (now ? (turn += 1) : null),
    (_, signal) => call(signal),
  );
}
