/** The lead team's report that the wire is over, while it is being filled in. The list is not compulsory; whether wire lies in traffic has to be said. */
import type { Body, Choice } from '../api/types.ts';
import { heightNeeded, type Units } from '../ui/figures.ts';
import { isOverhead } from './guidance.ts';
import { lengthTyped } from './measure.ts';

/** the item of a lead team's list that gets the wire off the road */
const LIFT = 'lift';

export class WireOverForm {
  readonly crossing: string;
  readonly units: Units;
  done = $state<string[]>([]);
  inTraffic = $state<'yes' | 'no' | null>(null);
  height = $state('');
  asked = $state(false);

  constructor(crossing: string, units: Units) {
    this.crossing = crossing;
    this.units = units;
  }

  get height_m(): number | null {
    return lengthTyped(this.height, this.units);
  }

  tick(item: string, done: boolean): void {
    this.done = done ? [...this.done, item] : this.done.filter((id) => id !== item);
  }

  heightProblem(choice: Choice | null): string | undefined {
    if (this.height.trim() === '') return undefined;
    const { height_m } = this;
    if (height_m === null) return 'Write a height, or leave it empty.';
    const least_m = choice?.least_height_m;
    if (typeof least_m === 'number' && height_m < least_m - 0.005) {
      return `The wire hangs too low: at least ${heightNeeded(least_m, this.units)}. Raise it.`;
    }
    return height_m <= 0 ? 'Write a height above 0.' : undefined;
  }

  /** Said to be clear, and yet not lifted: it counts as lying in traffic (craft's rule, installation.rs). */
  notLifted(choice: Choice | null): boolean {
    return (
      this.inTraffic === 'no' &&
      choice?.lead.some(({ id }) => id === LIFT) === true &&
      !this.done.includes(LIFT)
    );
  }

  missing(choice: Choice | null): string[] {
    const height = this.heightProblem(choice);
    return [
      ...(this.inTraffic === null ? ['Say whether wire lies where vehicles run.'] : []),
      ...(height ? [height] : []),
    ];
  }
}

export function wireOver(form: WireOverForm, choice: Choice | null): Body {
  return {
    kind: 'crossing_passed',
    crossing: form.crossing,
    clear_of_traffic: form.inTraffic === 'no',
    done: form.done,
    clearance_m: isOverhead(choice?.construction ?? null) ? form.height_m : null,
  };
}
