/** The drawings on the sheets: a span that changes with its numbers, and reels along the line. */
import { begunLine, desk, expect, grave, onTrace, phone, test, trace } from '../story.ts';

test('the span is drawn to scale, and changes with its numbers', async ({ operation, crew, service }) => {
  const line = await begunLine(operation);
  const crossing = crypto.randomUUID();
  await operation.report([
    {
      kind: 'crossing_marked',
      crossing,
      line,
      position: onTrace,
      obstacle: 'road',
      construction: 'overhead_poles',
      span_m: 30,
    },
  ]);
  const lead = await crew('lead_team', 'Lead 1', { viewport: phone });
  await expect(lead.getByText(/^Caution\. Traffic/)).toBeVisible();
  await lead.getByRole('button', { name: /^road, overhead on poles/ }).click();
  const sheet = lead.getByRole('dialog');
  // IEEE C2 (NESC) rule 232: 15.5 ft (4.7244 m) over a road; what is asked is rounded up.
  const drawing = sheet.getByRole('img', { name: /^High enough: .* where 4\.73 m is asked/ });
  await expect(drawing).toBeVisible();
  await expect(sheet.getByText(/on the hottest day/).first()).toBeVisible();

  // The drawn wire hangs between the drawn ties, to scale: 30 m are as wide as thirty times one metre is high.
  const wire = sheet.locator('path.wire');
  const before = await wire.getAttribute('d');
  const box = (await wire.boundingBox())!;
  const pole = (await drawing.locator('path.pole').first().boundingBox())!;
  const tie_m = Number(await sheet.getByLabel('Left tie height').inputValue());
  // A stroke of a few pixels is a part of either box.
  expect(Math.abs(box.width / 30 - pole.height / tie_m)).toBeLessThan(0.8);

  await sheet.getByLabel('Left tie height').fill('4');
  await expect(sheet.getByRole('img', { name: /^Too low by/ })).toBeVisible();
  expect(await wire.getAttribute('d')).not.toBe(before);
  await sheet.getByRole('button', { name: 'Draw it high enough' }).click();
  await expect(drawing).toBeVisible();

  for (const light of ['day', 'night']) {
    await lead.evaluate((now) => (document.documentElement.dataset['light'] = now), light);
    expect(await grave(lead), `the span by ${light}`).toEqual([]);
  }

  // The same sheet says how the road is best crossed with what is at hand.
  await sheet.getByText('How is it best crossed with what is at hand?').click();
  await sheet.getByRole('button', { name: 'Trees', exact: true }).click();
  await expect(sheet.getByRole('listitem').filter({ hasText: /^Overhead on trees\./ })).toBeVisible();

  // A number out of range is refused beside it, and the last drawing stays.
  await sheet.getByLabel('Span', { exact: true }).fill('9000');
  await expect(sheet.getByText('Give one from 0.50 m to 2000.00 m.')).toBeVisible();
  await expect(drawing).toBeVisible();

  // The feed is held off, or the page may ask again by itself before anybody presses.
  await lead.route(/\/feed(\?|$)/, (route) => route.abort());
  await service.stop();
  try {
    await sheet.getByLabel('Span', { exact: true }).fill('31');
    await expect(sheet.getByText('What stands here is the last answer', { exact: false })).toBeVisible();
    await expect(drawing).toBeVisible();
  } finally {
    await service.start();
  }
  await sheet.getByRole('button', { name: 'Try again' }).click();
  await expect(sheet.getByText('What stands here is the last answer', { exact: false })).toBeHidden();
});

test('reels lie along the strip with their splices, and the next ones are chosen', async ({ operation, crew }) => {
  const line = await operation.line('12', trace, 'Post', 'Mill exchange');
  await operation.report([
    { kind: 'line_started', line },
    { kind: 'reel_started', line, reel: crypto.randomUUID(), label: 'Drum 1', length_m: 800 },
    { kind: 'trace_extended', line, positions: [trace[0]!, onTrace] },
    { kind: 'reel_started', line, reel: crypto.randomUUID(), label: 'Drum 2', length_m: 1600 },
    { kind: 'splice_made', line },
    { kind: 'trace_extended', line, positions: [trace[1]!] },
  ]);
  const post = await crew('command_post', 'Command post', { viewport: desk });
  await post.getByRole('button', { name: /^Line 12/ }).first().click();
  const sheet = post.getByRole('dialog');
  await sheet.getByText('Wire, reels and time of line 12').click();
  const bar = sheet.getByRole('img', { name: /^Reels as reported: 2 reels, 1 splice at \d+ m$/ });
  await expect(bar).toBeVisible();
  await expect(sheet.getByRole('row', { name: /1\. Drum 1 0 m/ })).toBeVisible();
  // The bar and the strip above it have one scale: the splice is drawn at the same place on both.
  const knots = sheet.locator('path.knot');
  await expect(knots).toHaveCount(2);
  const [above, below] = [(await knots.nth(0).boundingBox())!, (await knots.nth(1).boundingBox())!];
  expect(Math.abs(above.x + above.width / 2 - (below.x + below.width / 2))).toBeLessThan(1);

  await sheet.getByLabel('Left on it').fill('400');
  await sheet.getByRole('button', { name: 'Add this reel' }).click();
  await expect(sheet.getByText(/^They do not reach/)).toBeVisible();
  await sheet.getByLabel('Left on it').fill('4000');
  await sheet.getByRole('button', { name: 'Add this reel' }).click();
  await expect(sheet.getByRole('img', { name: /^Reels as planned: 1 reel,/ })).toBeVisible();
  await expect(sheet.getByRole('row', { name: /Lead team’s work/ })).toBeVisible();
  expect(await grave(post)).toEqual([]);
});

test('what is at hand ranks the constructions anew, and without signal the guide holds', async ({
  operation,
  crew,
  service,
}) => {
  await begunLine(operation);
  const lead = await crew('lead_team', 'Lead 1', { viewport: phone });
  await lead.getByRole('button', { name: 'Crossing here' }).click();
  const sheet = lead.getByRole('dialog');
  await sheet.getByRole('button', { name: 'Road', exact: true }).click();
  await expect(sheet.getByRole('radio', { name: /^Through a culvert/ })).toBeEnabled();
  const culvert = sheet.getByRole('button', { name: 'Culvert', exact: true });
  await culvert.click();
  await sheet.getByRole('button', { name: 'Culvert', exact: true }).click();
  await expect(sheet.getByRole('button', { name: 'No culvert' })).toBeVisible();
  await expect(sheet.getByRole('radio', { name: /^Through a culvert/ })).toBeDisabled();
  await sheet.getByRole('button', { name: 'Poles', exact: true }).click();
  await sheet.getByRole('radio', { name: /^Overhead on poles/ }).check();
  await expect(sheet.getByText(/^Bring:/)).toBeVisible();
  await expect(sheet.getByText(/^Caution: traffic/)).toBeInViewport();
  expect(await grave(lead)).toEqual([]);

  await service.stop();
  try {
    await sheet.getByRole('button', { name: 'Trees', exact: true }).click();
    await expect(sheet.getByText('below is the usual order', { exact: false })).toBeVisible();
    await sheet.getByRole('button', { name: 'Mark it' }).click();
    await expect(lead.getByText(/^1 waiting since/)).toBeVisible();
  } finally {
    await service.start();
  }
});
