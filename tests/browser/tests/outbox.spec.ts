/** What a device has reported and the service has not: through a killed service, a wiped pass, a full store, a refusal, and by hand to another device. */
import type { Page } from '@playwright/test';
import { readFile } from 'node:fs/promises';
import { begunLine, desk, expect, passedCrossing, test } from '../story.ts';
import type { Operation } from '../service.ts';

interface Entry {
  by: { team: string };
  report: { id: string; made_by?: { team: string }; body: { kind: string; text?: string } };
}

const logOf = (operation: Operation): Promise<Entry[]> => operation.call('GET', '/log');

const marksIn = async (operation: Operation): Promise<Entry[]> =>
  (await logOf(operation)).filter((entry) => entry.report.body.kind === 'crossing_marked');

/** The lead team marks a path here. */
async function markPath(lead: Page): Promise<void> {
  await lead.getByRole('button', { name: 'Crossing here' }).click();
  const sheet = lead.getByRole('dialog');
  await sheet.getByRole('button', { name: 'Path' }).click();
  await sheet.getByRole('radio', { name: /^Dug in \(buried\)/ }).check();
  await sheet.getByRole('button', { name: 'Mark it' }).click();
}

test('the service is killed between its commit and its answer, and the report stands once', async ({
  operation,
  crew,
  service,
}) => {
  await begunLine(operation);
  const lead = await crew('lead_team', 'Lead 1');
  let sent = 0;
  let killed: () => void = () => undefined;
  const dead = new Promise<void>((resolve) => (killed = resolve));
  await lead.route('**/reports', async (route) => {
    sent += 1;
    if (sent > 1) return route.continue();
    // The service has answered, and nobody hears it any more.
    const answer = await route.fetch();
    expect(answer.status()).toBe(200);
    await service.stop('SIGKILL');
    await route.abort('connectionreset');
    killed();
    return undefined;
  });
  await markPath(lead);
  await dead;
  await expect(lead.getByText(/^1 waiting since/)).toBeVisible();
  await service.start();
  await expect(lead.getByText('all sent')).toBeVisible();
  expect(await marksIn(operation)).toHaveLength(1);
  expect(sent).toBeGreaterThan(1);
});

test('a wiped pass keeps everything, and the same team with a new one sends it', async ({ operation, crew }) => {
  await begunLine(operation);
  const lead = await crew('lead_team', 'Lead 1');
  await lead.context().clearCookies();
  await markPath(lead);
  await expect(lead.getByText('pass no longer good')).toBeVisible();
  await expect(lead.getByText(/^1 waiting since/)).toBeVisible();

  // Another team on the same device sends nothing in Lead 1's name, and is told what waits.
  await lead.goto(operation.link(await operation.pass('lead_team', 'Lead 2')));
  await expect(lead.getByText('all sent')).toBeVisible();
  await lead.getByRole('button', { name: '1 of another pass wait here' }).click();
  await expect(lead.getByRole('dialog')).toContainText('1 of Lead 1');
  expect(await marksIn(operation)).toEqual([]);

  await lead.goto('about:blank');
  await lead.goto(operation.link(await operation.pass('lead_team', 'Lead 1')));
  await expect.poll(async () => (await marksIn(operation)).map((entry) => entry.by.team)).toEqual(['Lead 1']);
});

test('a refused report stays in sight until it is put right, told as a note or withdrawn', async ({
  operation,
  crew,
}) => {
  const line = await begunLine(operation);
  const crossing = crypto.randomUUID();
  await passedCrossing(operation, line, crossing);
  const follow = await crew('follow_up_team', 'Follow-up 1');
  const take = follow.getByRole('button', { name: /^Take the dirt road/ });
  await expect(take).toBeVisible();
  // Out of reach, it is taken here while another team has taken it.
  await follow.route('**/reports', (route) => route.abort('internetdisconnected'));
  await take.click();
  await expect(follow.getByText(/^1 waiting since/)).toBeVisible();
  await operation.report([{ kind: 'crossing_taken', crossing }], await operation.pass('follow_up_team', 'Follow-up 2'));
  await follow.unroute('**/reports');
  await follow.evaluate(() => window.dispatchEvent(new Event('online')));

  const refusal = follow.getByRole('alert').filter({ hasText: 'Follow-up 2 has had this crossing in hand' });
  await expect(refusal).toBeVisible();
  await refusal.getByRole('button', { name: 'Later' }).click();
  const left = follow.getByRole('button', { name: '1 refused: put right or withdraw' });
  await expect(left).toBeVisible();
  await follow.reload();
  await left.click();
  const sheet = follow.getByRole('dialog');
  await sheet.getByRole('button', { name: 'Put it right or withdraw it' }).click();
  await sheet.getByRole('button', { name: 'Tell it as a note' }).click();
  await expect(left).toBeHidden();
  const notes = async () => (await logOf(operation)).flatMap(({ report }) => report.body.text ?? []);
  await expect.poll(notes).toEqual([expect.stringContaining('Follow-up 2 has had this crossing in hand')]);
});

test('what waits is saved as a file, and the command post sends it in the team’s name', async ({
  operation,
  crew,
  service,
}) => {
  await begunLine(operation);
  const lead = await crew('lead_team', 'Lead 1');
  const post = await crew('command_post', 'Command post', { viewport: desk });
  await lead.route('**/reports', (route) => route.abort('internetdisconnected'));
  await markPath(lead);
  await lead.getByRole('button', { name: 'What waits, and how to hand it over' }).click();
  const [download] = await Promise.all([
    lead.waitForEvent('download'),
    lead.getByRole('dialog').getByRole('button', { name: 'Save as a file' }).click(),
  ]);
  expect(download.suggestedFilename()).toMatch(/^laywire-unsent-lead-1-.*\.json$/);
  const file = { name: 'from-lead-1.json', mimeType: 'application/json', buffer: await readFile(await download.path()) };

  await post.getByRole('button', { name: 'Settings' }).click();
  await post.getByRole('button', { name: /^Unsent reports/ }).click();
  const sheet = post.getByRole('dialog', { name: 'Unsent reports' });
  await sheet.getByLabel('Choose the file').setInputFiles({ ...file, buffer: Buffer.from('{}') });
  await expect(sheet.getByRole('alert')).toContainText('no file of unsent reports');
  await sheet.getByLabel('Choose the file').setInputFiles(file);
  await expect(sheet.getByText('1 report of Lead 1 taken in', { exact: false })).toBeVisible();
  await expect.poll(() => marksIn(operation)).toHaveLength(1);

  // The device has its signal back and sends the same: it stands once, as the team's word.
  await lead.unroute('**/reports');
  await lead.evaluate(() => window.dispatchEvent(new Event('online')));
  await expect(lead.getByText('all sent')).toBeVisible();
  const [mark, ...more] = await marksIn(operation);
  expect(more).toEqual([]);
  expect([mark?.by.team, mark?.report.made_by?.team]).toEqual(['Command post', 'Lead 1']);
  const database = service.command('log', 'rebuild', '--check', operation.id);
  expect(database).toContain('add up');
});

test('a device without room says so before anything is called done', async ({ operation, crew }) => {
  await begunLine(operation);
  const lead = await crew('lead_team', 'Lead 1');
  const session = await lead.context().newCDPSession(lead);
  const origin = operation.service.address;
  await session.send('Storage.overrideQuotaForOrigin', { origin, quotaSize: 1 });
  await markPath(lead);
  await expect(lead.getByText('This device has no room left', { exact: false }).first()).toBeVisible();
  await expect(lead.getByText('Marked: path', { exact: false })).toBeHidden();
  await session.send('Storage.overrideQuotaForOrigin', { origin });
  expect(await marksIn(operation)).toEqual([]);
});

test('two teams that finished the same crossing are both told of on it', async ({ operation, crew }) => {
  const line = await begunLine(operation);
  const crossing = crypto.randomUUID();
  const place = [-4.6625, 54.083];
  await operation.report([
    { kind: 'crossing_marked', crossing, line, position: place, obstacle: 'path', construction: 'through_culvert' },
    { kind: 'crossing_passed', crossing, clear_of_traffic: true },
  ]);
  type Guide = { obstacle: string; allowed: { construction: string; finish: { id: string }[] }[] };
  const guides = await operation.call<Guide[]>('GET', '/guide');
  const ways = guides.find((guide) => guide.obstacle === 'path')!.allowed;
  const done = ways.find((way) => way.construction === 'through_culvert')!.finish.map(({ id }) => id);
  for (const team of ['Follow-up 1', 'Follow-up 2']) {
    await operation.report(
      [{ kind: 'crossing_finished', crossing, done }],
      await operation.pass('follow_up_team', team),
    );
  }
  const post = await crew('command_post', 'Command post', { viewport: desk });
  await post.getByRole('button', { name: /path.*finished/i }).first().click();
  await expect(post.getByRole('region', { name: 'Told by two teams' })).toContainText(
    'Follow-up 2 finished it as well',
  );
});
