// How the panel looks by day, dim and by night: the switch and the choice, what is kept, that night is red alone and never flashes,
// and that large letters fit.
import type { CDPSession, Page } from 'playwright-core';
import sharp from 'sharp';
import { describe, expect, it } from 'vitest';
import { lookOf } from '../../web/src/looks.js';
import {
  ask,
  freshly,
  hold,
  NARROW,
  panelForTests,
  type Size,
  screenAt,
  wellLaid,
} from './practice-panel.js';

const panel = panelForTests({ EVENRUNG_PRACTICE_TIMING: 'at-once' });

/** The system is light: whatever is not by night is bright. */
const PHONE: Size = { name: 'phone', width: 390, height: 844, colorScheme: 'light', hasTouch: true };
const LAPTOP: Size = { name: 'laptop', width: 1280, height: 800, colorScheme: 'light', hasTouch: false };
const NOTE = '/notes/hardware-notes/readiness.md';
const DRAWN_NOTE = '/notes/hardware-notes/passes.md';

const theSwitch = (page: Page) => page.getByRole('button', { name: 'Night', exact: true });
const looks = (page: Page) =>
  page.evaluate(() => {
    const { dataset } = document.documentElement;
    const style = getComputedStyle(document.documentElement);
    return {
      look: dataset.light,
      ground: style.backgroundColor,
      scheme: style.colorScheme,
      around: document.querySelector('meta[name="theme-color"]')?.getAttribute('content'),
    };
  });

const DAY = { look: 'day', ground: 'rgb(238, 242, 239)', scheme: 'light', around: '#eef2ef' };
const DIM = { look: 'dim', ground: 'rgb(13, 19, 22)', scheme: 'dark', around: '#0d1316' };
const NIGHT = { look: 'night', ground: 'rgb(0, 0, 0)', scheme: 'dark', around: '#000000' };

/** The choice, unfolded. */
async function openChoice(page: Page): Promise<void> {
  await page.locator('.light-setting summary').click();
}
const choose = (page: Page, choice: string) =>
  page.getByLabel('Appearance', { exact: true }).selectOption(choice);

/** @returns the most of red, and the most of green or blue, that any pixel has; 0 to 255 */
async function lightOf(picture: Buffer): Promise<{ red: number; others: number }> {
  const { data, info } = await sharp(picture).removeAlpha().raw().toBuffer({ resolveWithObject: true });
  let [red, others] = [0, 0];
  for (let at = 0; at < data.length; at += info.channels) {
    red = Math.max(red, data[at] ?? 0);
    others = Math.max(others, data[at + 1] ?? 0, data[at + 2] ?? 0);
  }
  return { red, others };
}

describe('the switch', () => {
  it('goes to night with one tap, and back; this browser keeps it', async () => {
    const page = await panel.open(PHONE, undefined, '');
    await freshly(page);
    expect(await looks(page)).toEqual(DAY);
    expect(await theSwitch(page).getAttribute('aria-pressed')).toBe('false');
    await theSwitch(page).tap();
    expect(await looks(page)).toEqual(NIGHT);
    expect(await theSwitch(page).getAttribute('aria-pressed')).toBe('true');
    await page.reload();
    await freshly(page);
    expect(await looks(page)).toEqual(NIGHT);
    await theSwitch(page).tap();
    expect(await looks(page)).toEqual(DAY);
    await page.reload();
    await freshly(page);
    expect(await looks(page)).toEqual(DAY);
  });

  it('works where the browser keeps nothing', async () => {
    const page = await panel.open(PHONE, async (opened) => {
      await opened.addInitScript(() => {
        Object.defineProperty(window, 'localStorage', {
          get() {
            throw new DOMException('Nothing is kept.', 'SecurityError');
          },
        });
      });
    });
    await freshly(page);
    expect(await looks(page)).toEqual(DAY);
    await theSwitch(page).tap();
    expect(await looks(page)).toEqual(NIGHT);
  });

  it('other pages of this browser follow: a note, too', async () => {
    const page = await panel.open(LAPTOP);
    await freshly(page);
    const note = await page.context().newPage();
    await note.goto(new URL(NOTE, panel.address).href);
    expect(await looks(note)).toEqual(DAY);
    await theSwitch(page).click();
    await expect.poll(() => looks(note)).toEqual(NIGHT);
    await note.reload();
    expect(await looks(note)).toEqual(NIGHT);
    await note.screenshot({ path: screenAt('light-night-note') });
    expect((await lightOf(await note.screenshot())).others).toBe(0);
    await note.goto(new URL(DRAWN_NOTE, panel.address).href);
    const drawing = await lightOf(await note.locator('.drawing').screenshot());
    expect(drawing.others).toBe(0);
    expect(drawing.red).toBeGreaterThan(100);
  });
});

describe('the choice', () => {
  it('as the system: it follows when that changes', async () => {
    const page = await panel.open(LAPTOP);
    await freshly(page);
    expect(await looks(page)).toEqual(DAY);
    await page.emulateMedia({ colorScheme: 'dark' });
    await expect.poll(() => looks(page)).toEqual(DIM);
    await openChoice(page);
    await choose(page, 'Day');
    expect(await looks(page)).toEqual(DAY);
    await choose(page, 'Dim');
    await page.emulateMedia({ colorScheme: 'light' });
    expect(await looks(page)).toEqual(DIM);
  });

  it('by the sun: it asks for the place, and goes by it before the first paint of the next visit, too', async () => {
    const page = await panel.open(LAPTOP);
    await freshly(page);
    await openChoice(page);
    await choose(page, 'Follow the sun');
    await page.getByText('This needs your location.').waitFor();
    const side = page.locator('.light-setting');
    await side.getByLabel('Latitude (N)').fill('0');
    // Somewhere on the equator it is day, and somewhere night.
    for (const look of ['day', 'night'] as const) {
      const longitude = [-150, -120, -90, -60, -30, 0, 30, 60, 90, 120, 150].find((east) => {
        const place = { latitude: '0', longitude: String(east) };
        const at = (minutes: number) =>
          lookOf('sun', { at: new Date(Date.now() + minutes * 60_000), systemIsDark: false, place });
        return at(-30) === look && at(30) === look;
      });
      await side.getByLabel('Longitude (E)').fill(String(longitude));
      await expect.poll(() => looks(page)).toEqual(look === 'day' ? DAY : NIGHT);
      expect(await page.getByText('This needs your location.').count()).toBe(0);
      // The panel's own script never comes: this is what the first one does.
      await page.route(/\/assets\/.*\.js$/, (route) => route.abort());
      await page.reload();
      expect(await looks(page)).toEqual(look === 'day' ? DAY : NIGHT);
      panel.forgetComplaints();
      await page.unroute(/\/assets\/.*\.js$/);
      await page.reload();
      await freshly(page);
      await openChoice(page);
    }
  });
});

describe('by night', () => {
  it.each([LAPTOP, NARROW])(
    'there is no green and no blue light anywhere on a $name screen',
    async (size) => {
      const page = await panel.open(size);
      await freshly(page);
      await theSwitch(page).click();
      const allRed = async (what: string) => {
        const picture = await page.screenshot({ path: screenAt(`light-night-${what}-${size.name}`) });
        expect([what, (await lightOf(picture)).others]).toEqual([what, 0]);
      };
      await openChoice(page);
      await allRed('choice');
      // The list that a select opens.
      await page.getByLabel('Text size', { exact: true }).click();
      await allRed('list');
      await page.keyboard.press('Escape');
      await page.getByLabel('Frames', { exact: true }).selectText();
      await allRed('selected');
      await page.getByLabel('Frames', { exact: true }).fill('');
      await page.locator('[aria-invalid="true"]').first().waitFor();
      await allRed('refused');

      await ask(page, 9, '1 EV', '1/60');
      await hold(page);
      await page.locator('main[data-run-state="complete"]').waitFor();
      const pictures = page.locator('.rung img');
      for (const picture of await pictures.all()) await picture.scrollIntoViewIfNeeded();
      await expect
        .poll(() =>
          pictures.evaluateAll((all) => all.every((one) => (one as HTMLImageElement).naturalWidth > 0)),
        )
        .toBe(true);
      await allRed('pictures');
      await page.getByRole('link', { name: 'Sets' }).click();
      await page.locator('.kept-list a').first().click();
      await page.locator('.kept-frames a').last().click();
      const viewer = page.locator('.viewer[data-loading="there"] .viewer-pane');
      await viewer.waitFor();
      await allRed('viewer');
      // It is there, and nothing in it is as bright as what is written.
      const { red } = await lightOf(await viewer.screenshot());
      expect(red).toBeGreaterThan(80);
      expect(red).toBeLessThan(220);
      await page.keyboard.press('Escape');
      await page.locator('.viewer').waitFor({ state: 'detached' });
      // The way back through the browser's history takes a moment.
      await page.waitForURL((url) => !/#sets\/.*\//.test(url.hash));
      await page.goto(panel.address);
      await freshly(page);
    },
  );
});

describe('as the page loads by night', () => {
  /** Slow enough that every moment of it is seen. */
  const SLOW = { offline: false, latency: 250, downloadThroughput: 60_000, uploadThroughput: 60_000 };
  /** A page that is painted by nobody yet is very dark grey. */
  const DARK = 24;
  const BRIGHT = 128;

  async function film(page: Page, what: (session: CDPSession) => Promise<void>): Promise<number[]> {
    const session = await page.context().newCDPSession(page);
    const frames: Buffer[] = [];
    session.on('Page.screencastFrame', ({ data, sessionId }) => {
      frames.push(Buffer.from(data, 'base64'));
      void session.send('Page.screencastFrameAck', { sessionId }).catch(() => undefined);
    });
    await session.send('Network.enable');
    await session.send('Network.setCacheDisabled', { cacheDisabled: true });
    await session.send('Network.emulateNetworkConditions', SLOW);
    await session.send('Page.startScreencast', { format: 'png', everyNthFrame: 1 });
    await what(session);
    await session.send('Page.stopScreencast');
    await session.detach();
    return Promise.all(frames.map(async (frame) => (await lightOf(frame)).others));
  }

  async function atNight(): Promise<Page> {
    const page = await panel.open(LAPTOP);
    await freshly(page);
    await theSwitch(page).click();
    await expect.poll(() => looks(page)).toEqual(NIGHT);
    return page;
  }

  const reloaded = (page: Page) => async () => {
    await page.reload();
    await freshly(page);
  };

  it('nothing bright is painted, from the first frame to the last', async () => {
    const page = await atNight();
    const others = await film(page, async () => {
      await reloaded(page)();
      await page.goto(new URL(NOTE, panel.address).href);
      await page.getByRole('link', { name: 'Panel' }).click();
      await freshly(page);
    });
    expect(others.length).toBeGreaterThan(5);
    expect(Math.max(...others)).toBeLessThan(DARK);
  });

  it('that would be seen: without the first script the page is bright for a while', async () => {
    const page = await atNight();
    await page.route('**/first-look.js', (route) => route.abort());
    const others = await film(page, reloaded(page));
    panel.forgetComplaints();
    expect(Math.max(...others)).toBeGreaterThan(BRIGHT);
  });
});

describe('large letters', () => {
  it.each([
    ['Normal', 16, NARROW],
    ['Large', 19.2, NARROW],
    ['Extra large', 22.4, NARROW],
    ['Extra large', 22.4, { ...NARROW, name: 'tablet', width: 900, height: 700 }],
  ] as const)('%s: all of it fits', async (letters, pixels, size) => {
    const page = await panel.open(size);
    await freshly(page);
    await openChoice(page);
    await page.getByLabel('Text size', { exact: true }).selectOption(letters);
    const shot = async (what: string) => {
      await wellLaid(page);
      await page.screenshot({
        path: screenAt(`light-${letters.toLowerCase()}-${what}-${size.name}`),
        fullPage: true,
      });
    };
    await page.reload();
    await freshly(page);
    expect(
      await page.evaluate(() => Number.parseFloat(getComputedStyle(document.documentElement).fontSize)),
    ).toBe(pixels);
    await openChoice(page);
    await shot('form');
    await page.goto(panel.address);
    await freshly(page);
    await shot('first');
    await page.goto(new URL('#form', panel.address).href);
    await ask(page, 9, '1 EV', '1/60');
    await hold(page);
    await page.locator('main[data-run-state="complete"]').waitFor();
    await shot('complete');
    // Nothing on a rung stands on something else of it.
    const covered = await page.locator('.rung .stand').evaluateAll((stands) =>
      stands.flatMap((stand) => {
        const boxes = [...stand.querySelectorAll('.number, .picture, .offset, .shutter, .state')].map(
          (part) => part.getBoundingClientRect(),
        );
        return boxes.filter((one) =>
          boxes.some(
            (other) =>
              other !== one &&
              one.left < other.right - 1 &&
              other.left < one.right - 1 &&
              one.top < other.bottom - 1 &&
              other.top < one.bottom - 1,
          ),
        );
      }),
    );
    expect(covered).toEqual([]);
    await page.getByRole('link', { name: 'Sets' }).click();
    await page.locator('.kept-list a').first().click();
    await page.locator('.kept-frames a').first().waitFor();
    await shot('set');
    await page.goto(new URL('#form', panel.address).href);
    await freshly(page);
  });
});
