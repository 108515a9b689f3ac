/** A line is ordered up, taken up onto two reels with a stretch lost and its crossing made good, and the stores come out. */
import { randomUUID } from 'node:crypto';
import type { Page } from '@playwright/test';
import { desk, expect, grave, passedCrossing, phone, test, trace } from '../story.ts';

async function seenBy(page: Page, what: string, lights: readonly string[]): Promise<void> {
  for (const light of lights) {
    await page.evaluate((now) => (document.documentElement.dataset['light'] = now), light);
    expect(await grave(page), `${what} by ${light}`).toEqual([]);
  }
}

test('a line is ordered up once it is dead, taken up onto two reels, and the stores balance', async ({
  operation,
  crew,
}) => {
  const line = await operation.line('12', trace, 'Post', 'Mill exchange');
  const [first, second, road] = [randomUUID(), randomUUID(), randomUUID()];
  // Issue lengths of field wire: 1 and 2 1/2 miles, as SS0440 p. 11 has them.
  await operation.report([
    { kind: 'line_started', line },
    { kind: 'reel_started', line, reel: first, label: 'R 1', length_m: 1600 },
    { kind: 'trace_extended', line, positions: trace.slice(0, 2) },
    { kind: 'reel_started', line, reel: second, label: 'R 2', length_m: 4000 },
    { kind: 'trace_extended', line, positions: trace.slice(2) },
  ]);
  await passedCrossing(operation, line, road);
  await operation.report([{ kind: 'call_back_good', line, from_far_end: true }]);
  const post = await crew('command_post', 'Command post', { viewport: desk });
  const team = await crew('follow_up_team', 'Follow-up 1', { viewport: phone });

  // Who spoke over it last was alive: the order is refused until a test has found it dead.
  await post.getByRole('button', { name: /^Line 12/ }).first().click();
  await post.getByRole('button', { name: 'Take it up' }).click();
  await expect(post.getByText('The last word over it was a living one', { exact: false })).toBeVisible();
  await expect(team.getByRole('button', { name: 'Line 12 is to come up' })).toHaveCount(0);
  await post.getByRole('button', { name: 'Order line 12 up' }).click();
  await post.getByLabel('Confirmed dead by').fill('Mill exchange');
  await post.getByRole('button', { name: 'Order it up' }).click();
  await expect(post.getByText('not confirmed dead', { exact: false }).first()).toBeVisible();
  await post.getByRole('button', { name: 'Not now' }).click();
  await post.getByRole('button', { name: 'It was tested, and is dead' }).click();
  await post.getByRole('radio', { name: /^The far end/ }).check();
  await post.getByRole('button', { name: 'Nothing came: it is dead' }).click();
  await expect(post.getByText('found it dead', { exact: false })).toBeVisible();
  await post.getByRole('button', { name: 'Order line 12 up' }).click();
  await post.getByLabel('Confirmed dead by').fill('Mill exchange');
  await post.getByRole('button', { name: 'Order it up' }).click();
  await expect(post.getByText('confirmed dead by Mill exchange', { exact: false })).toBeVisible();

  // The team takes up what came off the first reel; the class shows while the splices are counted.
  await team.getByRole('button', { name: 'Line 12 is to come up' }).click();
  await team.getByRole('button', { name: 'A section came up' }).click();
  const form = team.getByRole('form', { name: 'A section that came up' });
  await form.getByRole('radio', { name: 'R 1' }).check();
  await form.getByLabel('Wire that came up').fill('1400');
  // At most 4 splices in each conductor in half a mile is class A (SS0440 p. 69): 6 in 1,400 m.
  await form.getByLabel('Splices').fill('7');
  await expect(form.getByText('class B: for training and in the rear')).toBeVisible();
  await form.getByLabel('Splices').fill('6');
  await expect(form.getByText('class A: for use in the field')).toBeVisible();
  await seenBy(team, 'taking up', ['night', 'day']);
  await form.getByRole('button', { name: 'It is up' }).click();
  await expect(team.getByText('1.40 km onto R 1', { exact: false }).first()).toBeVisible();

  // The rest goes onto the second reel, all but a stretch that is lost.
  await team.getByRole('button', { name: 'A section came up' }).click();
  await form.getByLabel('To', { exact: true }).fill('2700');
  await form.getByRole('radio', { name: 'R 2' }).check();
  await form.getByLabel('Wire that came up').fill('1800');
  await form.getByLabel('Splices').fill('0');
  await form.getByRole('button', { name: 'It is up' }).click();
  await expect(team.getByText('1.80 km onto R 2', { exact: false }).first()).toBeVisible();
  // Without a signal what is reported counts on the phone at once, and goes out by itself.
  await expect(team.getByRole('status').filter({ hasText: 'all sent' })).toBeVisible();
  await team.context().setOffline(true);
  await team.getByRole('button', { name: 'Wire lost or left' }).click();
  const lost = team.getByRole('form', { name: 'Wire that does not come back' });
  await lost.getByRole('radio', { name: /^Lost/ }).check();
  await lost.getByLabel('How much wire').fill('150');
  await lost.getByLabel('Why').fill('Under the new bank');
  await lost.getByRole('button', { name: 'Report it' }).click();
  await expect(team.getByText('Nothing of it lies any more.')).toBeVisible();
  await expect(team.getByRole('status').filter({ hasText: '1 waiting' })).toBeVisible();
  await team.context().setOffline(false);
  await expect(team.getByRole('status').filter({ hasText: 'all sent' })).toBeVisible();

  // The crossing is made good with the cautions of its place before the eyes.
  await team.getByRole('button', { name: /^Dirt road at/ }).click();
  await expect(team.getByRole('note').getByText('a look-out on both approaches', { exact: false })).toBeVisible();
  await expect(team.getByText('trench filled', { exact: false })).toBeVisible();
  await team.getByRole('button', { name: 'It is made good again' }).click();
  await expect(team.getByText('None: every crossing', { exact: false })).toBeVisible();

  // What is still on the reels is measured; the books say what is missing until the second is told.
  await team.getByRole('button', { name: 'A reel is back' }).click();
  const rest = team.getByRole('form', { name: 'A reel brought back' });
  await rest.getByRole('radio', { name: 'R 1' }).check();
  await rest.getByLabel('Left on it').fill('200');
  await rest.getByRole('button', { name: 'It is back' }).click();
  await team.getByRole('button', { name: 'A reel is back' }).click();
  await rest.getByRole('radio', { name: 'R 2' }).check();
  await rest.getByLabel('Left on it').fill('2010');
  await rest.getByRole('button', { name: 'It is back' }).click();
  await post.getByRole('button', { name: 'Stores' }).click();
  await expect(post.getByText('40 m is missing', { exact: false }).first()).toBeVisible();
  await team.getByRole('button', { name: 'A reel is back' }).click();
  await rest.getByRole('radio', { name: 'R 2' }).check();
  await rest.getByLabel('Left on it').fill('2050');
  await rest.getByRole('button', { name: 'It is back' }).click();
  await expect(post.getByText('issued: balances.', { exact: false })).toBeVisible();

  // 1,600 = 1,400 up + 200 never laid; 4,000 = 1,800 up + 150 lost + 2,050 never laid.
  const row = (name: string) => post.getByRole('row', { name });
  await expect(row('R 1')).toContainText(/1600\s*0\s*0\s*1600\s*0\s*0/);
  await expect(row('R 2')).toContainText(/4000\s*0\s*0\s*3850\s*150\s*0/);
  await expect(row('In all')).toContainText(/5600\s*0\s*0\s*5450\s*150\s*0/);
  await row('R 1').getByRole('button').click();
  const through = post.getByRole('list', { name: 'What R 1 has been through' });
  await expect(through.getByText('Drawn for line 12 by Command post', { exact: false })).toBeVisible();
  await expect(through.getByText('Filled by Follow-up 1: 1.40 km of line 12', { exact: false })).toBeVisible();
  await seenBy(post, 'stores', ['day']);

  // A reload leads back to the same page, and the team has the stores on its phone.
  await team.reload();
  await expect(team.getByRole('heading', { name: 'Taking line 12 up' })).toBeVisible();
  await team.getByRole('button', { name: 'Stores' }).click();
  await expect(team.getByText('issued: balances.', { exact: false })).toBeVisible();
  await team.setViewportSize({ width: 320, height: 640 });
  expect(await team.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(320);
  await seenBy(team, 'stores on a phone', ['night']);
});
