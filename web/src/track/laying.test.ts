import { beforeEach, expect, it } from 'vitest';
import type { Body } from '../api/types.ts';
import { length_m } from '../operation/ground.ts';
import type { Place } from '../operation/reporter.svelte.ts';
import { Laying, type Surroundings } from './laying.svelte.ts';
import { walk } from './walk.ts';

const trace: Place[] = [
  [-4.67, 54.08],
  [-4.662, 54.0834],
  [-4.655, 54.086],
];
const fixes = walk({ trace, seed: 31 });

/** The device: what it keeps outlives a page, and a report is stored once by its id. */
let disk: Map<string, string>;
let told: Map<string, Body>;
let now_ms: number;
let ids: number;
/** how often the device has room for a report before it is full */
let room: number;
/** the page is gone when a report has been stored: nobody hears that it was */
let killedAfter: number | null;

beforeEach(() => {
  disk = new Map();
  told = new Map();
  [now_ms, ids, room, killedAfter] = [0, 0, Infinity, null];
});

const around = (): Surroundings => ({
  work: {
    read: (name) =>
      Promise.resolve(disk.has(name) ? (JSON.parse(disk.get(name) ?? '') as unknown) : undefined),
    write: (name, value) => Promise.resolve(void disk.set(name, JSON.stringify(value))),
    forget: (name) => Promise.resolve(void disk.delete(name)),
  },
  tell: (body, _at, id) => {
    if (told.size >= room) return Promise.resolve(false);
    told.set(id, body);
    if (killedAfter !== null && told.size >= killedAfter) return new Promise(() => undefined);
    return Promise.resolve(true);
  },
  newId: () => `report ${(ids += 1)}`,
  now: () => now_ms,
  gapWords: ({ step_m }) => `a straight step of ${Math.round(step_m)} m`,
});

const laid = (): Place[] =>
  [...told.values()].flatMap((body) =>
    body.kind === 'trace_extended' ? body.positions.map(([lon = 0, lat = 0]): Place => [lon, lat]) : [],
  );

/** Time for what was begun to be written and told. */
const quiet = async (): Promise<void> => {
  for (let turn = 0; turn < 50; turn += 1) await Promise.resolve();
};

async function hear(laying: Laying, some: typeof fixes): Promise<void> {
  for (const fix of some) {
    now_ms = fix.at_ms;
    laying.hear(fix);
    await quiet();
  }
}

it('what is walked is reported as laid, a hundred metres or a minute at a time', async () => {
  const laying = new Laying('op seat', around());
  laying.start('line', null);
  await hear(laying, fixes);
  const before = told.size;
  await laying.end();
  expect(before).toBeGreaterThan(10);
  // 1,187.88 m by GeographicLib 2.1.
  expect(Math.abs(length_m(laid()) / 1_187.881 - 1)).toBeLessThan(0.03);
  expect(laying.state).toBe('off');
  expect(disk.size).toBe(0);
});

it('a page that is opened again lays on where the one before was closed', async () => {
  const whole = new Laying('op seat', around());
  whole.start('line', null);
  await hear(whole, fixes);
  await whole.end();
  const once = laid();
  disk = new Map();
  told = new Map();
  ids = 0;
  let laying = new Laying('op seat', around());
  laying.start('line', null);
  for (let from = 0; from < fixes.length; from += 97) {
    await hear(laying, fixes.slice(from, from + 97));
    laying = new Laying('op seat', around());
    await laying.find();
    expect(laying.state).toBe('laying');
  }
  await laying.end();
  // A reload reports what is due at once, and no fix is lost by it.
  expect(Math.abs(length_m(laid()) / length_m(once) - 1)).toBeLessThan(0.01);
});

it('a tab that is killed between storing a report and hearing of it reports nothing twice', async () => {
  killedAfter = 3;
  const killed = new Laying('op seat', around());
  killed.start('line', null);
  await hear(killed, fixes.slice(0, 600));
  expect(told.size).toBe(3);
  const third = [...told.values()][2];
  killedAfter = null;
  const again = new Laying('op seat', around());
  await again.find();
  await hear(again, fixes.slice(600));
  await again.end();
  expect([...told.values()][2]).toEqual(third);
  const places = laid().map(String);
  expect(new Set(places).size).toBe(places.length);
});

it('a device that is full keeps the report until there is room, and its order', async () => {
  room = 2;
  const laying = new Laying('op seat', around());
  laying.start('line', null);
  await hear(laying, fixes.slice(0, 700));
  expect(told.size).toBe(2);
  await laying.end();
  expect(laying.state).toBe('paused');
  room = Infinity;
  await laying.end();
  expect(laying.state).toBe('off');
  expect(Math.abs(length_m(laid()) / 700 - 1)).toBeLessThan(0.05);
});

it('nothing is taken during a pause, and what lies in between is said to be a straight step', async () => {
  const laying = new Laying('op seat', around());
  laying.start('line', null);
  await hear(laying, fixes.slice(0, 400));
  await laying.pause();
  const before = told.size;
  await hear(laying, fixes.slice(400, 600));
  expect(told.size).toBe(before);
  laying.goOn(laid().at(-1) ?? null);
  await hear(laying, fixes.slice(600));
  await laying.end();
  const notes = [...told.values()].filter((body) => body.kind === 'note');
  expect(notes).toHaveLength(1);
  expect(notes[0]).toMatchObject({
    line: 'line',
    text: expect.stringMatching(/^a straight step of 1\d\d m$|^a straight step of 2\d\d m$/) as string,
  });
});

it('what another version kept is not guessed at', async () => {
  disk.set('laying op seat', JSON.stringify({ version: 7, fixes: [] }));
  const laying = new Laying('op seat', around());
  await laying.find();
  expect(laying.state).toBe('off');
});
