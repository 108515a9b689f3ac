import { expect, it } from 'vitest';
import { uuid7, uuid7Maker } from './uuid7.ts';

it('is laid out as in RFC 9562, appendix A.6', () => {
  // The RFC's example: 0x017F22E279B0 ms, rand_a 0xCC3, rand_b 0x18C4DC0C0C07398F. The top bit of
  // rand_a is ours to leave at 0 (method 1 of section 6.2), which makes 0xCC3 into 0x4C3.
  const random = [0, 0, 0, 0, 0, 0, 0xcc, 0xc3, 0x18, 0xc4, 0xdc, 0x0c, 0x0c, 0x07, 0x39, 0x8f];
  const make = uuid7Maker({ now: () => 0x017f22e279b0, random: (bytes) => bytes.set(random) });
  expect(make()).toBe('017f22e2-79b0-74c3-98c4-dc0c0c07398f');
});

it('rises within a millisecond, beyond the counter, and when the clock is set back', () => {
  let now = 1_800_000_000_000;
  const make = uuid7Maker({ now: () => now, random: (bytes) => void crypto.getRandomValues(bytes) });
  const ids = Array.from({ length: 10_000 }, make);
  now -= 60_000;
  ids.push(make());
  now += 3_600_000;
  ids.push(make());
  expect(ids).toEqual([...ids].sort());
  expect(new Set(ids).size).toBe(ids.length);
});

it('carries the device time', () => {
  const before = Date.now();
  const at = Number.parseInt(uuid7().replaceAll('-', '').slice(0, 12), 16);
  expect(at).toBeGreaterThanOrEqual(before);
  expect(at).toBeLessThanOrEqual(Date.now() + 1);
  expect(uuid7()).toMatch(/^[\da-f]{8}-[\da-f]{4}-7[\da-f]{3}-[89ab][\da-f]{3}-[\da-f]{12}$/);
});
