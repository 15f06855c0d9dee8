// What a suggestion leaves to be done at the camera: the bar keeps it in sight, on every device, until the camera says that it was done.
import type { Page } from 'playwright-core';
import { describe, expect, it } from 'vitest';
import { ask, freshly, panelForTests, type Size, screenAt, trigger, wellLaid } from './practice-panel.js';

const SIZES: readonly Size[] = [
  { name: 'phone', width: 390, height: 844, colorScheme: 'dark', hasTouch: true },
  { name: 'laptop', width: 1280, height: 800, colorScheme: 'light', hasTouch: false },
];

const panel = panelForTests({ EVENRUNG_PRACTICE_TIMING: 'at-once', EVENRUNG_PRACTICE_LINK: 'at-once' });

const reminder = (page: Page) => page.locator('.by-hand');

/** Nine frames about 8 s are too long for the body: the third suggestion opens the aperture. */
async function takeWiderAperture(page: Page): Promise<void> {
  await freshly(page);
  await ask(page, 9, '1 EV', '8');
  await page
    .getByRole('button', { name: 'Base exposure 2 s with the aperture at f/4 instead of f/8' })
    .click();
  await expect.poll(() => page.getByLabel('Base exposure', { exact: true }).inputValue()).toBe('2');
  // The browser notes that the first request was refused.
  panel.forgetComplaints();
}

/** On a narrow screen the bar has a screen of its own. */
async function toTheBar(page: Page): Promise<void> {
  const back = page.getByRole('link', { name: 'Back' });
  if (await back.isVisible()) await back.click();
}

describe.each(SIZES)('a base that was taken with another aperture, $name', (size) => {
  it('is on the bar of each device, stops nothing, and goes if somebody says that it was done', async () => {
    const page = await panel.open(size);
    await takeWiderAperture(page);
    await toTheBar(page);
    await reminder(page).getByText('Set the aperture to f/4.').waitFor();
    await trigger(page).and(page.locator(':not([aria-disabled="true"])')).waitFor();
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${size.name}-by-hand`) });
    const other = await panel.open(size, undefined, '');
    await reminder(other).getByText('Set the aperture to f/4.').waitFor();
    // The camera was read, and stands as it stood.
    await reminder(page).getByRole('button', { name: 'Check camera' }).click();
    await reminder(page).getByRole('button', { name: 'Check camera', disabled: false }).waitFor();
    expect(await reminder(page).count()).toBe(1);
    await reminder(page).getByRole('button', { name: 'Done' }).click();
    await expect.poll(() => reminder(page).count()).toBe(0);
    await expect.poll(() => reminder(other).count()).toBe(0);
  });

  it('goes as soon as the camera stands at it, and if another base is chosen', async () => {
    let aperture = '8';
    const { page, tell } = await panel.show(size, (state) => state, undefined, '#form');
    await takeWiderAperture(page);
    await toTheBar(page);
    await reminder(page).waitFor();
    const { state } = (await (await fetch(new URL('/api/state', panel.address))).json()) as {
      state: { body: { state: 'ready'; body: { aperture: string | null }; note: null } };
    };
    aperture = '4';
    tell({ type: 'body', body: { ...state.body, body: { ...state.body.body, aperture } } } as never);
    await expect.poll(() => reminder(page).count()).toBe(0);
  });
});
