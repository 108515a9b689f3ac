/** What the service advises at a place, as options to choose from: the best first, what is refused barred with its rule. */
import type { Choice, Construction, Guide, SiteAnswer, SiteWay } from '../api/types.ts';
import { capital } from '../operation/look.ts';
import { constructionWords } from '../strip/tag.ts';
import { distance, heightNeeded, saidIn, type Units } from '../ui/figures.ts';

export interface Option {
  value: Construction;
  label: string;
  note?: string;
  barred?: string;
}

const label = (construction: Construction) => capital(constructionWords(construction));

function heights({ least_height_m, least_depth_m }: Choice, units: Units): string[] {
  return [
    ...(typeof least_height_m === 'number' ? [`At least ${heightNeeded(least_height_m, units)} high.`] : []),
    ...(typeof least_depth_m === 'number' ? [`At least ${heightNeeded(least_depth_m, units)} deep.`] : []),
  ];
}

export const noteOf = ({ reason, choice, wire }: SiteWay, units: Units): string =>
  [
    saidIn(reason, units),
    `${distance(Math.ceil(wire.drawn_m), units)} of wire.`,
    ...heights(choice, units),
  ].join(' ');

/** By the guide alone, or by what is at hand where the service has judged it. */
export function options(guide: Guide | null, advice: SiteAnswer | null, units: Units): Option[] {
  const allowed = advice
    ? advice.ways.map((way) => ({ construction: way.choice.construction, note: noteOf(way, units) }))
    : (guide?.allowed ?? []).map((choice) => ({
        construction: choice.construction,
        note: [saidIn(choice.reason, units), ...heights(choice, units)].join(' '),
      }));
  return [
    ...allowed.map(({ construction: value, note }) => ({ value, label: label(value), note })),
    ...((advice ?? guide)?.refused ?? []).map(({ construction: value, reason }) => ({
      value,
      label: label(value),
      barred: saidIn(reason, units),
    })),
  ];
}

export const wayOf = (advice: SiteAnswer | null, construction: Construction | null): SiteWay | null =>
  advice?.ways.find((way) => way.choice.construction === construction) ?? null;
