// A phone is paired, views, fires, and is removed: in Chromium, at both doors of a daemon on loopback.
import { mkdirSync } from 'node:fs';
import path from 'node:path';
import { type Browser, chromium, type Page } from 'playwright-core';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { browserPath } from '../../src/set-up/system-parts.mjs';
import { PANEL } from '../built.js';
import { type Doors, NAME, openDoors } from '../two-doors.js';
import { screenAt } from './practice-panel.js';

let doors: Doors;
let browser: Browser;
/** What the pages complained of, but that somebody is not paired. */
const complaints: string[] = [];
const SOON = { timeout: 15_000 };

beforeAll(async () => {
  mkdirSync(path.dirname(screenAt('x')), { recursive: true });
  doors = await openDoors({ built: PANEL });
  const executablePath = browserPath();
  if (executablePath === undefined) throw new Error('No Chromium.');
  browser = await chromium.launch({
    executablePath,
    args: ['--no-sandbox', '--disable-gpu', `--host-resolver-rules=MAP ${NAME} 127.0.0.1`],
  });
});
afterAll(async () => {
  await browser.close();
  await doors.close();
});

function heard(page: Page): Page {
  page.on('pageerror', (error) => complaints.push(error.message));
  page.on('console', (message) => {
    // Of a certificate that nobody vouches for browsers keep no files of the panel, and note that.
    const isExpected = /401|SSL certificate error/.test(message.text());
    if (message.type() === 'error' && !isExpected) complaints.push(message.text());
  });
  return page;
}

it('by a code that is scanned: a name, then the panel; the secret is in no address', async () => {
  const laptop = heard(
    await (await browser.newContext({ viewport: { width: 1280, height: 800 } })).newPage(),
  );
  await laptop.goto(`http://127.0.0.1:${doors.port.here}/`);
  await laptop.locator('.trigger').waitFor();
  await laptop.locator('.devices summary').click();
  const code = async (role: string) => {
    await laptop.getByRole('button', { name: `Pair ${role}`, exact: true }).click();
    const picture = laptop.getByRole('img', { name: 'Pairing code' });
    await picture.waitFor();
    await expect
      .poll(
        () => picture.evaluate((image) => (image as unknown as { naturalWidth: number }).naturalWidth),
        SOON,
      )
      .toBeGreaterThan(0);
    return (await laptop.locator('.pairing-code > code').textContent()) ?? '';
  };

  const context = await browser.newContext({
    viewport: { width: 360, height: 740 },
    ignoreHTTPSErrors: true,
    hasTouch: true,
  });
  const phone = heard(await context.newPage());
  await phone.goto(`https://${doors.host.network}/`);
  await phone.getByText('This device is not paired').waitFor();
  expect(await phone.locator('.panel, .trigger').count()).toBe(0);

  // Only to watch: no bar, and nothing to change.
  await phone.goto(await code('to view only'));
  await expect.poll(() => phone.url(), SOON).toBe(`https://${doors.host.network}/`);
  await laptop.screenshot({ path: screenAt('devices-laptop') });
  await phone.screenshot({ path: screenAt('pairing-phone') });
  await phone.getByLabel('Name for this device').fill('The phone by the lake');
  await phone.getByRole('button', { name: 'Pair' }).click();
  await phone.getByRole('heading', { name: 'View only' }).waitFor();
  await phone.locator('.connection[data-state="connected"]').waitFor();
  expect(await phone.locator('.trigger, .ask, .stop, .look').count()).toBe(0);
  await phone.screenshot({ path: screenAt('watching-phone') });
  const [cookie] = await context.cookies();
  expect(cookie).toMatchObject({ name: '__Host-evenrung', httpOnly: true, secure: true, sameSite: 'Strict' });

  // The laptop sees it by itself; the code is put away.
  await laptop.locator('.device-list li', { hasText: 'The phone by the lake' }).waitFor();
  await expect.poll(() => laptop.locator('.pairing-code').count(), SOON).toBe(0);

  // Paired anew, to fire: the earlier pairing goes with that.
  await phone.goto(await code('to fire'));
  await phone.getByRole('button', { name: 'Pair' }).click();
  await phone.locator('.trigger[data-does="fire"]').waitFor();
  await expect
    .poll(() => laptop.locator('.device-list li').allInnerTexts(), SOON)
    .toEqual([expect.stringMatching(/^Phone can fire/)]);

  // Paired by a code that the terminal shows: an open panel sees it, too.
  const asked = await fetch(`http://127.0.0.1:${doors.port.here}/api/devices/pairing`, {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body: JSON.stringify({ role: 'watch' }),
  });
  const { link } = (await asked.json()) as { link: string };
  const tablet = heard(await (await browser.newContext({ ignoreHTTPSErrors: true })).newPage());
  await tablet.goto(link);
  await tablet.getByLabel('Name for this device').fill('The tablet');
  await tablet.getByRole('button', { name: 'Pair' }).click();
  await laptop.locator('.device-list li', { hasText: 'The tablet' }).waitFor({ timeout: 10_000 });
  await laptop.getByRole('button', { name: 'Remove The tablet' }).click();
  await tablet.close();

  // Dropped: out at once, and the page says so by itself.
  await laptop.getByRole('button', { name: 'Remove Phone' }).click();
  await phone.getByText('This device is not paired').waitFor();
  expect(await phone.locator('.trigger').count()).toBe(0);
  expect(doors.released()).toBe(0);
  expect(complaints).toEqual([]);
});
