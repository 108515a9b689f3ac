/** The feed and the outbox, when the service goes away. */
import { begunLine, desk, expect, passedCrossing, test } from '../story.ts';
import { Service } from '../service.ts';

test('a feed that is cut at the server resumes with nothing missed', async ({
  operation,
  crew,
  service,
  database,
}) => {
  const line = await begunLine(operation);
  const post = await crew('command_post', 'Command post', { viewport: desk });
  // A second process on the same database takes reports while the first is down.
  const other = new Service(database);
  await other.start();
  try {
    await service.stop();
    const [address, crossings] = [service.address, [crypto.randomUUID(), crypto.randomUUID()]];
    service.address = other.address;
    await passedCrossing(operation, line, crossings[0]!);
    service.address = address;
    await service.start();
    await passedCrossing(operation, line, crossings[1]!, [-4.658, 54.0848]);
    await expect(post.getByRole('button', { name: /dirt road.*passed/i })).toHaveCount(4);
  } finally {
    await other.stop();
  }
});

test('what was reported while the service was away is kept and goes out by itself', async ({
  operation,
  crew,
  service,
}) => {
  await begunLine(operation);
  const lead = await crew('lead_team', 'Lead 1');
  await service.stop();
  await lead.getByRole('button', { name: 'Crossing here' }).click();
  const sheet = lead.getByRole('dialog');
  await sheet.getByRole('button', { name: 'Path' }).click();
  await sheet.getByRole('radio', { name: /^Dug in \(buried\)/ }).check();
  await sheet.getByRole('button', { name: 'Mark it' }).click();
  await expect(lead.getByText(/^1 waiting since/)).toBeVisible();
  await service.start();
  await lead.evaluate(() => window.dispatchEvent(new Event('online')));
  await expect(lead.getByText('all sent')).toBeVisible();
  const { features } = await operation.call<{ features: { properties: { obstacle: string } }[] }>(
    'GET',
    '/crossings',
  );
  expect(features.map((feature) => feature.properties.obstacle)).toEqual(['path']);
});
