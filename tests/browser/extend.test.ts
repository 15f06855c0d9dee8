// A finished set is extended from its page: where it has lost something a frame is a press away, and any number can be chosen at either
// end, with keys alone. The sets are fired on the practice body.
import type { Page } from 'playwright-core';
import { describe, expect, it } from 'vitest';
import { ask, freshly, hold, NARROW, panelForTests, SIZES, screenAt, wellLaid } from './practice-panel.js';

const [PHONE, LAPTOP] = SIZES;

const panel = panelForTests({ EVENRUNG_PRACTICE_TIMING: 'at-once' });

const tiles = (page: Page) => page.getByRole('list', { name: 'Frames' }).getByRole('listitem');
const numbersIn = (page: Page) =>
  tiles(page).evaluateAll((all) => all.map((tile) => Number((tile as HTMLElement).dataset.frame)));
const press = (page: Page, name: string) => page.getByRole('button', { name, exact: true }).click();
const box = (page: Page) => page.getByRole('region', { name: 'Add frames' });
const amount = (page: Page, end: string) => box(page).locator(`[data-end="${end}"] output`).textContent();

/** Its darkest frame has lost highlights. */
async function fireThree(page: Page): Promise<void> {
  await freshly(page);
  await ask(page, 3, '1 EV', '1/15');
  await hold(page);
  await ended(page);
}

const ended = (page: Page) =>
  page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor({ timeout: 30_000 });

async function openIt(page: Page): Promise<void> {
  await page.getByRole('link', { name: 'View this set' }).click();
  await tiles(page).first().waitFor();
}

describe.each([PHONE, NARROW, LAPTOP])('on a $name', (size) => {
  it('by as many frames as somebody chooses; it proposes what was lost', async () => {
    const page = await panel.open(size);
    await fireThree(page);
    await openIt(page);
    await press(page, 'Add frames');
    await box(page).getByText('This set goes from −1 to +1 EV.').waitFor();
    expect([await amount(page, 'brighter'), await amount(page, 'darker')]).toEqual(['0', '1']);
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${size.name}-extend`) });
    expect(await page.getByRole('button', { name: 'One fewer brighter frame' }).isDisabled()).toBe(true);
    await press(page, 'One more brighter frame');
    await press(page, 'One more brighter frame');
    await press(page, 'One fewer brighter frame');
    await box(page).getByText('It will then go from −2 to +2 EV.').waitFor();
    await press(page, 'Add 2 frames');
    const dialog = page.getByRole('dialog', { name: 'Add 1 darker and 1 brighter frames?' });
    await dialog.getByText(/may not match/).waitFor();
    await wellLaid(page);
    await dialog.getByRole('button', { name: 'Fire' }).click();
    await ended(page);
    await page.getByText('All 5 frames are verified').first().waitFor();
    await openIt(page);
    expect(await numbersIn(page)).toEqual([4, 1, 2, 3, 5]);
    await page.getByText(/Frames 4, 5 were added \d+ s after the set/).waitFor();
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${size.name}-extended`), fullPage: true });

    // One goes from frame to frame by where they stand.
    await page.getByRole('link', { name: 'Frame 4 at full size' }).click();
    const viewer = page.getByRole('dialog', { name: /^Frames? \d/ });
    await viewer.getByText('Frame 4 of 5').first().waitFor();
    expect(await viewer.getByRole('button', { name: 'Darker frame' }).getAttribute('aria-disabled')).toBe(
      'true',
    );
    await viewer.getByRole('button', { name: 'Brighter frame', exact: true }).click();
    await viewer.getByText('Frame 1 of 5').first().waitFor();
    await viewer.getByRole('button', { name: 'Darker frame' }).click();
    await viewer.getByText('Frame 4 of 5').first().waitFor();
    await viewer.getByRole('button', { name: 'Two frames' }).click();
    await viewer.getByText('Frames 4 and 1 of 5').first().waitFor();
  }, 60_000);

  it('where it has lost something, at a press; the question can be left', async () => {
    const page = await panel.open(size);
    await fireThree(page);
    await openIt(page);
    await page.locator('.kept-set .lost [data-side="blown"]').waitFor();
    await press(page, 'Add a darker frame');
    const dialog = page.getByRole('dialog', { name: 'Add 1 darker frame?' });
    await dialog.getByRole('button', { name: 'Cancel' }).click();
    await dialog.waitFor({ state: 'detached' });
    expect(await numbersIn(page)).toEqual([1, 2, 3]);
    await press(page, 'Add a darker frame');
    await dialog.getByRole('button', { name: 'Fire' }).click();
    await ended(page);
    await page.getByText('All 4 frames are verified').first().waitFor();
  }, 60_000);
});

it('with keys alone', async () => {
  const page = await panel.open(LAPTOP);
  await fireThree(page);
  await openIt(page);
  await page.getByRole('button', { name: 'Add frames' }).focus();
  await page.keyboard.press('Enter');
  await expect.poll(() => box(page).evaluate((it) => it === document.activeElement)).toBe(true);
  // To the brighter end's plus: its minus cannot be pressed.
  await page.keyboard.press('Tab');
  await page.keyboard.press('Space');
  expect(await amount(page, 'brighter')).toBe('1');
  const focused = () => page.evaluate(() => document.activeElement?.textContent);
  while ((await focused()) !== 'Add 2 frames') await page.keyboard.press('Tab');
  await page.keyboard.press('Enter');
  await page.getByRole('dialog').waitFor();
  while ((await focused()) !== 'Fire') await page.keyboard.press('Tab');
  await page.keyboard.press('Enter');
  await ended(page);
  await page.getByText('All 5 frames are verified').first().waitFor();
});

it('what cannot be made is said where it was asked for', async () => {
  const page = await panel.open(LAPTOP);
  await freshly(page);
  await ask(page, 3, '1 EV', '1/4000');
  await hold(page);
  await ended(page);
  await openIt(page);
  await press(page, 'Add frames');
  // In the boathouse it has lost shadows.
  expect([await amount(page, 'brighter'), await amount(page, 'darker')]).toEqual(['1', '0']);
  await press(page, 'One fewer brighter frame');
  await press(page, 'One more darker frame');
  await press(page, 'Add 1 frame');
  await page.getByRole('dialog').getByRole('button', { name: 'Fire' }).click();
  await page
    .getByRole('dialog')
    .getByText(/would need shutter times outside.*No darker frame can be added to this set/)
    .waitFor();
  // The browser notes the refusal.
  expect(await panel.closePages()).toEqual([expect.stringContaining('422')]);
});
