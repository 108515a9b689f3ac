/**
 * The follow-up team's work on one crossing while it is being done: what is ticked, measured and changed. It
 * is kept on the device until the crossing is finished, so that a closed page or an empty battery loses none.
 * What the service will refuse for is said beforehand in its own terms; the service decides.
 */
import type { Body, Choice, Construction, CrossingFeature, Guide } from '../api/types.ts';
import { heightNeeded, type Units } from '../ui/figures.ts';
import { forget, keep, keptText } from '../ui/kept.ts';
import { choiceOf, guideFor, isOverhead } from './guidance.ts';
import { lengthTyped, lengthWritten } from './measure.ts';
import { OFFERED_MS } from './telling.svelte.ts';

export interface Work {
  construction: Construction | null;
  done: readonly string[];
  height_m: number | null;
  depth_m: number | null;
}

/** What still stands between this work and 'finished', in words; empty when nothing does. */
export function stillMissing(choice: Choice | null, work: Work, units: Units): string[] {
  if (!choice) return ['Choose a construction.'];
  if (!choice.lasting) return ['A ladder is temporary: choose what replaces it.'];
  const missing: string[] = [];
  const { least_height_m, least_depth_m } = choice;
  if (isOverhead(choice.construction)) {
    if (work.height_m === null) missing.push('Measure the height.');
    else if (typeof least_height_m === 'number' && work.height_m < least_height_m - 0.005)
      missing.push(`The wire hangs too low: at least ${heightNeeded(least_height_m, units)}.`);
    else if (work.height_m <= 0) missing.push('The wire must hang clear of the highest water.');
  }
  if (typeof least_depth_m === 'number') {
    if (work.depth_m === null) missing.push('Measure the depth.');
    else if (work.depth_m < least_depth_m)
      missing.push(`The trench is too shallow: at least ${heightNeeded(least_depth_m, units)}.`);
  }
  const left = choice.finish.filter((item) => !work.done.includes(item.id)).length;
  if (left > 0)
    missing.push(
      left === 1 ? '1 thing on the list is not ticked.' : `${left} things on the list are not ticked.`,
    );
  return missing;
}

export function finished(crossing: CrossingFeature, choice: Choice, work: Work): Body {
  const done = choice.finish.map((item) => item.id).filter((id) => work.done.includes(id));
  return {
    kind: 'crossing_finished',
    crossing: crossing.id,
    done,
    construction: choice.construction === crossing.properties.construction ? null : choice.construction,
    clearance_m: isOverhead(choice.construction) ? work.height_m : null,
    depth_m: typeof choice.least_depth_m === 'number' ? work.depth_m : null,
  };
}

/** Figures are kept in metres: who changes the units meanwhile does not change what was measured. */
type Kept = Partial<Work>;

const key = (crossing: string) => `finishing.${crossing}`;

const figure = (value: unknown): number | null =>
  typeof value === 'number' && Number.isFinite(value) ? value : null;

function before(crossing: string): Kept {
  try {
    const found: unknown = JSON.parse(keptText(key(crossing)) ?? '{}');
    return typeof found === 'object' && found !== null ? found : {};
  } catch {
    // Not ours, or cut off: begin anew.
    return {};
  }
}

export class Finishing {
  readonly crossing: string;
  readonly guide: Guide | null;
  construction = $state<Construction | null>(null);
  done = $state<string[]>([]);
  height = $state('');
  depth = $state('');

  readonly #units: Units;

  constructor(crossing: CrossingFeature, guides: readonly Guide[], units: Units) {
    this.crossing = crossing.id;
    this.#units = units;
    const { obstacle, hard_surface, construction, clearance_m } = crossing.properties;
    this.guide = guideFor(guides, obstacle, hard_surface);
    const kept = before(crossing.id);
    this.construction = choiceOf(this.guide, kept.construction ?? null)?.construction ?? construction;
    this.done = Array.isArray(kept.done) ? kept.done.filter((id) => typeof id === 'string') : [];
    this.height = lengthWritten(figure(kept.height_m) ?? clearance_m, units);
    this.depth = lengthWritten(figure(kept.depth_m), units);
  }

  get choice(): Choice | null {
    return choiceOf(this.guide, this.construction);
  }

  get work(): Work {
    return {
      construction: this.construction,
      done: this.done,
      height_m: lengthTyped(this.height, this.#units),
      depth_m: lengthTyped(this.depth, this.#units),
    };
  }

  get missing(): string[] {
    return stillMissing(this.choice, this.work, this.#units);
  }

  tick(item: string, done: boolean): void {
    this.done = done
      ? [...this.done.filter((id) => id !== item), item]
      : this.done.filter((id) => id !== item);
    this.keep();
  }

  keep(): void {
    keep(key(this.crossing), JSON.stringify(this.work satisfies Kept));
  }

  /** Forgets the work once the way back is offered no longer, unless it was taken: then it goes on where it was. */
  forgetUnless(takenBack: () => boolean): void {
    setTimeout(() => {
      if (!takenBack()) forget(key(this.crossing));
    }, OFFERED_MS + 1_000);
  }
}
