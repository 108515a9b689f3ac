/** The main job, end to end, on three devices. */
import { desk, begunLine, expect, passedCrossing, test } from '../story.ts';

test('a crossing is dropped, passed, taken and finished, and everybody sees it without reload', async ({
  operation,
  crew,
}) => {
  await begunLine(operation);
  const post = await crew('command_post', 'Command post', { viewport: desk });
  const lead = await crew('lead_team', 'Lead 1');
  const follow = await crew('follow_up_team', 'Follow-up 1');
  await expect(follow.getByText('Nothing unfinished', { exact: false })).toBeVisible();

  // The lead team drops a crossing where it stands and chooses from what the place allows.
  await lead.getByRole('button', { name: 'Crossing here' }).click();
  const sheet = lead.getByRole('dialog');
  await sheet.getByRole('button', { name: 'Dirt road' }).click();
  await sheet.getByRole('radio', { name: /^Dug in \(buried\)/ }).check();
  await sheet.getByRole('button', { name: 'Mark it' }).click();
  await expect(lead.getByText('Marked: dirt road, dug in (buried)')).toBeVisible();

  // The follow-up team's queue and the command post's strip show it.
  const row = follow.getByRole('button', { name: /dirt road/i }).first();
  await expect(row).toBeVisible();
  const tag = post.getByRole('button', { name: /dirt road.*marked/i }).first();
  await expect(tag).toBeVisible();

  // The wire is over, and lies where vehicles run.
  await lead.getByRole('button', { name: /^Wire is over/ }).click();
  await sheet.getByRole('radio', { name: 'Yes, it does' }).check();
  await sheet.getByRole('button', { name: 'Wire is over', exact: true }).click();
  await expect(post.getByText('1 with wire in traffic')).toBeVisible();
  await expect(follow.getByText('Wire lies in traffic', { exact: false }).first()).toBeVisible();

  // The follow-up team takes it, works through the list and finishes it.
  await follow.getByRole('button', { name: /^Take the dirt road/ }).click();
  await expect(post.getByRole('button', { name: /in hand with F1/i }).first()).toBeVisible();
  const finish = follow.getByRole('button', { name: /^Finish the dirt road/ });
  await finish.click();
  await expect(follow.getByRole('alert').first()).toBeVisible();
  await follow.getByLabel('Depth of the trench').fill('0.2');
  for (const tick of await follow.getByRole('checkbox').all()) await tick.check();
  await finish.click();
  await expect(post.getByRole('button', { name: /dirt road.*, finished/i }).first()).toBeVisible();
  await expect(post.getByText('1 with wire in traffic')).toBeHidden();

  // What they did stands in the log, in order, by whom.
  const log = await operation.call<{ by: { team: string }; report: { body: { kind: string } } }[]>('GET', '/log');
  const told = log.map((entry) => `${entry.by.team}: ${entry.report.body.kind}`).reverse();
  expect(told.slice(-4)).toEqual([
    'Lead 1: crossing_marked',
    'Lead 1: crossing_passed',
    'Follow-up 1: crossing_taken',
    'Follow-up 1: crossing_finished',
  ]);
});

test('of two teams that take a crossing at once, one gets it and the other is told who', async ({
  operation,
  crew,
}) => {
  const line = await begunLine(operation);
  const crossing = crypto.randomUUID();
  await passedCrossing(operation, line, crossing);
  const teams = ['Follow-up 1', 'Follow-up 2'];
  const pages = await Promise.all(teams.map((team) => crew('follow_up_team', team)));
  const takes = pages.map((page) => page.getByRole('button', { name: /^Take the dirt road/ }));
  for (const take of takes) await expect(take).toBeVisible();
  await Promise.all(takes.map((take) => take.click()));

  const held = async () => {
    const { features } = await operation.call<{
      features: { id: string; properties: { in_hand: { team: string } | null } }[];
    }>('GET', '/crossings');
    return features.find((feature) => feature.id === crossing)?.properties.in_hand?.team;
  };
  await expect.poll(held).toBeTruthy();
  const winner = teams.indexOf((await held())!);
  const [mine, other] = [pages[winner]!, pages[1 - winner]!];
  await expect(mine.getByRole('button', { name: /^Finish the dirt road/ })).toBeVisible();
  await expect(other.getByText(`In hand with ${teams[winner]}`, { exact: false }).first()).toBeVisible();
  await expect(other.getByRole('button', { name: /^Finish/ })).toBeHidden();
});

test('nobody is offered a way over a railway, and the service refuses whoever asks', async ({
  operation,
  crew,
}) => {
  const line = await begunLine(operation);
  const lead = await crew('lead_team', 'Lead 1');
  await lead.getByRole('button', { name: 'Crossing here' }).click();
  const sheet = lead.getByRole('dialog');
  await sheet.getByRole('button', { name: 'Railway' }).click();
  await expect(sheet.getByRole('radio', { name: /^Under the rails/ })).toBeEnabled();
  for (const over of [/^Overhead on trees/, /^Overhead on poles/, /^Overhead on lance poles/]) {
    await expect(sheet.getByRole('radio', { name: over })).toBeDisabled();
  }
  const [receipt] = await operation.receipts([
    {
      kind: 'crossing_marked',
      crossing: crypto.randomUUID(),
      line,
      position: [-4.66, 54.084],
      obstacle: 'railway',
      construction: 'overhead_lance_poles',
      clearance_m: 12,
    },
  ]);
  expect(receipt?.outcome).toBe('refused');
  expect(receipt?.reason?.title).toContain('Never over a railway');
});

test('a wrong press is taken back within ten seconds, and the log keeps both', async ({ operation, crew }) => {
  await begunLine(operation);
  const lead = await crew('lead_team', 'Lead 1');
  await lead.getByRole('button', { name: 'Call back' }).click();
  await lead.getByRole('dialog').getByRole('button', { name: /call/i }).last().click();
  const kinds = async () => {
    const log = await operation.call<{ report: { body: { kind: string } } }[]>('GET', '/log');
    return log.slice(0, 2).map((entry) => entry.report.body.kind);
  };
  // What has not left the device yet would be taken out of it, and nobody would ever hear of it.
  await expect.poll(kinds).toContain('call_back_good');
  await lead.getByRole('button', { name: 'Undo' }).click();
  await expect.poll(kinds).toEqual(['correction', 'call_back_good']);
});

test('the command post takes a wrong report back long after, and says why', async ({ operation, crew }) => {
  const line = await begunLine(operation);
  await operation.report([{ kind: 'call_back_good', line, from_far_end: true }]);
  const post = await crew('command_post', 'Command post', { viewport: desk });
  await expect(post.getByText(/Line 12 is (through|finished)/).first()).toBeVisible();
  await post.getByRole('button', { name: /^Take back .*far end/i }).click();
  const sheet = post.getByRole('dialog');
  await sheet.getByRole('button', { name: 'Take it back' }).click();
  await expect(sheet.getByText('Say why', { exact: false })).toBeVisible();
  await sheet.getByLabel('Why was it wrong?').fill('It was the wrong line.');
  await sheet.getByRole('button', { name: 'Take it back' }).click();
  await expect(sheet).toBeHidden();
  await expect(post.getByText(/Line 12 .*laying/).first()).toBeVisible();
});

test('a team whose pass is revoked is told so at once', async ({ operation, crew }) => {
  await begunLine(operation);
  const lead = await crew('lead_team', 'Lead 7');
  const passes = await operation.call<{ id: string; team: string }[]>('GET', '/passes');
  const { id } = passes.find((pass) => pass.team === 'Lead 7')!;
  await fetch(`${operation.service.address}/api/operations/${operation.id}/passes/${id}`, {
    method: 'DELETE',
    headers: { authorization: `Bearer ${operation.commandPost}` },
  });
  await expect(lead.getByText('pass no longer good')).toBeVisible();
});
