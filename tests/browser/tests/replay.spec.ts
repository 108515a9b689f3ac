/** An operation looked at after and before it happens: played again from its log, and forecast. */
import { randomUUID } from 'node:crypto';
import type { Page } from '@playwright/test';
import { begunLine, desk, expect, grave, passedCrossing, test } from '../story.ts';

const strip = (page: Page) => page.getByRole('group', { name: /^Line 12, from Post to Mill exchange/ });

/** The strip in words: how much is laid, and each tag. */
async function shown(page: Page): Promise<(string | null)[]> {
  const tags = strip(page).getByRole('button');
  return [
    await strip(page).getAttribute('aria-label'),
    ...(await tags.evaluateAll((all) => all.map((tag) => tag.getAttribute('aria-label')))),
  ];
}

test('the replay ends at what the live page shows, has each moment before it, and a link leads to one', async ({
  operation,
  crew,
}) => {
  const line = await begunLine(operation);
  await passedCrossing(operation, line, randomUUID());
  const post = await crew('command_post', 'Command post', { viewport: desk });
  await post.context().grantPermissions(['clipboard-read', 'clipboard-write']);
  const tag = strip(post).getByRole('button');
  await expect(tag).toHaveAccessibleName(/passed, not finished, wire lies in traffic/);
  const live = await shown(post);

  await post.getByRole('button', { name: 'Play it again' }).click();
  await expect(post.getByText('entry 5 of 5')).toBeVisible();
  // Whoever works by ear is told of the page, and by keyboard goes on from its top.
  await expect(post.getByRole('heading', { level: 1 })).toBeFocused();
  await expect(post.getByText('Command post: wire is over', { exact: false }).first()).toBeVisible();
  await expect.poll(() => shown(post)).toEqual(live);

  // One entry before it was passed, it was marked; before that, it was not there.
  await post.getByRole('slider', { name: 'Moment' }).press('ArrowLeft');
  await expect(post.getByText('entry 4 of 5')).toBeVisible();
  await expect(tag).toHaveAccessibleName(/^dirt road, dug in \(buried\), marked/);
  await post.getByRole('button', { name: 'Copy a link to this moment' }).click();
  await expect(post.getByText('Copied.', { exact: false })).toBeVisible();
  const link = await post.evaluate(() => navigator.clipboard.readText());
  expect(await grave(post)).toEqual([]);
  const before = post.getByRole('button', { name: 'Entry before' });
  await before.click();
  await expect(tag).toHaveCount(0);
  await expect(before, 'the page stays, and its focus').toBeFocused();

  const other = await post.context().newPage();
  await other.goto(link);
  await expect(other.getByText('entry 4 of 5')).toBeVisible();
  await expect(strip(other).getByRole('button')).toHaveAccessibleName(/^dirt road, dug in \(buried\), marked/);

  // What is reported meanwhile is offered, and played from the beginning it comes to the same end.
  await operation.report([{ kind: 'note', line, text: 'The gate is shut.' }]);
  await other.getByRole('button', { name: 'Fetch 1 entry more' }).click();
  await expect(other.getByText('entry 4 of 6')).toBeVisible();
  await other.getByRole('radio', { name: '×600' }).check();
  await other.getByRole('button', { name: 'Play', exact: true }).click();
  await expect(other.getByText('entry 6 of 6')).toBeVisible();
  await expect.poll(() => shown(other)).toEqual(live);
});

test('a line’s sheet leads to when it will be through, and another team is told at once', async ({ operation, crew }) => {
  const line = await begunLine(operation);
  await passedCrossing(operation, line, randomUUID());
  const post = await crew('command_post', 'Command post', { viewport: desk });
  await post.getByRole('heading', { name: /^Line 12/ }).getByRole('button').click();
  await post.getByRole('button', { name: 'When will it be through?' }).click();
  await expect(post.getByText(/^Through by \d\d:\d\d( tomorrow)?, as likely as not; by .* nine times in ten\.$/)).toBeVisible();
  await expect(post.getByText('up to entry 5 of the log', { exact: false })).toBeVisible();
  await expect(post.getByRole('row', { name: /^Finished and proved/ })).toBeVisible();
  expect(await grave(post)).toEqual([]);

  await post.getByLabel('Follow-up teams', { exact: true }).fill('21');
  await expect(post.getByText('Write a whole number from 1 to 20.')).toBeVisible();
  await post.getByLabel('Follow-up teams', { exact: true }).fill('2');
  await expect(post.getByText('third follow-up team', { exact: false })).toBeVisible();

  // The line's state changes: the forecast follows by itself.
  await operation.report([{ kind: 'call_back_good', line, from_far_end: false, chainage_m: 500 }]);
  await post.getByRole('button', { name: 'Reckon it again' }).click();
  await expect(post.getByText('up to entry 6 of the log', { exact: false })).toBeVisible();
});

test('all lines are forecast together, and one lead team for all of them takes longer than one each', async ({ operation, crew }) => {
  for (const designation of ['12', '13']) await passedCrossing(operation, await begunLine(operation, designation), randomUUID());
  const post = await crew('command_post', 'Command post', { viewport: desk });
  await post.getByRole('button', { name: 'When will the lines be through?' }).click();
  for (const name of [/^Line 12 /, /^Line 13 /, /^All of them /]) await expect(post.getByRole('row', { name })).toBeVisible();
  await expect(post.getByText(/^All finished and proved by \d\d:\d\d/)).toBeVisible();
  await expect(post.getByRole('region', { name: 'What would help most' }).getByText(/^A (second|third) follow-up team/)).toBeVisible();
  expect(await grave(post)).toEqual([]);

  await post.getByLabel('Follow-up teams', { exact: true }).fill('0');
  await expect(post.getByText('Write a whole number from 1 to 20.')).toBeVisible();
  await post.getByLabel('Follow-up teams', { exact: true }).fill('1');
  const minutes = async (act: () => Promise<void>) => {
    const [answer] = await Promise.all([post.waitForResponse(/\/forecast\?/), act()]);
    return ((await answer.json()) as { all: { through: { p50_min: number } } }).all.through.p50_min;
  };
  const each = await minutes(() => post.getByRole('button', { name: 'Reckon it again' }).click());
  const one = await minutes(() => post.getByRole('radio', { name: 'one lays the lines one after the other' }).check());
  expect(one).toBeGreaterThan(each);

  await post.reload();
  await expect(post.getByRole('row', { name: /^All of them / })).toBeVisible();
});
