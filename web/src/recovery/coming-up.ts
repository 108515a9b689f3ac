/** The little of taking up that stands on a team's first page; the rest is fetched when it is opened. */
import type { LineProperties } from '../api/types.ts';
import { capital, lineName } from '../operation/look.ts';

/** What a team reads on its page of a line that was ordered up; null of one that was not. */
export function comingUp({ designation, ordered_up, state }: LineProperties): string | null {
  if (!ordered_up) return null;
  const name = capital(lineName(designation));
  return state === 'recovered' ? `${name} is up: what is left to do` : `${name} is to come up`;
}
