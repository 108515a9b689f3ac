/**
 * What a trace will meet, as the chief means to build it: the service's proposals and what was changed in them. A crossing
 * is known by what is drawn on the map there, so that a change stays with it while the trace is moved.
 */
import type { Construction, CrossingFeature, ForeseenCrossing, PlannedCrossing } from '../../api/types.ts';
import { distance_m } from '../../operation/ground.ts';
import { obstacleWords, place } from '../../operation/look.ts';
import type { StripCrossing } from '../../strip/line.ts';

export interface Change {
  /** null: left open, whoever comes there looks and chooses */
  construction: Construction | null;
  because: string;
}

export interface Planned {
  key: string;
  /** the crossing's id in the plan, and when it is issued in the installation */
  id: string;
  found: ForeseenCrossing;
  construction: Construction | null;
  change: Change | null;
}

/** Two places of one crossing that were planned at different times are not farther apart than this. */
const SAME_PLACE_M = 25;

/** A name for each crossing that it keeps while the trace is moved. */
export function keysOf(found: readonly ForeseenCrossing[]): string[] {
  const seen = new Map<string, number>();
  return found.map(({ obstacle, met }) => {
    const drawn = `${obstacle} ${JSON.stringify(met[0]?.drawn ?? null)}`;
    const times = (seen.get(drawn) ?? 0) + 1;
    seen.set(drawn, times);
    return `${drawn} ${times}`;
  });
}

/** What is under the ground is no crossing: the wire is laid over it. */
const isCrossing = ({ passes }: ForeseenCrossing): boolean => passes !== 'beneath';

/**
 * The crossings of a plan. `changes` are the chief's: null where a crossing shall be built as proposed after all. `known` are those
 * that an issued plan gave the line, and `earlier` those of the saved plan that is drawn on from, with its own changes; `ids` are the
 * names that this page has given, and is added to.
 */
export function planned(
  found: readonly ForeseenCrossing[],
  changes: ReadonlyMap<string, Change | null>,
  known: readonly CrossingFeature[],
  ids: Map<string, string>,
  fresh: () => string,
  earlier: readonly PlannedCrossing[] = [],
): Planned[] {
  const crossings = found.filter(isCrossing);
  const keys = keysOf(crossings);
  const taken = new Set<string>();
  return crossings.map((crossing, n) => {
    const key = keys[n] ?? '';
    const isHere = (obstacle: string, position: readonly number[]) =>
      obstacle === crossing.obstacle && distance_m(place(position), place(crossing.position)) <= SAME_PLACE_M;
    const same = known.find(
      ({ id, properties, geometry }) => !taken.has(id) && isHere(properties.obstacle, geometry.coordinates),
    );
    const before = earlier.find((one) => !taken.has(one.crossing) && isHere(one.obstacle, one.position));
    const id = same?.id ?? ids.get(key) ?? before?.crossing ?? fresh();
    if (!same) ids.set(key, id);
    taken.add(id);
    const chosen = changes.get(key);
    const change = chosen === undefined ? changeIn(before) : chosen;
    return {
      key,
      id,
      found: crossing,
      change,
      construction: change ? change.construction : crossing.proposed.construction,
    };
  });
}

/** What a saved plan has otherwise than was proposed: it says why. */
const changeIn = (before: PlannedCrossing | undefined): Change | null =>
  before?.because ? { construction: before.construction ?? null, because: before.because } : null;

/** As the service takes it. */
export const toSend = ({ id, found, construction, change }: Planned): PlannedCrossing => ({
  crossing: id,
  position: [...found.position],
  obstacle: found.obstacle,
  hard_surface: found.hard_surface,
  construction,
  because: change ? change.because : null,
  detour_m: construction === found.proposed.construction ? found.proposed.detour_m : null,
});

export const toStrip = ({ id, found, construction }: Planned): StripCrossing => ({
  id,
  chainage_m: found.chainage_m,
  obstacle: obstacleWords[found.obstacle],
  state: 'foreseen',
  construction,
  inTraffic: false,
  team: null,
});
