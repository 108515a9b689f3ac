/**
 * In a crew's hands: large targets, a screen that stays on, a done that is felt, a way back, and laying by the
 * receiver. The receiver, the wake lock and the vibration are the browser's; here they are stood in for.
 */
import type { Page } from '@playwright/test';
import { begunLine, desk, expect, passedCrossing, phone, test, trace } from '../story.ts';
import type { Operation, Place } from '../service.ts';

/** Every target is at least so large both ways: a glove's finger. */
const TARGET_PX = 48;

/** What can be pressed on the page, or on the sheet that lies over it, and is smaller than a target. */
const tooSmall = (page: Page, least = TARGET_PX): Promise<string[]> =>
  page.evaluate((least) => {
    const top = [...document.querySelectorAll('dialog[open]')].at(-1) ?? document.body;
    const kinds = 'button, a[href], input, select, textarea, summary, [role="button"], [role="radio"], [role="checkbox"]';
    const seen = [...top.querySelectorAll<HTMLElement>(kinds)].filter((one) => one.checkVisibility());
    return seen.flatMap((one) => {
      // A box to tick is hit anywhere on its words.
      const target = one instanceof HTMLInputElement ? (one.closest('label') ?? one) : one;
      const { width, height } = target.getBoundingClientRect();
      return width < least - 0.5 || height < least - 0.5
        ? [`${one.tagName} “${(one.getAttribute('aria-label') ?? one.textContent).trim().slice(0, 40)}” ${width} × ${height}`]
        : [];
    });
  }, least);

/** Opens each sheet in turn, measures it, and closes it. */
async function measured(page: Page, sheets: readonly (() => Promise<void>)[]): Promise<string[]> {
  const small = await tooSmall(page);
  for (const open of sheets) {
    await open();
    await expect(page.getByRole('dialog')).toBeVisible();
    small.push(...(await tooSmall(page)));
    await page.keyboard.press('Escape');
    await expect(page.getByRole('dialog')).toBeHidden();
  }
  return small;
}

const press = (page: Page, name: string | RegExp) => () => page.getByRole('button', { name }).first().click();

test('every target on every page and sheet is large enough for a glove', async ({ operation, crew, page }) => {
  const line = await begunLine(operation);
  await passedCrossing(operation, line, crypto.randomUUID());
  await operation.report([
    { kind: 'crossing_marked', crossing: crypto.randomUUID(), line, position: [-4.66, 54.084], obstacle: 'road', construction: 'overhead_trees' },
  ]);
  await page.goto(`${operation.service.address}/join`);
  await expect(page.getByRole('button', { name: 'Come in' })).toBeVisible();
  expect(await tooSmall(page), 'the way in').toEqual([]);
  expect((await tooSmall(page, 10_000)).length, 'the measure finds what it measures').toBeGreaterThanOrEqual(3);

  const lead = await crew('lead_team', 'Lead 1');
  const sheets = ['Splice', 'New reel', 'Call back', 'Note', 'Settings', /I stand at/, /choose another/, /^Wire is over/];
  expect(await measured(lead, sheets.map((name) => press(lead, name))), 'lead team').toEqual([]);
  await lead.getByRole('button', { name: 'Crossing here' }).click();
  expect(await tooSmall(lead), 'what is it?').toEqual([]);
  await lead.getByRole('dialog').getByRole('button', { name: 'Dirt road' }).click();
  expect(await tooSmall(lead), 'how is it crossed?').toEqual([]);
  await lead.keyboard.press('Escape');
  await lead.getByRole('radio', { name: 'Map' }).check();
  await expect(lead.getByRole('button', { name: 'Closer' })).toBeVisible();
  expect(await measured(lead, [press(lead, 'Type the place')]), 'lead team’s map').toEqual([]);

  const follow = await crew('follow_up_team', 'Follow-up 1');
  await follow.getByRole('button', { name: /^Take the dirt road/ }).click();
  await expect(follow.getByRole('button', { name: /^Finish/ })).toBeVisible();
  const followSheets = ['Settings', /I stand at/, 'Give back', /^road, overhead/i].map((name) => press(follow, name));
  expect(await measured(follow, followSheets), 'follow-up team').toEqual([]);

  const post = await crew('command_post', 'Command post', { viewport: desk });
  const postSheets = ['Passes', 'Settings', /^Take back/, /^Line 12/, /dirt road/i].map((name) => press(post, name));
  expect(await measured(post, postSheets), 'command post').toEqual([]);
  for (const beside of ['Plan a line', 'Foresee a crossing']) {
    await post.getByRole('button', { name: beside }).click();
    expect(await tooSmall(post), beside).toEqual([]);
    await post.getByRole('button', { name: 'Not now' }).click();
  }
});

test('the screen stays on while wire is laid, also after it was out of sight', async ({ operation, crew }) => {
  await operation.line('12', trace, 'Post', 'Mill exchange');
  const lead = await crew('lead_team', 'Lead 1', { stubs: true });
  const locks = () => lead.evaluate(() => (window as unknown as Stubs).stubs.locks);
  expect(await locks()).toEqual({ asked: 0, held: 0 });
  await lead.getByRole('button', { name: /^Start laying/ }).click();
  await expect.poll(locks).toEqual({ asked: 1, held: 1 });
  // The browser lets go of it when the page is out of sight, and the page asks again when it is back.
  await lead.evaluate(() => (window as unknown as Stubs).stubs.see('hidden'));
  expect(await locks()).toEqual({ asked: 1, held: 0 });
  await lead.evaluate(() => (window as unknown as Stubs).stubs.see('visible'));
  await expect.poll(locks).toEqual({ asked: 2, held: 1 });
  await lead.getByRole('button', { name: 'Undo' }).click();
  await expect.poll(locks).toEqual({ asked: 2, held: 0 });
});

test('a done is felt, unless the wearer chose otherwise', async ({ operation, crew }) => {
  await begunLine(operation);
  const lead = await crew('lead_team', 'Lead 1', { stubs: true });
  const shaken = () => lead.evaluate(() => (window as unknown as Stubs).stubs.shaken);
  const note = async (text: string) => {
    await lead.getByRole('button', { name: 'Note' }).click();
    await lead.getByRole('textbox').fill(text);
    await lead.getByRole('button', { name: 'Send the note' }).click();
    await expect(lead.getByText('Note written')).toBeVisible();
  };
  await note('one');
  expect(await shaken()).toBe(1);
  await lead.getByRole('button', { name: 'Settings' }).click();
  await lead.getByRole('checkbox', { name: /^Shake/ }).uncheck();
  await lead.keyboard.press('Escape');
  await note('two');
  expect(await shaken()).toBe(1);
});

/** The kinds in the log, the newest first. */
const kinds = async (operation: Operation, count: number) => {
  const log = await operation.call<{ report: { body: { kind: string } } }[]>('GET', '/log');
  return log.slice(0, count).map((entry) => entry.report.body.kind);
};

test('everything that a team presses can be taken back for ten seconds', async ({ operation, crew }) => {
  const line = await operation.line('12', trace, 'Post', 'Mill exchange');
  const lead = await crew('lead_team', 'Lead 1');
  const undone = async (page: Page, back = 'Undo') => {
    const button = page.getByRole('button', { name: back, exact: true });
    await expect(button).toBeVisible();
    // By then it has left the device: what takes it back is said after it, and the log keeps both.
    await expect(page.getByText('all sent')).toBeVisible();
    await button.click();
    await expect(page.getByText(/^Taken back/)).toBeVisible();
    await expect(page.getByText('all sent')).toBeVisible();
  };
  await press(lead, /^Start laying/)();
  await undone(lead);
  await expect(lead.getByRole('button', { name: /^Start laying/ })).toBeVisible();
  await operation.report([
    { kind: 'line_started', line },
    { kind: 'trace_extended', line, positions: trace.slice(0, 2) },
  ]);
  const acts: (() => Promise<void>)[] = [
    press(lead, 'Wire laid to here'),
    async () => {
      await press(lead, 'Splice')();
      await press(lead, 'Splice made here')();
    },
    async () => {
      await press(lead, 'New reel')();
      await press(lead, 'Begin this reel')();
    },
    async () => {
      await press(lead, 'Call back')();
      await press(lead, 'The call was good')();
    },
    async () => {
      await press(lead, 'Note')();
      await lead.getByRole('textbox').fill('A remark');
      await press(lead, 'Send the note')();
    },
    async () => {
      await press(lead, 'Crossing here')();
      await press(lead, 'Dirt road')();
      await lead.getByRole('radio', { name: /^Dug in/ }).check();
      await press(lead, 'Mark it')();
    },
  ];
  for (const act of acts) {
    await act();
    await undone(lead);
  }
  await expect.poll(() => kinds(operation, 1)).toEqual(['crossing_struck_out']);

  const crossing = crypto.randomUUID();
  await operation.report([{ kind: 'crossing_marked', crossing, line, position: [-4.6625, 54.083], obstacle: 'dirt_road', construction: 'buried' }]);
  await lead.getByRole('button', { name: /^Wire is over/ }).click();
  await lead.getByRole('radio', { name: 'No' }).check();
  await lead.getByRole('dialog').getByRole('button', { name: 'Wire is over', exact: true }).click();
  await undone(lead);
  await operation.report([{ kind: 'crossing_passed', crossing, clear_of_traffic: false }]);

  const follow = await crew('follow_up_team', 'Follow-up 1');
  const take = follow.getByRole('button', { name: /^Take the dirt road/ });
  await take.click();
  await undone(follow);
  await take.click();
  await press(follow, 'Give back')();
  await follow.getByRole('dialog').getByRole('button', { name: /give (it )?back/i }).last().click();
  await undone(follow);
  await follow.getByLabel('Depth of the trench').fill('0.2');
  for (const tick of await follow.getByRole('checkbox').all()) await tick.check();
  await press(follow, /^Finish the dirt road/)();
  await undone(follow);
  await press(follow, /^Finish the dirt road/)();
  await press(follow, 'Good: proved')();
  await undone(follow);
  await expect.poll(() => kinds(operation, 2)).toEqual(['correction', 'crossing_proved']);
});

test('laying by the receiver: the walk becomes the laid trace, bad fixes do not, and a reload loses nothing', async ({
  operation,
  crew,
}) => {
  const line = await begunLine(operation);
  const lead = await crew('lead_team', 'Lead 1', { stubs: true });
  await walkOn(lead, [along(0)]);
  await press(lead, /^Lay as I go/)();
  await walkOn(lead, [10, 60, 120, 180, 240].map((m) => along(m)), 60);
  await expect(lead.getByText(/laid; raw fixes/)).toBeVisible();
  await walkOn(lead, [{ ...along(250), accuracy_m: 80 }]);
  await expect(lead.getByText(/1 fix too uncertain, kept out/)).toBeVisible();
  await expect.poll(() => laid(operation)).toBeGreaterThan(150);

  await lead.reload();
  await expect(lead.getByRole('heading', { name: /^Laying as I go, since/ })).toBeVisible();
  await walkOn(lead, [300, 340, 380, 420].map((m) => along(m)), 40);
  // A crossing's place is reckoned on the wire as it lies: what is laid goes out before it.
  await press(lead, 'Crossing here')();
  await lead.getByRole('dialog').getByRole('button', { name: 'Dirt road' }).click();
  await lead.getByRole('radio', { name: /^Dug in/ }).check();
  await press(lead, 'Mark it')();
  await expect.poll(() => kinds(operation, 2)).toEqual(['crossing_marked', 'trace_extended']);
  // 420 m along the second leg, by the geodesic.
  expect(Math.abs((await laid(operation)) - 420)).toBeLessThan(6);

  await press(lead, 'Pause laying')();
  await walkOn(lead, [460, 500, 540, 600].map((m) => along(m)), 40);
  await press(lead, 'Go on laying')();
  await walkOn(lead, [660, 700, 740].map((m) => along(m)), 40);
  await press(lead, 'Pause laying')();
  await press(lead, 'That was all')();
  await expect(lead.getByRole('button', { name: /^Lay as I go/ })).toBeVisible();
  expect(Math.abs((await laid(operation)) - 740)).toBeLessThan(6);
  const notes = (await operation.call<{ report: { body: { kind: string; text?: string; line?: string } } }[]>('GET', '/log'))
    .map((entry) => entry.report.body)
    .filter((body) => body.kind === 'note');
  expect(notes).toHaveLength(1);
  expect(notes[0]?.line).toBe(line);
  expect(notes[0]?.text).toContain('one straight step');
});

test('a crew is on the others’ maps only when it says so, and an onlooker never sees it', async ({ operation, crew }) => {
  await begunLine(operation);
  const post = await crew('command_post', 'Command post', { viewport: desk });
  const umpire = await crew('observer', 'Umpire', { viewport: desk });
  const lead = await crew('lead_team', 'Lead 1');
  await expect(lead.getByText('I stand at')).toBeVisible();
  const crews = post.getByRole('region', { name: 'Where crews are' });
  await expect(crews).toBeHidden();
  await press(lead, 'Settings')();
  await expect(lead.getByText('Off: nobody sees where this device is.', { exact: false })).toBeVisible();
  await lead.getByRole('button', { name: 'Share where I am' }).click();
  await expect(crews).toContainText('Lead 1');
  await expect(crews).toContainText('now');
  await expect(umpire.getByText('Where crews are')).toBeHidden();
  await lead.getByRole('button', { name: 'Stop sharing' }).click();
  await expect(crews).toBeHidden();
});

test('without a receiver the work goes on by typed places and small steps', async ({ operation, crew }) => {
  await begunLine(operation);
  const lead = await crew('lead_team', 'Lead 1', { stubs: true, viewport: phone });
  await press(lead, /Where do I stand/)();
  await lead.getByLabel('Grid reference').fill('nowhere');
  await press(lead, 'I stand there')();
  await expect(lead.getByText(/^That is no place: write it as 30U UE 91743 94356/)).toBeVisible();
  await lead.getByLabel('Grid reference').fill('54.0860, -4.6550');
  await press(lead, 'I stand there')();
  await expect(lead.getByRole('button', { name: /I stand at .*by hand/ })).toBeVisible();
  await lead.getByRole('radio', { name: 'Map' }).check();
  await press(lead, 'Type the place')();
  await lead.getByLabel('Grid reference').fill('54.0870, -4.6550');
  await press(lead, 'Point there')();
  const place = () => lead.locator('.pointing').textContent();
  const before = await place();
  await press(lead, '10 m north')();
  await expect.poll(place).not.toBe(before);
  await press(lead, '10 m south')();
  await expect.poll(place).toBe(before);
  await lead.getByRole('radio', { name: 'List' }).check();
  await press(lead, 'Wire laid to the pointer')();
  await expect.poll(() => kinds(operation, 1)).toEqual(['trace_extended']);
});

const laid = async (operation: Operation): Promise<number> => {
  const { lines } = await operation.call<{ lines: { line: { laid_length_m: number } }[] }>('GET', '');
  // The first leg was laid when the test began: 1,187.309 m by GeographicLib 2.1.
  return lines[0]!.line.laid_length_m - firstLeg_m;
};
const firstLeg_m = 1_187.309;

interface Fix {
  place: Place;
  accuracy_m: number;
}

/** On the second leg, so many metres from its beginning: straight between its ends, which is within a millimetre here. */
function along(run_m: number): Fix {
  const [from, to] = [trace[1]!, trace[2]!];
  const share = run_m / secondLeg_m;
  return { place: [from[0] + (to[0] - from[0]) * share, from[1] + (to[1] - from[1]) * share], accuracy_m: 5 };
}
/** By GeographicLib 2.1. */
const secondLeg_m = 1_648.071;

/** The receiver says these one after the other, so many seconds apart by its own clock. */
const walkOn = (page: Page, fixes: readonly Fix[], apart_s = 15) =>
  page.evaluate(
    ([all, seconds]) => {
      for (const { place, accuracy_m } of all) (window as unknown as Stubs).stubs.fix(place, accuracy_m, seconds);
    },
    [fixes, apart_s] as const,
  );

interface Stubs {
  stubs: {
    locks: { asked: number; held: number };
    shaken: number;
    see: (state: 'visible' | 'hidden') => void;
    fix: (place: Place, accuracy_m: number, after_s: number) => void;
  };
}
