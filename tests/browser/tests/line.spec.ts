/** A line's own page: reached from the strip and the map, a test judged, and trouble reported, halved and cleared. */
import type { Page } from '@playwright/test';
import { begunLine, desk, expect, grave, onTrace, passedCrossing, phone, test, trace } from '../story.ts';
import type { Place } from '../service.ts';

/** Where a place is drawn while the whole trace is in view: Web Mercator, tiles of 512 pixels, and the map's own margins. */
async function onMap(page: Page, [lon, lat]: Place): Promise<[number, number]> {
  const canvas = (await page.locator('canvas').first().boundingBox())!;
  const margin = { top: 24, right: 72, bottom: 72, left: 32 };
  const [width, height] = [
    canvas.width - margin.left - margin.right,
    canvas.height - margin.top - margin.bottom,
  ];
  const x = (of: number) => (of + 180) / 360;
  const y = (of: number) => 0.5 - Math.log(Math.tan(Math.PI / 4 + (of * Math.PI) / 360)) / (2 * Math.PI);
  const [xs, ys] = [trace.map(([of]) => x(of)), trace.map(([, of]) => y(of))];
  const ends = (all: number[]) => [Math.min(...all), Math.max(...all)] as const;
  const [[west, east], [north, south]] = [ends(xs), ends(ys)];
  const world = Math.min(512 * 2 ** 15, width / (east - west), height / (south - north));
  return [
    canvas.x + margin.left + width / 2 + (x(lon) - (west + east) / 2) * world,
    canvas.y + margin.top + height / 2 + (y(lat) - (north + south) / 2) * world,
  ];
}

test('a line’s page is opened from strip and map, a test is judged, and trouble halved and cleared', async ({
  operation,
  crew,
}) => {
  const line = await begunLine(operation);
  await passedCrossing(operation, line, crypto.randomUUID());
  await operation.report([
    { kind: 'trace_extended', line, positions: [trace[2]!] },
    { kind: 'call_back_good', line, from_far_end: true },
  ]);
  const post = await crew('command_post', 'Command post', { viewport: desk });
  const follow = await crew('follow_up_team', 'Follow-up 1', { viewport: phone });

  // From the strip's heading on the team's page; Back leads to where it was.
  await follow.getByRole('button', { name: /open the line’s page/ }).click();
  await expect(follow.getByRole('heading', { name: 'Line 12' })).toBeVisible();
  await expect(follow.getByText('Still to finish: the dirt road at', { exact: false })).toBeVisible();
  await follow.goBack();
  await expect(follow.getByRole('heading', { name: 'Follow-up 1' })).toBeVisible();
  await follow.goForward();

  // From the map: a tag that is near wins, anywhere else on the trace it is the line.
  const sheet = post.getByRole('dialog');
  const tie = await onMap(post, onTrace);
  await expect(async () => {
    // Pressed once more, the sheet that came late would be closed again.
    if (!(await sheet.isVisible())) await post.mouse.click(...tie);
    await expect(sheet).toBeVisible({ timeout: 1_000 });
  }).toPass();
  await expect(sheet.getByRole('heading', { name: 'Crossing' })).toBeVisible();
  await post.keyboard.press('Escape');
  await expect(sheet).toBeHidden();
  const between: Place = [(trace[1]![0] + trace[2]![0]) / 2, (trace[1]![1] + trace[2]![1]) / 2];
  // The map moved to the crossing that was looked at.
  await post.getByRole('button', { name: /^Line 12/ }).first().click();
  await sheet.getByRole('button', { name: 'Show it on the map' }).click();
  await expect(sheet).toBeHidden();
  const wire = await onMap(post, between);
  await expect(async () => {
    await post.mouse.click(...wire);
    await expect(post).toHaveURL(new RegExp(`page=line&line=${line}`), { timeout: 1_000 });
  }).toPass();
  await expect(post.getByRole('heading', { name: 'Line 12' })).toBeVisible();

  // A test with a reading that no slack explains gets its verdict, with what a sound line should read beside it.
  await follow.getByRole('button', { name: 'Report a test' }).click();
  const form = follow.getByRole('form', { name: 'Test' });
  await form.getByRole('button', { name: 'Report the test' }).click();
  await expect(form.getByText('Say from where the test was made.')).toBeVisible();
  await form.getByRole('radio', { name: 'Mill exchange' }).check({ force: true });
  await form.getByLabel('It rang at the other end').check();
  await form.getByLabel('Both heard each other').check();
  await form.getByText('Readings of an instrument').click();
  await form.getByLabel(/^Loop/).fill('9 k');
  await form.getByLabel('Temperature of the wire').fill('12');
  await form.getByRole('radio', { name: 'Dry' }).check({ force: true });
  await form.getByRole('button', { name: 'Report the test' }).click();
  const tests = follow.getByRole('region', { name: 'Tests' });
  await expect(tests.getByRole('heading', { name: /from Mill exchange: does not serve$/ })).toBeVisible();
  const { tests: told } = await operation.call<{
    tests: { judged: { expected: { reading: { least_ohm: number } } } }[];
  }>('GET', `/lines/${line}/tests`);
  const least = Number(told.at(-1)!.judged.expected.reading.least_ohm.toPrecision(3));
  await expect(
    tests.getByRole('row', { name: new RegExp(`^Loop 9 kΩ ${least} Ω to \\d+ Ω does not serve$`) }),
  ).toBeVisible();

  // Trouble: the command post tells its signs, and the team sees where to test next.
  await post.getByRole('button', { name: 'Report trouble' }).click();
  await expect(post.getByRole('form', { name: 'Signs of trouble' })).toBeFocused();
  await post.getByLabel('The crank turns very easily').check();
  await post.getByLabel('Neither ring nor talk passes').check();
  await post.getByRole('button', { name: 'Report the trouble' }).click();
  const trouble = follow.getByRole('region', { name: 'Trouble' });
  await expect(trouble.getByText('Open, a conductor is parted')).toBeVisible();
  await expect(trouble.getByText('Clip on; nothing is cut.')).toBeVisible();
  await expect(trouble.getByRole('group', { name: /to search from 0 m to 2\.84 km$/ })).toBeVisible();
  await expect(trouble.getByText('3 tests until', { exact: false })).toBeVisible();
  for (const [page, light] of [
    [follow, 'day'],
    [post, 'night'],
  ] as const) {
    await page.evaluate((now) => (document.documentElement.dataset['light'] = now), light);
    expect(await grave(page), `the line by ${light}`).toEqual([]);
  }
  expect(await follow.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(phone.width);

  // Halved: the far side does not answer, so that it lies beyond the place of the test.
  await trouble.getByRole('button', { name: 'What answered?' }).click();
  const at_m = Number(await trouble.getByLabel('How far along the line').inputValue());
  expect(at_m).toBeGreaterThan(2840 / 4);
  expect(at_m).toBeLessThan((2840 * 3) / 4);
  await trouble.getByRole('group', { name: 'Did Post answer?' }).getByRole('radio', { name: 'Yes' }).check({ force: true });
  await trouble.getByRole('group', { name: 'Did Mill exchange answer?' }).getByRole('radio', { name: 'No' }).check({ force: true });
  await trouble.getByRole('button', { name: 'Report what answered' }).click();
  await expect(trouble.getByText('Post answered and Mill exchange did not', { exact: false })).toBeVisible();
  const left = await operation.call<{ guide: { stretch: { from_m: number } } }>('GET', `/lines/${line}/trouble`);
  expect(Math.abs(left.guide.stretch.from_m - at_m)).toBeLessThan(0.1);

  // Cleared, and both pages know it.
  await trouble.getByRole('button', { name: 'It is cleared' }).click();
  await trouble.getByLabel('What caused it?').fill('cut by a plough');
  await trouble.getByLabel('How far along the line').fill('1.9 km');
  await trouble.getByRole('button', { name: 'It is cleared' }).click();
  await expect(trouble.getByText('No trouble is reported on it.')).toBeVisible();
  await expect(post.getByText(/at 1\.90 km: cut by a plough\./)).toBeVisible();
  await expect(
    post.getByRole('region', { name: 'History' }).getByText('Follow-up 1 cleared the trouble', { exact: false }),
  ).toBeVisible();
});
