/** Each page by itself: who gets in, what it offers, and whether everybody can use it. */
import { resolve } from 'node:path';
import type { Page } from '@playwright/test';
import { begunLine, desk, expect, grave, passedCrossing, phone, test } from '../story.ts';

const ways = (width: number) => (page: Page) => page.evaluate((most) => document.documentElement.scrollWidth <= most, width);

test('a wrong pass is told so, a right one comes in, and no script can read it', async ({ operation, page }) => {
  await page.goto(`${operation.service.address}/join`);
  expect(await grave(page)).toEqual([]);
  await page.getByRole('textbox', { name: 'Your pass' }).fill('not a pass');
  await page.getByRole('button', { name: 'Come in' }).click();
  await expect(page.getByText('No pass that holds', { exact: false })).toBeVisible();
  await page.getByRole('textbox', { name: 'Your pass' }).fill(operation.commandPost.toLowerCase().replaceAll('-', ' '));
  await page.getByRole('button', { name: 'Come in' }).click();
  await expect(page).toHaveURL(/\/command-post$/);
  expect(await page.evaluate(() => document.cookie)).toBe('');
  expect(page.url()).not.toContain(operation.commandPost.slice(0, 4));
  const [cookie] = await page.context().cookies();
  expect(cookie).toMatchObject({ httpOnly: true, sameSite: 'Strict', path: '/api' });
});

test('every page can be used by everybody, by day and by night', async ({ operation, crew }) => {
  const line = await begunLine(operation);
  await passedCrossing(operation, line, crypto.randomUUID());
  const pages = [
    await crew('command_post', 'Command post', { viewport: desk }),
    await crew('lead_team', 'Lead 1'),
    await crew('follow_up_team', 'Follow-up 1'),
  ];
  for (const page of pages) {
    await expect(page.getByRole('button', { name: /dirt road/i }).first()).toBeVisible();
    for (const light of ['day', 'night']) {
      await page.evaluate((now) => (document.documentElement.dataset['light'] = now), light);
      expect(await grave(page), `${page.url()} by ${light}`).toEqual([]);
    }
  }
});

test('no page is wider than a small phone', async ({ operation, crew }) => {
  const line = await begunLine(operation);
  await passedCrossing(operation, line, crypto.randomUUID());
  const small = { width: 320, height: 568 };
  for (const [party, team] of [
    ['command_post', 'Command post'],
    ['lead_team', 'Lead 1'],
    ['follow_up_team', 'Follow-up 1'],
  ] as const) {
    const page = await crew(party, team, { viewport: small });
    await expect(page.getByRole('button', { name: /dirt road/i }).first()).toBeVisible();
    expect(await ways(320)(page), page.url()).toBe(true);
  }
});

test('targets on the teams’ pages are large enough for gloves', async ({ operation, crew }) => {
  const line = await begunLine(operation);
  await passedCrossing(operation, line, crypto.randomUUID());
  for (const [party, team] of [
    ['lead_team', 'Lead 1'],
    ['follow_up_team', 'Follow-up 1'],
  ] as const) {
    const page = await crew(party, team, { viewport: phone });
    await expect(page.getByRole('button', { name: /dirt road/i }).first()).toBeVisible();
    const small = await page.evaluate(() =>
      [...document.querySelectorAll('button')]
        .filter((button) => button.offsetParent !== null && !button.closest('.maplibregl-map'))
        .map((button) => ({ text: button.textContent?.trim(), box: button.getBoundingClientRect() }))
        .filter(({ box }) => Math.min(box.width, box.height) < 44 || Math.max(box.width, box.height) < 48)
        .map(({ text, box }) => `${text}: ${box.width} × ${box.height}`),
    );
    expect(small).toEqual([]);
  }
});

test('the strip is walked with the keyboard and opens a crossing', async ({ operation, crew }) => {
  const line = await begunLine(operation);
  await passedCrossing(operation, line, crypto.randomUUID());
  await passedCrossing(operation, line, crypto.randomUUID(), [-4.658, 54.0848]);
  const post = await crew('command_post', 'Command post', { viewport: desk });
  const tags = post.getByRole('region', { name: /line 12/i }).or(post.getByRole('group', { name: /line 12/i }));
  const first = tags.getByRole('button', { name: /dirt road.*passed/i }).first();
  await first.focus();
  await post.keyboard.press('ArrowRight');
  await expect(first).not.toBeFocused();
  await post.keyboard.press('Enter');
  await expect(post.getByRole('dialog')).toContainText('dirt road', { ignoreCase: true });
  await post.keyboard.press('Escape');
  await expect(post.getByRole('dialog')).toBeHidden();
});

test('what was written in a sheet outlives a press beside it, and an empty sheet goes', async ({ operation, crew }) => {
  await begunLine(operation);
  const lead = await crew('lead_team', 'Lead 1', { viewport: phone });
  const sheet = lead.getByRole('dialog', { name: 'Note' });
  const beside = () => lead.mouse.click(20, 20);
  await lead.getByRole('button', { name: 'Note', exact: true }).click();
  await expect(sheet).toBeVisible();
  await beside();
  await expect(sheet).toBeHidden();
  await lead.getByRole('button', { name: 'Note', exact: true }).click();
  await sheet.getByRole('textbox').fill('The gate is shut at dusk.');
  await beside();
  await expect(sheet.getByRole('textbox')).toHaveValue('The gate is shut at dusk.');
  await lead.keyboard.press('Escape');
  await expect(sheet).toBeHidden();
});

test('lengths are shown as the device was told to', async ({ operation, crew }) => {
  const line = await begunLine(operation);
  await passedCrossing(operation, line, crypto.randomUUID());
  const follow = await crew('follow_up_team', 'Follow-up 1', { stands: [-4.6625, 54.0812] });
  // 200.4 m by GeographicLib 2.1 from where the team stands to the crossing.
  await expect(follow.getByRole('button', { name: /^Take the dirt road, 200 m/ })).toBeVisible();
  await follow.getByRole('button', { name: 'Settings' }).click();
  await follow.getByRole('radio', { name: 'ft, mi' }).check();
  await follow.keyboard.press('Escape');
  await expect(follow.getByRole('button', { name: /^Take the dirt road, 657 ft/ })).toBeVisible();
});

test('the command post gives a pass as text and as a code; an observer can only look', async ({
  operation,
  crew,
}) => {
  await begunLine(operation);
  const post = await crew('command_post', 'Command post', { viewport: desk });
  await post.getByRole('button', { name: 'Passes' }).click();
  const sheet = post.getByRole('dialog');
  await sheet.getByRole('button', { name: 'Give a pass' }).click();
  await sheet.getByRole('radio', { name: /follow-up team/i }).check();
  await sheet.getByLabel(/call sign/i).fill('Follow-up 9');
  await sheet.getByRole('button', { name: 'Make the pass' }).click();
  const secret = /[2-9A-HJ-NP-Z]{4}(?:-[2-9A-HJ-NP-Z]{4}){6}/;
  await expect(sheet.getByText(secret).first()).toBeVisible();
  await expect(sheet.getByRole('img', { name: /to be scanned/ })).toBeVisible();
  const given = secret.exec((await sheet.textContent())!)![0];
  expect(await operation.call<unknown[]>('GET', '/log', undefined, given)).toBeTruthy();

  const observer = await crew('observer', 'Umpire', { viewport: desk });
  await expect(observer.getByRole('button', { name: 'Passes' })).toBeHidden();
  await expect(observer.getByRole('button', { name: 'Plan a line' })).toBeHidden();
});

test('two passes in one browser do not get into each other’s way', async ({ operation, browser }) => {
  await begunLine(operation);
  const context = await browser.newContext({ viewport: phone });
  const [lead, follow] = [await context.newPage(), await context.newPage()];
  await lead.goto(operation.link(await operation.pass('lead_team', 'Lead 1')));
  await expect(lead).toHaveURL(/\/lead$/);
  await follow.goto(operation.link(await operation.pass('follow_up_team', 'Follow-up 1')));
  await expect(follow).toHaveURL(/\/follow-up$/);
  await lead.reload();
  await expect(lead).toHaveURL(/\/lead$/);
  await expect(lead.getByRole('button', { name: 'Crossing here' })).toBeVisible();
  await context.close();
});

test('the map is drawn from our own tiles, and names whose they are', async ({ operation, service, crew }) => {
  // OpenStreetMap, Isle of Man extract of 2020-03-13, ODbL 1.0.
  const extract = resolve(import.meta.dirname, '../../../deploy/demo/isle-of-man.osm.pbf');
  expect(service.command('terrain', 'load', extract)).toContain('loaded');
  const line = await begunLine(operation);
  await passedCrossing(operation, line, crypto.randomUUID());
  const post = await crew('command_post', 'Command post', { viewport: desk });
  const arrives = post.waitForResponse((response) => /\/tiles\/\d+\/\d+\/\d+$/.test(new URL(response.url()).pathname));
  await post.reload();
  const tile = await arrives;
  expect(tile.status()).toBe(200);
  expect(tile.headers()['content-type']).toBe('application/vnd.mapbox-vector-tile');
  expect((await tile.body()).length).toBeGreaterThan(1_000);
  await expect(post.getByText('© OpenStreetMap contributors')).toBeVisible();
  await expect(post.getByText("The ground can't be fetched", { exact: false })).toBeHidden();
});
