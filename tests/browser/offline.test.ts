// The panel's own files on a device: installed, opened where no daemon answers, and never older than the daemon without saying so.
import { cp, mkdtemp, readdir, readFile, rename, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { type Browser, type BrowserContext, chromium, type Page } from 'playwright-core';
import sharp from 'sharp';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { browserPath } from '../../src/set-up/system-parts.mjs';
import { text } from '../../web/src/text.js';
import { PANEL } from '../built.js';
import { PACED, pace } from '../pace.js';
import { type Doors, NAME, openDoors, WIDE_BOUNDS } from '../two-doors.js';
import { type LossyWay, lossyWay } from './lossy-way.js';
import { screenAt } from './practice-panel.js';

/** The worker does not wait for an answer for longer than 2.5 s. */
const FROM_KEPT_WITHIN_MS = 5000;
const SOON = { timeout: 10_000 };
const SIZE = { viewport: { width: 360, height: 740 }, hasTouch: true } as const;

let built = '';
let doors: Doors;
let way: LossyWay;
let browser: Browser;
let complaints: string[] = [];

beforeEach(async () => {
  complaints = [];
  built = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  await cp(PANEL, built, { recursive: true });
  doors = await openDoors({ built, bounds: WIDE_BOUNDS });
  way = await lossyWay(doors.port.here);
  const executablePath = browserPath();
  if (executablePath === undefined) throw new Error('No Chromium.');
  browser = await chromium.launch({
    executablePath,
    args: [
      '--no-sandbox',
      '--disable-gpu',
      `--host-resolver-rules=MAP ${NAME} 127.0.0.1, MAP 127.0.0.1:${doors.port.here} 127.0.0.1:${way.port}`,
    ],
  });
});
afterEach(async () => {
  await browser.close();
  await way.close();
  await doors.close();
  await rm(built, { recursive: true, force: true });
  expect(complaints).toEqual([]);
});

async function open(at: string, context?: BrowserContext): Promise<Page> {
  const page = await (context ?? (await browser.newContext(SIZE))).newPage();
  page.setDefaultTimeout(15_000);
  page.on('pageerror', (error) => complaints.push(error.message));
  await page.goto(at);
  return page;
}
const here = () => `http://127.0.0.1:${doors.port.here}/`;
const connected = (page: Page) => page.locator('main[data-connection="connected"]').waitFor();

/** Its worker has the panel's files, and looks after this page. */
async function kept(page: Page): Promise<void> {
  await connected(page);
  await page.waitForFunction(() => navigator.serviceWorker.controller?.state === 'activated');
}
const scriptOf = (page: Page) => page.locator('script[type="module"][src]').getAttribute('src');

/** What a build of a changed panel leaves: a script of another name, a page that names it, and a worker with another list and name. */
async function buildAnew(): Promise<string> {
  const files = await readdir(built, { recursive: true });
  const script = files.find((name) => /^assets\/index-.*\.js$/.test(name)) ?? '';
  const next = 'assets/index-another.js';
  for (const name of ['index.html', 'worker.js', script]) {
    const file = path.join(built, name);
    const before = await readFile(file, 'utf8');
    const after = before.replaceAll(script, next).replace(/("|`)[0-9a-f]{16}\1/, '"another"');
    await writeFile(file, `${after}\n`);
    for (const packed of ['br', 'gz']) await rm(`${file}.${packed}`, { force: true });
  }
  await rename(path.join(built, script), path.join(built, next));
  return `/${next}`;
}

describe('without an answer', () => {
  it.each([
    ['is refused', 'hangUp'],
    ['gets lost without a word', 'lose'],
  ] as const)(
    'where it %s the panel opens from what is kept, and says that it is not connected',
    PACED,
    async (how, loss) => {
      const page = await open(here());
      await kept(page);
      way[loss]();
      const from = performance.now();
      await page.reload();
      expect(await page.locator('h1').textContent()).toBe(text.name);
      pace(`from what is kept, where it ${how}`, performance.now() - from, 'ms', FROM_KEPT_WITHIN_MS);
      await page.getByText(text.connection.never).waitFor({ timeout: 30_000 });
      expect(await page.locator('main').getAttribute('data-connection')).toBe('lost');
      await page.screenshot({ path: screenAt(`phone-offline-${loss}`) });
      way.comeBack();
      await page.locator('main[data-connection="connected"]').waitFor({ timeout: 30_000 });
    },
  );

  it('the worker answers for the page and its files alone', async () => {
    const page = await open(here());
    await kept(page);
    const answered: { at: string; byWorker: boolean }[] = [];
    page.on('response', (response) => {
      answered.push({ at: new URL(response.url()).pathname, byWorker: response.fromServiceWorker() });
    });
    await page.reload();
    await connected(page);
    await page.goto(new URL('/notes/README.md', here()).href).catch(() => undefined);
    const byWorker = answered.filter((answer) => answer.byWorker).map(({ at }) => at);
    const others = answered.filter((answer) => !answer.byWorker).map(({ at }) => at);
    expect(byWorker).toContain('/');
    expect(
      byWorker.filter((at) => at !== '/' && at !== '/first-look.js' && !at.startsWith('/assets/')),
    ).toEqual([]);
    expect(byWorker.filter((at) => at.startsWith('/assets/')).length).toBeGreaterThanOrEqual(2);
    expect(others).toEqual(expect.arrayContaining(['/api/me', '/api/state', '/notes/README.md']));
    const held = await page.evaluate(async () => {
      const names = await caches.keys();
      const requests = await Promise.all(names.map(async (name) => (await caches.open(name)).keys()));
      return requests.flat().map(({ url }) => new URL(url).pathname);
    });
    expect(held.filter((at) => at !== '/' && at !== '/first-look.js' && !at.startsWith('/assets/'))).toEqual(
      [],
    );
  });
});

describe('a newer daemon', () => {
  it('brings its panel at once', async () => {
    const page = await open(here());
    await kept(page);
    const script = await buildAnew();
    await page.reload();
    await connected(page);
    expect(await scriptOf(page)).toBe(script);
    await expect.poll(() => page.evaluate(async () => (await caches.keys()).length), SOON).toBe(1);
    // What is kept is the new one.
    await expect
      .poll(() => page.evaluate(async (at) => (await caches.match(at)) !== undefined, script), SOON)
      .toBe(true);
    way.hangUp();
    await page.reload();
    await page.getByText(text.connection.never).waitFor();
    expect(await scriptOf(page)).toBe(script);
  });

  it('is told to whoever has an older panel in use, and taken up at once by a page that nobody has touched', async () => {
    const context = await browser.newContext(SIZE);
    const [used, untouched] = [await open(here(), context), await open(here(), context)];
    await kept(used);
    await kept(untouched);
    await used.locator('h1').click();
    const before = await scriptOf(used);
    way.hangUp();
    const script = await buildAnew();
    await used.locator('main[data-connection="lost"]').waitFor();
    way.comeBack();
    await used.getByText(text.phone.newer).waitFor({ timeout: 30_000 });
    await used.screenshot({ path: screenAt('phone-newer') });
    expect(await scriptOf(used)).toBe(before);
    await expect.poll(() => scriptOf(untouched), SOON).toBe(script);
    await used.getByRole('button', { name: text.phone.load }).click();
    await expect.poll(() => scriptOf(used), SOON).toBe(script);
    await connected(used);
    expect(await used.getByText(text.phone.newer).count()).toBe(0);
  });
});

describe('a page that is opened', () => {
  it('just as the worker takes over is looked after all the same', async () => {
    const context = await browser.newContext(SIZE);
    const late = await context.newPage();
    late.setDefaultTimeout(15_000);
    late.on('pageerror', (error) => complaints.push(error.message));
    // Asked for before there is a worker, and there only when it has claimed the pages that it found.
    let goOn = () => {};
    const mayGoOn = new Promise<void>((resolve) => {
      goOn = resolve;
    });
    await late.route(here(), async (route) => {
      await mayGoOn;
      await route.continue();
    });
    const asked = late.waitForRequest(here());
    const opened = late.goto(here());
    await asked;
    await kept(await open(here(), context));
    goOn();
    await opened;
    await kept(late);
  });
});

describe('installing', () => {
  it('the manifest and its icons are as browsers want them', async () => {
    const page = await open(here());
    await kept(page);
    const session = await page.context().newCDPSession(page);
    const { url, errors, data } = await session.send('Page.getAppManifest');
    expect({ at: new URL(url).pathname, errors }).toEqual({ at: '/manifest.webmanifest', errors: [] });
    const manifest = JSON.parse(data ?? '') as {
      icons: { src: string; sizes: string; type: string; purpose: string }[];
    };
    expect(manifest).toMatchObject({
      ...{ name: 'Evenrung', short_name: 'Evenrung', display: 'standalone', start_url: '/', scope: '/' },
      background_color: expect.stringMatching(/^#[0-9a-f]{6}$/),
      theme_color: expect.stringMatching(/^#[0-9a-f]{6}$/),
    });
    const { headers } = await doors.ask('here', 'GET', '/manifest.webmanifest');
    expect(headers['content-type']).toMatch(/^application\/manifest\+json/);
    expect(headers['content-security-policy']).toMatch(/manifest-src 'self'.*worker-src 'self'/);
    expect(manifest.icons.map(({ sizes, purpose }) => `${sizes} ${purpose}`).sort()).toEqual([
      '192x192 any',
      '192x192 maskable',
      '512x512 any',
      '512x512 maskable',
    ]);
    for (const { src, sizes, type, purpose } of manifest.icons) {
      const answer = await fetch(new URL(src, here()));
      expect(answer.headers.get('content-type')).toBe(type);
      const picture = sharp(Buffer.from(await answer.arrayBuffer()));
      const { width, height, format } = await picture.metadata();
      expect(`${width}x${height} ${format}`).toBe(`${sizes} png`);
      // Whatever shape it is cut to: a maskable one has no corner that is not painted.
      const { data: pixels } = await picture.ensureAlpha().raw().toBuffer({ resolveWithObject: true });
      expect(pixels[3]).toBe(purpose === 'maskable' ? 255 : 0);
    }
    const { installabilityErrors } = await session.send('Page.getInstallabilityErrors');
    expect(installabilityErrors.map(({ errorId }) => errorId).filter((id) => id !== 'in-incognito')).toEqual(
      [],
    );
  });

  it('a certificate that nobody vouches for costs only what is kept', async () => {
    const context = await browser.newContext({ ...SIZE, ignoreHTTPSErrors: true });
    const page = await open(`https://${doors.host.network}/`, context);
    await page.getByText(text.pairing.heading).waitFor();
    const { text: pairing } = await doors.ask('here', 'POST', '/api/devices/pairing', {
      body: { role: 'fire' },
    });
    const { secret } = JSON.parse(pairing) as { secret: string };
    await page.goto(`https://${doors.host.network}/#pair=${secret}`);
    await page.getByRole('button', { name: text.pairing.pair }).click();
    await connected(page);
    await page.waitForTimeout(1000);
    expect(await page.locator('main').getAttribute('data-connection')).toBe('connected');
  });
});
