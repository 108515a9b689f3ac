/**
 * Which of a line's reports a party is offered. The service's table decides (duty.rs); this only keeps a page from
 * asking what it would refuse.
 */
import type { Kind, Party } from '../api/types.ts';

type OnLine = Extract<
  Kind,
  | 'call_back_good'
  | 'note'
  | 'test_made'
  | 'watch_set'
  | 'trouble_reported'
  | 'trouble_narrowed'
  | 'trouble_cleared'
  | 'line_proved'
  | 'line_handed_over'
>;

export function may(party: Party, kind: OnLine): boolean {
  if (party === 'command_post') return true;
  if (party === 'observer' || kind === 'line_handed_over') return false;
  return kind !== 'line_proved' || party === 'lead_team';
}
