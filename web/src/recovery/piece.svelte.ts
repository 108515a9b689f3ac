/** A piece of the line as it is typed: from where to where, and how much wire it is. */
import type { Units } from '../ui/figures.ts';
import type { Stretch } from './standing.ts';
import { chainageWritten, stretchTyped, wireTyped } from './stretch.ts';

export class Piece {
  readonly units: Units;
  readonly #offered: Stretch | null;
  from = $state('');
  to = $state('');
  wire = $state('');

  /** It begins as the stretch that is most likely meant. */
  constructor(offered: Stretch | null, units: Units) {
    this.units = units;
    this.#offered = offered;
    if (!offered) return;
    this.from = chainageWritten(offered.from_m, units);
    this.to = chainageWritten(offered.to_m, units);
  }

  /** the stretch that is meant, or what is wrong with each end */
  get meant(): ReturnType<typeof stretchTyped> {
    return stretchTyped(this.from, this.to, this.units, this.#offered);
  }

  get length_m(): number | null {
    return wireTyped(this.wire, this.units);
  }
}
