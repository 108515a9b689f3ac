/**
 * The reels that a section has at hand, as this device keeps them for an operation: what stands on them and what is
 * left. They are for planning alone; a reel that is begun is reported.
 */
import { keep, keptText } from '../ui/kept.ts';
import type { AtHand } from './bar.ts';

/** More are chosen from a list than can be read on a page. The service takes 500. */
export const MOST_REELS = 60;

const key = (operation: string) => `reels.${operation}`;

function isReel(value: unknown): value is AtHand {
  const { label, left_m, class: tagged } = (value ?? {}) as Partial<AtHand>;
  return (
    typeof label === 'string' &&
    typeof left_m === 'number' &&
    Number.isFinite(left_m) &&
    (tagged === 'a' || tagged === 'b')
  );
}

export function reelsKept(operation: string): AtHand[] {
  try {
    const found: unknown = JSON.parse(keptText(key(operation)) ?? '[]');
    return Array.isArray(found) ? found.filter(isReel).slice(0, MOST_REELS) : [];
  } catch {
    // Not ours, or cut off: begin anew.
    return [];
  }
}

export const keepReels = (operation: string, reels: readonly AtHand[]): void =>
  keep(key(operation), JSON.stringify(reels));
