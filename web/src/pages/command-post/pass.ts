/** What a pass says to whoever gets it, on the screen and on paper. */
import type { Reach } from '../../api/types.ts';

/** Where crews come in: the address that the service was told, or else the one that this page came from. */
export function joinAddress(reach: Reach | null): string {
  return `${reach?.address ?? location.origin}/join`;
}

/** The link that lets its holder in. The secret stands behind the #, so that no log has it. */
export function joinLink(reach: Reach | null, secret: string): string {
  return `${joinAddress(reach)}#${secret}`;
}

/** A fingerprint in rows of eight pairs, as one reads it out. */
export function read(sha256: string): string[] {
  const pairs = sha256.split(':');
  return [0, 8, 16, 24].map((start) => pairs.slice(start, start + 8).join(' '));
}
