/** A browser of its own, with its own storage on disk, that can be killed as a phone's battery does and started again. */
import { spawn, type ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, rmSync } from 'node:fs';
import { createInterface } from 'node:readline';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { chromium, type Browser, type Page } from '@playwright/test';
import { phone } from './story.ts';
import type { Place } from './service.ts';

export class Device {
  readonly #profile = mkdtempSync(join(tmpdir(), 'laywire-device-'));
  readonly #home: string;
  readonly #stands: Place;
  #process: ChildProcess | null = null;
  #browser: Browser | null = null;

  /** `home` is the only address that it will be at. */
  constructor(home: string, stands: Place) {
    this.#home = home;
    this.#stands = stands;
  }

  /** Starts the browser, as it was left, with one page that is nowhere yet. */
  async start(): Promise<Page> {
    const child = spawn(
      '/usr/bin/chromium',
      [
        '--headless=new',
        '--remote-debugging-port=0',
        `--user-data-dir=${this.#profile}`,
        '--no-first-run',
        '--enable-unsafe-swiftshader',
        '--disable-background-networking',
        '--disable-component-update',
        '--disable-sync',
        ...(process.getuid?.() === 0 ? ['--no-sandbox'] : []),
        'about:blank',
      ],
      { stdio: ['ignore', 'ignore', 'pipe'] },
    );
    this.#process = child;
    let socket = '';
    for await (const line of createInterface({ input: child.stderr })) {
      socket = /^DevTools listening on (ws:.*)$/.exec(line)?.[1] ?? '';
      if (socket) break;
    }
    child.stderr.resume();
    this.#browser = await chromium.connectOverCDP(socket);
    const [context] = this.#browser.contexts();
    if (!context) throw new Error('the browser has no profile');
    await context.grantPermissions(['geolocation'], { origin: this.#home });
    await context.setGeolocation({ longitude: this.#stands[0], latitude: this.#stands[1], accuracy: 4 });
    const page = context.pages()[0] ?? (await context.newPage());
    await page.setViewportSize(phone);
    return page;
  }

  /** As a person closes it: what it has in memory goes to its disk, its cookies among it. */
  async close(): Promise<void> {
    const [child, browser] = [this.#process, this.#browser];
    if (!child || !browser) return;
    this.#process = null;
    const ended = once(child, 'exit');
    const devtools = await browser.newBrowserCDPSession();
    await devtools.send('Browser.close');
    await ended;
  }

  /** At once, in the middle of whatever it does. */
  async kill(): Promise<void> {
    const child = this.#process;
    this.#process = null;
    if (!child || child.exitCode !== null) return;
    const ended = once(child, 'exit');
    child.kill('SIGKILL');
    await ended;
    await this.#browser?.close().catch(() => undefined);
  }

  async throwAway(): Promise<void> {
    await this.kill();
    rmSync(this.#profile, { recursive: true, force: true, maxRetries: 5 });
  }
}
