/**
 * Whether the replay of 100,000 entries stutters: its frames while it plays against those of the same map while it is moved by
 * hand, and what a moment takes that is far from the one before. Both draw the map; without a GPU that is most of either.
 */
import { cpus, loadavg } from 'node:os';
import { resolve } from 'node:path';
import type { Page } from '@playwright/test';
import { madeUp } from '../../../web/src/pages/replay/made-up.ts';
import { begunLine, desk, expect, test } from '../story.ts';

const ENTRIES = 100_000;
const LINES = 8;
const CROSSINGS = 200;
const LOOKED_AT_MS = 5_000;
const SEEKS = 20;
/** The project's own bound for a moment, here for the page's own work; without a GPU the drawing takes longer. */
const SEEK_MS = 100;

interface Frames {
  count: number;
  middle_ms: number;
  longest_ms: number;
}

const middle = (all: readonly number[]) => all.toSorted((a, b) => a - b)[Math.floor(all.length / 2)]!;

/** The page's frames for a while. */
async function frames(page: Page): Promise<Frames> {
  const all = await page.evaluate(async (looked_ms) => {
    const apart: number[] = [];
    const end = performance.now() + looked_ms;
    for (let last = performance.now(); last < end; ) {
      const now = await new Promise<number>((frame) => requestAnimationFrame(frame));
      apart.push(now - last);
      last = now;
    }
    return apart;
  }, LOOKED_AT_MS);
  return { count: all.length, middle_ms: middle(all), longest_ms: Math.max(...all) };
}

test('a replay of 100,000 entries plays as its map moves, and finds a moment far away at once', async ({
  operation,
  service,
  crew,
}) => {
  // OpenStreetMap, Isle of Man extract of 2020-03-13, ODbL 1.0.
  service.command('terrain', 'load', resolve(import.meta.dirname, '../../../deploy/demo/isle-of-man.osm.pbf'));
  await begunLine(operation);
  const page = await crew('command_post', 'Command post', { viewport: desk });
  const body = JSON.stringify(madeUp(7, ENTRIES, LINES, CROSSINGS).replay);
  await page.route('**/api/operations/*/replay', (route) => route.fulfill({ body, contentType: 'application/json' }));
  await page.getByRole('button', { name: 'Play it again' }).click();
  const slider = page.getByRole('slider', { name: 'Moment' });
  await expect(page.getByText(`entry ${ENTRIES} of ${ENTRIES}`)).toBeVisible();
  await slider.fill(String(Math.round(Number(await slider.getAttribute('max')) / 2)));

  const canvas = page.locator('canvas').first();
  await canvas.focus();
  const moving = frames(page);
  // A press moves the map for less than half a second; the keys wait for none of it.
  for (const until = performance.now() + LOOKED_AT_MS; performance.now() < until; ) {
    await canvas.press('ArrowRight');
    await canvas.press('ArrowLeft');
  }
  const moved = await moving;

  await page.getByRole('radio', { name: '×60', exact: true }).check();
  await page.getByRole('button', { name: 'Play', exact: true }).click();
  const played = await frames(page);
  await page.getByRole('button', { name: 'Stop', exact: true }).click();

  const sought = await slider.evaluate(
    async (input: HTMLInputElement, seeks) => {
      const all: { script_ms: number; drawn_ms: number }[] = [];
      const frame = () => new Promise((next) => requestAnimationFrame(next));
      for (let seek = 0; seek < seeks; seek += 1) {
        input.value = String(Math.round((Number(input.max) * ((seek * 79) % 100)) / 100));
        const began = performance.now();
        input.dispatchEvent(new Event('input', { bubbles: true }));
        await Promise.resolve();
        const script_ms = performance.now() - began;
        await frame();
        await frame();
        all.push({ script_ms, drawn_ms: performance.now() - began });
      }
      return all;
    },
    SEEKS,
  );
  const script_ms = middle(sought.map((seek) => seek.script_ms));
  const told = ({ count, middle_ms, longest_ms }: Frames) =>
    `${count} frames in ${LOOKED_AT_MS / 1000} s, middle ${middle_ms.toFixed(1)} ms, longest ${longest_ms.toFixed(0)} ms`;
  console.log(`replay of ${ENTRIES} entries, ${LINES} lines, ${CROSSINGS} crossings; load ${loadavg()[0]?.toFixed(1)} on ${cpus().length} processors`);
  console.log(`  map moved by hand: ${told(moved)}`);
  console.log(`  played at ×60:     ${told(played)}; ${(played.count / moved.count).toFixed(2)} times as many`);
  console.log(
    `  a moment far away: script ${script_ms.toFixed(0)} ms (middle of ${SEEKS}), to the second frame ${middle(sought.map((seek) => seek.drawn_ms)).toFixed(0)} ms`,
  );
  expect(script_ms).toBeLessThanOrEqual(SEEK_MS);
});
