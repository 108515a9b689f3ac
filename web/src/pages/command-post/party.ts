/** The parties in words. */
import type { Party } from '../../api/types.ts';

export const partyWords: Record<Party, string> = {
  command_post: 'command post',
  lead_team: 'lead team',
  follow_up_team: 'follow-up team',
  observer: 'observer',
};
