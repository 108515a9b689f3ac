/**
 * Ids for reports, made on the device: UUID version 7 (RFC 9562, section 5.7), 48 bits of Unix time in
 * milliseconds and 74 random bits. Ids of one millisecond on one device rise too, by counting up the 12
 * bits after the version (section 6.2, method 1), so that reports sort as they were made.
 */
export interface Uuid7Source {
  now: () => number;
  random: (bytes: Uint8Array<ArrayBuffer>) => void;
}

const device: Uuid7Source = { now: Date.now, random: (bytes) => void crypto.getRandomValues(bytes) };

/** A maker of rising ids. */
export function uuid7Maker({ now, random }: Uuid7Source = device): () => string {
  let at = -1;
  let count = 0;
  return () => {
    const bytes = new Uint8Array(16);
    random(bytes);
    const time = now();
    if (time > at) {
      at = time;
      // The top bit starts at 0, which leaves at least 2,048 ids before the count runs over.
      count = (((bytes[6] ?? 0) << 8) | (bytes[7] ?? 0)) & 0x7ff;
    } else {
      // The same millisecond, or a clock that was set back: count on, and borrow from the next when full.
      count += 1;
      if (count > 0xfff) {
        at += 1;
        count = 0;
      }
    }
    for (let byte = 0; byte < 6; byte += 1) bytes[byte] = Math.floor(at / 2 ** (8 * (5 - byte))) % 256;
    bytes[6] = 0x70 | (count >> 8);
    bytes[7] = count & 0xff;
    bytes[8] = 0x80 | ((bytes[8] ?? 0) & 0x3f);
    const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, '0')).join('');
    return [8, 12, 16, 20].reduceRight((text, cut) => `${text.slice(0, cut)}-${text.slice(cut)}`, hex);
  };
}

export const uuid7 = uuid7Maker();
