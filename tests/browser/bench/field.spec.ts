/**
 * How long a phone takes to open without a network, and what the ground of 20 × 20 km takes on it. The figures hold
 * for the machine that they are taken on; the bounds are the project's own.
 */
import { cpus, loadavg } from 'node:os';
import { resolve } from 'node:path';
import { begunLine, expect, passedCrossing, phone, test } from '../story.ts';
import { Way } from '../way.ts';

const COLD_START_MS = 3_000;
const STARTS = 7;
const GROUND_BYTES = 60_000_000;

test('a phone four times slower than this machine opens without a network, with 20 × 20 km of ground', async ({
  operation,
  service,
  browser,
}) => {
  // OpenStreetMap, Isle of Man extract of 2020-03-13, ODbL 1.0.
  service.command('terrain', 'load', resolve(import.meta.dirname, '../../../deploy/demo/isle-of-man.osm.pbf'));
  const line = await begunLine(operation);
  for (let index = 0; index < 50; index += 1) {
    await passedCrossing(operation, line, crypto.randomUUID(), [-4.668 + 0.0005 * index, 54.081 + 0.0002 * index]);
  }
  // A line across 16 km from south-west to north-east; with 2 km around it that is 20 km each way.
  await operation.line('20', [
    [-4.72, 54.07],
    [-4.475, 54.214],
  ]);
  const way = new Way(service.address);
  await way.mend();
  const context = await browser.newContext({ viewport: phone });
  const page = await context.newPage();
  await page.goto(`${way.address}/join#${await operation.pass('follow_up_team', 'Follow-up 1')}`);
  await page.getByRole('button', { name: 'Not ready for the field: the ground', exact: true }).click();
  const sheet = page.getByRole('dialog');
  const told = await sheet.getByText(/^About/).textContent();
  const began = performance.now();
  await sheet.getByRole('button', { name: 'Get the ground' }).click();
  await expect(sheet.getByText('Without a signal this page opens and works.', { exact: false })).toBeVisible({
    timeout: 800_000,
  });
  const took_s = (performance.now() - began) / 1000;
  const { usage = NaN, tiles } = await page.evaluate(async () => {
    const name = (await caches.keys()).find((one) => one.startsWith('laywire-ground-'));
    const kept = name ? await (await caches.open(name)).keys() : [];
    return { ...(await navigator.storage.estimate()), tiles: kept.length };
  });
  console.log(`ground of 20 × 20 km: ${told?.trim()}`);
  console.log(`  fetched in ${took_s.toFixed(0)} s; ${tiles} entries; the whole site takes ${(usage / 1e6).toFixed(2)} MB`);
  expect(usage).toBeLessThanOrEqual(GROUND_BYTES);

  await way.cut();
  const walls: number[] = [];
  const works: number[] = [];
  for (let start = 0; start < STARTS; start += 1) {
    const cold = await context.newPage();
    const devtools = await context.newCDPSession(cold);
    await devtools.send('Emulation.setCPUThrottlingRate', { rate: 4 });
    await devtools.send('Performance.enable', { timeDomain: 'threadTicks' });
    await cold.goto(`${way.address}/`);
    await expect(cold.getByRole('button', { name: /^Take the dirt road/ })).toBeEnabled();
    walls.push(await cold.evaluate(() => performance.now()));
    const { metrics } = await devtools.send('Performance.getMetrics');
    works.push(1000 * (metrics.find(({ name }) => name === 'TaskDuration')?.value ?? NaN));
    await cold.close();
  }
  const middle = (all: number[]) => all.toSorted((a, b) => a - b)[Math.floor(all.length / 2)]!;
  console.log(`cold start without a network, 4 × slower, ${STARTS} times; load ${loadavg()[0]?.toFixed(1)} on ${cpus().length} processors`);
  console.log(`  usable after ${middle(walls).toFixed(0)} ms (middle; all: ${walls.map((one) => one.toFixed(0)).join(', ')})`);
  console.log(`  the page's own thread worked ${middle(works).toFixed(0)} ms of processor time`);
  await context.close();
  expect(middle(walls)).toBeLessThanOrEqual(COLD_START_MS);
});
