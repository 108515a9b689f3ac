/** Planning on real ground: a trace is drawn, saved and issued, and the lead team has what it will meet ahead of it. */
import type { Page } from '@playwright/test';
import { desk, expect, grave, onTheIsland, phone, test, trace } from '../story.ts';

async function planning(post: Page): Promise<void> {
  await post.getByRole('button', { name: /^Line 12/ }).first().click();
  await post.getByRole('button', { name: 'Plan its trace' }).click();
  await expect(post.getByRole('heading', { name: 'Plan line 12' })).toBeVisible();
}

test('a trace is drawn, bent, undone and issued, and what it meets is ahead of the lead team', async ({
  operation,
  service,
  crew,
}) => {
  onTheIsland(service);
  const line = await operation.line('12', trace);
  const post = await crew('command_post', 'Command post', { viewport: desk });
  await planning(post);
  const strip = post.getByRole('region', { name: 'Strip of the plan' });
  const tags = strip.getByRole('button');
  const takes = post.getByRole('region', { name: 'What it takes' });
  await expect(takes.getByText('2.84 km')).toBeVisible();
  const met = await tags.count();
  expect(met).toBeGreaterThan(3);

  // A place is dragged to the north; the strip follows, and one undo brings it back.
  const handle = post.getByRole('button', { name: /^Place 2 of 3/ });
  const at = (await handle.boundingBox())!;
  await post.mouse.move(at.x + at.width / 2, at.y + at.height / 2);
  await post.mouse.down();
  await post.mouse.move(at.x, at.y - 40, { steps: 4 });
  await post.mouse.move(at.x, at.y - 90, { steps: 4 });
  await post.mouse.up();
  await expect(takes.getByText('2.84 km')).toBeHidden();
  await post.getByRole('button', { name: 'Undo' }).click();
  await expect(takes.getByText('2.84 km')).toBeVisible();
  await expect(post.getByRole('button', { name: 'Undo' })).toBeDisabled();

  // The same without a hand on the map: the middle of a leg, the arrows, and Delete.
  await post.getByRole('button', { name: 'Bend the trace between places 1 and 2' }).press('Enter');
  const fresh = post.getByRole('button', { name: /^Place 2 of 4/ });
  await fresh.press('Shift+ArrowUp');
  await fresh.press('Shift+ArrowUp');
  await expect(takes.getByText('2.84 km')).toBeHidden();
  await fresh.press('Delete');
  await expect(post.getByRole('button', { name: /^Place 2 of 3/ })).toBeVisible();
  await expect(takes.getByText('2.84 km')).toBeVisible();

  for (const light of ['day', 'night']) {
    await post.evaluate((now) => (document.documentElement.dataset['light'] = now), light);
    expect(await grave(post), `planning by ${light}`).toEqual([]);
  }

  // The chief builds the railway otherwise than is proposed, and has to say why; over the rails there is no way.
  await strip.getByRole('button', { name: /^railway/ }).first().click();
  const railway = post.getByRole('form', { name: /^Railway/ });
  await expect(railway.getByRole('radio', { name: /^Overhead on trees/ })).toBeDisabled();
  await railway.getByRole('radio', { name: /^Leave it open/ }).check();
  await railway.getByRole('button', { name: 'Plan it so' }).click();
  await expect(railway.getByText('Say why', { exact: false })).toBeVisible();
  await railway.getByLabel('Why not as proposed?').fill('The owner decides on Monday.');
  await railway.getByRole('button', { name: 'Plan it so' }).click();
  await expect(post.getByText('because The owner decides on Monday.', { exact: false })).toBeVisible();

  const lead = await crew('lead_team', 'Lead 1', { viewport: phone });
  await post.getByLabel('Remark').fill('by the mill');
  await post.getByLabel('People who lay').fill('none');
  await post.getByRole('button', { name: 'Save this plan' }).click();
  await expect(post.getByText('Write a number from 1 to 100', { exact: false })).toBeVisible();
  await post.getByLabel('People who lay').fill('6');
  await post.getByLabel('People who finish').fill('4');
  await post.getByRole('button', { name: 'Save this plan' }).click();
  await expect(post.getByText('Saved as plan 1.', { exact: false })).toBeVisible();
  await expect(post.getByRole('row', { name: 'People' })).toContainText('10');
  await expect(lead.getByText('was drawn anew', { exact: false })).toBeHidden();

  // Before it is issued the chief asks when it would be through; the plan's own light stands in the form.
  await post.getByRole('button', { name: 'When would plan 1 be through?' }).click();
  await expect(post.getByRole('heading', { name: 'When would line 12 be through by plan 1?' })).toBeVisible();
  await expect(post.getByText(/^Through by \d\d:\d\d( tomorrow)?, as likely as not/)).toBeVisible();
  await expect(post.getByText('by day throughout.', { exact: false })).toBeVisible();
  await expect(post.getByRole('radio', { name: 'day', exact: true })).toBeChecked();
  const questions: string[] = [];
  post.on('request', (request) => void (/forecast/.test(request.url()) && questions.push(request.url())));
  await post.getByRole('radio', { name: '10 min after 50 min of work' }).check();
  await post.getByLabel('The lead team sets out at').fill('06:30');
  await expect(post.getByText(/^Set out at 06:30/)).toBeVisible();
  expect(questions.every((url) => /plans\/1\/forecast\?/.test(url)), questions.join(' ')).toBe(true);
  expect(questions.at(-1)).toMatch(/set_out_at=.*break_after_min=50&break_length_min=10/);
  expect(await grave(post), 'the forecast of a plan').toEqual([]);
  expect(new URL(post.url()).search).toBe(`?page=forecast&line=${line}&plan=1`);
  await post.getByRole('button', { name: 'Back' }).click();
  // What was chosen and said is still there.
  await expect(post.getByText('because The owner decides on Monday.', { exact: false })).toBeVisible();
  await expect(post.getByLabel('People who lay')).toHaveValue('6');
  await post.getByRole('button', { name: 'Issue plan 1' }).click();
  await expect(post.getByText(`Plan 1 is issued: ${met} crossings foreseen`, { exact: false })).toBeVisible();

  // The lead team is told, and has the crossings on its strip with the way that is left to the first.
  await expect(lead.getByText('Line 12 was drawn anew', { exact: false })).toBeVisible();
  await lead.getByRole('button', { name: 'I have read it' }).click();
  await expect(lead.getByRole('button', { name: /^railway/ }).first()).toBeVisible();
  await lead.getByRole('button', { name: /^railway/ }).first().click();
  await expect(lead.getByRole('dialog').getByText('The owner decides on Monday.')).toBeVisible();
  const crossings = await operation.call<{ features: { properties: { line: string; state: string } }[] }>('GET', '/crossings');
  expect(crossings.features.filter(({ properties }) => properties.state === 'foreseen')).toHaveLength(met);
  expect(crossings.features.every(({ properties }) => properties.line === line)).toBe(true);

  await post.getByRole('button', { name: 'Plan 1 beside what was laid' }).click();
  await expect(post.getByText(`${met} not come to`, { exact: false })).toBeVisible();
});

test('a trace comes from a file, survives a reload, and a file that is none changes nothing', async ({
  operation,
  service,
  crew,
}) => {
  onTheIsland(service);
  await operation.line('12', trace);
  const post = await crew('command_post', 'Command post', { viewport: { width: 820, height: 1180 } });
  await planning(post);
  const file = post.getByLabel('Take a trace from a file', { exact: false });
  const gpx = (inside: string) => ({
    name: 'walk.gpx',
    mimeType: 'application/gpx+xml',
    // GPX 1.1: a track has segments of points with latitude and longitude.
    buffer: Buffer.from(`<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">${inside}</gpx>`),
  });
  await file.setInputFiles(gpx('<trk><trkseg><trkpt lat="54.08" lon="-4.67"/><trkpt lat="54.0815" lon="-4.66"><ele>9</ele></trkpt></trkseg></trk>'));
  await expect(post.getByText('2 places were read from walk.gpx', { exact: false })).toBeVisible();
  const handles = post.getByRole('button', { name: /^Place \d of 2/ });
  await expect(handles).toHaveCount(2);
  const hostile = { ...gpx(''), buffer: Buffer.from('<!DOCTYPE a [<!ENTITY b "bb">]><gpx>&b;</gpx>') };
  for (const [bad, why] of [
    [hostile, 'declares entities'],
    [gpx('<wpt lat="54" lon="-4"/>'), 'no line in the file'],
    [gpx('<trk><trkseg><trkpt lat="north" lon="-4"/></trkseg></trk>'), 'is no place'],
    [{ ...gpx(''), buffer: Buffer.from('<gpx><trk>') }, 'no GPX that can be read'],
  ] as const) {
    await file.setInputFiles(bad);
    await expect(post.getByRole('alert').filter({ hasText: why })).toBeVisible();
    await expect(handles).toHaveCount(2);
  }
  await post.reload();
  await expect(post.getByRole('heading', { name: 'Plan line 12' })).toBeVisible();
  await expect(handles).toHaveCount(2);
  await post.getByRole('textbox', { name: 'Next place' }).fill('here');
  await post.getByRole('button', { name: 'Add the place' }).click();
  await expect(post.getByText('Write a grid reference', { exact: false })).toBeVisible();
  await post.getByRole('textbox', { name: 'Next place' }).fill('54.085, -4.655');
  await post.getByRole('button', { name: 'Add the place' }).click();
  await expect(post.getByRole('button', { name: /^Place 3 of 3/ })).toBeVisible();
});

test('a trace is found between two ends, round what is to be kept out of, by a model that can be altered', async ({
  operation,
  service,
  crew,
}) => {
  onTheIsland(service);
  await operation.line('12', trace);
  const post = await crew('command_post', 'Command post', { viewport: desk });
  await planning(post);
  const finder = post.getByRole('region', { name: 'Find a trace' });
  await finder.getByRole('button', { name: 'Find a trace' }).click();
  const figures = finder.getByRole('table');
  await expect(figures.getByRole('row', { name: /^Wire/ })).toBeVisible({ timeout: 60_000 });
  const cost = await figures.getByRole('row', { name: /^Cost/ }).getByRole('cell').first().innerText();

  // Open ground made dear: what is found costs more, and the answer has the altered model.
  await finder.getByText('What it is judged by').click();
  await finder.getByLabel('Over open ground, minutes a km').fill('300');
  await finder.getByRole('button', { name: 'Find it again' }).click();
  await expect(figures.getByRole('row', { name: /^Cost/ }).getByRole('cell').first()).not.toHaveText(cost, { timeout: 60_000 });
  await expect(finder.getByLabel('Over open ground, minutes a km')).toHaveValue('300');
  expect(await grave(post), 'the finder').toEqual([]);

  await finder.getByRole('button', { name: 'Draw the first way' }).click();
  await expect(post.getByText('This is the trace that was found.', { exact: false })).toBeVisible();
  await expect(post.getByRole('button', { name: /^Place 1 of / })).toBeVisible();
  await post.getByRole('button', { name: 'Undo' }).click();
  await expect(post.getByRole('button', { name: /^Place 1 of 3/ })).toBeVisible();

  // An end at sea is told beside the button, and the drawing stays.
  await post.getByRole('textbox', { name: 'Next place' }).fill('54.02, -4.60');
  await post.getByRole('button', { name: 'Add the place' }).click();
  await finder.getByRole('button', { name: 'Find it again' }).click();
  await expect(finder.getByRole('alert')).toContainText(/lies in water|no way over land/, { timeout: 60_000 });
  await expect(post.getByRole('button', { name: /^Place 4 of 4/ })).toBeVisible();
});
