// What fires: the bar as the first thing on a phone, the space bar on a laptop, and a first frame that waits.
import type { Page } from 'playwright-core';
import { describe, expect, it } from 'vitest';
import {
  ask,
  freshly,
  hold,
  NARROW,
  panelForTests,
  SIZES,
  type Size,
  screenAt,
  trigger,
  wellLaid,
} from './practice-panel.js';

const [PHONE, LAPTOP] = SIZES;
const LYING: Size = { name: 'lying', width: 740, height: 360, colorScheme: 'dark', hasTouch: true };
/** Longer than the bar has to be held. */
const HELD_MS = 900;

const panel = panelForTests({ EVENRUNG_PRACTICE_TIMING: 'at-once' });

const bar = (page: Page) => page.locator('.trigger');
const view = (page: Page) => page.locator('main').getAttribute('data-view');
const ended = (page: Page) =>
  page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor({ timeout: 20_000 });
/** With the browser's own measure of what is seen without scrolling. */
const isInSight = (page: Page, what: string) =>
  page.locator(what).evaluate((element) => {
    const { top, bottom } = element.getBoundingClientRect();
    return top >= 0 && bottom <= innerHeight + 1;
  });

describe.each([PHONE, NARROW, LYING])('the first screen, $name', (size) => {
  it('is the bar, with what it fires; what is asked for is a step away, and back', async () => {
    const page = await panel.open(size, undefined, '');
    await freshly(page);
    await page.getByRole('heading', { name: '9 frames, 1 EV apart' }).waitFor();
    await page.getByText('−4 to +4 EV around 1/60 s, f/8, ISO 100').waitFor();
    await trigger(page).and(page.locator(':not([aria-disabled="true"])')).waitFor();
    expect(await trigger(page).textContent()).toMatch(
      /^Press and hold to fire 9 frames in 3 passes, about \d+ s/,
    );
    expect(await page.locator('.ask, .ladder, .readiness').count()).toBe(0);
    for (const what of ['.glance', '.trigger'])
      expect([what, await isInSight(page, what)]).toEqual([what, true]);
    // There is no more of it to be scrolled to.
    expect(
      await page.evaluate(() => document.documentElement.scrollHeight - innerHeight),
    ).toBeLessThanOrEqual(0);
    const box = await bar(page).boundingBox();
    expect(box?.width).toBeGreaterThan(Math.min(size.width * 0.85, 500));
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`first-${size.name}`) });

    await page.getByRole('link', { name: 'Edit set' }).click();
    await ask(page, 5, '2 EV', '1/30');
    await page.getByRole('link', { name: 'Back' }).click();
    await page.getByRole('heading', { name: '5 frames, 2 EV apart' }).waitFor();
    await page.getByText('−4 to +4 EV around 1/30 s').waitFor();
    // What wants a look is a step away as well.
    await page.getByRole('link', { name: /things? to check/ }).click();
    await page.getByRole('region', { name: 'Readiness' }).waitFor();
    await page.goBack();
    await page.locator('.glance').waitFor();
    await hold(page);
    await ended(page);
  });
});

describe('the space bar on a laptop', () => {
  it('fires as the bar does, held; a tap only says so', async () => {
    const page = await panel.open(LAPTOP);
    await freshly(page);
    await ask(page, 3, '1 EV', '1/60');
    await trigger(page).and(page.locator(':not([aria-disabled="true"])')).waitFor();
    await page.locator('h1').click();
    await page.getByText('or hold the space bar').waitFor();
    await page.keyboard.press('Space');
    await page.getByText('Keep holding until the bar is full.').waitFor();
    await page.waitForTimeout(HELD_MS);
    expect(await view(page)).toBe('ask');
    // The page is not scrolled by it, either.
    expect(await page.evaluate(() => scrollY)).toBe(0);

    await page.keyboard.down('Space');
    await page.locator('.trigger[data-hold="holding"]').waitFor();
    await page.locator('main:not([data-view="ask"])').waitFor();
    await page.keyboard.up('Space');
    await ended(page);
  });

  it('is let go of with the window, and is a space where something else wants it', async () => {
    const page = await panel.open(LAPTOP);
    await freshly(page);
    await ask(page, 3, '1 EV', '1/60');
    await trigger(page).and(page.locator(':not([aria-disabled="true"])')).waitFor();
    await page.getByText('Name, note, viewpoint').click();
    await page.getByLabel('Name', { exact: true }).fill('dark');
    await page.keyboard.down('Space');
    await page.waitForTimeout(HELD_MS);
    await page.keyboard.up('Space');
    expect(await page.getByLabel('Name', { exact: true }).inputValue()).toMatch(/^dark +$/);
    expect(await view(page)).toBe('ask');

    await page.locator('h1').click();
    await page.keyboard.down('Space');
    await page.locator('.trigger[data-hold="holding"]').waitFor();
    await page.evaluate(() => dispatchEvent(new Event('blur')));
    await page.waitForTimeout(HELD_MS);
    await page.keyboard.up('Space');
    expect(await view(page)).toBe('ask');

    // Where sets are looked at, it scrolls.
    await page.getByRole('link', { name: 'Sets' }).click();
    await page.getByRole('list', { name: 'Sets' }).getByRole('listitem').first().waitFor();
    await page.locator('h1').click();
    await page.keyboard.down('Space');
    await page.waitForTimeout(HELD_MS);
    await page.keyboard.up('Space');
    expect(await view(page)).toBe('ask');
  });
});

describe('a first frame that waits', () => {
  it('is said at the bar, counted down, and can be stopped', async () => {
    const page = await panel.open(PHONE, undefined, '');
    await freshly(page);
    await page.getByLabel('Delay').selectOption('2 s');
    await expect.poll(() => bar(page).textContent()).toMatch(/about \d+ s, starts in 2 s/);
    await hold(page);
    await page.getByRole('heading', { name: /^Fires in [12] s$/ }).waitFor();
    await page.screenshot({ path: screenAt('phone-fires-in') });
    await ended(page);

    await page.getByRole('button', { name: 'New set', exact: true }).click();
    await page.getByLabel('Delay').selectOption('20 s');
    await expect.poll(() => bar(page).textContent()).toContain('starts in 20 s');
    await hold(page);
    await page.getByRole('heading', { name: /^Fires in \d+ s$/ }).waitFor();
    await page.getByRole('button', { name: 'Stop', exact: true }).click();
    await page.locator('main[data-view="ended"][data-run-state="stopped"]').waitFor();
    expect(await page.locator('.ended').textContent()).toMatch(/Stopped/);
    expect(await page.locator('[data-state="verified"][data-frame]').count()).toBe(0);
  });

  it('is none on a schedule, which says itself when it begins', async () => {
    const page = await panel.open(LAPTOP);
    await freshly(page);
    await page.getByText('Manual mode, no settling time').click();
    await page.getByLabel('Delay').selectOption('5 s');
    await page.getByText('One set, no repeat').click();
    await page.getByLabel('Repeat the set').check();
    expect(await page.getByLabel('Delay').isDisabled()).toBe(true);
    const asked = page.waitForRequest('**/api/schedule');
    await page.getByLabel('Sets', { exact: true }).fill('2');
    expect((await asked).postDataJSON()).not.toHaveProperty('delay');
  });
});
