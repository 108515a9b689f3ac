/**
 * What the trade says about a crossing, out of the service's guide: which constructions it may have, what is
 * done first, what is finished, with what care. It repeats the guide and adds no rule of its own.
 */
import type { Choice, Construction, CrossingFeature, Guide, Item, Obstacle } from '../api/types.ts';

/** What to reckon with where nobody has measured a stream's span. SS0440 p. 33: normal span 100 ft. */
export const NORMAL_SPAN_M = 30.48;

export const guideFor = (guides: readonly Guide[], obstacle: Obstacle, hard_surface: boolean): Guide | null =>
  guides.find((guide) => guide.obstacle === obstacle && guide.hard_surface === hard_surface) ?? null;

export const choiceOf = (guide: Guide | null, construction: Construction | null): Choice | null =>
  guide?.allowed.find((choice) => choice.construction === construction) ?? null;

/** What the guide says about this crossing, with the construction it has or with another. */
export function choiceFor(
  guides: readonly Guide[],
  { properties }: CrossingFeature,
  construction: Construction | null = properties.construction,
): Choice | null {
  return choiceOf(guideFor(guides, properties.obstacle, properties.hard_surface), construction);
}

export const isOverhead = (construction: Construction | null): boolean =>
  construction?.startsWith('overhead') ?? false;

/** The items' texts, for ids that a crossing has kept. An id that the guide no longer knows speaks for itself. */
export const textsOf = (items: readonly Item[], ids: readonly string[]): string[] =>
  ids.map((id) => items.find((item) => item.id === id)?.text ?? id.replaceAll('_', ' '));

/** Only a made road can be either; the rest is dug, or it isn't, whatever is asked. */
export const surfaceMatters = (obstacle: Obstacle): boolean =>
  obstacle === 'road' || obstacle === 'main_highway';

/** The stretch of a line over a stream in which no splice may fall. */
export function unbroken({ properties }: CrossingFeature): { from_m: number; to_m: number } | null {
  const { obstacle, construction, state, chainage_m, span_m } = properties;
  if (obstacle !== 'stream' || state === 'struck_out') return null;
  if (construction !== null && !isOverhead(construction)) return null;
  const half_m = (span_m ?? NORMAL_SPAN_M) / 2;
  return { from_m: chainage_m - half_m, to_m: chainage_m + half_m };
}
