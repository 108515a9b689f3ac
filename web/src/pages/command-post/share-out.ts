/**
 * The share-out as the command post changes it: who can be sent, rounds with a crossing moved, and the reports that
 * give them out. It reckons no times: the service does, each time a round has changed.
 */
import type { Body, CrossingFeature, PassFigures, ShareOut } from '../../api/types.ts';
import type { Crew } from '../../operation/crews.svelte.ts';

/** What each team does, in order, by call sign. */
export type Rounds = ReadonlyMap<string, readonly string[]>;

/** The follow-up teams with a good pass, and where each was last known: as it shares it, else where it works or worked last. */
export function teamsOf(
  passes: readonly Pick<PassFigures, 'party' | 'team' | 'revoked_at'>[],
  crews: readonly Pick<Crew, 'team' | 'position'>[],
  crossings: readonly CrossingFeature[],
): { name: string; at: readonly number[] | null }[] {
  const good = passes.filter((pass) => pass.party === 'follow_up_team' && pass.revoked_at === null);
  const names = [...new Set(good.map((pass) => pass.team))];
  names.sort((a, b) => a.localeCompare(b, undefined, { numeric: true }));
  return names.map((name) => {
    const worked = crossings
      .flatMap(({ properties: { in_hand, finished_by, finished_at }, geometry }) => {
        if (in_hand?.team === name) return [{ when: in_hand.since, at: geometry.coordinates }];
        return finished_by === name && finished_at ? [{ when: finished_at, at: geometry.coordinates }] : [];
      })
      .sort((a, b) => b.when.localeCompare(a.when));
    const shares = crews.find((crew) => crew.team === name);
    return { name, at: shares?.position ?? worked[0]?.at ?? null };
  });
}

/** The rounds without what is in hand, which stays where it is. */
export function roundsOf(shared: ShareOut): Rounds {
  return new Map(
    shared.rounds.map(({ team, stops }) => [
      team,
      stops.filter((stop) => !stop.in_hand).map((stop) => stop.crossing),
    ]),
  );
}

/** The rounds with one crossing in another place of what is not in hand. */
export function moved(rounds: Rounds, crossing: string, team: string, at: number): Rounds {
  const next = new Map([...rounds].map(([name, round]) => [name, round.filter((id) => id !== crossing)]));
  const round = [...(next.get(team) ?? [])];
  round.splice(at, 0, crossing);
  return next.set(team, round);
}

/** The reports that make the log say what the rounds say: nothing is told again that stands so. */
export function givenOut(shared: ShareOut, crossings: ReadonlyMap<string, CrossingFeature>): Body[] {
  const stops = shared.rounds.flatMap((round) => round.stops);
  const inRounds = new Set(stops.map((stop) => stop.crossing));
  const given = (id: string) => crossings.get(id)?.properties.given_to ?? null;
  const anew = stops.filter(({ crossing, to }) => {
    const now = given(crossing);
    return now?.team !== to.team || now.place !== to.place;
  });
  const nobodys = [...crossings.values()].filter(
    ({ id, properties: { given_to } }) =>
      given_to !== null && !inRounds.has(id) && shared.rounds.some((round) => round.team === given_to.team),
  );
  return [
    ...nobodys.map(({ id }): Body => ({ kind: 'crossing_given_out', crossing: id })),
    ...anew.map(({ crossing, to }): Body => ({ kind: 'crossing_given_out', crossing, to })),
  ];
}
