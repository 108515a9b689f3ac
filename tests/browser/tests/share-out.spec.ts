/** Several follow-up teams: the work is shared out, changed and given out, and each team sees its own; the queue by road. */
import { randomUUID } from 'node:crypto';
import { begunLine, desk, expect, grave, onTheIsland, passedCrossing, phone, test } from '../story.ts';

test('the work is shared out between two teams, changed by hand, given out, and each team sees its own', async ({
  operation,
  service,
  crew,
}) => {
  onTheIsland(service);
  const line = await begunLine(operation);
  const [near, far] = [randomUUID(), randomUUID()];
  await passedCrossing(operation, line, near, [-4.6695, 54.0802]);
  await passedCrossing(operation, line, far, [-4.6365, 54.0943]);
  const first = await crew('follow_up_team', 'Follow-up 1', { viewport: phone });
  const second = await crew('follow_up_team', 'Follow-up 2', { viewport: phone });
  const post = await crew('command_post', 'Command post', { viewport: desk });

  await post.getByRole('button', { name: 'Share out the work' }).click();
  const form = post.getByRole('form', { name: 'Share out the work' });
  for (const [team, at] of [
    ['Follow-up 1', '54.0796, -4.6700'],
    ['Follow-up 2', '54.0945, -4.6360'],
  ]) {
    await form.getByLabel(`Where ${team} is`).fill(at!);
    await form.getByRole('group', { name: team! }).getByLabel('Goes').check();
  }
  await form.getByRole('button', { name: 'Propose who goes where' }).click();
  const rounds = form.getByRole('region', { name: 'Rounds' });
  await expect(rounds.getByText('The last is finished in', { exact: false })).toBeVisible();
  await expect(rounds.getByRole('listitem')).toHaveCount(2);
  // A plan table: the lists scroll, and the page does not.
  expect(await post.evaluate(() => document.documentElement.scrollHeight)).toBeLessThanOrEqual(desk.height);
  for (const light of ['day', 'night']) {
    await post.evaluate((now) => (document.documentElement.dataset['light'] = now), light);
    expect(await grave(post), `sharing out by ${light}`).toEqual([]);
  }

  // The command post has Follow-up 1 do both: the rounds are timed again as they stand.
  await rounds.getByRole('button', { name: /^To Follow-up 1/ }).click();
  await expect(rounds.getByText('Nothing.')).toBeVisible();
  await rounds.getByRole('button', { name: 'Give it out' }).click();
  await expect(rounds.getByText('Reported: 2 given out.', { exact: false })).toBeVisible();
  await expect(first.getByText('For you, number 1')).toBeVisible();
  await expect(first.getByText('For you, number 2')).toBeVisible();
  await expect(second.getByText('For Follow-up 1, number 1')).toBeVisible();

  // By road the service tells how long each way is.
  await first.getByRole('radio', { name: 'By road' }).check();
  await expect(first.getByText('by road', { exact: false }).first()).toBeVisible();
  await expect(first.getByText(/min by road/)).toHaveCount(2);
  await expect(first.getByText('it knows no gates', { exact: false })).toBeVisible();
});
