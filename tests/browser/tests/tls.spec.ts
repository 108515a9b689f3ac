/**
 * TLS from the service's own authority, in a browser that was made to trust it as a person does it, and in one that
 * was not; and passes on paper, read back from the print.
 */
import { execFileSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { chromium, type Browser, type LaunchOptions, type Page } from '@playwright/test';
import { Service } from '../service.ts';
import { desk, expect, test as base } from '../story.ts';

interface Secured {
  folder: string;
  secured: Service;
  trustPage: string;
  /** a browser of its own, with this authority trusted or none */
  browserOf: (launch: LaunchOptions, trusting: Buffer | null) => Promise<Browser>;
}

const test = base.extend<Secured>({
  // eslint-disable-next-line no-empty-pattern
  folder: async ({}, use) => {
    const folder = mkdtempSync(join(tmpdir(), 'laywire-tls-'));
    await use(folder);
    rmSync(folder, { recursive: true });
  },
  secured: async ({ database, folder }, use) => {
    const tls = ['--tls', 'auto', '--name', 'wire.example', '--trust-page', '127.0.0.1:0'];
    const service = new Service(database, { more: ['--data', join(folder, 'data'), ...tls] });
    await service.start();
    await use(service);
    await service.stop();
  },
  trustPage: async ({ secured }, use) => {
    await use(secured.said.map((line) => line.trim()).find((line) => line.startsWith('http://wire.example:'))!);
  },
  browserOf: async ({ folder }, use) => {
    const opened: Browser[] = [];
    await use(async (launch, trusting) => {
      const home = join(folder, `home-${opened.length}`);
      const store = join(home, '.pki/nssdb');
      mkdirSync(store, { recursive: true });
      const certutil = (...more: string[]) => execFileSync('certutil', ['-d', `sql:${store}`, ...more]);
      certutil('-N', '--empty-password');
      if (trusting) {
        const file = join(home, 'authority.crt');
        writeFileSync(file, trusting);
        certutil('-A', '-n', 'laywire', '-t', 'C,,', '-i', file);
      }
      const args = [...(launch.args ?? []), '--host-resolver-rules=MAP wire.example 127.0.0.1'];
      const browser = await chromium.launch({ ...launch, args, env: { ...process.env, HOME: home } });
      opened.push(browser);
      return browser;
    });
    for (const browser of opened) await browser.close();
  },
});

/** The authority's fingerprint as the service printed it. */
const printedBy = (service: Service) =>
  service.said.map((line) => line.trim()).find((line) => /^([0-9A-F]{2}:){31}[0-9A-F]{2}$/.test(line))!;

const certificate = async (trustPage: string) => {
  const address = new URL('/laywire-authority.crt', trustPage);
  address.hostname = '127.0.0.1';
  return Buffer.from(await (await fetch(address)).arrayBuffer());
};

test('a browser that trusts the authority gives our pages a position and a place offline; a stranger stays out', async ({
  operation,
  secured,
  trustPage,
  browserOf,
  launchOptions,
}) => {
  const untold = await browserOf(launchOptions, null);
  await expect((await untold.newPage()).goto(secured.address)).rejects.toThrow(/ERR_CERT_AUTHORITY_INVALID/);
  // The way in is open to it all the same.
  const stranger = await untold.newPage();
  await stranger.goto(trustPage);
  await expect(stranger.getByText(printedBy(secured))).toBeVisible();
  await stranger.getByText('iPhone and iPad').click();
  await expect(stranger.getByText('Certificate Trust Settings', { exact: false })).toBeVisible();

  const browser = await browserOf(launchOptions, await certificate(trustPage));
  const context = await browser.newContext({
    geolocation: { longitude: -4.6625, latitude: 54.083 },
    permissions: ['geolocation'],
  });
  const page = await context.newPage();
  await page.goto(`${secured.address}/join#${await operation.pass('lead_team', 'Lead 1')}`);
  await expect(page).toHaveURL(/\/lead$/);
  // Where the receiver says that it stands.
  await expect(page.getByText('30U UE 91245 94034')).toBeVisible();
  const given = await page.evaluate(async () => ({
    secure: isSecureContext,
    worker: (await navigator.serviceWorker.ready).active !== null,
    protocol: (performance.getEntriesByType('navigation')[0] as PerformanceNavigationTiming).nextHopProtocol,
  }));
  expect(given).toEqual({ secure: true, worker: true, protocol: 'h2' });
  expect((await context.cookies(`${secured.address}/api`)).map((cookie) => cookie.secure)).toEqual([true]);
});

/** The texts of the QR codes that stand on the paper, read by a decoder that shares nothing with the encoder. */
async function codesOn(page: Page, reader: Page): Promise<string[]> {
  await reader.addScriptTag({ path: resolve(import.meta.dirname, '../../../web/node_modules/jsqr/dist/jsQR.js') });
  const found: string[] = [];
  for (const code of await page.locator('.pass-on-paper svg').all()) {
    const picture = (await code.screenshot()).toString('base64');
    found.push(
      await reader.evaluate(async (png) => {
        const image = await createImageBitmap(await (await fetch(`data:image/png;base64,${png}`)).blob());
        const canvas = new OffscreenCanvas(image.width, image.height).getContext('2d')!;
        canvas.drawImage(image, 0, 0);
        const { data, width, height } = canvas.getImageData(0, 0, image.width, image.height);
        type Decoder = (data: Uint8ClampedArray, width: number, height: number) => { data: string } | null;
        return (window as unknown as { jsQR: Decoder }).jsQR(data, width, height)?.data ?? 'no code';
      }, picture),
    );
  }
  return found;
}

test('a pass is printed on one sheet of A4 or Letter, with what a device needs to trust the service', async ({
  operation,
  secured,
  trustPage,
  browserOf,
  launchOptions,
}) => {
  const browser = await browserOf(launchOptions, await certificate(trustPage));
  const page = await (await browser.newContext({ viewport: desk })).newPage();
  await page.goto(`${secured.address}/join#${operation.commandPost}`);
  await page.getByRole('button', { name: 'Passes' }).click();
  const sheet = page.getByRole('dialog');
  const fingerprint = printedBy(secured);
  await expect(sheet.getByText(fingerprint.slice(0, 23).replaceAll(':', ' '))).toBeVisible();
  await sheet.getByRole('button', { name: 'Give a pass' }).click();
  const longest = 'Follow-up team of the northern detachmen';
  await sheet.getByLabel(/call sign/i).fill(longest);
  await sheet.getByRole('button', { name: 'Make the pass' }).click();
  const secret = (await sheet.locator('.secret').textContent())!;
  const paper = page.locator('.pass-on-paper');
  await expect(paper).toBeHidden();

  // ISO 216 A4 is 210 × 297 mm, 595 × 842 points; ANSI A is 8.5 × 11 in, 612 × 792. Here in tens of points.
  for (const [format, box] of [
    ['A4', [60, 84]],
    ['Letter', [61, 79]],
  ] as const) {
    const pdf = (await page.pdf({ format })).toString('latin1');
    expect(pdf.match(/\/Type \/Page\n/g), format).toHaveLength(1);
    const size = /\/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]/.exec(pdf)!;
    expect([size[1], size[2]].map((points) => Math.round(Number(points) / 10)), format).toEqual(box);
  }
  // On paper there is the pass and nothing of the page.
  await page.emulateMedia({ media: 'print' });
  await expect(paper).toBeVisible();
  await expect(sheet).toBeHidden();
  for (const text of [longest, secret, `${secured.address}/join`, trustPage]) {
    await expect(paper.getByText(text, { exact: true })).toBeVisible();
  }
  expect((await paper.locator('.print span').allTextContents()).join(' ')).toBe(fingerprint.replaceAll(':', ' '));
  const codes = await codesOn(page, await (await browser.newContext()).newPage());
  expect(codes).toEqual([`${secured.address}/join#${secret}`, trustPage]);
});
