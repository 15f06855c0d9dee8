// Whatever can be pressed is large enough for a thumb in a glove: each control of each screen is measured, on a small phone and on a
// usual one.
import { type Browser, chromium, type Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { browserPath } from '../../src/set-up/system-parts.mjs';
import { text } from '../../web/src/text.js';
import { PANEL } from '../built.js';
import { type Doors, NAME, openDoors, WIDE_BOUNDS } from '../two-doors.js';
import { ask, freshly, hold, PracticePanel, screenAt, verified } from './practice-panel.js';

const SMALLEST_PX = 48;

let panel: PracticePanel;
/** For what has to do with other devices. */
let doors: Doors;
let browser: Browser;

beforeAll(async () => {
  panel = await PracticePanel.start();
  doors = await openDoors({ built: PANEL, bounds: WIDE_BOUNDS });
  const executablePath = browserPath();
  if (executablePath === undefined) throw new Error('No Chromium.');
  browser = await chromium.launch({
    executablePath,
    args: ['--no-sandbox', '--disable-gpu', `--host-resolver-rules=MAP ${NAME} 127.0.0.1`],
  });
});
afterAll(async () => {
  await browser?.close();
  await doors?.close();
  await panel?.end();
});

interface Measured {
  /** How many were measured. */
  readonly count: number;
  readonly small: readonly string[];
  /** By how much the page is wider than the screen. */
  readonly sideways: number;
}

/** A label that stands over its field is one target with it; one that a box stands in is the target of the box. */
const measure = (page: Page): Promise<Measured> =>
  page.evaluate((smallest) => {
    const boxOf = (parts: readonly Element[]) => {
      const boxes = parts.map((part) => part.getBoundingClientRect());
      return {
        width: Math.max(...boxes.map(({ right }) => right)) - Math.min(...boxes.map(({ left }) => left)),
        height: Math.max(...boxes.map(({ bottom }) => bottom)) - Math.min(...boxes.map(({ top }) => top)),
      };
    };
    const isTicked = (control: Element) =>
      control instanceof HTMLInputElement && (control.type === 'checkbox' || control.type === 'radio');
    const targetOf = (found: Element): Element[] => {
      if (found instanceof HTMLLabelElement)
        return found.control === null || isTicked(found.control) ? [found] : [found, found.control];
      const label = isTicked(found) ? (found as HTMLInputElement).labels?.[0] : undefined;
      return label === undefined ? [found] : [label];
    };
    const all = [...document.querySelectorAll('button, a, input, select, textarea, summary, label')].filter(
      (found) => found.checkVisibility({ visibilityProperty: true }),
    );
    const small = all
      .map((found) => ({ found, box: boxOf(targetOf(found)) }))
      .filter(({ box }) => box.width < smallest - 0.01 || box.height < smallest - 0.01)
      .map(
        ({ found, box }) =>
          `${found.tagName} ${found.getAttribute('class') ?? ''} "${(found.getAttribute('aria-label') ?? found.textContent ?? '').trim()}": ${box.width.toFixed(1)} x ${box.height.toFixed(1)}`,
      );
    const { scrollWidth, clientWidth } = document.documentElement;
    return { count: all.length, small: [...new Set(small)], sideways: scrollWidth - clientWidth };
  }, SMALLEST_PX);

/** Opens whatever is folded away. */
async function unfold(page: Page): Promise<void> {
  for (let round = 0; round < 20; round += 1) {
    const folded = page.locator('details:not([open]) > summary:visible');
    if ((await folded.count()) === 0) return;
    await folded.first().click();
  }
}

const at = (hash: string) => new URL(hash, panel.address).href;

describe.each([
  { width: 320, height: 640 },
  { width: 390, height: 844 },
])('at $width px', (viewport) => {
  it('every screen', { timeout: 120_000 }, async () => {
    const context = await browser.newContext({
      ...{ viewport, hasTouch: true, colorScheme: 'dark' as const },
      ...{ ignoreHTTPSErrors: true, serviceWorkers: 'block' as const },
    });
    const page = await context.newPage();
    page.setDefaultTimeout(15_000);
    const found: Record<string, Measured> = {};
    const look = async (screen: string) => {
      found[screen] = await measure(page);
      await page.screenshot({ path: screenAt(`targets-${viewport.width}-${screen}`), fullPage: true });
    };

    await page.goto(at(''));
    await freshly(page);
    await page.locator('.trigger[data-does="fire"]').waitFor();
    await look('asking');

    await page.goto(at('#form'));
    await freshly(page);
    await ask(page, 9, '1 EV', '1/4');
    await page.locator('.trigger[data-does="fire"]').waitFor();
    await unfold(page);
    await look('form');

    await hold(page);
    await verified(page).first().waitFor();
    await look('running');
    await page.locator('main[data-view="ended"]').waitFor({ timeout: 40_000 });
    await unfold(page);
    await look('ended');

    await page.goto(at('#sets'));
    await page.locator('.sets li a').first().waitFor();
    await look('sets');
    await page.locator('.sets li a').first().click();
    await page.locator('.kept-set button').first().waitFor();
    await unfold(page);
    await look('set');

    await page.goto(`http://127.0.0.1:${doors.port.here}/#form`);
    await page.locator('.trigger[data-does="fire"]').waitFor();
    await unfold(page);
    await page.getByRole('button', { name: 'Pair to fire' }).click();
    await page.getByRole('img', { name: 'Pairing code' }).waitFor();
    await look('devices');

    await page.goto(`https://${doors.host.network}/`);
    await page.getByText(text.pairing.heading).waitFor();
    await look('pairing');
    await page.goto(`https://${doors.host.network}/#pair=${await doors.secret()}`);
    await page.getByRole('button', { name: text.pairing.pair }).waitFor();
    await look('pairing-name');
    await context.close();

    const sizes = Object.entries(found).map(([screen, { count }]) => `${screen} ${count}`);
    console.log(`${viewport.width} px, controls measured: ${sizes.join(', ')}`);
    for (const [screen, { count }] of Object.entries(found)) {
      // The one that says what to do has nothing to press.
      if (screen !== 'pairing') expect({ screen, isAny: count > 0 }).toEqual({ screen, isAny: true });
    }
    expect(
      Object.fromEntries(
        Object.entries(found).map(([screen, { small, sideways }]) => [screen, { small, sideways }]),
      ),
    ).toEqual(Object.fromEntries(Object.keys(found).map((screen) => [screen, { small: [], sideways: 0 }])));
  });
});
