/** What the browser tests share: a service with an operation, crews that come in, and what they do on their pages. */
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { resolve } from 'node:path';
import { expect, test as base, type Browser, type BrowserContext, type Page } from '@playwright/test';
import { Database, Operation, Service, type Party, type Place } from './service.ts';

export { expect };

/** A phone, as a crew holds it. */
export const phone = { width: 390, height: 844 };
/** A desk at the command post. */
export const desk = { width: 1440, height: 900 };

/** The way from the post to the exchange in these tests: open ground, two legs. */
export const trace: Place[] = [
  [-4.67, 54.08],
  [-4.655, 54.086],
  [-4.635, 54.095],
];
/** A place on its first leg. */
export const onTrace: Place = [-4.6625, 54.083];

interface Worlds {
  database: Database;
  service: Service;
}

interface Fixtures {
  operation: Operation;
  /** Lets a crew come in on a device of its own, standing at a place. */
  crew: (party: Party, team: string, more?: Device) => Promise<Page>;
}

export interface Device {
  viewport?: { width: number; height: number };
  stands?: Place;
  /** the receiver, the wake lock and the vibration are stood in for, and `window.stubs` drives and counts them */
  stubs?: boolean;
}

export const test = base.extend<Fixtures, Worlds>({
  database: [
    // eslint-disable-next-line no-empty-pattern
    async ({}, use) => {
      const database = new Database();
      await use(database);
      database.drop();
    },
    { scope: 'worker' },
  ],
  service: [
    async ({ database }, use) => {
      const service = new Service(database);
      await service.start();
      await use(service);
      await service.stop();
    },
    { scope: 'worker' },
  ],
  operation: async ({ service }, use, info) => {
    await use(new Operation(service, info.title.slice(0, 40)));
  },
  crew: async ({ browser, operation }, use) => {
    const contexts: BrowserContext[] = [];
    await use(async (party, team, device = {}) => {
      const context = await comeWith(browser, operation, device);
      contexts.push(context);
      const page = await context.newPage();
      const pass = party === 'command_post' ? operation.commandPost : await operation.pass(party, team);
      await page.goto(operation.link(pass));
      await expect(page.getByRole('status').filter({ hasText: 'all sent' })).toBeVisible();
      return page;
    });
    for (const context of contexts) await context.close();
  },
});

/** A browser that may ask only this service; anything else it asks for fails the test. */
async function comeWith(browser: Browser, operation: Operation, device: Device): Promise<BrowserContext> {
  const stands = device.stands ?? onTrace;
  const home = operation.service.address;
  const context = await browser.newContext({
    viewport: device.viewport ?? phone,
    permissions: ['geolocation'],
    geolocation: { longitude: stands[0], latitude: stands[1], accuracy: 4 },
    locale: 'en-GB',
    timezoneId: 'UTC',
  });
  if (device.stubs) await context.addInitScript(standIn);
  context.on('request', (request) => {
    const asked = new URL(request.url());
    if (['blob:', 'data:'].includes(asked.protocol)) return;
    expect(asked.origin, `${request.url()} leaves the machine`).toBe(home);
  });
  return context;
}

/** Loads the Isle of Man: OpenStreetMap, extract of 2020-03-13, ODbL 1.0. */
export function onTheIsland(service: Service): void {
  service.command('terrain', 'load', resolve(import.meta.dirname, '../../deploy/demo/isle-of-man.osm.pbf'));
}

/** A line that has been begun and laid over its first leg, with a call back on the way. */
export async function begunLine(operation: Operation, designation = '12'): Promise<string> {
  const line = await operation.line(designation, trace, 'Post', 'Mill exchange');
  await operation.report([
    { kind: 'line_started', line },
    { kind: 'trace_extended', line, positions: trace.slice(0, 2) },
  ]);
  return line;
}

/** A crossing of a dirt road that is marked and passed, with wire in traffic, as the command post heard it. */
export async function passedCrossing(
  operation: Operation,
  line: string,
  crossing: string,
  position: Place = onTrace,
): Promise<void> {
  await operation.report([
    { kind: 'crossing_marked', crossing, line, position, obstacle: 'dirt_road', construction: 'buried' },
    { kind: 'crossing_passed', crossing, clear_of_traffic: false },
  ]);
}

const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');

/** What axe-core finds that is serious or critical (WCAG 2.2 A and AA, and best practice). */
export async function grave(page: Page): Promise<string[]> {
  // Evaluated in the page's own context, since the page's policy lets no script in from elsewhere.
  await page.evaluate(axe);
  return page.evaluate(async () => {
    type Axe = { run: () => Promise<{ violations: { id: string; impact: string; nodes: { html: string }[] }[] }> };
    const { violations } = await (window as unknown as { axe: Axe }).axe.run();
    return violations
      .filter(({ impact }) => impact === 'serious' || impact === 'critical')
      .map(({ id, nodes }) => `${id}: ${nodes.map(({ html }) => html.slice(0, 120)).join(' | ')}`);
  });
}

/** Runs in the page before anything else. The receiver's clock goes on over a reload, as a real one does. */
function standIn(): void {
  const locks = { asked: 0, held: 0 };
  let visibility: DocumentVisibilityState = 'visible';
  const held = new Set<EventTarget & { let: () => void }>();
  const stubs = {
    locks,
    shaken: 0,
    see(state: DocumentVisibilityState) {
      visibility = state;
      if (state === 'hidden') for (const lock of held) lock.let();
      document.dispatchEvent(new Event('visibilitychange'));
    },
    fix(place: [number, number], accuracy_m: number, after_s: number) {
      const at = Number(sessionStorage.getItem('receiver') ?? Date.now()) + after_s * 1000;
      sessionStorage.setItem('receiver', String(at));
      const [longitude, latitude] = place;
      for (const watcher of watchers.values()) watcher({ coords: { longitude, latitude, accuracy: accuracy_m }, timestamp: at });
    },
  };
  const watchers = new Map<number, (said: object) => void>();
  const define = (on: object, name: string, value: unknown) => Object.defineProperty(on, name, { value, configurable: true });
  define(window, 'stubs', stubs);
  Object.defineProperty(document, 'visibilityState', { get: () => visibility, configurable: true });
  define(navigator, 'vibrate', () => {
    stubs.shaken += 1;
    return true;
  });
  define(navigator, 'wakeLock', {
    request() {
      locks.asked += 1;
      locks.held += 1;
      const lock = Object.assign(new EventTarget(), {
        let() {
          if (held.delete(lock)) locks.held -= 1;
        },
        release: () => Promise.resolve(lock.let()),
      });
      held.add(lock);
      return Promise.resolve(lock);
    },
  });
  let number = 0;
  define(navigator, 'geolocation', {
    watchPosition(watcher: (said: object) => void) {
      watchers.set((number += 1), watcher);
      return number;
    },
    clearWatch: (which: number) => watchers.delete(which),
  });
}
