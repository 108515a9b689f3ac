import { beforeEach, expect, it, vi } from 'vitest';
import { Clock } from './clock.ts';

beforeEach(() => {
  const kept = new Map<string, string>();
  vi.stubGlobal('localStorage', {
    getItem: (key: string) => kept.get(key) ?? null,
    setItem: (key: string, value: string) => void kept.set(key, value),
    removeItem: (key: string) => void kept.delete(key),
  });
});

const server = 'Mon, 04 May 2026 08:00:00 GMT';
const server_ms = Date.parse(server);

it('a clock that is three years fast is found out to the second, and is known after a start without a signal', () => {
  const clock = new Clock();
  expect(clock.ahead_ms).toBeNull();
  const ahead_ms = 3 * 365 * 86_400_000;
  clock.heard(server, server_ms + ahead_ms + 300, server_ms + ahead_ms + 700);
  expect(clock.ahead_ms).toBe(ahead_ms);
  expect(new Clock().ahead_ms).toBe(ahead_ms);
  // Set right meanwhile: the next answer says so.
  clock.heard(server, server_ms + 300, server_ms + 700);
  expect(clock.ahead_ms).toBe(0);
});

it('what the answer can not tell apart from right is right', () => {
  const clock = new Clock();
  // Whole seconds, and two seconds on the way: anything up to a second and a half may be the way's.
  clock.heard(server, server_ms - 1_900, server_ms + 100);
  expect(clock.ahead_ms).toBe(0);
  clock.heard(server, server_ms - 8_000, server_ms - 7_900);
  expect(clock.ahead_ms).toBe(-8_450);
});

it('an answer without a time, or one that took very long, says nothing', () => {
  const clock = new Clock();
  clock.heard(null, 0, 10);
  clock.heard('yesterday', 0, 10);
  clock.heard(server, server_ms, server_ms + 60_000);
  clock.heard(server, server_ms, server_ms - 60_000);
  expect(clock.ahead_ms).toBeNull();
});
