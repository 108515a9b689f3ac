/**
 * One line from its plan until its wire is back in the stores, told on the pages of those who do it: laid, its crossing
 * finished, proved, handed over, in trouble, found, cleared, proved again, taken up; its records on paper and the books out.
 */
import { execFileSync } from 'node:child_process';
import { begunLine, desk, expect, phone, test, trace } from '../story.ts';

test('a line is told from its plan to its return, and the log adds up to what the pages show', async ({
  operation,
  service,
  crew,
}, info) => {
  const line = await begunLine(operation);
  await operation.report([
    { kind: 'reel_started', line, reel: crypto.randomUUID(), label: 'R 1', length_m: 4000 },
  ]);
  const post = await crew('command_post', 'Command post', { viewport: desk });
  const lead = await crew('lead_team', 'Lead 1', { viewport: phone });
  const follow = await crew('follow_up_team', 'Follow-up 1', { viewport: phone });
  const sheet = lead.getByRole('dialog');

  // Laid over a road; the follow-up team finishes the crossing, and a call comes from the far end.
  await lead.getByRole('button', { name: 'Crossing here' }).click();
  await sheet.getByRole('button', { name: 'Dirt road' }).click();
  await sheet.getByRole('radio', { name: /^Dug in \(buried\)/ }).check();
  await sheet.getByRole('button', { name: 'Mark it' }).click();
  await lead.getByRole('button', { name: /^Wire is over/ }).click();
  await sheet.getByRole('radio', { name: 'Yes, it does' }).check();
  await sheet.getByRole('button', { name: 'Wire is over', exact: true }).click();
  await follow.getByRole('button', { name: /^Take the dirt road/ }).click();
  await follow.getByLabel('Depth of the trench').fill('0.2');
  for (const tick of await follow.getByRole('checkbox').all()) await tick.check();
  await follow.getByRole('button', { name: /^Finish the dirt road/ }).click();
  await operation.report([{ kind: 'trace_extended', line, positions: trace.slice(2) }]);
  await post.getByRole('button', { name: /^Line 12/ }).first().click();
  await post.getByRole('button', { name: 'Call-back good' }).click();
  await post.getByLabel('From the far end').check();
  await post.getByRole('button', { name: 'Report the call' }).click();
  await expect(post.getByText(/Line 12 is finished/).first()).toBeVisible();

  // Proved, and handed over with the numbers of its tags.
  await post.goto(`${service.address}/command-post?page=line&line=${line}`);
  const stands = post.locator('section', { has: post.getByRole('heading', { name: 'State', exact: true }) });
  await post.getByRole('button', { name: 'Prove the line' }).click();
  await post.getByRole('button', { name: 'It is proved' }).click();
  await expect(stands.getByText(/is proved/).first()).toBeVisible();
  await post.getByRole('button', { name: 'Hand the line over' }).click();
  await post.getByLabel('Handed over to').fill('Mill exchange');
  await post.getByLabel('Numbers of its tags', { exact: false }).fill('1, 2, 3, 4');
  await post.getByRole('button', { name: 'It is handed over' }).click();
  await expect(stands.getByText(/handed over to Mill exchange/i).first()).toBeVisible();

  // Nobody answers: the stretch is narrowed by a test on the way, the fault cleared, and the line proved once more.
  await post.getByRole('button', { name: 'Report trouble' }).click();
  await post.getByLabel('The crank turns very easily').check();
  await post.getByRole('button', { name: 'Report the trouble' }).click();
  await follow.getByRole('button', { name: 'Line 12 is in trouble' }).click();
  const trouble = follow.getByRole('region', { name: 'Trouble' });
  await trouble.getByRole('button', { name: 'What answered?' }).click();
  const answered = (end: string, word: string) =>
    trouble.getByRole('group', { name: `Did ${end} answer?` }).getByRole('radio', { name: word }).check({ force: true });
  await answered('Post', 'Yes');
  await answered('Mill exchange', 'No');
  await trouble.getByRole('button', { name: 'Report what answered' }).click();
  await expect(trouble.getByText('Post answered and Mill exchange did not', { exact: false })).toBeVisible();
  await trouble.getByRole('button', { name: 'It is cleared' }).click();
  await trouble.getByLabel('What caused it?').fill('cut by a plough');
  await trouble.getByLabel('How far along the line').fill('1.9 km');
  await trouble.getByLabel('The wire was cut or parted').check();
  await trouble.getByRole('button', { name: 'It is cleared' }).click();
  await expect(trouble.getByText('No trouble is reported on it.')).toBeVisible();
  await post.getByRole('button', { name: 'Prove the line' }).click();
  await post.getByRole('button', { name: 'It is proved' }).click();
  await expect(stands.getByText(/is proved/).first()).toBeVisible();

  // Its records, as they come out of the printer.
  await post.getByRole('button', { name: 'Print its records' }).click();
  await expect(post.getByText('cut by a plough', { exact: false }).filter({ visible: true }).first()).toBeVisible();
  const records = post.getByRole('group', { name: 'Which records' }).getByRole('checkbox');
  await expect(records).toHaveCount(9);
  for (const record of await records.all()) await record.check();
  const pdf = info.outputPath('records.pdf');
  await post.pdf({ path: pdf, preferCSSPageSize: true });
  const printed = execFileSync('pdftotext', ['-layout', pdf, '-'], { encoding: 'utf8' });
  const heads = ['Line-route map', 'Strip', 'Circuit diagram', 'Crossing list', 'Crossing sheet', 'Reel and splice list', 'Test log', 'Trouble log', 'Tag list', 'Tag labels'];
  expect(heads.filter((head) => !printed.includes(head))).toEqual([]);
  for (const words of ['cut by a plough', 'R 1', 'Follow-up 1', 'Mill exchange']) expect(printed).toContain(words);

  // Found dead, ordered up, taken up onto its reel, the crossing made good, and the stores come out.
  await post.goto(`${service.address}/command-post?page=recovery&line=${line}`);
  await post.getByRole('button', { name: 'It was tested, and is dead' }).click();
  await post.getByRole('radio', { name: /^The far end/ }).check();
  await post.getByRole('button', { name: 'Nothing came: it is dead' }).click();
  await expect(post.getByText('found it dead', { exact: false })).toBeVisible();
  await post.getByRole('button', { name: 'Order line 12 up' }).click();
  await post.getByLabel('Confirmed dead by').fill('Mill exchange');
  await post.getByRole('button', { name: 'Order it up' }).click();
  await lead.getByRole('button', { name: 'Line 12 is to come up' }).click();
  await lead.getByRole('button', { name: 'A section came up' }).click();
  const form = lead.getByRole('form', { name: 'A section that came up' });
  await form.getByRole('radio', { name: 'R 1' }).check();
  await form.getByLabel('Wire that came up').fill('2900');
  await form.getByLabel('Splices').fill('1');
  await form.getByRole('button', { name: 'It is up' }).click();
  await expect(lead.getByText('Nothing of it lies any more.')).toBeVisible();
  await lead.getByRole('button', { name: /^Dirt road at/ }).click();
  await lead.getByRole('button', { name: 'It is made good again' }).click();
  await lead.getByRole('button', { name: 'A reel is back' }).click();
  const rest = lead.getByRole('form', { name: 'A reel brought back' });
  await rest.getByRole('radio', { name: 'R 1' }).check();
  await rest.getByLabel('Left on it').fill('1100');
  await rest.getByRole('button', { name: 'It is back' }).click();
  await post.getByRole('button', { name: 'Stores' }).click();
  await expect(post.getByText('issued: balances.', { exact: false })).toBeVisible();

  // The log alone adds up to all of it.
  const { features } = await operation.call<{ features: { properties: { state: string } }[] }>('GET', '/lines');
  expect(features.map(({ properties }) => properties.state)).toEqual(['recovered']);
  service.command('log', 'rebuild', '--check', operation.id);
});
