/**
 * What a team has seen at a crossing: of each thing that it is there, that it is not, or nothing yet. What nobody has
 * said is not known, never absent. It makes the question to the service, and judges nothing.
 */
import type { Obstacle, SiteInput } from '../api/types.ts';

/** Each thing, and how it is called when it is there and when it is not. */
export const things = {
  culvert: ['Culvert', 'No culvert'],
  bridge: ['Bridge', 'No bridge'],
  trees: ['Trees', 'No trees'],
  poles: ['Poles', 'No poles'],
  lance_poles: ['Lance poles', 'No lance poles'],
  diggable: ['Ground can be dug', 'Ground cannot be dug'],
  power_line: ['Power line near', 'No power line'],
} as const;
export type Thing = keyof typeof things;

/** Two lashed together on each side: common practice, no source. The service says how many the height asks for. */
const LANCE_POLES = 4;

export class AtHand {
  readonly #said = $state<Partial<Record<Thing, boolean | null>>>({});

  /** null: nobody has said */
  of(thing: Thing): boolean | null {
    return this.#said[thing] ?? null;
  }

  /** One press says that it is there, the next that it is not, the third takes back what was said. */
  press(thing: Thing): void {
    const said = this.of(thing);
    this.#said[thing] = said === null ? true : said ? false : null;
  }

  get any(): boolean {
    return Object.values(this.#said).some((said) => said !== null);
  }

  /** The question for this place, or null while nothing is said. */
  input(obstacle: Obstacle, hard_surface: boolean, span_m: number | null): SiteInput | null {
    if (!this.any) return null;
    const there = (thing: Thing) => {
      const said = this.of(thing);
      return said === null ? null : { there: said };
    };
    const lances = this.of('lance_poles');
    return {
      obstacle,
      hard_surface,
      span_m,
      culvert: there('culvert'),
      bridge: there('bridge'),
      trees: this.of('trees'),
      poles: there('poles'),
      lance_poles: lances === null ? null : lances ? LANCE_POLES : 0,
      diggable: this.of('diggable'),
      power_line: there('power_line'),
    };
  }
}
