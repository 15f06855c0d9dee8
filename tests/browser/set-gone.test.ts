// A set whose folder somebody takes away, in the middle of it or after: the panel shows what is there, and offers what can be done.
import { readdirSync, renameSync, rmSync } from 'node:fs';
import path from 'node:path';
import type { Page } from 'playwright-core';
import { describe, expect, it } from 'vitest';
import { freshly, hold, panelForTests, type Size, screenAt, verified, wellLaid } from './practice-panel.js';

const SIZES: readonly Size[] = [
  { name: 'phone', width: 390, height: 844, colorScheme: 'light', hasTouch: true },
  { name: 'laptop', width: 1280, height: 800, colorScheme: 'light', hasTouch: false },
];

const panel = panelForTests();

const newest = () => path.join(panel.sets, readdirSync(panel.sets).sort().at(-1) ?? '');
const away = () => path.join(panel.sets, '..', 'away');
const list = (page: Page) => page.getByRole('list', { name: 'Sets' }).getByRole('listitem');
const tiles = (page: Page) => page.getByRole('list', { name: 'Frames' }).getByRole('listitem');
/** The panel looks every few seconds by itself, and when somebody comes back to it. */
const comeBack = (page: Page) => page.evaluate(() => document.dispatchEvent(new Event('visibilitychange')));
const ticks = (page: Page) =>
  page.locator('.kept-state[data-state="complete"], .ended[data-state="complete"]');

describe.each(SIZES)('on a $name', (size) => {
  it('taken away in the middle: halted, and nothing is said to be kept; put back, it is completed', async () => {
    const page = await panel.open(size);
    await freshly(page);
    await hold(page);
    await verified(page).nth(3).waitFor();
    const folder = newest();
    renameSync(folder, away());
    await page.locator('main[data-view="ended"][data-run-state="halted"]').waitFor({ timeout: 20_000 });
    const ended = page.getByRole('region', { name: 'Set folder missing' });
    await ended
      .getByText(/^Failed after \d of 9 frames\. The set folder .* is missing, and the \d frames in it/)
      .waitFor();
    expect(await ended.getByText(/verified frames? (is|are) in the set folder/).count()).toBe(0);
    await page.locator('.rung', { hasText: 'file missing' }).first().waitFor();
    expect(await verified(page).count()).toBe(0);
    await wellLaid(page);

    await page.goto(new URL('#sets', panel.address).href);
    await list(page).first().getByText('Set folder missing').waitFor();
    expect(await list(page).first().locator('img').count()).toBe(0);
    await list(page).first().getByRole('link').click();
    await tiles(page).first().waitFor();
    expect(await tiles(page).filter({ hasText: 'file missing' }).count()).toBeGreaterThan(2);
    for (const name of ['Complete this set', 'Reshoot'])
      expect(await page.getByRole('button', { name }).count()).toBe(0);
    expect(await page.locator('.kept-frames img').count()).toBe(0);
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${size.name}-set-gone`), fullPage: true });

    renameSync(away(), folder);
    await comeBack(page);
    await page
      .locator('.kept-set')
      .getByText(/^The set folder is back, with \d of 9 frames\.$/)
      .waitFor();
    await page.locator('.kept-frames img').first().waitFor();
    await page.getByRole('button', { name: 'Complete this set' }).click();
    await page.getByRole('dialog').getByRole('button', { name: 'Fire', exact: true }).click();
    await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor({ timeout: 30_000 });
    await page
      .getByRole('region', { name: 'Set complete' })
      .getByText('All 9 frames are verified.')
      .waitFor();
  });

  it('after the end: what is missing is said at once, and offered to be fired again; deleted, nothing is', async () => {
    const page = await panel.open(size, undefined, '#sets');
    const folder = newest();
    for (const file of readdirSync(folder)) if (/^0[34]_.*\.jpg$/.test(file)) rmSync(path.join(folder, file));
    await comeBack(page);
    await list(page).first().getByText('2 files missing').waitFor();
    await list(page).first().getByRole('link').click();
    await page
      .locator('.kept-set')
      .getByText('The files of frames 3, 4 are missing from the set folder.')
      .waitFor();
    await expect.poll(() => page.getByRole('button', { name: 'Complete this set' }).count()).toBe(0);
    await page.getByRole('button', { name: 'Reshoot' }).click();
    await page.getByRole('button', { name: 'Reshoot 2 frames' }).waitFor();
    await expect.poll(() => page.getByLabel('Select frame 3').isChecked()).toBe(true);

    rmSync(folder, { recursive: true });
    await comeBack(page);
    await page
      .locator('.kept-set')
      .getByText(/is missing: it was moved or deleted/)
      .waitFor();
    await expect.poll(() => page.getByRole('button', { name: /^(Fire|Reshoot)/ }).count()).toBe(0);
    await page.goto(new URL('#', panel.address).href);
    await page.getByText('Set folder missing').filter({ visible: true }).first().waitFor();
    await expect.poll(() => page.getByText('All 9 frames are verified.').count()).toBe(0);
    await expect.poll(() => ticks(page).count()).toBe(0);
    await page.screenshot({ path: screenAt(`${size.name}-ended-gone`), fullPage: true });
  });
});
