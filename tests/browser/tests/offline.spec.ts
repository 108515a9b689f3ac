/** The pages in the field: opened, used and killed where there is no network, and what becomes of it when there is one. */
import { cpSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import type { BrowserContext, Page } from '@playwright/test';
import { Device } from '../device.ts';
import { Service, type Operation, type Party, type Place } from '../service.ts';
import { begunLine, expect, onTrace, passedCrossing, phone, test as base } from '../story.ts';
import { Way } from '../way.ts';

interface Fixtures {
  way: Way;
  /** Lets a crew come in over the way, on a device that has got everything ready for the field but the ground. */
  afield: (party: Party, team: string, stands?: Place) => Promise<{ page: Page; context: BrowserContext }>;
}

const test = base.extend<Fixtures>({
  way: async ({ service }, use) => {
    const way = new Way(service.address);
    await way.mend();
    await use(way);
    await way.cut();
  },
  afield: async ({ browser, operation, way }, use) => {
    const contexts: BrowserContext[] = [];
    await use(async (party, team, stands = onTrace) => {
      const context = await browser.newContext({
        viewport: phone,
        permissions: ['geolocation'],
        geolocation: { longitude: stands[0], latitude: stands[1], accuracy: 4 },
        locale: 'en-GB',
        timezoneId: 'UTC',
      });
      contexts.push(context);
      const page = await context.newPage();
      await comeIn(page, way, await operation.pass(party, team));
      return { page, context };
    });
    for (const context of contexts) await context.close();
  },
});

/** Comes in, and waits until pages and state are on the device. */
async function comeIn(page: Page, way: Way, pass: string): Promise<void> {
  await page.goto(`${way.address}/join#${pass}`);
  await expect(page.getByRole('status').filter({ hasText: 'all sent' })).toBeVisible();
  await page.evaluate(async () => void (await navigator.serviceWorker.ready));
  await expect.poll(() => keptState(page)).not.toBeNull();
}

interface Kept {
  lines: { id: string; properties: object }[];
  crossings: { id: string; properties: object }[];
  sequence: number;
}

/** What the device would open from. */
const keptState = (page: Page): Promise<Kept | null> =>
  page.evaluate(async () => {
    const [kept] = await (await caches.open('laywire-state')).matchAll();
    return kept ? ((await kept.json()) as Kept) : null;
  });

interface Feature {
  id: string;
  properties: { in_hand: { team: string } | null };
}

/** The whole wire log, the oldest first. */
async function wireLog(operation: Operation) {
  interface Entry {
    sequence: number;
    by: { team: string };
    report: { id: string; body: { kind: string; text?: string; crossing?: string } };
  }
  const all: Entry[] = [];
  for (;;) {
    const before = all.at(-1)?.sequence;
    const page: Entry[] = await operation.call('GET', `/log?limit=200${before ? `&before=${before}` : ''}`);
    all.push(...page);
    if (page.length < 200) return all.reverse();
  }
}

const queueRows = (page: Page) => page.getByRole('region', { name: 'What waits' }).getByRole('listitem');

test('a page opens without a network, to a queue with its age, and goes on by itself when there is one', async ({
  operation,
  way,
  afield,
}, info) => {
  const line = await begunLine(operation);
  await passedCrossing(operation, line, crypto.randomUUID());
  const { page, context } = await afield('follow_up_team', 'Follow-up 1');
  await way.cut();
  await page.close();

  // Four times slower than this machine, which is nearer to a phone.
  const cold = await context.newPage();
  const devtools = await context.newCDPSession(cold);
  await devtools.send('Emulation.setCPUThrottlingRate', { rate: 4 });
  await cold.goto(`${way.address}/`);
  await expect(cold.getByRole('button', { name: /^Take the dirt road/ })).toBeEnabled();
  const usable_ms = await cold.evaluate(() => performance.now());
  info.annotations.push({ type: 'cold start without a network, 4 × slower', description: `${Math.round(usable_ms)} ms` });
  console.log(`cold start without a network, 4 × slower: usable after ${Math.round(usable_ms)} ms`);
  await expect(cold).toHaveURL(/\/follow-up$/);
  await expect(cold.getByText(/^No signal\. Everything here is as of \d\d:\d\d, (\d+ min|less than a minute) ago/)).toBeVisible();
  await expect(cold.getByRole('region', { name: 'What waits' }).getByText(/^as of \d\d:\d\d/)).toBeVisible();

  // It is worked with, without a network, and opened again.
  await cold.getByRole('button', { name: /^Take the dirt road/ }).click();
  await expect(cold.getByText(/^1 waiting since/)).toBeVisible();
  await cold.reload();
  await expect(cold.getByRole('button', { name: /^Finish the dirt road/ })).toBeVisible();

  await passedCrossing(operation, line, crypto.randomUUID(), [-4.658, 54.0848]);
  await way.mend();
  await expect(cold.getByText('up to date')).toBeVisible();
  await expect(cold.getByText('all sent')).toBeVisible();
  await expect(cold.getByText(/^No signal/)).toBeHidden();
  await expect(cold.getByText('2 unfinished')).toBeVisible();
  const { features } = await operation.call<{ features: Feature[] }>('GET', '/crossings');
  expect(features.map((one) => one.properties.in_hand?.team).filter(Boolean)).toEqual(['Follow-up 1']);
});

test('the queue on the device is ordered as the service orders it', async ({ operation, way, afield }) => {
  const line = await begunLine(operation);
  const other = await operation.line('13', [
    [-4.66, 54.0815],
    [-4.65, 54.0815],
  ]);
  await operation.report([{ kind: 'line_started', line: other }]);
  const places: Place[] = [[-4.668, 54.0808], [-4.6655, 54.0818], onTrace, [-4.6605, 54.0838], [-4.6565, 54.0854]];
  for (const place of places) await passedCrossing(operation, line, crypto.randomUUID(), place);
  await passedCrossing(operation, other, crypto.randomUUID(), [-4.659, 54.0815]);
  const stands: Place = [-4.6625, 54.0812];
  const { page } = await afield('follow_up_team', 'Follow-up 1', stands);
  await way.cut();
  await page.reload();
  for (const [order, label] of [
    ['near', 'Nearest'],
    ['along', 'Along the line'],
    ['hazard', 'Wire in traffic first'],
  ]) {
    await page.getByRole('radio', { name: label! }).check();
    const { waiting } = await operation.call<{ waiting: { distance_m: number; crossing: { properties: { grid: string } } }[] }>(
      'GET',
      `/queue?from=${stands.join(',')}&order=${order}`,
    );
    expect(waiting.length).toBeGreaterThan(3);
    const metres = waiting.map((row) => `${row.distance_m.toFixed(0)} m`);
    // The figure at the row's right, which is the only one in heavy type.
    await expect(queueRows(page).locator('strong.figures'), `by ${order}`).toHaveText(metres);
  }
});

test('three devices report for a working hour without a network, one is killed, and the log has each once and in order', async ({
  operation,
  way,
  afield,
}) => {
  test.setTimeout(300_000);
  const line = await begunLine(operation);
  const second = await begunLine(operation, '13');
  const crossing = crypto.randomUUID();
  await passedCrossing(operation, line, crossing);
  const before = (await wireLog(operation)).length;

  const killed = new Device(way.address, onTrace);
  try {
    let first = await killed.start();
    await comeIn(first, way, await operation.pass('lead_team', 'Lead 1'));
    // A browser writes its cookies down half a minute late: killed before, it would have to join again.
    await killed.close();
    first = await killed.start();
    await first.goto(`${way.address}/`);
    await expect(first.getByText('up to date')).toBeVisible();
    const { page: lead } = await afield('lead_team', 'Lead 2');
    const { page: follow } = await afield('follow_up_team', 'Follow-up 1');
    await chooseLine(lead, '13');
    await way.cut();

    const told: Record<string, string[]> = { 'Lead 1': [], 'Lead 2': [], 'Follow-up 1': [] };
    await Promise.all([
      note(first, told['Lead 1']!, 35),
      note(lead, told['Lead 2']!, 70),
      takeAndGiveBack(follow, told['Follow-up 1']!, 35),
    ]);
    // The battery is empty; the next one finds the same device, and still no network.
    await killed.kill();
    first = await killed.start();
    await first.goto(`${way.address}/`);
    await expect(first.getByText(/^35 waiting since/)).toBeVisible();
    await note(first, told['Lead 1']!, 35);
    const reported = Object.values(told).flat().length;
    expect(reported).toBeGreaterThanOrEqual(200);
    expect((await wireLog(operation)).length).toBe(before);

    await way.mend();
    const pages = [first, lead, follow];
    for (const page of pages) {
      await expect(page.getByText('all sent')).toBeVisible({ timeout: 45_000 });
      await expect(page.getByText('up to date')).toBeVisible({ timeout: 45_000 });
    }
    const log = (await wireLog(operation)).slice(before);
    expect(log.length).toBe(reported);
    expect(new Set(log.map((entry) => entry.report.id)).size).toBe(reported);
    for (const [team, all] of Object.entries(told)) {
      const recorded = log.filter((entry) => entry.by.team === team).map(({ report: { body } }) => body.text ?? body.kind);
      expect(recorded, team).toEqual(all);
    }

    // What each device would open from is what the service has.
    const crossings = await operation.call<{ features: Feature[]; sequence: number }>('GET', '/crossings');
    const lines = await operation.call<{ features: Feature[] }>('GET', '/lines');
    const byId = (features: { id: string; properties: object }[]) =>
      Object.fromEntries(features.map((one) => [one.id, one.properties]));
    for (const page of pages) {
      await expect
        .poll(async () => (await keptState(page))?.sequence, { timeout: 45_000 })
        .toBe(before + reported);
      const kept = (await keptState(page))!;
      expect(byId(kept.crossings)).toEqual(byId(crossings.features));
      expect(byId(kept.lines)).toEqual(byId(lines.features));
    }
    expect(Object.keys(byId(lines.features)).sort()).toEqual([line, second].sort());
  } finally {
    await killed.throwAway();
  }
});

async function chooseLine(page: Page, designation: string): Promise<void> {
  await page.getByRole('button', { name: /choose another/ }).click();
  await page.getByRole('dialog').getByRole('button', { name: new RegExp(`^(line )?${designation}`, 'i') }).click();
  await expect(page.getByRole('button', { name: new RegExp(`^Line ${designation}`) })).toBeVisible();
}

/** Writes so many notes, each with its number. */
async function note(page: Page, told: string[], count: number): Promise<void> {
  for (let index = 0; index < count; index += 1) {
    const text = `Water at stake ${told.length + 1}.`;
    await page.getByRole('button', { name: 'Note', exact: true }).click();
    const sheet = page.getByRole('dialog');
    await sheet.getByRole('textbox').fill(text);
    await sheet.getByRole('button', { name: 'Send the note' }).click();
    await expect(sheet).toBeHidden();
    told.push(text);
  }
}

/** Takes the one crossing in hand and gives it back, so many times. */
async function takeAndGiveBack(page: Page, told: string[], count: number): Promise<void> {
  for (let index = 0; index < count; index += 1) {
    await page.getByRole('button', { name: /^Take the dirt road/ }).click();
    await page.getByRole('button', { name: 'Give back', exact: true }).click();
    const sheet = page.getByRole('dialog');
    await sheet.getByRole('button', { name: 'Give it back' }).click();
    await expect(sheet).toBeHidden();
    told.push('crossing_taken', 'crossing_given_back');
  }
}

test('a page that is idle asks for nothing, and without a network no more often than every 15 s', async ({
  operation,
  way,
  browser,
}) => {
  await begunLine(operation);
  const context = await browser.newContext({ viewport: phone });
  const page = await context.newPage();
  await page.clock.install();
  await comeIn(page, way, await operation.pass('follow_up_team', 'Follow-up 1'));
  await expect(page.getByText('up to date')).toBeVisible();

  let asked: string[] = [];
  const open = new Set<object>();
  context.on('request', (request) => {
    asked.push(new URL(request.url()).pathname);
    open.add(request);
  });
  context.on('requestfinished', (request) => open.delete(request));
  context.on('requestfailed', (request) => open.delete(request));
  await page.clock.runFor('10:00');
  expect(asked).toEqual([]);

  await way.cut();
  await expect(page.getByText('no signal')).toBeVisible();
  for (const how of ['left open', 'opened without a network']) {
    // The first tries come sooner, each at most half as often as the one before.
    await forward(page, open, 8);
    asked = [];
    await forward(page, open, 40);
    console.log(`${how}: ${asked.length} tries in ten idle minutes without a network`);
    expect(asked.length, how).toBeGreaterThan(0);
    expect(asked.length, how).toBeLessThanOrEqual(40);
    await page.reload();
    await expect(page.getByText(/^No signal/)).toBeVisible();
  }
  await context.close();
});

/** Lets a quarter of a minute pass so many times; what is asked in it has failed before the next. */
async function forward(page: Page, open: Set<object>, quarters: number): Promise<void> {
  for (let quarter = 0; quarter < quarters; quarter += 1) {
    await page.clock.runFor(15_000);
    await expect.poll(() => open.size).toBe(0);
  }
}

test('the ground of the lines is fetched to the device, tells how far it is, and is drawn without a network', async ({
  operation,
  service,
  way,
  afield,
}) => {
  // OpenStreetMap, Isle of Man extract of 2020-03-13, ODbL 1.0.
  const extract = resolve(import.meta.dirname, '../../../deploy/demo/isle-of-man.osm.pbf');
  service.command('terrain', 'load', extract);
  const line = await begunLine(operation);
  await passedCrossing(operation, line, crypto.randomUUID());
  const { page } = await afield('follow_up_team', 'Follow-up 1');
  await page.getByRole('button', { name: 'Not ready for the field: the ground' }).click();
  const sheet = page.getByRole('dialog');
  await sheet.getByRole('radio', { name: '1 km' }).check();
  await expect(sheet.getByText(/^About .* MB, \d+ pieces; at most 60 MB/)).toBeVisible();

  // The signal goes in the middle of it; it goes on where it stopped.
  let tiles = 0;
  const cutAt = new Promise<void>((cut) =>
    page.context().on('response', (response) => {
      if (!response.url().includes('/tiles/')) return;
      tiles += 1;
      if (tiles === 10) cut();
    }),
  );
  await sheet.getByRole('button', { name: 'Get the ground' }).click();
  await cutAt;
  await way.cut();
  await expect(sheet.getByRole('alert')).toContainText('goes on where it stopped');
  await way.mend();
  await expect(sheet.getByText('Without a signal this page opens and works.', { exact: false })).toBeVisible({
    timeout: 60_000,
  });
  await page.keyboard.press('Escape');
  await expect(page.getByRole('button', { name: 'Ready for the field', exact: true })).toBeVisible();

  await way.cut();
  await page.reload();
  await expect(page.getByRole('button', { name: 'Ready for the field', exact: true })).toBeVisible();
  const drawn = page.waitForResponse((response) => /\/tiles\/1[2-5]\//.test(response.url()) && response.fromServiceWorker());
  await page.getByRole('radio', { name: 'Map' }).check();
  const tile = await drawn;
  expect(tile.status()).toBe(200);
  expect((await tile.body()).length).toBeGreaterThan(200);
  await expect(page.getByText("The ground can't be fetched", { exact: false })).toBeHidden();
});

test('a new version asks before it takes over, and a half-written note is not lost', async ({
  operation,
  database,
  browser,
}) => {
  await begunLine(operation);
  const web = mkdtempSync(join(tmpdir(), 'laywire-web-'));
  cpSync(resolve(import.meta.dirname, '../../../web/dist'), web, { recursive: true });
  const service = new Service(database, { web });
  await service.start();
  const context = await browser.newContext({ viewport: phone });
  try {
    const way = new Way(service.address);
    await way.mend();
    const page = await context.newPage();
    await comeIn(page, way, await operation.pass('lead_team', 'Lead 1'));
    await page.getByRole('button', { name: 'Note', exact: true }).click();
    const half = page.getByRole('dialog').getByRole('textbox');
    await half.fill('The bridge is');

    const worker = join(web, 'service-worker.js');
    writeFileSync(worker, readFileSync(worker, 'utf8').replace(/[0-9a-f]{16}/, 'ffffffffffffffff'));
    await page.evaluate(async () => void (await (await navigator.serviceWorker.ready).update()));
    await expect(page.getByText('A new version is ready.')).toBeAttached();
    await expect(half).toHaveValue('The bridge is');
    const pages = () => page.evaluate(async () => (await caches.keys()).filter((name) => name.startsWith('laywire-pages-')));
    // Both are there, and the old one is still the one in use.
    expect(await pages()).toHaveLength(2);
    await half.fill('The bridge is out.');
    await page.getByRole('button', { name: 'Send the note' }).click();
    await page.getByRole('button', { name: 'Later' }).click();
    await expect(page.getByText('A new version is ready.')).toBeHidden();
    expect(await pages()).toHaveLength(2);

    // Opened again it asks again.
    await page.reload();
    const again = page.waitForEvent('load');
    await page.getByRole('button', { name: 'Take it now' }).click();
    await again;
    await expect.poll(pages).toEqual(['laywire-pages-ffffffffffffffff']);
    await expect(page.getByRole('status').filter({ hasText: 'all sent' })).toBeVisible();
    await expect(page.getByText('A new version is ready.')).toBeHidden();
    const log = await wireLog(operation);
    expect(log.at(-1)?.report.body.text).toBe('The bridge is out.');
    await way.cut();
  } finally {
    await context.close();
    await service.stop();
    rmSync(web, { recursive: true });
  }
});

test('a pass that was revoked opens no page from the device', async ({ operation, way, afield }) => {
  const line = await begunLine(operation);
  await passedCrossing(operation, line, crypto.randomUUID());
  const { page } = await afield('follow_up_team', 'Follow-up 1');
  const passes = await operation.call<{ id: string; team: string }[]>('GET', '/passes');
  const { id } = passes.find((pass) => pass.team === 'Follow-up 1')!;
  await fetch(`${operation.service.address}/api/operations/${operation.id}/passes/${id}`, {
    method: 'DELETE',
    headers: { authorization: `Bearer ${operation.commandPost}` },
  });
  await expect(page.getByText('pass no longer good')).toBeVisible();
  await expect.poll(() => keptState(page)).toBeNull();
  await way.cut();
  await page.reload();
  await expect(page.getByText('The service cannot be reached.', { exact: false })).toBeVisible();
  await expect(page.getByText('dirt road')).toBeHidden();
});

test('whoever goes out leaves nothing on the device that opens a page, but what waits to be sent', async ({
  operation,
  way,
  afield,
}) => {
  const line = await begunLine(operation);
  await passedCrossing(operation, line, crypto.randomUUID());
  const { page } = await afield('follow_up_team', 'Follow-up 1');
  await page.getByRole('button', { name: 'Settings' }).click();
  const sheet = page.getByRole('dialog');
  await sheet.getByRole('button', { name: 'Leave' }).click();
  await sheet.getByRole('button', { name: 'Leave' }).click();
  await expect(page).toHaveURL(/\/join$/);
  await expect.poll(() => keptState(page)).toBeNull();
  await way.cut();
  await page.goto(`${way.address}/`);
  await expect(page.getByText('The service cannot be reached.', { exact: false })).toBeVisible();
});
