/**
 * What was drawn and chosen and not saved, kept while the browser's window is open, so that a page that loads again, or is
 * left for the forecast and come back to, has all of it.
 */
import type { PlannedCrossing } from '../../api/types.ts';
import type { LonLat } from '../../map/RouteMap.ts';
import { usual, type Crews } from './crews.ts';
import type { Change } from './planned.ts';

export interface Draft {
  places: readonly LonLat[];
  /** the chief's changes, by the crossing's key */
  changes: readonly (readonly [key: string, change: Change | null])[];
  /** the crossings of the saved plan that is drawn on from */
  earlier: readonly PlannedCrossing[];
  crews: Crews;
  remark: string;
}

type Shelf = Pick<Storage, 'getItem' | 'setItem'>;

export function keepDraft(name: string, draft: Draft, shelf: Shelf = sessionStorage): void {
  try {
    shelf.setItem(name, JSON.stringify(draft));
  } catch {
    // Without room it is not kept; what is on the page stays.
  }
}

/** What was kept; null where nothing was, or nothing that can be read: it is then drawn anew. */
export function draftKept(name: string, shelf: Shelf = sessionStorage): Draft | null {
  try {
    const found = JSON.parse(shelf.getItem(name) ?? 'null') as Partial<Draft> | null;
    if (!Array.isArray(found?.places)) return null;
    return {
      places: found.places,
      changes: found.changes ?? [],
      earlier: found.earlier ?? [],
      crews: { ...usual(), ...found.crews },
      remark: found.remark ?? '',
    };
  } catch {
    return null;
  }
}
