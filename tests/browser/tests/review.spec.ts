/** An operation in hindsight: the page has the API's figures, each with its entries, and its pictures' tables say the same. */
import { randomUUID } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import { desk, expect, grave, phone, test, trace } from '../story.ts';

interface Figure {
  value: number | null;
  entries: number[];
}
interface Review {
  lines: {
    order_to_through: Figure;
    laying: Figure;
    crossings: { passing: Figure; finishing: Figure; unfinished: Figure }[];
  }[];
}

test('a line whose times are known is reviewed, figure by figure, on the page and on paper', async ({
  operation,
  crew,
}) => {
  const [line, road, path] = [randomUUID(), randomUUID(), randomUUID()];
  const lead = await operation.pass('lead_team', 'Lead 1');
  const followUp = await operation.pass('follow_up_team', 'Follow-up 1');
  const whole = Math.floor(Date.now() / 60_000 - 130) * 60_000;
  const told = async (pass: string, after_min: number, body: object) => {
    const at = new Date(whole + after_min * 60_000).toISOString();
    const [receipt] = await operation.call<{ outcome: string; reason: unknown }[]>(
      'POST',
      '/reports',
      [{ id: randomUUID(), at, body }],
      pass,
    );
    expect(receipt?.outcome, JSON.stringify(receipt)).toBe('recorded');
  };
  const [near, far] = [
    [-4.6625, 54.083],
    [-4.645, 54.0905],
  ];
  const places = trace.map((place) => [...place]);
  await told(operation.commandPost, 0, {
    kind: 'line_planned',
    line,
    designation: '12',
    from: 'Post',
    to: 'Mill exchange',
    trace: places,
  });
  // Written down before: 10 min to the start, 4 and 6 at two crossings, through after 60, one finished after 28 and one open.
  await told(lead, 10, { kind: 'line_started', line });
  await told(lead, 20, { kind: 'crossing_marked', crossing: road, line, position: near, obstacle: 'dirt_road', construction: 'buried' });
  await told(lead, 24, { kind: 'crossing_passed', crossing: road, clear_of_traffic: true });
  await told(lead, 40, { kind: 'crossing_marked', crossing: path, line, position: far, obstacle: 'path', construction: 'buried' });
  await told(lead, 46, { kind: 'crossing_passed', crossing: path, clear_of_traffic: true });
  await told(lead, 58, { kind: 'trace_extended', line, positions: places });
  await told(lead, 60, { kind: 'call_back_good', line, from_far_end: true });
  await told(followUp, 40, { kind: 'crossing_taken', crossing: road });
  await told(followUp, 52, { kind: 'crossing_finished', crossing: road, depth_m: 0.3, done: ['depth', 'stakes', 'backfill', 'tags', 'call'] });

  const review = await operation.call<Review>('GET', '/review');
  const [reviewed] = review.lines;
  expect(reviewed?.order_to_through.value).toBe(60);
  expect(reviewed?.laying.value).toBe(40);
  expect(reviewed?.crossings.map((crossing) => crossing.passing.value)).toEqual([4, 6]);
  expect(reviewed?.crossings.map((crossing) => crossing.finishing.value)).toEqual([12, null]);
  expect(reviewed?.crossings.map((crossing) => crossing.unfinished.value)).toEqual([28, null]);

  const post = await crew('command_post', 'Command post', { viewport: desk });
  await post.goto(`${operation.service.address}/command-post?page=review`);
  await expect(post.getByRole('heading', { name: /^Line 12, Post/ })).toBeVisible();
  const pressed = (name: string) => post.getByRole('button', { name, exact: true });
  await expect(pressed('Line 12, order to through: 1 h 00 min')).toBeVisible();
  await expect(pressed('Line 12, laying: 40 min')).toBeVisible();
  await expect(pressed('Line 12, lead team at crossings: 10 min')).toBeVisible();
  await expect(pressed('Line 12, order until finished: not known')).toBeVisible();
  const crossings = post.getByRole('table', { name: /^Line 12: crossings/ });
  await expect(crossings.getByRole('row', { name: /Dirt road/ })).toContainText(/4\.0 min.*16 min.*12 min.*28 min/);
  await expect(crossings.getByRole('row', { name: /Path/ })).toContainText(/6\.0 min.*not known/);

  // A figure shows the entries that the service says it comes from.
  await crossings.getByRole('button', { name: /dirt road.*finishing: 12 min/ }).click();
  const sheet = post.getByRole('dialog');
  for (const number of reviewed!.crossings[0]!.finishing.entries) await expect(sheet.getByText(`No. ${number}`, { exact: true })).toBeVisible();
  await expect(sheet.getByText(/^Follow-up 1 took the dirt road .* in hand/)).toBeVisible();
  await expect(sheet.getByRole('listitem')).toHaveCount(2);
  await sheet.getByRole('button', { name: /^Close/ }).click();

  // The picture has a table behind it with the same figures, beside a forecast from the start.
  await expect(post.getByRole('img', { name: /^Line 12: distance and time/ })).toBeVisible();
  await post.getByText('The same as a table').click();
  const behind = post.getByRole('table', { name: /^Begun at/ });
  await expect(behind.getByRole('row', { name: /Dirt road/ })).toContainText('28 min');
  await expect(behind.getByRole('columnheader', { name: 'as forecast' })).toHaveCount(2);
  await expect(post.getByRole('img', { name: /^Line 12: from the order until through: order to start 10 min, laying 40 min, lead team at crossings 10 min$/ })).toBeVisible();
  const figures = await post.locator('main button').allInnerTexts();
  expect(figures.length).toBeGreaterThan(30);
  expect(figures.filter((text) => /^[-−]/.test(text))).toEqual([]);

  // The table for other programs has the same figure.
  const table = await post.request.get(`${operation.service.address}${await post.getByRole('link', { name: 'CSV' }).getAttribute('href')}`);
  expect(table.status()).toBe(200);
  expect(await table.text()).toMatch(/^line 12,order to through,60(\.0)?,min,/m);

  // The section's own rates rest on so many cases, and a file of cases from before adds to them; a bad one loses nothing.
  const rates = post.getByRole('region', { name: 'The section’s own rates' });
  const own = await operation.call<{ cases: { operation: string }[] }>('POST', '/review/rates', {});
  await expect(rates.getByText(`${own.cases.length} cases in all, of this operation alone.`)).toBeVisible();
  await expect(rates.getByRole('button', { name: /^Finishing a crossing, dug in \(buried\), this operation: 12 min$/ })).toBeVisible();
  await expect(rates.getByRole('row', { name: /^Dug in \(buried\).*12 min 1 case –.*too few to trust$/ })).toHaveCount(1);
  const earlier = (minutes: number[]) =>
    minutes.map((time_min, index) => ({
      operation: '0193c3a0-0000-7000-8000-000000000001',
      figure: { what: 'finishing', construction: 'buried', light: 'day' },
      time_min,
      entries: [index + 1],
    }));
  const file = (contents: unknown) => ({ name: 'cases.json', mimeType: 'application/json', buffer: Buffer.from(JSON.stringify(contents)) });
  const bring = rates.getByLabel('Bring along the cases of an earlier operation');
  // Worked by hand: of 10, 11, 12, 13, 14 and 90 the middle is 12.5, without the 90 it is 12.
  await bring.setInputFiles(file(earlier([10, 11, 13, 14, 90])));
  await expect(rates.getByText(`${own.cases.length + 5} cases in all, with 5 cases of 1 earlier operation brought along.`)).toBeVisible();
  await expect(rates.getByRole('row', { name: /^Dug in \(buried\).*12 min 1 case 13 min 5 cases 13 min .* 6 offered$/ })).toBeVisible();
  await expect(rates.getByRole('row', { name: /^Dug in \(buried\), without 1 far out: 1 h 30 min 12 min .* 5$/ })).toBeVisible();
  await expect(rates.getByText(/pace\.constructions\.buried\.follow_up = \{ min = 12\.00/)).toBeVisible();
  await bring.setInputFiles(file(earlier([10, -1])));
  await expect(rates.getByRole('alert')).toHaveText(/^Case 2 of cases\.json cannot be read/);
  await expect(rates.getByText(/with 5 cases of 1 earlier operation/)).toBeVisible();
  const [along] = await Promise.all([post.waitForEvent('download'), rates.getByRole('button', { name: /^Take the cases along/ }).click()]);
  expect(JSON.parse(await readFile(await along.path(), 'utf8'))).toHaveLength(own.cases.length + 5);

  // An entry behind a figure takes a remark, too.
  await rates.getByRole('button', { name: /^Finishing a crossing, dug in .*, this operation: 12 min$/ }).click();
  await sheet.getByRole('button', { name: /^Remark on entry/ }).first().click();
  await sheet.getByLabel('What those who come after should know').fill('The spade broke.');
  await sheet.getByRole('button', { name: 'Put it into the log' }).click();
  await expect(sheet).toBeHidden();
  await expect(post.getByText(/^Entry \d+: The spade broke\.$/)).toBeVisible();

  // Whoever was there adds a remark; the log has it under the team, with its time.
  await post.getByRole('button', { name: 'Add a remark' }).click();
  await sheet.getByLabel('What those who come after should know').fill('The ford was too deep after ten.');
  await sheet.getByRole('button', { name: 'Put it into the log' }).click();
  await expect(sheet).toBeHidden();
  await expect(post.getByRole('region', { name: 'Remarks' }).getByText('The ford was too deep after ten.')).toBeVisible();

  // On a phone by night nothing reaches beyond the page, and a screen reader finds its way.
  await post.setViewportSize(phone);
  await post.evaluate(() => (document.documentElement.dataset['light'] = 'night'));
  expect(await grave(post)).toEqual([]);
  expect(await post.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(phone.width);
  await post.setViewportSize(desk);
  await post.getByRole('button', { name: 'On paper' }).click();
  await expect(post.getByRole('article', { name: 'Crossings in hindsight, sheet 1 of 1' })).toContainText('28 min');
  await expect(post.getByRole('article', { name: /^Review of a line, sheet/ }).getByText('The ford was too deep after ten.')).toBeVisible();
});
