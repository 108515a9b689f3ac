import { randomBytes } from 'node:crypto';
import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { type Box } from './area.ts';
import { Ground, megabytes, MOST_BYTES } from './ground.svelte.ts';

const around: Box = [-4.67, 54.08, -4.635, 54.095];

/** As much of a browser's Cache storage as the ground uses. */
function storage() {
  const all = new Map<string, Map<string, Response>>();
  const open = (name: string) => {
    const kept = all.get(name) ?? new Map<string, Response>();
    all.set(name, kept);
    return Promise.resolve({
      match: (address: string) => Promise.resolve(kept.get(address)?.clone()),
      put: (address: string, answer: Response) => {
        kept.set(address, answer);
        return Promise.resolve();
      },
    });
  };
  return {
    open,
    keys: () => Promise.resolve([...all.keys()]),
    delete: (name: string) => Promise.resolve(all.delete(name)),
    match: (address: string, { cacheName }: { cacheName: string }) =>
      Promise.resolve(all.get(cacheName)?.get(address)?.clone()),
  };
}

let asked: string[] = [];
/** what the service answers to a tile, by how many were asked for before */
let tile: (before: number) => Response;

beforeEach(() => {
  asked = [];
  vi.stubGlobal('caches', storage());
  vi.stubGlobal('fetch', (address: string) => {
    asked.push(address);
    return Promise.resolve(tile(asked.length - 1));
  });
});
afterEach(() => vi.unstubAllGlobals());

// Bytes that do not pack: gzip can only add to them.
const block = randomBytes(3_000_000);
const heavy = (bytes: number) => new Response(block.subarray(0, bytes));
/** Where hundreds of megabytes are looked at, packing them would only take time. */
const unpacked = () =>
  vi.stubGlobal('CompressionStream', function () {
    return new TransformStream();
  });

it('tells the size before anything but a few tiles is fetched, then fetches each tile once', async () => {
  tile = () => heavy(5_000);
  const ground = new Ground('operation', 'terrain');
  await ground.measure(around, 1_000);
  const plan = ground.plan;
  expect(asked.length).toBeLessThanOrEqual(12);
  expect(plan?.last).toBe(15);
  expect(plan && plan.bytes / plan.tiles).toBeGreaterThan(5_000);
  await ground.get();
  expect(ground.wanted?.state).toBe('whole');
  expect(ground.there).toBe(plan?.tiles);
  expect(new Set(asked).size).toBe(asked.length);
  expect(asked.length).toBe(plan?.tiles);
  // Every tile is alike, so that the sample told it rightly.
  expect(Math.abs(ground.bytes / (plan?.bytes ?? 0) - 1)).toBeLessThan(0.01);
  expect(ground.covers(around)).toBe(true);
  expect(ground.covers([-4.9, 54, -4.6, 54.2])).toBe(false);
});

it('leaves the closest views out where they would take more than the bound', async () => {
  unpacked();
  tile = () => heavy(100_000);
  const ground = new Ground('operation', 'terrain');
  await ground.measure(around, 10_000);
  expect(ground.plan?.last).toBe(14);
  expect(ground.plan?.bytes).toBeLessThanOrEqual(MOST_BYTES);
});

it('stops at the bound where the sample told too little, keeps what is there, and does not go on by itself', async () => {
  unpacked();
  tile = (before) => heavy(before < 12 ? 100 : 3_000_000);
  const ground = new Ground('operation', 'terrain');
  await ground.measure(around, 2_000);
  await ground.get();
  expect(ground.trouble).toContain(megabytes(MOST_BYTES));
  expect(ground.wanted?.state).toBe('stopped');
  // At most the four that were on their way are too many.
  expect(ground.bytes).toBeLessThan(MOST_BYTES + 4 * 3_100_000);
  const again = new Ground('operation', 'terrain');
  await again.look();
  expect(again.wanted?.state).toBe('stopped');
  expect(again.covers(around)).toBe(false);
});

it('goes on where it broke off, on another day too', async () => {
  tile = (before) => {
    if (before >= 30) throw new TypeError('no network');
    return heavy(1_000);
  };
  const ground = new Ground('operation', 'terrain');
  await ground.measure(around, 1_000);
  await ground.get();
  expect(ground.trouble).toContain('goes on where it stopped');
  expect(ground.wanted?.state).toBe('coming');
  const had = new Set(asked.slice(0, 30));

  asked = [];
  tile = () => heavy(1_000);
  const later = new Ground('operation', 'terrain');
  await later.look();
  await later.get();
  expect(later.wanted?.state).toBe('whole');
  expect(asked.filter((address) => had.has(address))).toEqual([]);
  expect(later.there).toBe(had.size + asked.length);
});

it('another terrain is another ground: the old one stays until the new one is whole', async () => {
  tile = () => heavy(500);
  const old = new Ground('operation', 'first');
  await old.measure(around, 1_000);
  await old.get();
  const fresh = new Ground('operation', 'second');
  await fresh.look();
  expect(fresh.covers(around)).toBe(false);
  await fresh.measure(around, 1_000);
  expect(await caches.keys()).toHaveLength(2);
  await fresh.get();
  expect(await caches.keys()).toEqual(['laywire-ground-operation-second']);
});
