// Two phones and a laptop at one daemon, in Chromium: paired, one of them fires, all see it, one loses the network in the middle of a pass
// and comes back to the right picture. Both doors stand on loopback; each phone has a way of its own to the second one.
import { mkdirSync } from 'node:fs';
import path from 'node:path';
import { type Browser, chromium, type Page } from 'playwright-core';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { LIFELIKE } from '../../src/camera/practice/model.js';
import { browserPath } from '../../src/set-up/system-parts.mjs';
import { PANEL } from '../built.js';
import { type Doors, NAME, openDoors } from '../two-doors.js';
import { type LossyWay, lossyWay } from './lossy-way.js';
import { ask, rungNames, screenAt, trigger } from './practice-panel.js';

const SOON = { timeout: 15_000 };
/** What the daemon of these tests is asked for: three passes, with a wait before each. */
const FRAMES = 9;
const ORDER_PASS_1 = 3;

interface Phone {
  readonly name: string;
  readonly page: Page;
  readonly way: LossyWay;
  readonly browser: Browser;
  /** The types of what came over the stream, connection by connection. */
  readonly streams: string[][];
}

let doors: Doors;
let laptop: Page;
let browser: Browser;
const phones: Phone[] = [];
const complaints: string[] = [];

function launch(rules: string): Promise<Browser> {
  const executablePath = browserPath();
  if (executablePath === undefined) throw new Error('No Chromium.');
  return chromium.launch({
    executablePath,
    args: ['--no-sandbox', '--disable-gpu', `--host-resolver-rules=${rules}`],
  });
}

async function phone(name: string): Promise<Phone> {
  const way = await lossyWay(doors.port.network);
  const own = await launch(`MAP ${doors.host.network} 127.0.0.1:${way.port}`);
  const context = await own.newContext({
    viewport: { width: 360, height: 740 },
    ignoreHTTPSErrors: true,
    hasTouch: true,
    colorScheme: 'dark',
    locale: 'en-GB',
  });
  const page = await context.newPage();
  page.setDefaultTimeout(20_000);
  page.on('pageerror', (error) => complaints.push(`${name}: ${error.message}`));
  const streams: string[][] = [];
  page.on('websocket', (socket) => {
    const types: string[] = [];
    streams.push(types);
    socket.on('framereceived', ({ payload }) => {
      types.push((JSON.parse(String(payload)) as { type: string }).type);
    });
  });
  const made = { name, page, way, browser: own, streams };
  phones.push(made);
  return made;
}

beforeAll(async () => {
  mkdirSync(path.dirname(screenAt('x')), { recursive: true });
  doors = await openDoors({ built: PANEL, timing: LIFELIKE });
  browser = await launch(`MAP ${NAME} 127.0.0.1`);
  laptop = await (await browser.newContext({ viewport: { width: 1280, height: 800 } })).newPage();
  laptop.setDefaultTimeout(20_000);
  laptop.on('pageerror', (error) => complaints.push(`laptop: ${error.message}`));
});
afterAll(async () => {
  await Promise.all([browser, ...phones.map((one) => one.browser)].map((one) => one?.close()));
  for (const { way } of phones) await way.close();
  await doors.close();
});

async function pairWith({ page, name }: Phone): Promise<void> {
  await laptop.getByRole('button', { name: 'Pair to fire' }).click();
  await laptop.getByRole('img', { name: 'Pairing code' }).waitFor();
  await page.goto((await laptop.locator('.pairing-code > code').textContent()) ?? '');
  await page.getByLabel('Name for this device').fill(name);
  await page.getByRole('button', { name: 'Pair' }).click();
  await page.locator('.trigger[data-does="fire"]').waitFor();
  await laptop.locator('.device-list li', { hasText: name }).waitFor();
}

/** A finger that stays on the bar. */
async function press({ page }: Phone): Promise<void> {
  const box = await trigger(page).boundingBox();
  if (box === null) throw new Error('No bar.');
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await page.mouse.down();
}

const main = (page: Page) => page.locator('main');
const stateOf = async (page: Page) => ({
  view: await main(page).getAttribute('data-view'),
  run: await main(page).getAttribute('data-run-state'),
  rungs: await rungNames(page),
});
const verifiedOn = (page: Page) => page.locator('[data-state="verified"][data-frame]').count();

it('one fires, all see it, and who lost the network comes back to the right picture', async () => {
  await laptop.goto(`http://127.0.0.1:${doors.port.here}/`);
  await laptop.locator('.trigger[data-does="fire"]').waitFor();
  await laptop.locator('.devices summary').click();
  const [left, right] = [await phone('The left phone'), await phone('The right phone')];
  await pairWith(left);
  await pairWith(right);

  // The first screen of a phone is the bar, and what is set up at the laptop is what it fires.
  await ask(laptop, FRAMES, '1 EV', '1/4');
  await laptop.getByText('Manual mode, no settling time').click();
  await laptop.getByLabel('Settling time (s)').fill('3');
  for (const { page } of [left, right]) {
    await page.getByText('−4 to +4 EV around 1/4 s').waitFor(SOON);
    await page
      .getByRole('button', { name: /^Press and hold to fire 9 frames in 3 passes, about \d+ s/ })
      .waitFor(SOON);
    expect(await page.locator('.ask, .ladder').count()).toBe(0);
    const bar = await page.locator('.trigger').boundingBox();
    expect(bar?.width).toBeGreaterThan(300);
    expect(bar?.height).toBeGreaterThan(200);
  }
  await left.page.screenshot({ path: screenAt('phones-ready') });

  // Both press at once: one fires, and the other is told who.
  await Promise.all([press(left), press(right)]);
  const seen = [left.page, right.page, laptop];
  await Promise.all(seen.map((page) => page.locator('main[data-view="running"]').waitFor()));
  await Promise.all([left.page.mouse.up(), right.page.mouse.up()]);
  const { run } = doors.events.state;
  const [first, second] = run?.startedBy === left.name ? [left, right] : [right, left];
  expect(run?.startedBy).toBe(first.name);
  await second.page.getByText(`Started from ${first.name}`).waitFor();
  await laptop.getByText(`Started from ${first.name}`).waitFor();
  expect(await first.page.getByText('Started from').count()).toBe(0);
  await second.page.screenshot({ path: screenAt('phones-told') });

  // The first one walks out of reach in the middle of the first pass.
  await expect.poll(() => verifiedOn(laptop), { timeout: 30_000 }).toBeGreaterThan(0);
  expect(await verifiedOn(laptop)).toBeLessThan(ORDER_PASS_1);
  first.way.lose();
  const lostAt = performance.now();
  const before = first.streams.length;
  await first.page.getByText('This page may be out of date.').waitFor(SOON);
  const toldAfter = performance.now() - lostAt;
  await first.page.screenshot({ path: screenAt('phones-stale') });
  const frozen = await verifiedOn(first.page);
  // Nobody waits for it.
  await expect.poll(() => verifiedOn(laptop), { timeout: 30_000 }).toBeGreaterThan(frozen);
  expect(await verifiedOn(first.page)).toBe(frozen);

  // The other one is hung up on, and is back before the run is over.
  second.way.hangUp();
  await second.page.locator('main[data-connection="lost"]').waitFor(SOON);
  second.way.comeBack();
  await second.page.locator('main[data-connection="connected"]').waitFor(SOON);

  first.way.comeBack();
  await first.page.locator('main[data-connection="connected"]').waitFor(SOON);
  const backWith = await verifiedOn(first.page);
  expect(backWith).toBeGreaterThan(frozen);
  // It said the last number that it had seen, and was told what came after; it was not told everything anew.
  const afterwards = first.streams.slice(before).flat();
  expect(afterwards.length).toBeGreaterThan(0);
  expect(afterwards).not.toContain('state');

  await Promise.all(
    seen.map((page) =>
      page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor({ timeout: 60_000 }),
    ),
  );
  const pictures = await Promise.all(seen.map(stateOf));
  expect(pictures[0]?.rungs).toHaveLength(FRAMES);
  for (const picture of pictures) expect(picture).toEqual(pictures[2]);
  expect(doors.events.state.run?.frames.map(({ state }) => state)).toEqual(Array(FRAMES).fill('verified'));
  expect(doors.released()).toBe(FRAMES);
  await first.page.screenshot({ path: screenAt('phones-back') });
  await laptop.screenshot({ path: screenAt('phones-laptop') });
  console.log(`told that it is out of date after ${(toldAfter / 1000).toFixed(1)} s`);
  expect(complaints).toEqual([]);
}, 180_000);
