/** What taking up wire is called on the pages: what has to be true first, what lies, what a crossing wants, with what care. */
import type { CallBack, Construction, Item, JudgedTest, WireClass, WireFate } from '../api/types.ts';
import { distance, type Units } from '../ui/figures.ts';
import { long_m, type Stretch } from './standing.ts';

export const classWords: Record<WireClass, string> = {
  a: 'class A: for use in the field',
  b: 'class B: for training and in the rear',
};

export const fateWords: Record<WireFate, string> = { lost: 'lost', left: 'left where it lies' };

export const spliceWords = (count: number): string =>
  count === 0 ? 'no splice' : count === 1 ? '1 splice' : `${count} splices`;

export const stretchWords = ({ from_m, to_m }: Stretch, units: Units): string =>
  `${distance(from_m, units)} to ${distance(to_m, units)}`;

export function lyingWords(lying: readonly Stretch[], units: Units): string {
  if (lying.length === 0) return 'Nothing of it lies any more.';
  const where = lying.map((one) => stretchWords(one, units)).join(', ');
  return `${distance(long_m(lying), units)} still ${lying.length === 1 ? 'lies' : `lies in ${lying.length} stretches`}: ${where}.`;
}

export interface LastWord {
  at: string;
  team: string;
  alive: boolean;
}

/** The last that was heard over the line, or not heard; null where nobody ever tried. Of two at one time the living counts. */
export function lastWord(
  calls: readonly CallBack[],
  tests: readonly Pick<JudgedTest, 'test'>[],
): LastWord | null {
  const all: LastWord[] = [
    ...calls.map(({ at, team }) => ({ at, team, alive: true })),
    ...tests.map(({ test: { at, team, rang, spoke } }) => ({ at, team, alive: rang || spoke })),
  ];
  return all.reduce<LastWord | null>((last, one) => {
    const later = last === null ? 1 : Date.parse(one.at) - Date.parse(last.at);
    return later > 0 || (later === 0 && one.alive) ? one : last;
  }, null);
}

/** What is taken away where a crossing was. SS0440 p. 68: tags and ties off, untied first; the rest common practice, no source. */
export function makeGoodWords(construction: Construction | null): string {
  switch (construction) {
    case 'overhead_trees':
      return 'Wire and ties out of the trees, no limb left hanging; tags off.';
    case 'overhead_poles':
      return 'Wire and ties off the poles, the poles as they were found; tags off.';
    case 'overhead_lance_poles':
      return 'Wire, poles, guys and stakes down, holes filled; tags off.';
    case 'buried':
      return 'Wire out, trench filled and trodden level; tags off.';
    case 'under_rails':
      return 'Wire out from under the rails, ballast and trench as they were; tags off. Tell the railway that everybody is clear.';
    case 'through_culvert':
    case 'under_bridge':
      return 'Wire, ties and rods out, nothing left that can catch water or traffic; tags off.';
    case 'ladder':
      return 'Ladder off the road, its pins and scraps swept away; tags off.';
    case null:
      return 'Wire, ties and stakes away, the place as it was found; tags off.';
  }
}

const PRACTICE = 'common practice, no source';

/** What goes for all taking up; a crossing's own cautions stand with it. */
export const cautions: readonly Item[] = [
  {
    id: 'alive',
    text: 'A living wire: listen before you cut or pull. If it rings or somebody speaks, stop and tell the command post: it may be another’s line.',
    source: PRACTICE,
  },
  {
    id: 'strain',
    text: 'Wire under strain: untie it first, then reel. It whips when it comes free: nobody stands in its way, or beneath it.',
    source: 'SS0440 p. 68; the whip: common practice, no source',
  },
  {
    id: 'hands',
    text: 'Hands: leather gloves. Reel slowly, by hand, and look at every metre for cuts, worn places and splices.',
    source: 'PS 615 pp. 42-43',
  },
  {
    id: 'traffic',
    text: 'Roads, rails and water: a crossing comes out with its own cautions. Never pull wire across a way that is open to traffic.',
    source: PRACTICE,
  },
  {
    id: 'storm',
    text: 'Storms: let go of the wire with thunder about. Go back 30 min after the last.',
    source: 'WAC 296-45-385; 30/30 as in contractors’ rules',
  },
  {
    id: 'local',
    text: 'Local codes, the owner’s rules and licensed practice come before this list.',
    source: PRACTICE,
  },
];

/** What goes for a crossing of this kind that nobody has said how it is built. */
export const cautionAnyway: Item = {
  id: 'anyway',
  text: 'Nobody has said how the wire is crossed here: look first for traffic, trains, water, power lines and what is buried. Local codes and licensed practice come first.',
  source: PRACTICE,
};

/** How many splices somebody typed; null where it is no such number. */
export function countTyped(text: string): number | null {
  return /^\d{1,3}$/.test(text.trim()) ? Number(text.trim()) : null;
}
