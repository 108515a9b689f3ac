import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import type { Client } from '../api/client.ts';
import type { CrewPosition } from '../api/types.ts';
import { agoWords, Crews } from './crews.svelte.ts';
import { Sharing } from './sharing.svelte.ts';

const start = Date.parse('2026-05-04T10:00:00Z');
const time = (after_s: number) => new Date(start + after_s * 1000).toISOString();
const crew = (seat: string, team: string, at_s = 0, until_s = 3_600): CrewPosition => ({
  seat,
  team,
  party: 'lead_team',
  position: [-4.65, 54.09],
  accuracy_m: 5,
  at: time(at_s),
  until: time(until_s),
});

beforeEach(() => {
  vi.useFakeTimers({ now: start });
  const kept = new Map<string, string>();
  vi.stubGlobal('localStorage', {
    getItem: (key: string) => kept.get(key) ?? null,
    setItem: (key: string, value: string) => void kept.set(key, value),
    removeItem: (key: string) => void kept.delete(key),
  });
});

afterEach(() => {
  vi.useRealTimers();
  vi.unstubAllGlobals();
});

it('the others are shown by call sign, I am not, and whose time is up is not', () => {
  const crews = new Crews();
  crews.hearAll({ now: time(0), crews: [crew('c', 'Lead 10'), crew('b', 'Lead 2'), crew('me', 'Lead 1')] });
  expect(crews.others('me', start).map(({ team }) => team)).toEqual(['Lead 2', 'Lead 10']);
  crews.hear({ now: time(5), seat: 'b', crew: null });
  crews.hear({ now: time(6), seat: 'd', crew: crew('d', 'Follow-up 1', 6, 60) });
  expect(crews.others('me', start).map(({ team }) => team)).toEqual(['Follow-up 1', 'Lead 10']);
  expect(crews.others('me', start + 60_000).map(({ team }) => team)).toEqual(['Lead 10']);
});

it('the age is by the service’s clock, however wrong the device’s own is', () => {
  const crews = new Crews();
  vi.setSystemTime(start - 86_400_000);
  crews.hearAll({ now: time(300), crews: [crew('a', 'Lead 1', 60)] });
  const [one] = crews.others('me', Date.now());
  expect(one?.ago_ms).toBe(240_000);
  expect(agoWords(one?.ago_ms ?? 0)).toBe('4 min ago');
});

it('news that comes late does not go before what is newer', () => {
  const crews = new Crews();
  crews.hearAll({ now: time(20), crews: [crew('a', 'Lead 1', 20)] });
  crews.hear({ now: time(10), seat: 'a', crew: null });
  expect(crews.others('me', start)).toHaveLength(1);
});

/** A client that notes what it was asked, and answers with this status. */
function client(status: () => number) {
  const asked: { method: string; minutes?: number }[] = [];
  const answer = () => {
    const ok = status() < 400;
    const response = new Response(null, { status: status() });
    return Promise.resolve(ok ? { data: undefined, response } : { error: { status: status() }, response });
  };
  const PUT = (_path: string, { body }: { body: { minutes: number } }) => {
    asked.push({ method: 'PUT', minutes: body.minutes });
    return answer();
  };
  const DELETE = () => {
    asked.push({ method: 'DELETE' });
    return answer();
  };
  return { asked, client: { PUT, DELETE } as unknown as Client };
}

it('nothing is told until the crew says so, and nothing after its time is up', async () => {
  const { asked, client: to } = client(() => 204);
  const sharing = new Sharing(to, 'op', 'seat');
  await sharing.hear([-4.65, 54.09], 5, start);
  expect(asked).toEqual([]);
  sharing.start(1, start);
  await sharing.hear([-4.65, 54.09], 5, start);
  await sharing.hear([-4.65, 54.1], 5, start + 3_600_000);
  expect(asked).toEqual([{ method: 'PUT', minutes: 60 }]);
  expect(sharing.until(start + 3_600_000)).toBeNull();
});

it('a moving crew is told every half minute, one that stands every two', async () => {
  const { asked, client: to } = client(() => 204);
  const sharing = new Sharing(to, 'op', 'seat');
  sharing.start(4, start);
  for (let second = 0; second < 600; second += 1)
    await sharing.hear([-4.65, 54.09], 5, start + second * 1000);
  expect(asked).toHaveLength(5);
  for (let second = 600; second < 1_200; second += 1) {
    await sharing.hear([-4.65 + second * 2e-5, 54.09], 5, start + second * 1000);
  }
  expect(asked.length - 5).toBe(20);
});

it('it outlives a reload, and stops when the crew says so', async () => {
  const { asked, client: to } = client(() => 204);
  new Sharing(to, 'op', 'seat').start(4, start);
  const again = new Sharing(to, 'op', 'seat');
  expect(again.until(start)).toBe(start + 4 * 3_600_000);
  expect(new Sharing(to, 'op', 'other seat').until(start)).toBeNull();
  await again.stop();
  expect(asked.at(-1)?.method).toBe('DELETE');
  expect(new Sharing(to, 'op', 'seat').until(start)).toBeNull();
});

it('stopped without a signal it says that the others are not told yet', async () => {
  const { client: to } = client(() => 503);
  const sharing = new Sharing(to, 'op', 'seat');
  sharing.start(4, start);
  await expect(sharing.stop()).rejects.toThrow('The others see the last place');
  expect(sharing.until(start)).toBeNull();
});
