/** What teams that were apart have to know of each other, in words. The log has what each of them told. */
import type { Conflict, CrossingState, Entry, Kind, LineFeature } from '../api/types.ts';

/** '{team} …' with what the crossing was when it came in, and what is to be done. */
export function conflictWords(
  { told, team, was }: Pick<Conflict, 'told' | 'team' | 'was'>,
  at: string,
): string {
  const [what, so] = saying(told, was);
  return `${team} ${what} at ${at}${so}`;
}

function saying(told: Kind, was: CrossingState): [what: string, so: string] {
  switch (told) {
    case 'crossing_finished':
      if (was === 'in_hand')
        return [
          'reported it finished',
          ', while another team had it in hand. Look at it: finish it, or give it back if nothing is left to do.',
        ];
      if (was === 'struck_out')
        return ['reported it finished', ', where it had been struck out. What was built stands.'];
      return ['finished it as well', '. What was done last is what stands here; the log has both.'];
    case 'crossing_passed':
      if (was === 'struck_out')
        return [
          'reported the wire over',
          ', where it had been struck out. Wire lies here: it is open again.',
        ];
      return ['reported the wire over as well', '. Reckon with the worse of the two.'];
    case 'crossing_marked':
      return ['marked it', ' after it had been struck out: it is a crossing after all.'];
    case 'crossing_struck_out':
      if (was === 'in_hand')
        return ['says it is no crossing', '. It stays with the team that has it in hand: look, and say so.'];
      return [
        'struck it out',
        ', but wire lies here. It counts until the command post or its team says otherwise.',
      ];
    default:
      return ['told of it', '; the log has what.'];
  }
}

/** The newest entry in which somebody else drew a line's plan anew, after one that was read. */
export const planDrawnAnew = (
  entries: readonly Entry[],
  lines: ReadonlyMap<string, LineFeature>,
  team: string,
  read: number,
): { entry: Entry; line: string } | null => {
  for (const entry of entries) {
    const { body } = entry.report;
    if (entry.sequence <= read || entry.by.team === team) continue;
    if (body.kind === 'correction' && body.instead?.kind === 'line_planned')
      return { entry, line: body.instead.designation };
    if (body.kind === 'plan_issued')
      return { entry, line: lines.get(body.line)?.properties.designation ?? '' };
  }
  return null;
};
