// A set that is asked for by two spot readings, in a real browser: on a phone and on a laptop, by hand and by keyboard alone.
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { PACED, pace } from '../pace.js';
import { freshly, hold, PracticePanel, type Size, wellLaid } from './practice-panel.js';

const PHONE: Size = { name: 'phone', width: 390, height: 844, colorScheme: 'dark', hasTouch: true };
const LAPTOP: Size = { name: 'laptop', width: 1280, height: 800, colorScheme: 'light', hasTouch: false };

let panel: PracticePanel;
beforeAll(async () => {
  panel = await PracticePanel.start({ EVENRUNG_PRACTICE_TIMING: 'at-once' });
});
afterEach(async () => {
  await panel.closePages();
});
afterAll(async () => {
  await panel?.end();
});

const DARKEST = 'Darkest reading';
const BRIGHTEST = 'Brightest reading';

async function form(size: Size) {
  const page = await panel.open(size, undefined, '#form');
  await freshly(page);
  // What an earlier test asked for stands there.
  await page.getByLabel('Two readings', { exact: true }).check();
  await page.getByLabel('Step', { exact: true }).selectOption('1 EV');
  return page;
}
type Page = Awaited<ReturnType<typeof form>>;
const rungs = (page: Page) => page.locator('.rung .shutter').allInnerTexts();
const answer = (page: Page) => page.locator('.follows strong');

describe.each([PHONE, LAPTOP])('on a $name', (size) => {
  it('two readings make base, frames and ladder, and each says where it falls', async () => {
    const page = await form(size);
    await page.getByLabel(DARKEST).fill('EV 8');
    await page.getByLabel(BRIGHTEST).fill('1/500');
    // As in tests/server/readings-routes.test.ts.
    await answer(page).getByText('3 frames, base exposure 1/50 s').waitFor();
    expect(await rungs(page)).toEqual(['1/25 s', '1/50 s', '1/100 s']);
    expect(await page.locator('#ask-darkest-falls').textContent()).toMatch(
      /2\s2\/3 stops below middle grey in frame 3/,
    );
    expect(await page.locator('#ask-brightest-falls').textContent()).toMatch(
      /2\s1\/3 stops above middle grey in frame 1/,
    );
    await wellLaid(page);
    // A smaller step takes more frames of the same scene.
    await page.getByLabel('Step', { exact: true }).selectOption('1/3 EV');
    await answer(page).getByText('6 frames').waitFor();
    expect(await page.getByLabel('Frames', { exact: true }).count()).toBe(0);
  });

  it('what is wrong stands at its field, and the other way round is one press', async () => {
    const page = await form(size);
    await page.getByLabel(DARKEST).fill('1/500');
    await page.getByLabel(BRIGHTEST).fill('dusk');
    await page
      .getByRole('alert')
      .filter({ hasText: 'Enter the meter reading of the brightest part' })
      .waitFor();
    expect(await page.getByLabel(BRIGHTEST).getAttribute('aria-invalid')).toBe('true');
    expect(await page.getByLabel(DARKEST).getAttribute('aria-invalid')).toBeNull();
    expect(await page.locator('.trigger').getAttribute('data-does')).toBe('nothing');
    await page.getByLabel(BRIGHTEST).fill('EV 8');
    await page.getByRole('alert').filter({ hasText: 'swap the two' }).waitFor();
    expect(await page.getByLabel(DARKEST).getAttribute('aria-invalid')).toBe('true');
    await page.getByRole('button', { name: 'Darkest part EV 8, brightest part 1/500 s.' }).click();
    await answer(page).getByText('3 frames, base exposure 1/50 s').waitFor();
    expect(await page.getByLabel(DARKEST).inputValue()).toBe('EV 8');
  });
});

describe('somebody with two readings in the head', () => {
  /**
   * What a person takes for each step, in seconds: a key, a point with finger or mouse, a hand that moves between
   * mouse and keys, and the thought before a step. The keystroke-level model, Card, Moran and Newell 1980, for people
   * who type no faster than most: from memory.
   */
  const [KEY, POINT, HAND, THOUGHT] = [0.28, 1.1, 0.4, 1.35];
  const MOST_SECONDS = 10;
  /** The keys of a phone have digits and signs on a page of their own. */
  const TO_DIGITS = 1;

  it.each([PHONE, LAPTOP])(
    'has the right set in under ten seconds on a $name, without arithmetic',
    PACED,
    async (size) => {
      const page = await panel.open(size, undefined, '');
      await freshly(page);
      let person = 0;
      const started = performance.now();
      const point = async (press: () => Promise<void>) => {
        person += THOUGHT + POINT;
        await press();
      };
      const type = async (written: string) => {
        person += (written.length + 1) * KEY;
        await page.keyboard.type(written);
        await page.keyboard.press('Enter');
      };
      if (size.hasTouch) await point(() => page.getByRole('link', { name: 'Edit set' }).tap());
      const choice = page.getByText('Two readings', { exact: true });
      await point(() => (size.hasTouch ? choice.tap() : choice.click()));
      person += size.hasTouch ? TO_DIGITS * KEY : HAND;
      await page.locator('#ask-darkest:focus').waitFor();
      await type('1/4');
      await page.locator('#ask-brightest:focus').waitFor();
      await type('1/500');
      // 7 stops lie between the two, a frame holds 5 1/2, and the step is 1: ceil(7 - 5 1/2) + 1.
      await answer(page).getByText('3 frames, base exposure').waitFor();
      expect(person).toBeLessThan(MOST_SECONDS);
      pace(
        `two readings on a ${size.name}`,
        person + (performance.now() - started) / 1000,
        's',
        MOST_SECONDS,
      );
    },
  );
});

describe('by two readings', () => {
  it('goes by keyboard alone, in a few strokes', async () => {
    const page = await form(LAPTOP);
    await page.getByLabel('Number', { exact: true }).check();
    await page.getByLabel('Number', { exact: true }).focus();
    await page.keyboard.press('ArrowRight');
    await page.keyboard.press('Tab');
    await page.keyboard.press('ControlOrMeta+a');
    await page.keyboard.type('ev 8');
    await page.keyboard.press('Enter');
    expect(await page.evaluate(() => document.activeElement?.id)).toBe('ask-brightest');
    await page.keyboard.press('ControlOrMeta+a');
    await page.keyboard.type('4096 cd/m2');
    await page.keyboard.press('Enter');
    await answer(page).getByText('3 frames, base exposure 1/50 s').waitFor();
    // Nothing has the focus that means something to the space bar.
    expect(await page.evaluate(() => document.activeElement === document.body)).toBe(true);
    await page.locator('.trigger[data-does="fire"]').waitFor();
  });

  it('keeps the frames that followed when they are asked for by their number', async () => {
    const page = await form(LAPTOP);
    await page.getByLabel(DARKEST).fill('EV 8');
    await page.getByLabel(BRIGHTEST).fill('EV 15');
    await answer(page).getByText('3 frames, base exposure 1/50 s').waitFor();
    await page.getByLabel('Number', { exact: true }).check();
    expect(await page.getByLabel('Frames', { exact: true }).inputValue()).toBe('3');
    expect(await page.getByLabel('Base exposure', { exact: true }).inputValue()).toBe('1/50');
    await page.getByRole('button', { name: 'One more frame' }).first().click();
    await page.locator('.rung').nth(3).waitFor();
    expect(await rungs(page)).toEqual(['1/13 s', '1/25 s', '1/50 s', '1/100 s']);
    // And back: what was metered still stands there.
    await page.getByLabel('Two readings', { exact: true }).check();
    await answer(page).getByText('3 frames, base exposure 1/50 s').waitFor();
  });

  it('is the same on all devices, and the phone fires what was metered at the laptop', async () => {
    const laptop = await form(LAPTOP);
    await laptop.getByLabel(DARKEST).fill('EV 7');
    await laptop.getByLabel(BRIGHTEST).fill('EV 14');
    await answer(laptop).getByText('3 frames, base exposure 1/25 s').waitFor();
    const phone = await panel.open(PHONE, undefined, '');
    await freshly(phone);
    await phone.getByRole('heading', { name: '3 frames, 1 EV apart' }).waitFor();
    await phone.getByText(/around 1\/25 s, f\/8, ISO 100/).waitFor();
    await hold(phone);
    await phone.locator('main[data-view="ended"][data-run-state="complete"]').waitFor({ timeout: 30_000 });
    await laptop.locator('main[data-view="ended"]').waitFor();
    expect(await rungs(laptop)).toEqual(['1/13 s', '1/25 s', '1/50 s']);
    await laptop
      .getByText(/The darkest part \(EV 7\) falls 2\s2\/3 stops below middle grey in frame 3/)
      .waitFor();
    await laptop.getByRole('link', { name: 'View this set' }).click();
    await laptop.locator('#set-heading').waitFor();
    const kept = laptop.locator('#set-heading ~ p');
    await kept.filter({ hasText: /The brightest part \(EV 14\) falls 2\s1\/3 stops above/ }).waitFor();
  });

  it('says of the sun at the bar, before it is pressed', async () => {
    const page = await form(PHONE);
    await page.getByLabel('Step', { exact: true }).selectOption('2 EV');
    await page.getByLabel(DARKEST).fill('EV 8');
    await page.getByLabel(BRIGHTEST).fill('350000 cd/m2');
    const caution = page.locator('.dock .sun-caution');
    await caution.waitFor();
    expect(await caution.textContent()).toMatch(/only the sun or its reflection/);
    await page.getByRole('link', { name: 'Back' }).click();
    await page.locator('.glance').waitFor();
    expect(await caution.isVisible()).toBe(true);
    await wellLaid(page);
  });
});
