// What the light of a set looks like in the panel: a set of the practice scene is fired and judged at full size, lacks a frame at its darker
// end, and is made whole by one press. What is told of other sets is made up.
import type { Page } from 'playwright-core';
import { describe, expect, it } from 'vitest';
import { ask, freshly, hold, panelForTests, SIZES, screenAt, wellLaid } from './practice-panel.js';
import { noteShifts, shiftsOn } from './shifts.js';

// Without EVENRUNG_LIGHT pictures are judged, as they are for everybody.
const panel = panelForTests({ EVENRUNG_PRACTICE_PICTURE: 'full', EVENRUNG_LIGHT: '' });

const picture = (page: Page) => page.getByRole('region', { name: 'Scene coverage' });
const ended = (page: Page) =>
  page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor({ timeout: 60_000 });
const proofIn = (page: Page) => picture(page).locator('img[src*="/preview?"]');
const isDrawn = (image: HTMLImageElement) => image.complete && image.naturalWidth > 0;

describe.each(SIZES)('on a $name', (size) => {
  it('a set that lacks a frame is said to, shows where, and is made whole by one press', async () => {
    const page = await panel.open(size, noteShifts);
    await freshly(page);
    await ask(page, 9, '1 EV', '1/60');
    await page.getByText('−4 to +4 EV', { exact: true }).click();
    // The dusk of the practice scene: ten frames up to +5 EV hold its shadows, and lack one at the darker end.
    await page.getByRole('button', { name: 'One more frame at the brighter end' }).click();
    await page.getByText('−4 to +5 EV', { exact: true }).waitFor();
    await page.locator('.rung').nth(9).waitFor();
    // Pressing is no scrolling: from here on nothing may move by itself.
    await page.evaluate(() => scrollTo(0, 0));
    await page.waitForTimeout(600);
    const before = (await shiftsOn(page)).length;
    await hold(page);
    await picture(page).getByText('Each picture is judged as it arrives.').first().waitFor();
    await page.screenshot({ path: screenAt(`${size.name}-light-running`) });
    // The map comes as soon as the judge has caught up, at the latest with the end of the set.
    const map = picture(page).locator('img[src*="/coverage?"]');
    await map.waitFor({ timeout: 60_000 });
    await ended(page);
    await page.screenshot({ path: screenAt(`${size.name}-light-ended`) });
    const newSet = page.getByRole('button', { name: 'New set', exact: true });
    const newSetAt = await newSet.boundingBox();
    await proofIn(page).waitFor({ timeout: 60_000 });
    await expect.poll(() => proofIn(page).evaluate(isDrawn)).toBe(true);
    await page.waitForTimeout(1000);
    // What stands in a foot that sticks and grows upwards is counted, though it stays where it is.
    const shifts = (await shiftsOn(page))
      .slice(before)
      .filter(({ what }) => !what.every((one) => /new-set/.test(one)));
    expect(shifts).toEqual([]);
    expect(await newSet.boundingBox()).toEqual(newSetAt);
    await picture(page)
      .getByText(/not the final picture/)
      .waitFor();
    const sentence = picture(page).getByText(/^Highlights are missing: .*about 1 stop darker would hold it/);
    await expect
      .poll(() => picture(page).locator('.set-picture-sentence').textContent())
      .toMatch(/^Highlights are missing: .*about 1 stop darker would hold it/);
    await page.screenshot({ path: screenAt(`${size.name}-light-lacking`) });
    await wellLaid(page);

    // Where: the map takes the place of the proof, and is as large as the screen at one more press.
    const toggle = picture(page).getByRole('button', { name: 'Coverage map', exact: true });
    await toggle.click();
    expect(await toggle.getAttribute('aria-pressed')).toBe('true');
    await map.waitFor();
    expect(await map.getAttribute('alt')).toContain(await sentence.textContent());
    await picture(page)
      .getByRole('button', { name: /Enlarge the coverage map$/ })
      .focus();
    await page.keyboard.press('Enter');
    const dialog = page.getByRole('dialog', { name: 'Coverage map' });
    await dialog.getByText('hatched: in no frame').waitFor();
    const large = await dialog.locator('img').boundingBox();
    expect(large?.width).toBeGreaterThan(size.width * 0.9);
    await page.screenshot({ path: screenAt(`${size.name}-light-enlarged`) });
    await page.keyboard.press('Escape');
    await dialog.waitFor({ state: 'detached' });

    // One press: as many frames as the pictures tell.
    // On a phone it is said below the picture alone, and still read out here.
    await page
      .locator('.ended-dock')
      .getByText(/^Highlights still blown out: .* of the darkest frame, by about 1 stop\./)
      .waitFor();
    await page.getByRole('button', { name: 'Add a darker frame' }).click();
    await page.locator('main[data-view="running"]').waitFor();
    await ended(page);
    await picture(page)
      .getByText(/^The set holds everything/)
      .first()
      .waitFor({ timeout: 60_000 });
    expect(await page.locator('.lost').count()).toBe(0);
    await expect.poll(() => page.locator('.rung').count()).toBe(11);
    await proofIn(page).waitFor({ timeout: 60_000 });

    // On its own page the proof comes first, and the list shows it, too.
    await page.getByRole('link', { name: 'View this set' }).click();
    await page.locator('.kept-set .set-picture img[src*="/preview?"]').waitFor();
    const [first] = await page
      .locator('.kept-set img')
      .evaluateAll((all) => all.map((image) => image.getAttribute('src')));
    expect(first).toMatch(/\/preview\?/);
    await page.screenshot({ path: screenAt(`${size.name}-light-set`) });
    await wellLaid(page);
    await page.getByRole('link', { name: 'All sets' }).click();
    const row = page.locator('.kept-list li').first();
    await row.locator('[data-proof="true"] img').waitFor();
    await expect.poll(() => row.locator('img').evaluate(isDrawn)).toBe(true);
  }, 240_000);
});
