// The built panel in Chromium against the real daemon with the practice body: from asking to nine verified frames, on a
// phone and on a laptop, by day and by night. What it looked like is left in dist/tests/screens.
import { mkdirSync } from 'node:fs';
import { mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { type Browser, chromium, type Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { setRecordSchema } from '../../shared/set-record.js';
import { browserPath } from '../../src/set-up/system-parts.mjs';
import { PANEL, type Started, start } from '../built.js';

const SCREENS = path.resolve(PANEL, '..', 'tests', 'screens');
const FLAGS = [
  '--no-sandbox',
  '--disable-gpu',
  '--disable-quic',
  '--no-first-run',
  '--disable-background-networking',
  '--disable-component-update',
  '--disable-sync',
];
const SIZES = [
  { name: 'phone', width: 360, height: 740, colorScheme: 'dark', hasTouch: true },
  { name: 'laptop', width: 1280, height: 800, colorScheme: 'light', hasTouch: false },
] as const;
type Size = (typeof SIZES)[number];

let browser: Browser;
let folder = '';
let sets = '';
let daemon: Started;
let address = '';
const pages: { page: Page; complaints: string[] }[] = [];

async function serve(port: number): Promise<Started> {
  const started = start(['serve', '--body', 'practice', '--port', String(port), '--into', sets], {
    EVENRUNG_PRACTICE_TIMING: 'lifelike',
    XDG_STATE_HOME: path.join(folder, 'state'),
  });
  address = (await started.until(/Panel: (http:\S+)/))[1] ?? '';
  return started;
}

beforeAll(async () => {
  mkdirSync(SCREENS, { recursive: true });
  const executablePath = browserPath();
  if (executablePath === undefined)
    throw new Error('The browser tests need Chromium; npm test says how to install it.');
  browser = await chromium.launch({ executablePath, args: FLAGS });
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  sets = path.join(folder, 'sets');
  daemon = await serve(0);
});
afterEach(async () => {
  const complaints = pages.flatMap((opened) => opened.complaints);
  for (const { page } of pages.splice(0)) await page.context().close();
  expect(complaints).toEqual([]);
});
afterAll(async () => {
  await browser?.close();
  daemon?.signal('SIGTERM');
  await daemon?.ended;
  await rm(folder, { recursive: true, force: true });
});

/** Opens the panel; whatever the page complains of fails the test. */
async function open({ width, height, colorScheme, hasTouch }: Size): Promise<Page> {
  const context = await browser.newContext({ viewport: { width, height }, colorScheme, hasTouch });
  const page = await context.newPage();
  page.setDefaultTimeout(10_000);
  const complaints: string[] = [];
  page.on('pageerror', (error) => complaints.push(error.message));
  page.on('console', (message) => {
    if (message.type() === 'error') complaints.push(message.text());
  });
  pages.push({ page, complaints });
  await page.goto(address);
  return page;
}

const rungs = (page: Page) => page.getByRole('list', { name: /^Rungs/ }).getByRole('listitem');
const rungNames = (page: Page) =>
  rungs(page).evaluateAll((found) => found.map((rung) => rung.getAttribute('aria-label') ?? ''));
const verified = (page: Page) => page.locator('[data-state="verified"][data-frame]');
const trigger = (page: Page) => page.getByRole('button', { name: /^Hold to fire/ });

async function ask(page: Page, frames: number, step: string, base: string): Promise<void> {
  await page.getByLabel('Frames', { exact: true }).fill(String(frames));
  await page.getByLabel('Step', { exact: true }).selectOption({ label: step });
  await page.getByLabel('Base', { exact: true }).selectOption(base);
}

/** Begins anew where an ended set is still shown. */
async function freshly(page: Page): Promise<void> {
  await page.locator('main[data-connection="connected"]').waitFor();
  await page.locator('main:not([data-view="running"])').waitFor();
  if ((await page.locator('main').getAttribute('data-view')) === 'ended')
    await page.getByRole('button', { name: 'New set' }).click();
}

async function hold(page: Page): Promise<void> {
  await trigger(page).and(page.locator(':not([aria-disabled="true"])')).waitFor();
  const box = await trigger(page).boundingBox();
  if (box === null) throw new Error('The bar is not on the page.');
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await page.mouse.down();
  await page.locator('main[data-view="running"]').waitFor();
  await page.mouse.up();
}

/** Nothing is wider than the page, and whatever can be pressed is large enough to be hit. */
async function wellLaid(page: Page): Promise<void> {
  const laid = await page.evaluate(() => ({
    sideways: document.documentElement.scrollWidth - document.documentElement.clientWidth,
    small: [...document.querySelectorAll('button, select, input')]
      .map((control) => ({
        name: control.getAttribute('aria-label') ?? control.textContent ?? '',
        box: control.getBoundingClientRect(),
      }))
      .filter(({ box }) => box.width > 0 && (box.height < 48 || box.width < 44))
      .map(({ name, box }) => `${name}: ${box.width} x ${box.height}`),
  }));
  expect(laid).toEqual({ sideways: 0, small: [] });
}

const NINE = ['1/4', '1/8', '1/15', '1/30', '1/60', '1/125', '1/250', '1/500', '1/1000'];

describe.each(SIZES)('on a $name', (size) => {
  it('nine frames: asked for, seen on the ladder, fired, verified', async () => {
    const page = await open(size);
    await freshly(page);
    await page.getByText('Practice body: nothing is being photographed.').waitFor();
    await ask(page, 9, '1 EV', '1/60');
    await expect.poll(() => rungNames(page)).toHaveLength(9);
    expect(await rungNames(page)).toEqual(
      NINE.map((shutter, index) => {
        const offset = 4 - index;
        return `Frame ${9 - index}, ${offset > 0 ? '+' : ''}${offset} EV, ${shutter}, planned`;
      }),
    );
    expect(
      await rungs(page).evaluateAll((found) => found.map((rung) => rung.getAttribute('data-pass'))),
    ).toEqual(['3', '3', '3', '2', '2', '2', '1', '1', '1']);
    expect(
      await trigger(page)
        .getAttribute('aria-label')
        .then((label) => label ?? trigger(page).textContent()),
    ).toMatch(/9 frames.*3 passes.*about \d+ s/);
    await wellLaid(page);
    await page.screenshot({ path: path.join(SCREENS, `${size.name}-asked.png`), fullPage: true });

    await hold(page);
    await expect.poll(() => verified(page).count(), { timeout: 15_000 }).toBeGreaterThanOrEqual(4);
    await wellLaid(page);
    await page.screenshot({ path: path.join(SCREENS, `${size.name}-running.png`) });
    await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor();
    expect(await verified(page).count()).toBe(9);
    await page.getByText('All 9 frames are verified.').first().waitFor();

    const pictures = page.locator('[data-frame] img');
    expect(await pictures.count()).toBe(9);
    for (const picture of await pictures.all()) await picture.scrollIntoViewIfNeeded();
    await expect
      .poll(() =>
        pictures.evaluateAll((all) => all.filter((one) => (one as HTMLImageElement).naturalWidth > 0).length),
      )
      .toBe(9);
    await wellLaid(page);
    await page.screenshot({ path: path.join(SCREENS, `${size.name}-complete.png`), fullPage: true });

    const newest = (await readdir(sets)).sort().at(-1) ?? '';
    await page.getByText(newest).waitFor();
    const record = setRecordSchema.parse(
      JSON.parse(await readFile(path.join(sets, newest, 'set.json'), 'utf8')),
    );
    expect(record).toMatchObject({ complete: true, practice: true });
  });

  it('stop: the frame in hand ends, and the panel says how it ended', async () => {
    const page = await open(size);
    await freshly(page);
    await ask(page, 9, '1 EV', '1/4');
    await hold(page);
    await expect.poll(() => verified(page).count(), { timeout: 15_000 }).toBeGreaterThanOrEqual(1);
    await page.getByRole('button', { name: 'Stop', exact: true }).click();
    await page.locator('main[data-view="ended"][data-run-state="stopped"]').waitFor();
    await page
      .getByText(/^Stopped after \d of 9 frames\./)
      .first()
      .waitFor();
    await page.screenshot({ path: path.join(SCREENS, `${size.name}-stopped.png`), fullPage: true });
  });

  it('a request that cannot be met: said beside the controls, and the bar does nothing', async () => {
    const page = await open(size);
    await freshly(page);
    await ask(page, 21, '2 EV', '1/60');
    const alert = page.getByRole('alert').filter({ hasText: /shutter times outside/ });
    await alert.waitFor();
    expect(await trigger(page).count()).toBe(0);
    expect(await page.locator('main').getAttribute('data-view')).toBe('ask');
    await wellLaid(page);
    await page.screenshot({ path: path.join(SCREENS, `${size.name}-refused.png`), fullPage: true });
    // Each suggestion can be taken, and then there is a ladder.
    const offered = page.getByRole('list', { name: 'What would do:' }).getByRole('button');
    await offered.filter({ hasText: /^\d+ frames, from/ }).click();
    await trigger(page).waitFor();
    expect((await rungNames(page)).length).toBeGreaterThan(5);
    // What a refused request asks of the daemon is a 422, which the browser notes in its console.
    for (const opened of pages) opened.complaints.splice(0);
  });
});

describe('the trigger', () => {
  it('a short press fires nothing; holding the space bar does', async () => {
    const page = await open(SIZES[1]);
    await freshly(page);
    await ask(page, 3, '1 EV', '1/60');
    await trigger(page).and(page.locator(':not([aria-disabled="true"])')).waitFor();
    const before = (await readdir(sets)).length;
    await trigger(page).click({ delay: 100 });
    await page.waitForTimeout(900);
    expect((await readdir(sets)).length).toBe(before);
    await trigger(page).focus();
    await page.keyboard.down('Space');
    await page.locator('main[data-view="running"]').waitFor();
    await page.keyboard.up('Space');
    await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor();
    expect((await readdir(sets)).length).toBe(before + 1);
  });
});

describe('the connection', () => {
  it('a daemon that is killed is missed at once, and found again when it is back', async () => {
    const page = await open(SIZES[0]);
    await freshly(page);
    const { port } = new URL(address);
    daemon.signal('SIGKILL');
    await daemon.ended;
    await page.locator('main[data-connection="lost"]').waitFor();
    await page.getByText('What you see may be out of date.').waitFor();
    await page.screenshot({ path: path.join(SCREENS, 'phone-lost.png'), fullPage: true });
    daemon = await serve(Number(port));
    await page.locator('main[data-connection="connected"]').waitFor({ timeout: 20_000 });
    await page.locator('main[data-body-state="ready"]').waitFor();
    // The browser notes every attempt that failed.
    for (const opened of pages) opened.complaints.splice(0);
  });
});
