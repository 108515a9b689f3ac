/** Which units this device shows. Everything kept or sent stays in metres: this is for eyes alone. */
import { type Units, unitSystems } from './figures.ts';
import { keep, kept } from './kept.ts';

let shown = $state<Units>(kept('units', unitSystems, 'metric'));

export const units = {
  get now(): Units {
    return shown;
  },
  show(next: Units): void {
    shown = next;
    keep('units', next);
  },
};
