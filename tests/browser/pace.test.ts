// How soon the panel is there on a slow way, how soon a press is confirmed, and that a long ladder scrolls. In `npm test` that all of it
// is there at all.
import type { CDPSession, Page } from 'playwright-core';
import { describe, expect, it } from 'vitest';
import type { DaemonState, RunView } from '../../shared/state.js';
import { IS_JUDGED, PACED, pace, ROUNDS } from '../pace.js';
import { freshly, hold, panelForTests, SIZES } from './practice-panel.js';

const [PHONE] = SIZES;

/** As mobile networks of the third generation are usually imitated ("slow 4G" or "fast 3G" in browsers' own tools): from memory. */
const THIRD_GENERATION = {
  offline: false,
  downloadThroughput: (1.6 * 1e6) / 8,
  uploadThroughput: (768 * 1e3) / 8,
  latency: 300,
};
const FIRST_VIEW_WITHIN_MS = 1000;
const FRAME_WITHIN_MS = 50;

const panel = panelForTests({
  EVENRUNG_PRACTICE_TIMING: 'at-once',
  EVENRUNG_PRACTICE_PICTURE: 'full',
});

/** What else the computer does costs time, too; what the panel costs would be there in each of the tries. @returns the least but one */
const second = (of: readonly number[]): number => [...of].sort((a, b) => a - b)[1] ?? Number.NaN;

const ended = (page: Page) =>
  page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor({ timeout: 20_000 });

interface Paint {
  readonly firstMs: number;
  readonly shown: string;
}

/** Opens the panel on a slow way, with nothing kept from before. */
async function slowly(page: Page): Promise<CDPSession> {
  const way = await page.context().newCDPSession(page);
  await way.send('Network.enable');
  await way.send('Network.emulateNetworkConditions', THIRD_GENERATION);
  return way;
}

/** Notes what stands on the page as something is painted for the first time. */
const notePaint = (page: Page) =>
  page.addInitScript(() => {
    new PerformanceObserver((list) => {
      for (const { name, startTime } of list.getEntries()) {
        if (name !== 'first-contentful-paint') continue;
        const shown = document.getElementById('panel')?.textContent ?? '';
        Object.assign(window, { firstPaint: { firstMs: startTime, shown } });
      }
    }).observe({ type: 'paint', buffered: true });
  });

const firstPaint = async (page: Page): Promise<Paint> => {
  const found = await page.waitForFunction(() => (window as unknown as { firstPaint?: Paint }).firstPaint);
  return (await found.jsonValue()) as Paint;
};

describe('the first view', () => {
  it('stands within a second on a slow way: the name, and what it is doing', PACED, async () => {
    const times: number[] = [];
    for (let round = 0; round < ROUNDS; round += 1) {
      const page = await panel.open(
        PHONE,
        async (opened) => {
          await notePaint(opened);
          await slowly(opened);
        },
        '',
      );
      const { firstMs, shown } = await firstPaint(page);
      expect(shown).toMatch(/Evenrung[\s\S]*Connect(ing|ed)/);
      times.push(firstMs);
      await page.locator('main[data-connection="connected"]').waitFor();
      expect(await panel.closePages()).toEqual([]);
    }
    pace('first view on a slow way', second(times), 'ms', FIRST_VIEW_WITHIN_MS);
  });
});

describe('a press', () => {
  it('is confirmed within 100 ms, and so is that it was enough', PACED, async () => {
    const page = await panel.open(PHONE, watchTheBar, '');
    const pressed: number[] = [];
    const fired: number[] = [];
    for (let round = 0; round < ROUNDS; round += 1) {
      await freshly(page);
      await hold(page);
      await ended(page);
      const times = await page.evaluate(() => (globalThis as unknown as { barTimes: BarTimes }).barTimes);
      pressed.push(times.holding - times.down);
      fired.push(times.starting - times.sent);
    }
    // Both were said, and after what they confirm.
    expect(Math.min(...pressed)).toBeGreaterThanOrEqual(0);
    expect(Math.min(...fired)).toBeGreaterThanOrEqual(0);
    const middle = (of: readonly number[]) => [...of].sort((a, b) => a - b)[2] ?? Number.NaN;
    pace('press to "keep holding" painted', middle(pressed), 'ms', 100);
    pace('held long enough to "starting" painted', middle(fired), 'ms', 100);
  });
});

interface BarTimes {
  /** When the finger came down, the request went out, and what was said of either was painted. */
  down: number;
  holding: number;
  sent: number;
  starting: number;
}

/** Notes in the page when something happens to the bar, and when it is painted. */
async function watchTheBar(page: Page): Promise<void> {
  await page.addInitScript(() => {
    const times = { down: 0, holding: 0, sent: 0, starting: 0 };
    (globalThis as unknown as { barTimes: typeof times }).barTimes = times;
    const painted = (then: () => void) => requestAnimationFrame(() => setTimeout(then));
    addEventListener('pointerdown', () => Object.assign(times, { down: performance.now(), sent: 0 }), true);
    const ask = fetch;
    globalThis.fetch = (input, init) => {
      if (String(input).endsWith('/api/run')) times.sent = performance.now();
      return ask(input, init);
    };
    let before = '';
    new MutationObserver(() => {
      const said = document.querySelector('.trigger-first')?.textContent ?? '';
      if (said === before) return;
      before = said;
      if (said === 'Keep holding') painted(() => Object.assign(times, { holding: performance.now() }));
      if (said === 'Starting') painted(() => Object.assign(times, { starting: performance.now() }));
    }).observe(document, { subtree: true, childList: true, characterData: true, attributes: true });
  });
}

const LONG = 61;

/** The run that was fired, as if it had many more frames, all of them verified. */
function long(run: RunView): RunView {
  const [frame] = run.frames;
  const [pass] = run.plan.passes;
  const [made] = pass?.frames ?? [];
  if (frame === undefined || pass === undefined || made === undefined) throw new Error('There is no run.');
  const offsets = Array.from({ length: LONG }, (_, index) => (index - (LONG - 1) / 2) / 3);
  const passes = Array.from({ length: Math.ceil(LONG / 3) }, (_, index) => {
    const own = offsets.slice(index * 3, index * 3 + 3);
    return {
      ...pass,
      centre: own[1] ?? own[0] ?? 0,
      frames: own.map((offset) => ({ ...made, offset, wanted: true })),
    };
  });
  return {
    ...run,
    plan: { ...run.plan, offsets, passes },
    passes: passes.map(() => 'done'),
    frames: offsets.map((offset, index) => ({
      ...frame,
      number: index + 1,
      pass: Math.floor(index / 3) + 1,
      offset,
    })),
  };
}

/** Each frame of the long run has the picture of one that was made. */
async function lendPictures(page: Page, { id, set, frames }: RunView): Promise<void> {
  const pictures = await Promise.all(
    frames.map(async ({ number }) => {
      const at = `/api/run/${id}/frames/${number}/thumbnail?set=${set.id}`;
      return Buffer.from(await (await fetch(new URL(at, panel.address))).arrayBuffer());
    }),
  );
  await page.route('**/thumbnail?*', (route) => {
    const frame = Number(/frames\/(\d+)\//.exec(route.request().url())?.[1]);
    const body = pictures[frame % pictures.length];
    return route.fulfill(body === undefined ? { status: 404 } : { contentType: 'image/jpeg', body });
  });
}

/** @returns the time between every two frames that were painted while the wheel went over the whole ladder */
async function scrollThrough(page: Page): Promise<number[]> {
  await page.evaluate(() => {
    const times: number[] = [];
    Object.assign(window, { times });
    let before = performance.now();
    const tell = (now: number) => {
      times.push(now - before);
      before = now;
      requestAnimationFrame(tell);
    };
    requestAnimationFrame(tell);
  });
  const height = await page.evaluate(() => document.documentElement.scrollHeight - innerHeight);
  // As fast as somebody turns a wheel: a notch is some hundred pixels, and comes in parts.
  for (let at = 0; at < height; at += 50) await page.mouse.wheel(0, 50);
  await page.waitForFunction(
    () => Math.abs(scrollY + innerHeight - document.documentElement.scrollHeight) < 2,
  );
  // The first is the time until anything was asked for.
  return page.evaluate(() => (window as unknown as { times: number[] }).times.slice(1));
}

describe.each(SIZES)('a ladder of 61 frames with their pictures on a $name', (size) => {
  it('scrolls without stumbling', PACED, async () => {
    const { run } = (
      (await (await fetch(new URL('/api/state', panel.address))).json()) as {
        state: DaemonState;
      }
    ).state;
    if (run === null) throw new Error('No set was fired.');
    const worst: number[] = [];
    const all: number[] = [];
    for (let round = 0; round < ROUNDS; round += 1) {
      const { page } = await panel.show(
        size,
        (state) => ({ ...state, run: long(run) }),
        (opened) => lendPictures(opened, run),
      );
      expect(await page.locator('.rung[data-state="verified"]').count()).toBe(LONG);
      const ladder = await page.locator('.ladder').boundingBox();
      await page.mouse.move((ladder?.x ?? 0) + 100, 300);
      const times = await scrollThrough(page);
      expect(times.length).toBeGreaterThan(0);
      // All pictures came, though none was there before.
      await expect
        .poll(
          () =>
            page
              .locator('.rung img')
              .evaluateAll(
                (images) => images.filter((one) => (one as HTMLImageElement).naturalWidth > 0).length,
              ),
          {
            timeout: 5000,
          },
        )
        .toBe(LONG);
      worst.push(Math.max(...times));
      all.push(...times);
      expect(await panel.closePages()).toEqual([]);
    }
    if (IS_JUDGED) {
      const over = all.filter((ms) => ms > FRAME_WITHIN_MS).length;
      console.log(`${size.name}: of ${all.length} frames ${over} over ${FRAME_WITHIN_MS} ms`);
      expect(all.length).toBeGreaterThan(20 * ROUNDS);
    }
    pace(`longest frame of a long ladder on a ${size.name}`, second(worst), 'ms', FRAME_WITHIN_MS);
  });
});
