// The habits of a phone: a screen that stays on while a run goes on, a tremble at its end, room beside the notch,
// and a page that stays where it is.
import { readFile } from 'node:fs/promises';
import { fileURLToPath } from 'node:url';
import type { Page } from 'playwright-core';
import { describe, expect, it } from 'vitest';
import { text } from '../../web/src/text.js';
import {
  ask,
  freshly,
  hold,
  panelForTests,
  SIZES,
  type Size,
  screenAt,
  trigger,
  verified,
} from './practice-panel.js';

const SOON = { timeout: 8000 };
const PHONE = SIZES[0];
const ON_ITS_SIDE: Size = { ...PHONE, name: 'sideways', width: 740, height: 360 };

const panel = panelForTests();

/** The browser's lock of the screen, as a list of what was asked of it. */
const LOCK = () => {
  const asked: string[] = [];
  const held = new Set<EventTarget>();
  Object.assign(window, { asked, held, refuses: false });
  Object.defineProperty(navigator, 'wakeLock', {
    configurable: true,
    value: {
      async request() {
        asked.push('request');
        if ((window as unknown as { refuses: boolean }).refuses)
          throw new DOMException('no', 'NotAllowedError');
        const lock = new EventTarget();
        held.add(lock);
        return Object.assign(lock, {
          async release() {
            if (!held.delete(lock)) return;
            asked.push('release');
            lock.dispatchEvent(new Event('release'));
          },
        });
      },
    },
  });
};
const asked = (page: Page) => page.evaluate(() => (window as unknown as { asked: string[] }).asked);

/** As if the phone was put into a pocket, or taken out of it. */
const turn = (page: Page, state: 'hidden' | 'visible') =>
  page.evaluate((now) => {
    Object.defineProperty(document, 'visibilityState', { configurable: true, value: now });
    document.dispatchEvent(new Event('visibilitychange'));
  }, state);

/** A set that lasts a few seconds. */
async function fireSlowly(page: Page): Promise<void> {
  await freshly(page);
  await ask(page, 9, '1 EV', '1/4');
  await hold(page);
}
const stopped = (page: Page) => page.locator('main[data-view="ended"][data-run-state="stopped"]').waitFor();
const stop = async (page: Page) => {
  await page.getByRole('button', { name: 'Stop', exact: true }).click();
  await stopped(page);
};

describe('the screen', () => {
  it('is kept on while a run is under way, also after the phone was away, and let go at its end', async () => {
    const page = await panel.open(PHONE, (opened) => opened.addInitScript(LOCK).then(() => undefined));
    await freshly(page);
    expect(await asked(page)).toEqual([]);
    await fireSlowly(page);
    expect(await asked(page)).toEqual(['request']);
    await turn(page, 'hidden');
    await expect.poll(() => asked(page), SOON).toEqual(['request', 'release']);
    await turn(page, 'visible');
    await expect.poll(() => asked(page), SOON).toEqual(['request', 'release', 'request']);
    expect(await page.locator('.screen-line').count()).toBe(0);
    await stop(page);
    await expect.poll(() => asked(page), SOON).toEqual(['request', 'release', 'request', 'release']);
  });

  it('may go dark where the run is held for long', async () => {
    const page = await panel.open(PHONE, async (opened) => {
      await opened.addInitScript(LOCK);
      await opened.clock.install();
    });
    await fireSlowly(page);
    await page.getByRole('button', { name: 'Pause', exact: true }).click();
    await page.locator('main[data-run-state="held"]').waitFor();
    await page.clock.fastForward('09:00');
    expect(await asked(page)).toEqual(['request']);
    await page.clock.fastForward('02:00');
    await expect.poll(() => asked(page), SOON).toEqual(['request', 'release']);
    // To the page nothing was heard for minutes: it connects anew.
    await page.locator('main[data-connection="connected"]').waitFor();
    await page.getByRole('button', { name: 'Resume', exact: true }).click();
    await expect.poll(() => asked(page), SOON).toEqual(['request', 'release', 'request']);
    await stop(page);
  });

  it.each([
    ['a browser that has no such thing', 'none', text.phone.screen.cannot],
    ['a page without TLS', 'insecure', text.phone.screen.plain],
    ['a device that wants to go dark', 'refused', text.phone.screen.refused],
  ] as const)('%s: the panel says so', async (_what, why, words) => {
    const page = await panel.open(PHONE, async (opened) => {
      await opened.addInitScript(LOCK);
      await opened.addInitScript((reason) => {
        if (reason === 'refused') Object.assign(window, { refuses: true });
        // The property is the prototype's as well.
        else {
          Reflect.deleteProperty(navigator, 'wakeLock');
          Reflect.deleteProperty(Navigator.prototype, 'wakeLock');
        }
        if (reason === 'insecure') Object.defineProperty(window, 'isSecureContext', { value: false });
      }, why);
    });
    await fireSlowly(page);
    await page.getByText(words).waitFor();
    await page.screenshot({ path: screenAt(`phone-screen-${why}`) });
    await stop(page);
    expect(await page.getByText(words).count()).toBe(0);
  });
});

/** What the phone trembled, as it was asked to. */
const TREMBLE = () => {
  const trembles: string[] = [];
  Object.assign(window, { trembles });
  Object.defineProperty(Navigator.prototype, 'vibrate', {
    configurable: true,
    value: (pattern: number | number[]) => {
      trembles.push([pattern].flat().join(' '));
      return true;
    },
  });
};
const trembles = (page: Page) => page.evaluate(() => (window as unknown as { trembles: string[] }).trembles);
const trembling = (size: Size) =>
  panel.open(size, (opened) => opened.addInitScript(TREMBLE).then(() => undefined));
const COMPLETE = '60';
const EARLY = '150 100 150';
const PRESSED = '40';

describe('the tremble', () => {
  it('tells the end of a set once on the device that fired it, and not on another', async () => {
    const page = await trembling(PHONE);
    await freshly(page);
    const other = await trembling(PHONE);
    await freshly(other);
    // A touch, so that it might.
    await other.locator('h1').click();
    await ask(page, 3, '1 EV', '1/60');
    await hold(page);
    await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor();
    await other.locator('main[data-view="ended"][data-run-state="complete"]').waitFor();
    await expect.poll(() => trembles(page), SOON).toEqual([PRESSED, COMPLETE]);
    await page.getByRole('button', { name: 'New set', exact: true }).click();
    await other.getByRole('button', { name: 'New set', exact: true }).click();
    await fireSlowly(page);
    await expect.poll(() => verified(page).count(), { timeout: 15_000 }).toBeGreaterThanOrEqual(1);
    await stop(page);
    await expect.poll(() => trembles(page), SOON).toEqual([PRESSED, COMPLETE, PRESSED, EARLY]);
    await page.waitForTimeout(500);
    expect(await trembles(page)).toEqual([PRESSED, COMPLETE, PRESSED, EARLY]);
    expect(await trembles(other)).toEqual([]);
  });

  it('tells it on a device whose alarm is on, too', async () => {
    const page = await trembling(PHONE);
    await freshly(page);
    await page.getByText(text.schedule.alarm.line(false)).click();
    await page.getByLabel(text.schedule.alarm.allow).check();
    const firing = await panel.open(PHONE);
    await freshly(firing);
    await ask(firing, 3, '1 EV', '1/60');
    await hold(firing);
    await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor();
    await expect.poll(() => trembles(page), SOON).toEqual([COMPLETE]);
  });

  it('is the alarm alone where a run halts that calls for somebody', async () => {
    const firing = await panel.open(PHONE);
    await fireSlowly(firing);
    await expect.poll(() => verified(firing).count(), { timeout: 15_000 }).toBeGreaterThanOrEqual(1);
    await stop(firing);
    const { page, run, tell } = await panel.show(
      PHONE,
      (state) => ({
        ...state,
        run: state.run === null ? null : { ...state.run, state: 'firing', endedAt: null, sentence: null },
      }),
      (opened) => opened.addInitScript(TREMBLE).then(() => undefined),
    );
    await page.locator('main[data-view="running"]').waitFor();
    await page.getByText(text.schedule.alarm.line(false)).click();
    await page.getByLabel(text.schedule.alarm.allow).check();
    tell({
      ...{ type: 'run-state', run, state: 'halted', endedAt: new Date().toISOString() },
      ...{ sentence: 'The camera does not answer.', error: 'body-lost', folder: null },
    });
    await page.locator('main[data-view="ended"][data-run-state="halted"]').waitFor();
    await expect.poll(() => trembles(page), SOON).toEqual(['400 150 400 150 400']);
    await page.waitForTimeout(500);
    expect(await trembles(page)).toEqual(['400 150 400 150 400']);
    await page.getByRole('button', { name: text.schedule.alarm.seen }).click();
  });
});

describe('the screen of a phone', () => {
  /** As large as they come. */
  const ABOVE = { top: 59, left: 0, right: 0, bottom: 34 };
  const BESIDE = { top: 0, left: 59, right: 59, bottom: 21 };

  it.each([
    ['upright', PHONE, ABOVE, ''],
    ['on its side', ON_ITS_SIDE, BESIDE, ''],
    ['on its side, all fields', ON_ITS_SIDE, BESIDE, '#form'],
    ['narrow, on its side', { ...ON_ITS_SIDE, name: 'sideways-narrow', width: 568, height: 320 }, BESIDE, ''],
  ] as const)('%s: nothing lies below the notch, and the bar is in sight', async (_what, size, notch, at) => {
    const page = await panel.open(size, async () => {}, at);
    const session = await page.context().newCDPSession(page);
    await session.send('Emulation.setSafeAreaInsetsOverride' as never, { insets: notch } as never);
    await freshly(page);
    await trigger(page).waitFor();
    const laid = await page.evaluate(() => {
      const words = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
      const boxes: { what: string; left: number; right: number; top: number }[] = [];
      for (let node = words.nextNode(); node !== null; node = words.nextNode()) {
        const parent = node.parentElement;
        if (parent === null || parent.closest('.unseen, noscript, option') !== null) continue;
        if ((node.textContent ?? '').trim() === '' || !parent.checkVisibility()) continue;
        const range = document.createRange();
        range.selectNodeContents(node);
        const { left, right, top } = range.getBoundingClientRect();
        boxes.push({ what: node.textContent ?? '', left, right, top });
      }
      const bar = document.querySelector('.trigger')?.getBoundingClientRect();
      const dock = document.querySelector('.dock')?.getBoundingClientRect();
      const column = document.querySelector('main')?.getBoundingClientRect();
      return {
        boxes,
        bar: bar?.toJSON() as DOMRect,
        dock: dock?.toJSON() as DOMRect,
        column: column?.toJSON() as DOMRect,
        sideways: document.documentElement.scrollWidth - document.documentElement.clientWidth,
      };
    });
    expect(laid.boxes.length).toBeGreaterThan(8);
    const hidden = laid.boxes.filter(
      ({ left, right, top }) =>
        left < notch.left - 1 || right > size.width - notch.right + 1 || top < notch.top - 1,
    );
    expect(hidden).toEqual([]);
    expect(laid.sideways).toBe(0);
    // Whole, above what the phone keeps for itself at its foot, and on the ground of the dock, which is as wide as its column.
    expect(laid.bar.top).toBeGreaterThanOrEqual(notch.top);
    expect(laid.bar.bottom).toBeLessThanOrEqual(size.height - notch.bottom);
    const { left, right } = laid.column;
    expect(laid.dock).toMatchObject({ left, right, bottom: size.height });
    expect(laid.bar.height).toBeGreaterThanOrEqual(48);
    await page.screenshot({ path: screenAt(`${size.name}-notch${at.replace('#', '-')}`) });
  });

  it.each([PHONE, ON_ITS_SIDE])('stop is whole and in sight while a run goes on: $name', async (size) => {
    const page = await panel.open(size);
    await fireSlowly(page);
    await expect.poll(() => verified(page).count(), { timeout: 15_000 }).toBeGreaterThanOrEqual(1);
    const box = await page.getByRole('button', { name: 'Stop', exact: true }).boundingBox();
    expect(box?.y).toBeGreaterThanOrEqual(0);
    expect((box?.y ?? 0) + (box?.height ?? 0)).toBeLessThanOrEqual(size.height);
    await page.screenshot({ path: screenAt(`${size.name}-stop`) });
    await stop(page);
  });

  it('a finger that slips from the bar does not load the page anew', async () => {
    const page = await panel.open(PHONE, async () => {}, '');
    await freshly(page);
    await trigger(page).waitFor();
    const styles = await page.evaluate(() => ({
      page: getComputedStyle(document.documentElement).overscrollBehaviorY,
      bar: getComputedStyle(document.querySelector('.trigger') as Element).touchAction,
    }));
    expect(styles).toEqual({ page: 'none', bar: 'none' });
  });
});

it('what is seen before the panel is there says what the panel would say', async () => {
  const page = await readFile(fileURLToPath(new URL('../../web/index.html', import.meta.url)), 'utf8');
  const shell = /<div id="panel">([\s\S]*?)<\/div>\s*<noscript>/.exec(page)?.[1] ?? '';
  const words = shell
    .replace(/<!--[\s\S]*?-->/g, '')
    .split(/<[^>]*>/)
    .map((part) => part.trim())
    .filter((part) => part !== '');
  expect(words).toEqual([text.name, text.list.link, text.connection.connecting]);
  expect(shell).toContain(`aria-label="${text.pages}"`);
});
