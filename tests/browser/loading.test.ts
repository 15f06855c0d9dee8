// How soon the panel is there on a slow way, and how quietly: what is sent, when its frame is first seen, that nothing jumps about, and
// that a long ladder scrolls.
import { readFile } from 'node:fs/promises';
import http from 'node:http';
import path from 'node:path';
import { brotliDecompressSync, gunzipSync } from 'node:zlib';
import type { CDPSession, Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import type { DaemonState, RunView } from '../../shared/state.js';
import { PANEL } from '../built.js';
import { freshly, hold, NARROW, PracticePanel, SIZES, trigger } from './practice-panel.js';

/** As mobile networks of the third generation are usually imitated ("slow 4G" or "fast 3G" in browsers' own tools): from memory. */
const THIRD_GENERATION = {
  offline: false,
  downloadThroughput: (1.6 * 1e6) / 8,
  uploadThroughput: (768 * 1e3) / 8,
  latency: 300,
};
const FIRST_VIEW_WITHIN_MS = 1000;
const SCRIPTS_WITHIN_BYTES = 80 * 1024;
const FRAME_WITHIN_MS = 50;

let panel: PracticePanel;

beforeAll(async () => {
  panel = await PracticePanel.start();
});
afterEach(async () => {
  expect(await panel.closePages()).toEqual([]);
});
afterAll(async () => {
  await panel?.end();
});

interface Answer {
  readonly headers: http.IncomingHttpHeaders;
  readonly status: number;
  readonly body: Buffer;
}

function get(at: string, headers: Readonly<Record<string, string>>): Promise<Answer> {
  return new Promise((resolve, reject) => {
    http
      .get(new URL(at, panel.address), { headers }, (answer) => {
        const parts: Buffer[] = [];
        answer.on('data', (part: Buffer) => parts.push(part));
        answer.on('end', () =>
          resolve({ headers: answer.headers, status: answer.statusCode ?? 0, body: Buffer.concat(parts) }),
        );
      })
      .on('error', reject);
  });
}

/** Of the page as it is built. */
async function filesOfPage(): Promise<{ scripts: string[]; all: string[] }> {
  const page = await readFile(path.join(PANEL, 'index.html'), 'utf8');
  const all = [...page.matchAll(/(?:src|href)="(\/assets\/[^"]+)"/g)].map(([, file = '']) => file);
  return { scripts: all.filter((file) => file.endsWith('.js')), all };
}

describe('what is sent', () => {
  it.each([
    ['br', brotliDecompressSync],
    ['gzip', gunzipSync],
  ] as const)('compressed as %s, as the browser asks', async (encoding, opened) => {
    const { scripts, all } = await filesOfPage();
    expect(scripts.length).toBeGreaterThan(0);
    let bytes = 0;
    for (const file of ['/', ...all.filter((name) => /\.(js|css)$/.test(name))]) {
      const [packed, plain] = [await get(file, { 'accept-encoding': encoding }), await get(file, {})];
      expect(packed.headers).toMatchObject({ 'content-encoding': encoding, vary: 'accept-encoding' });
      expect(plain.headers['content-encoding']).toBeUndefined();
      expect(plain.headers.vary).toBe('accept-encoding');
      expect(packed.headers['content-type']).toBe(plain.headers['content-type']);
      expect(opened(packed.body).equals(plain.body)).toBe(true);
      // Each body has a name of its own, and is not sent again to whoever has it.
      expect(packed.headers.etag).not.toBe(plain.headers.etag);
      const again = await get(file, {
        'accept-encoding': encoding,
        'if-none-match': packed.headers.etag ?? '',
      });
      expect([again.status, again.body.length]).toEqual([304, 0]);
      if (scripts.includes(file)) bytes += packed.body.length;
    }
    console.log(`scripts as ${encoding}: ${bytes} bytes`);
    expect(bytes).toBeLessThan(SCRIPTS_WITHIN_BYTES);
  });

  it('what has a name of its own is kept for good, the page is asked for each time', async () => {
    const { all } = await filesOfPage();
    for (const file of all)
      expect((await get(file, {})).headers['cache-control']).toBe('public, max-age=31536000, immutable');
    for (const file of ['/', '/worker.js', '/manifest.webmanifest'])
      expect((await get(file, {})).headers['cache-control']).toBe('no-cache');
  });
});

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
  it('stands within a second on a slow way: the name, and what it is doing', async () => {
    const times: number[] = [];
    for (let round = 0; round < 5; round += 1) {
      const page = await panel.open(
        SIZES[0],
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
    console.log(`first view: ${times.map(Math.round).join(', ')} ms`);
    expect([...times].sort((a, b) => a - b)[1]).toBeLessThan(FIRST_VIEW_WITHIN_MS);
  });
});

interface Shift {
  readonly value: number;
  readonly at: number;
  readonly what: readonly string[];
}

/** Whatever moves without anybody having pressed anything just before. */
const noteShifts = async (page: Page): Promise<void> => {
  await page.addInitScript(() => {
    const shifts: Shift[] = [];
    Object.assign(window, { shifts });
    new PerformanceObserver((list) => {
      for (const entry of list.getEntries()) {
        const { value, hadRecentInput, sources, startTime } = entry as PerformanceEntry & {
          value: number;
          hadRecentInput: boolean;
          sources: { node: Node | null; previousRect: DOMRect; currentRect: DOMRect }[];
        };
        if (hadRecentInput) continue;
        const what = sources.map(({ node, previousRect: from, currentRect: to }) => {
          const named = node instanceof Element ? node : node?.parentElement;
          return `${named?.tagName}.${named?.getAttribute('class')} ${from.x},${from.y} ${from.width}x${from.height} -> ${to.x},${to.y} ${to.width}x${to.height}`;
        });
        shifts.push({ value, at: startTime, what });
      }
    }).observe({ type: 'layout-shift', buffered: true });
  });
};
const shiftsOn = (page: Page): Promise<Shift[]> =>
  page.evaluate(() => (window as unknown as { shifts: Shift[] }).shifts);

describe.each([
  ...SIZES.map((size) => ({ ...size, at: '' })),
  { ...SIZES[0], name: 'phone, all fields', at: '#form' },
  { ...NARROW, at: '' },
])('nothing jumps about on a $name', ({ at, ...size }) => {
  it('from loading to asking, and through a whole run', async () => {
    const page = await panel.open(size, noteShifts, at);
    await freshly(page);
    await trigger(page).waitFor();
    await page.waitForTimeout(1200);
    expect(await shiftsOn(page)).toEqual([]);
    await hold(page);
    await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor({ timeout: 40_000 });
    await page.waitForTimeout(1000);
    expect(await shiftsOn(page)).toEqual([]);
  });
});

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
  it('scrolls without stumbling', async () => {
    const { run } = (
      (await (await fetch(new URL('/api/state', panel.address))).json()) as {
        state: DaemonState;
      }
    ).state;
    if (run === null) throw new Error('No set was fired.');
    const worst: number[] = [];
    const all: number[] = [];
    for (let round = 0; round < 5; round += 1) {
      const { page } = await panel.show(
        size,
        (state) => ({ ...state, run: long(run) }),
        (opened) => lendPictures(opened, run),
      );
      expect(await page.locator('.rung[data-state="verified"]').count()).toBe(LONG);
      const ladder = await page.locator('.ladder').boundingBox();
      await page.mouse.move((ladder?.x ?? 0) + 100, 300);
      const times = await scrollThrough(page);
      expect(times.length).toBeGreaterThan(20);
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
    console.log(
      `${size.name}: longest frame ${worst.map(Math.round).join(', ')} ms, of ${all.length} frames ${all.filter((ms) => ms > FRAME_WITHIN_MS).length} over ${FRAME_WITHIN_MS} ms`,
    );
    // What else the computer does costs frames, too; what the panel costs would be there in each of the tries.
    expect([...worst].sort((a, b) => a - b)[1]).toBeLessThan(FRAME_WITHIN_MS);
  });
});
