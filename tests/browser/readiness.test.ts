// The panel and the body: what it says of it, whether it is ready, what stops a run, and what a run has to tell. What the practice
// body cannot bring about is put into the stream on its way to the page; the answers come from the daemon all the same.
import { readdir } from 'node:fs/promises';
import path from 'node:path';
import type { Page } from 'playwright-core';
import { describe, expect, it } from 'vitest';
import type { BodyState, BodyView, FrameView } from '../../shared/state.js';
import type { DaemonMessage } from '../../shared/stream.js';
import {
  ask,
  freshly,
  hold,
  panelForTests,
  rungNames,
  SIZES,
  screenAt,
  trigger,
  wellLaid,
} from './practice-panel.js';

const [PHONE, LAPTOP] = SIZES;

// Where no tool can be found that keeps the computer awake, each run has a note that says so.
const panel = panelForTests({ PATH: path.join('/', 'nowhere') });

const line = (page: Page) => page.locator('.readiness summary').first();
const list = (page: Page) => page.getByRole('list', { name: 'To check' });
const tickOf = (page: Page, code: string) => page.locator(`[data-code="${code}"] input`);
const obstacle = (page: Page) => page.getByRole('alert').filter({ hasText: 'then fire again' });
const bar = (page: Page) => page.locator('button.trigger');
const spoken = (page: Page) => page.locator('[data-announcer]').textContent();
const sets = () => readdir(panel.sets).catch(() => []);

/** @returns what the page sends to this address, as it comes in */
function sentTo(page: Page, address: string): unknown[] {
  const sent: unknown[] = [];
  page.on('request', (request) => {
    if (new URL(request.url()).pathname === address) sent.push(request.postDataJSON() ?? null);
  });
  return sent;
}

/** Lets a message through to the page as it leaves this. */
const through = (edit: (message: DaemonMessage) => DaemonMessage) => async (page: Page) => {
  await page.routeWebSocket(/\/api\/stream$/, (socket) => {
    socket.connectToServer().onMessage((data) => {
      socket.send(JSON.stringify(edit(JSON.parse(String(data)))));
    });
  });
};

/** Every body that is told, in the first state and after. */
const withBodies = (edit: (body: BodyState) => BodyState) =>
  through((message) => {
    if (message.type === 'state')
      return { ...message, state: { ...message.state, body: edit(message.state.body) } };
    if (message.type !== 'event' || message.event.happening.type !== 'body') return message;
    const { happening } = message.event;
    return {
      ...message,
      event: { ...message.event, happening: { ...happening, body: edit(happening.body) } },
    };
  });

const whenReady = (edit: (body: BodyView) => BodyView) =>
  withBodies((found) => (found.state === 'ready' ? { ...found, body: edit(found.body) } : found));

describe('ticks', () => {
  it('a tick survives a reload, reaches another page, and is not read out', async () => {
    const page = await panel.open(PHONE);
    const other = await panel.open(LAPTOP);
    await freshly(page);
    await expect.poll(() => line(page).textContent()).toMatch(/^\d things to check \d+ OK$/);
    expect(await list(page).isVisible()).toBe(false);
    await wellLaid(page);
    await page.screenshot({ path: screenAt('phone-ready') });
    await line(page).click();
    await line(other).click();
    await tickOf(page, 'stabiliser').check();
    await page.getByLabel('The stabiliser is off, as ticked.').waitFor();
    await other.getByLabel('The stabiliser is off, as ticked.').waitFor();
    expect(await tickOf(other, 'stabiliser').isChecked()).toBe(true);
    await wellLaid(page);
    await page.screenshot({ path: screenAt('phone-readiness'), fullPage: true });
    await other.screenshot({ path: screenAt('laptop-readiness') });

    await page.reload();
    await line(page).click();
    await page.getByLabel('The stabiliser is off, as ticked.').waitFor();
    expect(await tickOf(page, 'stabiliser').isChecked()).toBe(true);
    // By keyboard, and the box is still where it was.
    await tickOf(other, 'stabiliser').focus();
    await other.keyboard.press('Space');
    await page.getByLabel(/turn off the stabiliser/).waitFor();
    expect(await tickOf(page, 'stabiliser').isChecked()).toBe(false);
    expect(await other.evaluate(() => document.activeElement?.closest('li')?.dataset.code)).toBe(
      'stabiliser',
    );
    expect(await spoken(page)).toBe('');
    expect(await spoken(other)).toBe('');
  });

  it('a tick that the daemon does not take is taken back, and the panel says why', async () => {
    const page = await panel.open(PHONE);
    await page.route('**/api/body/tick', (route) => route.abort());
    await freshly(page);
    await line(page).click();
    await tickOf(page, 'assist-lamp').click();
    await page.locator('[data-code="assist-lamp"]').getByText('Evenrung did not answer.').waitFor();
    expect(await tickOf(page, 'assist-lamp').isChecked()).toBe(false);
    panel.forgetComplaints();
  });
});

describe.each(SIZES)('what stops the run, on a $name', (size) => {
  it('is said at the bar, which then only looks again, and is gone when it no longer holds', async () => {
    const page = await panel.open(size);
    const plans = sentTo(page, '/api/plan');
    const checks = sentTo(page, '/api/body/check');
    await freshly(page);
    await ask(page, 5, '1 EV', '1/60');
    await trigger(page).waitFor();
    const before = (await sets()).length;

    // The practice camera stands in manual.
    await page.getByText('Manual mode, no settling time').click();
    await page.getByLabel('Mode', { exact: true }).selectOption('Aperture priority');
    await obstacle(page).waitFor();
    expect(await obstacle(page).textContent()).toMatch(
      /The practice camera is in mode Manual, .* then fire again\./,
    );
    expect(plans.at(-1)).toMatchObject({ frames: 5, mode: 'aperture' });
    expect(await page.getByLabel('Base exposure', { exact: true }).count()).toBe(0);
    await page.getByText('The camera meters it.').waitFor();
    expect(await line(page).textContent()).toMatch(/^1 problem, \d to check/);
    expect(await list(page).getByRole('listitem').first().getAttribute('data-code')).toBe('mode');
    expect(await list(page).isVisible()).toBe(true);
    await expect.poll(() => bar(page).textContent()).toMatch(/Not ready to fire.*Press to check again/);
    expect(await trigger(page).count()).toBe(0);
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${size.name}-stops`) });

    await bar(page).click({ delay: 900 });
    await expect.poll(() => checks).toEqual([null]);
    await expect.poll(() => spoken(page)).toMatch(/^Checked at [\d:]+\. 1 problem/);
    await bar(page).focus();
    await page.keyboard.press('Space');
    await expect.poll(() => checks).toEqual([null, null]);
    await page.waitForTimeout(900);
    expect(await page.locator('main').getAttribute('data-view')).toBe('ask');
    expect((await sets()).length).toBe(before);

    await page.getByLabel('Mode', { exact: true }).selectOption('Manual mode');
    await trigger(page).waitFor();
    expect(await obstacle(page).count()).toBe(0);
    expect(await list(page).isVisible()).toBe(false);
    // The base that was chosen is still chosen.
    expect(await page.getByLabel('Base exposure', { exact: true }).inputValue()).toBe('1/60');
  });
});

describe('looking again', () => {
  it('Check again has the daemon read the settings, and says when it did', async () => {
    const page = await panel.open(LAPTOP);
    const checks = sentTo(page, '/api/body/check');
    await freshly(page);
    await line(page).click();
    const answered = page.waitForResponse('**/api/body/check');
    await page.getByRole('button', { name: 'Check again' }).click();
    expect((await answered).status()).toBe(200);
    expect(checks).toEqual([null]);
    await page
      .locator('.check')
      .getByText(/^Checked at \d\d:\d\d:\d\d$/)
      .waitFor();
    await expect.poll(() => spoken(page)).toMatch(/^Checked at [\d:]+\. \d things to check\.$/);
  });

  it('what is asked for on one page stands on the other, and Check again judges for that', async () => {
    const page = await panel.open(LAPTOP);
    await freshly(page);
    await page.getByText('Manual mode, no settling time').click();
    await page.getByLabel('Mode', { exact: true }).selectOption('Aperture priority');
    await obstacle(page).waitFor();
    const other = await panel.open(PHONE);
    await freshly(other);
    await other.getByText('Aperture priority, no settling time').click();
    await obstacle(other).waitFor();
    await other.getByRole('button', { name: 'Check again', exact: true }).click();
    await expect.poll(() => spoken(other)).toMatch(/^Checked at [\d:]+\. 1 problem/);
    await obstacle(page).waitFor();
    await other.getByLabel('Mode', { exact: true }).selectOption('Manual mode');
    await obstacle(page).waitFor({ state: 'detached' });
    await trigger(page).waitFor();
    await page.getByText('Changed on another device.').waitFor();
    await expect
      .poll(() => page.getByLabel('Mode', { exact: true }).inputValue(), { timeout: 5000 })
      .toBe('manual');
  });

  it('what was changed here and changed back at once keeps nothing of another device out', async () => {
    const page = await panel.open(LAPTOP);
    await freshly(page);
    const other = await panel.open(PHONE);
    await freshly(other);
    const frames = (of: Page) => of.getByLabel('Frames', { exact: true });
    const holds = (of: Page, what: string) =>
      expect.poll(() => frames(of).inputValue(), { timeout: 5000 }).toBe(what);
    await frames(other).fill('7');
    await holds(page, '7');
    // Both in one turn: nobody types as fast, but a slip of the wheel over a field does it.
    await frames(page).evaluate((field) => {
      for (const value of ['9', '7']) {
        (field as HTMLInputElement).value = value;
        field.dispatchEvent(new Event('input', { bubbles: true }));
      }
    });
    await frames(other).fill('5');
    await holds(page, '5');
  });

  it('a clock that is off can be set, and where it cannot the reason stands there', async () => {
    const page = await panel.open(
      PHONE,
      whenReady((body) => ({
        ...body,
        readiness: body.readiness.map((item) =>
          item.code === 'clock'
            ? { ...item, mark: 'attention', remedy: 'set-clock', message: 'The clock is 1 h behind.' }
            : item,
        ),
      })),
    );
    await freshly(page);
    const button = page.locator('[data-code="clock"]').getByRole('button', { name: 'Set camera clock' });
    // What is told of the body meanwhile moves what is on the page, and a finger tries again, too.
    const press = () =>
      expect
        .poll(
          async () => {
            if (!(await button.isVisible())) await line(page).click();
            return button.click({ timeout: 1500 }).then(
              () => true,
              () => false,
            );
          },
          { timeout: 20_000, interval: 300 },
        )
        .toBe(true);
    const answered = page.waitForResponse('**/api/body/clock');
    await press();
    expect((await answered).status()).toBe(200);
    await page.route('**/api/body/clock', (route) =>
      route.fulfill({
        status: 409,
        json: { error: { code: 'body-not-ready', message: 'Its clock cannot be set over the cable.' } },
      }),
    );
    await press();
    await page.locator('[data-code="clock"]').getByText('Its clock cannot be set over the cable.').waitFor();
    panel.forgetComplaints();
  });
});

describe('which body', () => {
  it('several are attached: a button for each, and the chosen one is asked for', async () => {
    const page = await panel.open(
      PHONE,
      through((message) => {
        if (message.type !== 'state') return message;
        const body: BodyState = {
          state: 'absent',
          sentence: '2 cameras are attached: Invented camera (serial number PB-0001), Practice body.',
          error: 'several-bodies',
          next: null,
          choices: [
            { model: 'Invented camera', serial: 'PB-0001' },
            { model: 'Practice body', serial: null },
          ],
        };
        return { ...message, state: { ...message.state, body } };
      }),
    );
    const looks = sentTo(page, '/api/body/look');
    const buttons = page.getByRole('list', { name: 'Which camera?' }).getByRole('button');
    await buttons.first().waitFor();
    expect(await buttons.allTextContents()).toEqual([
      'Use Invented camera, serial PB-0001',
      'Use Practice body',
    ]);
    await wellLaid(page);
    await page.screenshot({ path: screenAt('phone-choices') });
    await buttons.first().click();
    await page.locator('main[data-body-state="ready"]').waitFor();
    await page.reload();
    await buttons.last().click();
    await page.locator('main[data-body-state="ready"]').waitFor();
    expect(looks).toEqual([{ camera: 'PB-0001' }, { camera: 'Practice body' }]);
  });

  it('says how it brackets, how long it can, and that learning would tell more', async () => {
    const page = await panel.open(PHONE);
    await freshly(page);
    const about = page.locator('.about');
    await page.getByText('About this camera').click();
    await about.getByText('Auto-bracket: 3 frames, 1/3 to 3 EV apart.').waitFor();
    // 2^(58/6) s, the longest of its settings by bulb.
    await about.getByText('Longest exposure over this cable: 813 s.').waitFor();
    expect(await about.textContent()).toContain('To measure this camera, run evenrung learn.');
    await page.getByRole('button', { name: 'Look for a camera' }).waitFor();
    await wellLaid(page);
  });

  it('says so of a camera with several brackets that was learnt', async () => {
    const brackets = [3, 5, 9].flatMap((frames) =>
      [1 / 3, 2 / 3, 1, 2, 3].filter((step) => frames < 9 || step <= 1).map((step) => ({ frames, step })),
    );
    const page = await panel.open(
      PHONE,
      whenReady((body) => ({
        ...body,
        link: 'usb',
        model: 'Invented camera',
        serial: '0042',
        brackets,
        profile: 'learnt',
      })),
    );
    await freshly(page);
    await page.getByText('Invented camera', { exact: true }).waitFor();
    await page.getByText('f/8, ISO 100, serial 0042').waitFor();
    await page.getByText('About this camera').click();
    await page
      .getByText('Auto-bracket: 3 or 5 frames, 1/3 to 3 EV apart; 9 frames, 1/3 to 1 EV apart.')
      .waitFor();
    await page.getByText('Limits that cannot be read over the cable were measured on this camera.').waitFor();
    expect(await page.locator('.about').textContent()).not.toContain('evenrung learn');
    await page.screenshot({ path: screenAt('phone-about'), fullPage: true });
  });
});

describe('the wait before each pass', () => {
  it('reaches plan and run; what is no wait is refused at its field', async () => {
    const page = await panel.open(PHONE);
    const plans = sentTo(page, '/api/plan');
    const runs = sentTo(page, '/api/run');
    await freshly(page);
    await ask(page, 3, '1 EV', '1/60');
    await page.getByText('Manual mode, no settling time').click();
    const wait = page.getByLabel('Settling time (s)');
    await wait.fill('61');
    await page.getByRole('alert').getByText('from 0 to 60').waitFor();
    expect(await wait.getAttribute('aria-invalid')).toBe('true');
    await wellLaid(page);
    await page.screenshot({ path: screenAt('phone-wait-refused'), fullPage: true });
    await wait.fill('30');
    await page.getByText('Manual mode, 30 s settling time').waitFor();
    await expect.poll(() => bar(page).textContent()).toMatch(/in 1 pass, about 3\d s/);
    await wait.fill('0.5');
    await expect.poll(() => bar(page).textContent()).toMatch(/in 1 pass, about [12] s/);
    expect(plans.at(-1)).toMatchObject({ frames: 3, mode: 'manual', settle: 0.5 });
    await hold(page);
    expect(runs).toMatchObject([{ frames: 3, settle: 0.5 }]);
    await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor();
  });
});

describe.each(SIZES)('what is to be known of a run, on a $name', (size) => {
  it('its notes stand beside the ladder, and frames whose base had moved say so', async () => {
    const moved = (frame: FrameView): FrameView =>
      frame.state === 'verified' && frame.number !== 2
        ? { ...frame, baseMoved: frame.number === 1 ? -1 / 3 : 2 / 3 }
        : frame;
    const page = await panel.open(
      size,
      through((message) => {
        if (message.type !== 'event' || message.event.happening.type !== 'frame') return message;
        const { happening } = message.event;
        return {
          ...message,
          event: { ...message.event, happening: { ...happening, frame: moved(happening.frame) } },
        };
      }),
    );
    await freshly(page);
    await ask(page, 3, '1 EV', '1/60');
    await hold(page);
    await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor();
    const notes = page.getByRole('log', { name: 'Notes' });
    await notes.getByText(/^This laptop may fall asleep while shooting/).waitFor();
    expect(await rungNames(page)).toEqual([
      'Frame 3, +1 EV, 1/30, verified, base exposure moved by +2/3 EV',
      'Frame 2, 0 EV, 1/60, verified',
      'Frame 1, −1 EV, 1/125, verified, base exposure moved by −1/3 EV',
    ]);
    expect(await page.locator('.rung .moved svg').count()).toBe(2);
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${size.name}-notes`), fullPage: true });
    // Whoever opens the panel later reads the notes as well.
    await page.reload();
    await notes.getByText(/^This laptop may fall asleep while shooting/).waitFor();
  });
});
