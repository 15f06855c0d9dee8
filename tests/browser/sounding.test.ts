// A sounding in a real browser, on a phone and on a laptop: taken, stopped, and its set taken over and fired.
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { freshly, hold, PracticePanel, type Size, wellLaid } from './practice-panel.js';
import { withSounding } from './sounding-views.js';

const PHONE: Size = { name: 'phone', width: 390, height: 844, colorScheme: 'dark', hasTouch: true };
const LAPTOP: Size = { name: 'laptop', width: 1280, height: 800, colorScheme: 'light', hasTouch: false };

let panel: PracticePanel;
beforeAll(async () => {
  panel = await PracticePanel.start({
    ...{
      EVENRUNG_PRACTICE_TIMING: 'at-once',
      EVENRUNG_PRACTICE_PICTURE: 'full',
      EVENRUNG_PRACTICE_SCENE: 'day',
    },
  });
});
afterEach(async () => {
  expect(await panel.closePages()).toEqual([]);
});
afterAll(async () => {
  await panel?.end();
});

async function form(size: Size) {
  // What an earlier test has left.
  await fetch(new URL('/api/sound/put-away', panel.address), { method: 'POST' });
  const page = await panel.open(size, undefined, '#form');
  await freshly(page);
  return page;
}
type Page = Awaited<ReturnType<typeof form>>;

const fold = (page: Page) => page.getByText('No spot meter? Take a sounding');
const section = (page: Page) => page.locator('.sounding');

async function begin(page: Page) {
  if ((await section(page).isVisible()) === false) await fold(page).click();
  await page.getByRole('button', { name: /^Fire test frames/ }).click();
}

describe.each([PHONE, LAPTOP])('on a $name', (size) => {
  it('two pictures, two sentences, and one press that fills the fields', async () => {
    const page = await form(size);
    await fold(page).click();
    await page.getByText('Keep the sun out of the frame').waitFor();
    await wellLaid(page);
    await page.getByLabel('First test frame').selectOption('1/250');
    await begin(page);
    await page.locator('.sounding[data-state="firing"]').waitFor();
    expect(await page.locator('.trigger').getAttribute('data-does')).toBe('nothing');
    await page.locator('.sounding[data-state="proposed"]').waitFor({ timeout: 60_000 });
    // As the radiance of the scene asks for: tests/light/sounding.test.ts.
    await section(page).getByText('7 frames, base exposure 1/320 s').waitFor();
    await section(page)
      .getByText(/^Frame 1, the darkest \(1\/2500 s\), holds the highlights/)
      .waitFor();
    await section(page)
      .getByText(/^Frame 7, the brightest \(1\/40 s\), opens the shadows/)
      .waitFor();
    const pictures = section(page).locator('img');
    expect(
      await pictures.evaluateAll((all) => all.map((one) => (one as HTMLImageElement).naturalWidth)),
    ).toEqual([320, 320]);
    await wellLaid(page);
    await page.getByRole('button', { name: 'Use this set' }).click();
    await page.locator('.sounding[data-state="none"]').waitFor({ state: 'attached' });
    expect(await page.getByLabel('Base exposure', { exact: true }).inputValue()).toBe('1/320');
    await page.locator('.rung .shutter').getByText('1/2500 s').waitFor();
    expect(await page.locator('.rung .shutter').allInnerTexts()).toEqual(
      ['1/40', '1/80', '1/160', '1/320', '1/640', '1/1250', '1/2500'].map((time) => `${time} s`),
    );
  });
});

describe('a sounding', () => {
  it('is stopped, and taken anew', async () => {
    const page = await form(LAPTOP);
    await begin(page);
    await section(page).getByRole('button', { name: 'Stop', exact: true }).click();
    await page.locator('.sounding[data-state="stopped"]').waitFor({ timeout: 30_000 });
    await page.locator('.trigger[data-does="fire"]').waitFor();
    await page.getByRole('button', { name: 'Fire test frames', exact: true }).waitFor();
  });

  it('is the same on all devices, and gone when a set is fired', async () => {
    const laptop = await form(LAPTOP);
    const phone = await panel.open(PHONE, undefined, '#form');
    await begin(laptop);
    await phone.locator('.sounding[data-state="proposed"]').waitFor({ timeout: 60_000 });
    await phone.getByRole('button', { name: 'Use this set' }).click();
    await laptop.locator('.rung .shutter').getByText('1/2500 s').waitFor();
    await laptop.locator('.sounding[data-state="none"]').waitFor({ state: 'attached' });
    await hold(laptop);
    await laptop.locator('main[data-view="ended"][data-run-state="complete"]').waitFor({ timeout: 30_000 });
    await laptop.getByRole('button', { name: 'New set', exact: true }).click();
    await fold(laptop).click();
    await laptop.getByRole('button', { name: 'Fire test frames', exact: true }).waitFor();
  });

  it('that has seen the sun says so at the bar, before anything is fired', async () => {
    const { page } = await panel.show(PHONE, withSounding('sun'));
    const caution = page.locator('.dock .sun-caution');
    await caution.waitFor();
    expect(await caution.textContent()).toMatch(/only the sun or its reflection/);
    await page.getByRole('button', { name: 'Fire test frames anyway' }).waitFor();
    await page.getByRole('button', { name: 'Dismiss' }).click();
    await caution.waitFor({ state: 'detached' });
  });

  it('is not taken by a camera that is not ready', async () => {
    const { page } = await panel.show(LAPTOP, (state) => {
      if (state.body.state !== 'ready') throw new Error('No body.');
      const item = {
        code: 'mode',
        mark: 'stops',
        message: 'Turn the mode dial to M.',
        ticked: null,
      } as const;
      const body = { ...state.body.body, readiness: [{ ...state.body.body.readiness[0], ...item }] };
      return {
        ...state,
        run: null,
        sounding: null,
        body: { ...state.body, body: body as typeof state.body.body },
      };
    });
    await fold(page).click();
    await section(page).getByText('Turn the mode dial to M.').waitFor();
    expect(await page.getByRole('button', { name: 'Fire test frames' }).isDisabled()).toBe(true);
  });
});
