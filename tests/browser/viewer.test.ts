// Looking closely at frames: nearer by wheel, keys, double click, fingers and buttons; two neighbouring frames beside each other; and
// the same from the ladder while a run goes on. The sets are fired by the panel itself on the practice body.
import { readdir, rename } from 'node:fs/promises';
import path from 'node:path';
import type { Page } from 'playwright-core';
import sharp from 'sharp';
import { beforeAll, describe, expect, it } from 'vitest';
import type { RunView } from '../../shared/state.js';
import {
  ask,
  freshly,
  hold,
  NARROW,
  panelForTests,
  SIZES,
  type Size,
  screenAt,
  verified,
  wellLaid,
} from './practice-panel.js';

const [PHONE, LAPTOP] = SIZES;
const ON_ITS_SIDE: Size = { name: 'lying', width: 740, height: 360, colorScheme: 'dark', hasTouch: true };
const FRAMES = 5;
/** Of the practice body's pictures. */
const PICTURE = { width: 1200, height: 800 };

/** A run whose cable was pulled. */
const CUT_OFF: Pick<RunView, 'state' | 'endedAt' | 'sentence' | 'trouble'> = {
  state: 'firing',
  endedAt: null,
  sentence: null,
  trouble: {
    doing: 'reconnecting',
    code: 'body-lost',
    sentence: 'The camera no longer answers.',
    next: 'Evenrung tries again for 60 s.',
  },
};

const panel = panelForTests({ EVENRUNG_PRACTICE_PICTURE: 'full' });
let set = '';

beforeAll(async () => {
  const page = await panel.open(LAPTOP);
  await freshly(page);
  await ask(page, FRAMES, '1 EV', '1/60');
  await hold(page);
  await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor({ timeout: 30_000 });
  set = await latestSet();
  expect(await panel.closePages()).toEqual([]);
}, 60_000);

const latestSet = async (): Promise<string> => {
  const answer = await fetch(new URL('/api/sets', panel.address));
  return ((await answer.json()) as { sets: { id: string }[] }).sets[0]?.id ?? '';
};
const viewer = (page: Page) => page.getByRole('dialog', { name: /^Frames? \d+/ });
const pictures = (page: Page) => viewer(page).locator('.viewer-clip img');
const zoom = async (page: Page) =>
  (await page.locator('[data-zoom]').textContent())?.replaceAll('\u00a0', ' ');
const button = (page: Page, name: string) => viewer(page).getByRole('button', { name, exact: true });
const loaded = (page: Page) => page.locator('.viewer[data-loading="there"]').waitFor();

async function look(size: Size, number = 3): Promise<Page> {
  const page = await panel.open(size, undefined, `#sets/${set}/${number}`);
  await loaded(page);
  await pictures(page).first().and(page.locator('[data-drawn="true"]')).waitFor();
  return page;
}

interface Box {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

async function boxOf(page: Page, which: string, index = 0): Promise<Box> {
  const box = await viewer(page).locator(which).nth(index).boundingBox();
  if (box === null) throw new Error(`${which} is not to be seen.`);
  return box;
}
const lies = (page: Page, index = 0) => boxOf(page, '.viewer-clip img', index);
const paneOf = (page: Page, index = 0) => boxOf(page, '[data-pane]', index);
/** Where a picture lies in its own part of the screen. */
async function inPane(page: Page, index: number): Promise<Box> {
  const [picture, pane] = [await lies(page, index), await paneOf(page, index)];
  return { ...picture, x: picture.x - pane.x, y: picture.y - pane.y };
}

const partAt = (box: Box, at: { x: number; y: number }) => ({
  x: (at.x - box.x) / box.width,
  y: (at.y - box.y) / box.height,
});

/** The same part of the picture, to two pixels of it on the screen. */
function samePart(before: Box, after: Box, at: { x: number; y: number }, then = at): void {
  const [was, is] = [partAt(before, at), partAt(after, then)];
  expect(Math.abs(is.x - was.x) * after.width).toBeLessThan(2);
  expect(Math.abs(is.y - was.y) * after.height).toBeLessThan(2);
}

/** No part of the pane is empty that the picture could fill. */
async function fills(page: Page, index = 0): Promise<void> {
  const [picture, pane] = [await inPane(page, index), await paneOf(page, index)];
  if (picture.width > pane.width) {
    expect(picture.x).toBeLessThanOrEqual(1);
    expect(picture.x + picture.width).toBeGreaterThanOrEqual(pane.width - 1);
  }
  if (picture.height > pane.height) {
    expect(picture.y).toBeLessThanOrEqual(1);
    expect(picture.y + picture.height).toBeGreaterThanOrEqual(pane.height - 1);
  }
}

const whenChanged = async (page: Page, before: Box) => {
  await expect.poll(() => lies(page)).not.toEqual(before);
  return lies(page);
};

describe('with a mouse', () => {
  it('the wheel makes it larger towards the pointer, and smaller until all of it is seen', async () => {
    const page = await look(LAPTOP);
    expect(await zoom(page)).toMatch(/^Whole frame, \d+%$/);
    const whole = await lies(page);
    const at = { x: whole.x + whole.width * 0.3, y: whole.y + whole.height * 0.7 };
    await page.mouse.move(at.x, at.y);
    await page.mouse.wheel(0, -700);
    const near = await whenChanged(page, whole);
    expect(near.width / whole.width).toBeCloseTo(4, 1);
    samePart(whole, near, at);
    await fills(page);
    expect(await zoom(page)).toMatch(/^\d+%$/);
    await page.mouse.wheel(0, 3000);
    await expect.poll(() => zoom(page)).toMatch(/^Whole frame/);
    expect(await lies(page)).toEqual(whole);
  });

  it('a double click leads to pixel for pixel at that point, and back', async () => {
    const page = await look({ ...LAPTOP, width: 900, height: 600 });
    const whole = await lies(page);
    const at = { x: whole.x + whole.width * 0.6, y: whole.y + whole.height * 0.45 };
    await page.mouse.dblclick(at.x, at.y);
    const near = await whenChanged(page, whole);
    expect(await zoom(page)).toBe('100%');
    expect([near.width, near.height]).toEqual([PICTURE.width, PICTURE.height]);
    samePart(whole, near, at);
    await page.screenshot({ path: screenAt('close-pixels') });
    await page.mouse.dblclick(at.x, at.y);
    await expect.poll(() => lies(page)).toEqual(whole);
  });

  it('dragging moves it, and never off the screen', async () => {
    const page = await look({ ...LAPTOP, width: 900, height: 600 });
    await page.keyboard.press('1');
    await expect.poll(() => zoom(page)).toBe('100%');
    const before = await lies(page);
    const at = { x: 450, y: 200 };
    await page.mouse.move(at.x, at.y);
    await page.mouse.down();
    await page.mouse.move(at.x + 60, at.y - 40, { steps: 4 });
    const after = await whenChanged(page, before);
    await page.mouse.up();
    expect([after.x - before.x, after.y - before.y]).toEqual([60, -40]);
    await page.mouse.move(at.x, at.y);
    await page.mouse.down();
    await page.mouse.move(at.x + 4000, at.y + 4000, { steps: 4 });
    await page.mouse.up();
    const pane = await paneOf(page);
    await expect.poll(async () => (await lies(page)).x).toBe(pane.x);
    expect((await lies(page)).y).toBe(pane.y);
    await fills(page);
    // Nothing more lies there, and the button that leads there is gone.
    expect(await button(page, 'Move left').isVisible()).toBe(false);
    await button(page, 'Move right').click();
    await expect.poll(async () => (await lies(page)).x).toBeLessThan(pane.x);
    await fills(page);
  });
});

describe('with keys', () => {
  it('all of it can be done; size and place stay from frame to frame', async () => {
    const page = await look({ ...LAPTOP, width: 900, height: 600 });
    const whole = await lies(page);
    await page.keyboard.press('ArrowRight');
    await page.getByRole('dialog', { name: 'Frame 4 of 5' }).waitFor();
    await page.keyboard.press('ArrowUp');
    await page.getByRole('dialog', { name: 'Frame 5 of 5' }).waitFor();
    await page.keyboard.press('ArrowRight');
    // At the end the keys still lead back.
    await page.keyboard.press('ArrowDown');
    await page.keyboard.press('ArrowLeft');
    await page.getByRole('dialog', { name: 'Frame 3 of 5' }).waitFor();
    await loaded(page);
    await page.keyboard.press('1');
    await expect.poll(() => zoom(page)).toBe('100%');
    await page.keyboard.press('+');
    await expect.poll(() => zoom(page)).toBe('141%');
    await page.keyboard.press('+');
    await expect.poll(() => zoom(page)).toBe('200%');
    const before = await lies(page);
    await page.keyboard.press('ArrowRight');
    await page.keyboard.press('ArrowDown');
    const moved = await whenChanged(page, before);
    await expect.poll(async () => (await lies(page)).y).toBeLessThan(before.y);
    expect(moved.x).toBeLessThan(before.x);
    await page.getByRole('dialog', { name: 'Frame 3 of 5' }).waitFor();
    const close = await lies(page);
    await page.keyboard.press('PageUp');
    await page.getByRole('dialog', { name: 'Frame 4 of 5' }).waitFor();
    await loaded(page);
    expect(await lies(page)).toEqual(close);
    expect(new URL(page.url()).hash).toBe(`#sets/${set}/4`);
    await expect
      .poll(() => page.locator('[data-told]').textContent(), { timeout: 5000 })
      .toMatch(/^Frame 4 of 5\. \+1 EV, .*200%$/);
    await page.keyboard.press('PageDown');
    await page.getByRole('dialog', { name: 'Frame 3 of 5' }).waitFor();
    await page.keyboard.press('-');
    await expect.poll(() => zoom(page)).toBe('141%');
    await loaded(page);
    await page.keyboard.press('0');
    await expect.poll(() => lies(page)).toEqual(whole);
    for (let presses = 0; presses < 20; presses += 1) await page.keyboard.press('+');
    await expect.poll(() => zoom(page)).toBe('800%');
    await page.keyboard.press('Escape');
    await viewer(page).waitFor({ state: 'detached' });
    await expect
      .poll(() => page.evaluate(() => document.activeElement?.getAttribute('aria-label')))
      .toBe('Frame 3 at full size');
  });
});

describe('with fingers', () => {
  const touch = async (page: Page) => {
    const cdp = await page.context().newCDPSession(page);
    return (
      type: 'touchStart' | 'touchMove' | 'touchEnd',
      touchPoints: { x: number; y: number; id: number }[],
    ) => cdp.send('Input.dispatchTouchEvent', { type, touchPoints });
  };

  it('two of them make it larger about what lies between them; one moves it; a double tap leads back', async () => {
    const page = await look(PHONE);
    const send = await touch(page);
    const whole = await lies(page);
    const middle = { x: whole.x + whole.width * 0.6, y: whole.y + whole.height / 2 };
    const two = (apart: number, { x, y } = middle) => [
      { x: x - apart, y: y - apart, id: 0 },
      { x: x + apart, y: y + apart, id: 1 },
    ];
    await send('touchStart', two(20));
    for (const apart of [30, 40, 60, 80]) await send('touchMove', two(apart));
    await send('touchEnd', []);
    const near = await whenChanged(page, whole);
    expect(near.width / whole.width).toBeCloseTo(4, 1);
    // Above and below there was room left over: along the width the part below the fingers stays.
    expect(Math.abs(partAt(near, middle).x - partAt(whole, middle).x) * near.width).toBeLessThan(2);
    await fills(page);

    await send('touchStart', [{ ...middle, id: 0 }]);
    for (const by of [10, 20, 30]) await send('touchMove', [{ x: middle.x - by, y: middle.y, id: 0 }]);
    await send('touchEnd', []);
    await expect.poll(async () => (await lies(page)).x).toBeCloseTo(near.x - 30, 0);
    await fills(page);

    // All at once: what goes there and back between two taps may take longer than a double tap.
    const tapTwice = () =>
      Promise.all([0, 1].flatMap(() => [send('touchStart', [{ ...middle, id: 0 }]), send('touchEnd', [])]));
    await tapTwice();
    await expect.poll(() => zoom(page)).toBe('100%');
    await page.waitForTimeout(500);
    await tapTwice();
    await expect.poll(() => zoom(page)).toMatch(/^Whole frame/);
    expect(await lies(page)).toEqual(whole);
    // The page itself was not made larger.
    expect(await page.evaluate(() => visualViewport?.scale)).toBe(1);
  });

  it('buttons do the same', async () => {
    const page = await look(NARROW);
    const whole = await lies(page);
    await button(page, 'Zoom in').click();
    await whenChanged(page, whole);
    await button(page, '100%').click();
    await expect.poll(() => zoom(page)).toBe('100%');
    const near = await lies(page);
    await button(page, 'Move up').click();
    await button(page, 'Move left').click();
    await whenChanged(page, near);
    await fills(page);
    await wellLaid(page);
    await page.screenshot({ path: screenAt('close-narrow') });
    await button(page, 'Zoom out').click();
    await expect.poll(() => zoom(page)).toBe('71%');
    await button(page, '100%').click();
    await button(page, 'Whole frame').click();
    await expect.poll(() => lies(page)).toEqual(whole);
  });
});

describe('two frames', () => {
  it.each([LAPTOP, ON_ITS_SIDE, PHONE, NARROW])('are seen alike on a screen as of a $name', async (size) => {
    const page = await look(size);
    await button(page, 'Two frames').click();
    await page.getByRole('dialog', { name: 'Frames 3 and 4 of 5' }).waitFor();
    await expect.poll(() => pictures(page).count()).toBe(2);
    await loaded(page);
    const [first, second] = [await paneOf(page, 0), await paneOf(page, 1)];
    expect([first.width, first.height]).toEqual([second.width, second.height]);
    if (size.width > size.height) expect(second.x).toBeGreaterThan(first.x + first.width);
    else expect(second.y).toBeGreaterThan(first.y + first.height);
    await viewer(page).locator('[data-pane]').nth(0).getByText('Frame 3, 0 EV, 1/60 s').waitFor();
    await viewer(page).locator('[data-pane]').nth(1).getByText('Frame 4, +1 EV, 1/30 s').waitFor();
    expect(await inPane(page, 1)).toEqual(await inPane(page, 0));
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${size.name}-two-frames`) });

    const before = await lies(page);
    const at = { x: second.x + second.width * 0.4, y: second.y + second.height * 0.5 };
    await page.mouse.move(at.x, at.y);
    await page.mouse.wheel(0, -1000);
    await whenChanged(page, before);
    expect(await inPane(page, 1)).toEqual(await inPane(page, 0));
    await page.mouse.down();
    await page.mouse.move(at.x - 30, at.y - 20, { steps: 3 });
    await page.mouse.up();
    expect(await inPane(page, 1)).toEqual(await inPane(page, 0));
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${size.name}-two-frames-close`) });

    // The pair moves on by one frame, and no farther than to the last one.
    await button(page, 'Brighter pair').click();
    await page.getByRole('dialog', { name: 'Frames 4 and 5 of 5' }).waitFor();
    expect(await button(page, 'Brighter pair').isDisabled()).toBe(true);
    await page.keyboard.press('PageUp');
    await page.getByRole('dialog', { name: 'Frames 4 and 5 of 5' }).waitFor();
    await expect.poll(() => pictures(page).count()).toBe(2);
    await button(page, 'One frame').click();
    await page.getByRole('dialog', { name: 'Frame 4 of 5' }).waitFor();
    await expect.poll(() => pictures(page).count()).toBe(1);
  });

  it('swap places for as long as the key, or the button, is held', async () => {
    const page = await look(LAPTOP, FRAMES);
    await page.keyboard.press('c');
    await page.getByRole('dialog', { name: 'Frames 4 and 5 of 5' }).waitFor();
    await loaded(page);
    const [first, second] = [await paneOf(page, 0), await paneOf(page, 1)];
    const swapped = async () => {
      await expect.poll(() => paneOf(page, 0)).toEqual(second);
      expect(await paneOf(page, 1)).toEqual(first);
    };
    const back = () => expect.poll(() => paneOf(page, 0)).toEqual(first);
    await page.keyboard.down('s');
    await swapped();
    await page.keyboard.up('s');
    await back();
    const box = await button(page, 'Press to swap').boundingBox();
    await page.mouse.move((box?.x ?? 0) + 20, (box?.y ?? 0) + 20);
    await page.mouse.down();
    await swapped();
    await page.mouse.up();
    await back();
    await button(page, 'Press to swap').focus();
    await page.keyboard.down('Space');
    await swapped();
    await page.keyboard.up('Space');
    await back();
    // From a program that presses for somebody: until the next press.
    await button(page, 'Press to swap').evaluate((swap: HTMLElement) => swap.click());
    await swapped();
    await button(page, 'Press to swap').evaluate((swap: HTMLElement) => swap.click());
    await back();
  });

  it('can be evened out, in linear light', async () => {
    const page = await look(LAPTOP, 4);
    await page.keyboard.press('c');
    await page.getByRole('dialog', { name: 'Frames 4 and 5 of 5' }).waitFor();
    await loaded(page);
    const before = [await lightOf(page, 0), await lightOf(page, 1)] as const;
    expect(before[1] / before[0]).toBeGreaterThan(1.9);
    await button(page, 'Same brightness').click();
    await page.getByText(/^Frame 5 is shown 1 stop darker to match the other/).waitFor();
    expect(await button(page, 'Same brightness').getAttribute('aria-pressed')).toBe('true');
    await expect
      .poll(async () => (await lightOf(page, 1)) / before[0], { timeout: 5000 })
      .toBeCloseTo(1, 1.5);
    expect(await lightOf(page, 0)).toBeCloseTo(before[0], 3);
    await page.screenshot({ path: screenAt('laptop-evened') });
    await page.keyboard.press('e');
    await expect.poll(() => page.getByText(/is shown 1 stop darker/).count()).toBe(0);
  });

  /** Mean light, from 0 to 1, of the planks at the left foot of a picture as it is painted: nothing of them is blown out. */
  async function lightOf(page: Page, index: number): Promise<number> {
    const { x, y, width, height } = await lies(page, index);
    const clip = { x: x + width * 0.05, y: y + height * 0.8, width: width * 0.15, height: height * 0.15 };
    const { data, info } = await sharp(await page.screenshot({ clip }))
      .removeAlpha()
      .raw()
      .toBuffer({ resolveWithObject: true });
    let sum = 0;
    for (const value of data) {
      const coded = value / 255;
      sum += coded <= 0.04045 ? coded / 12.92 : ((coded + 0.055) / 1.055) ** 2.4;
    }
    return sum / (info.width * info.height * info.channels);
  }
});

describe('a picture that is not there', () => {
  it('is said to be moved or deleted, and is shown once it is back', async () => {
    const [folder] = await readdir(panel.sets);
    const inSet = path.join(panel.sets, folder ?? '');
    const file = (await readdir(inSet)).find((name) => name.startsWith('02_')) ?? '';
    await rename(path.join(inSet, file), path.join(panel.sets, 'elsewhere.jpg'));
    const page = await panel.open(PHONE, undefined, `#sets/${set}/2`);
    await page.getByText(`${file} in the set folder ${folder} was moved or deleted.`).waitFor();
    expect(await page.locator('.viewer').getAttribute('data-loading')).toBe('none');
    await wellLaid(page);
    await page.screenshot({ path: screenAt('phone-no-picture') });
    await rename(path.join(panel.sets, 'elsewhere.jpg'), path.join(inSet, file));
    await button(page, 'Try again').click();
    await loaded(page);
    panel.forgetComplaints();
  });
});

describe('from the ladder', () => {
  it('a verified frame is looked at while the run goes on, and the way back leads to where one was', async () => {
    const page = await panel.open(PHONE);
    await freshly(page);
    await ask(page, 9, '1 EV', '1/60');
    await hold(page);
    const tell = (what: 'hold' | 'go-on') =>
      fetch(new URL(`/api/run/${what}`, panel.address), { method: 'POST' });
    const first = page.locator('.rung[data-state="verified"] a.picture').last();
    await first.waitFor();
    // So that there is time to look, however slow the machine is.
    expect((await tell('hold')).status).toBe(202);
    await page.locator('main[data-run-state="held"]').waitFor();
    // The picture of the frame before may still be looked at.
    await expect.poll(() => page.locator('.rung[data-state="stored"]').count()).toBe(0);
    const number = Number(
      await page.locator('.rung[data-state="verified"]').last().getAttribute('data-frame'),
    );
    await first.click();
    await page.getByRole('dialog', { name: `Frame ${number} of 9` }).waitFor();
    await loaded(page);
    expect(await page.locator('main').getAttribute('data-view')).toBe('running');
    expect(await pictures(page).evaluate((one) => (one as HTMLImageElement).naturalWidth)).toBe(
      PICTURE.width,
    );
    await page.keyboard.press('1');
    await expect.poll(() => zoom(page)).toBe('100%');
    // The brightest ones come last.
    for (let steps = number; steps < 9; steps += 1) await page.keyboard.press('PageUp');
    await page.getByText('This frame has not arrived yet.').waitFor();
    await page.screenshot({ path: screenAt('phone-not-yet') });
    expect((await tell('go-on')).status).toBe(202);
    // It comes by itself as soon as it is verified.
    await loaded(page);
    expect(await zoom(page)).toBe('100%');
    await page.locator('main[data-run-state="complete"]').waitFor({ timeout: 30_000 });
    for (let steps = 9; steps > number; steps -= 1) await page.keyboard.press('PageDown');
    await page.getByRole('dialog', { name: `Frame ${number} of 9` }).waitFor();
    await page.goBack();
    await viewer(page).waitFor({ state: 'detached' });
    await expect
      .poll(() => page.evaluate(() => document.activeElement?.getAttribute('aria-label')))
      .toBe(`Frame ${number} at full size`);
    const rung = await page.locator(`.rung[data-frame="${number}"]`).boundingBox();
    const dock = await page.locator('.dock').boundingBox();
    expect(rung?.y).toBeGreaterThan(0);
    expect((rung?.y ?? 0) + (rung?.height ?? 0)).toBeLessThan(dock?.y ?? 0);
    expect(await page.locator('main').getAttribute('data-page')).toBe('panel');
    expect(await verified(page).count()).toBe(9);
    await wellLaid(page);

    // After the run as during it.
    await page.getByRole('link', { name: 'Frame 9 at full size' }).click();
    await loaded(page);
    await button(page, 'Close').click();
    await viewer(page).waitFor({ state: 'detached' });
    await expect.poll(() => new URL(page.url()).hash).not.toContain('rungs');
    await page.getByRole('button', { name: 'New set', exact: true }).click();
  });

  it('a frame of a set that is not in hand any more is still looked at', async () => {
    const page = await panel.open(LAPTOP, undefined, `#rungs/${set}/2`);
    await page.getByRole('dialog', { name: `Frame 2 of ${FRAMES}` }).waitFor();
    await loaded(page);
    await button(page, 'Close').click();
    await viewer(page).waitFor({ state: 'detached' });
    await expect.poll(() => new URL(page.url()).hash, { timeout: 5000 }).toBe('');
    await page.locator('main[data-page="panel"]').waitFor();
  });

  it('what keeps the run from going on is said there, too', async () => {
    const { page } = await panel.show(
      ON_ITS_SIDE,
      (state) => ({ ...state, run: state.run === null ? null : { ...state.run, ...CUT_OFF } }),
      async (opened) => {
        await opened.addInitScript(
          (hash) => {
            location.hash = hash;
          },
          `#rungs/${await latestSet()}/2`,
        );
      },
    );
    await viewer(page).getByRole('heading', { name: 'Reconnecting' }).waitFor();
    await viewer(page).getByText('The camera no longer answers.').waitFor();
    await loaded(page);
    await wellLaid(page);
    expect((await paneOf(page)).height).toBeGreaterThan(150);
    await page.screenshot({ path: screenAt('lying-close-trouble') });
  });
});
