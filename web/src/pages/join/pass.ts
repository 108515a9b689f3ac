/**
 * A pass in what somebody scanned: the bare secret, or a link with the secret behind its #. It knows the
 * shape of a pass alone; whether it is good, the service says.
 */
export type Found =
  | { found: 'pass'; pass: string }
  /** a pass for a service at another address */
  | { found: 'elsewhere'; host: string }
  | { found: 'nothing' };

/** 28 letters and figures, with blanks and dashes as they may be. */
const shape = /^[\s-]*(?:[0-9a-z][\s-]*){28}$/i;

export function passIn(text: string, origin: string): Found {
  if (shape.test(text)) return { found: 'pass', pass: text.trim() };
  if (!URL.canParse(text)) return { found: 'nothing' };
  const link = new URL(text);
  const pass = behindHash(link.hash);
  if (link.pathname !== '/join' || pass === null) return { found: 'nothing' };
  return link.origin === origin ? { found: 'pass', pass } : { found: 'elsewhere', host: link.host };
}

/** The pass behind a link's #, or null when there is none that could be one. */
export function behindHash(hash: string): string | null {
  try {
    const text = decodeURIComponent(hash.replace(/^#/, ''));
    return shape.test(text) ? text.trim() : null;
  } catch {
    // A % that begins no escape: somebody cut the link.
    return null;
  }
}
