// The built panel in Chromium, looked at from within: when what an event tells of a frame is painted, and when a press is on its way.
// Page and daemon are on one computer, and so go by one clock.
import { type Browser, chromium, type Page } from 'playwright-core';
import { browserPath } from '../../src/set-up/system-parts.mjs';

export interface Painted {
  readonly frame: number;
  readonly state: string;
  /** When the daemon told it, when the page heard of it, and when it was painted, in ms since 1970. */
  readonly told: number;
  readonly heard: number;
  readonly painted: number;
}

export interface Seen {
  readonly painted: Painted[];
  /** When the panel sent the press off, in ms since 1970. */
  readonly pressed: number[];
  /** When the daemon told that the first frame of a run is armed. */
  readonly armed: number[];
}

/** Runs in the page before anything of it is loaded. */
function lookFromWithin(): void {
  const order = ['planned', 'armed', 'fired', 'stored', 'verified'];
  const seen: Seen = { painted: [], pressed: [], armed: [] };
  Object.assign(window, { seen });
  const now = () => performance.timeOrigin + performance.now();
  let waiting: { frame: number; state: string; told: number; heard: number }[] = [];
  let isFirst = false;
  const Plain = window.WebSocket;
  window.WebSocket = class extends Plain {
    constructor(address: string | URL) {
      super(address);
      this.addEventListener('message', ({ data }) => {
        const message = JSON.parse(String(data));
        if (message.type !== 'event') return;
        const { at, happening } = message.event;
        if (happening.type === 'run') isFirst = true;
        if (happening.type !== 'frame') return;
        const { number, state } = happening.frame;
        if (isFirst && state === 'armed') {
          isFirst = false;
          seen.armed.push(Date.parse(at));
        }
        if (order.includes(state)) waiting.push({ frame: number, state, told: Date.parse(at), heard: now() });
      });
    }
  };
  const plainFetch = window.fetch;
  window.fetch = (address, init) => {
    if (address === '/api/run') seen.pressed.push(now());
    return plainFetch(address, init);
  };
  const look = () => {
    const there = waiting.filter(({ frame, state }) => {
      const shown = document.querySelector(`.rung[data-frame="${frame}"]`)?.getAttribute('data-state') ?? '';
      // A state that was overtaken before the next picture is on the screen as the one after it.
      return order.indexOf(shown) >= order.indexOf(state);
    });
    if (there.length > 0) {
      waiting = waiting.filter((one) => !there.includes(one));
      // This picture is painted before the next task.
      const { port1, port2 } = new MessageChannel();
      port1.onmessage = () => {
        const painted = now();
        for (const one of there) seen.painted.push({ ...one, painted });
        port1.close();
      };
      port2.postMessage(null);
    }
    requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
}

export class Panel {
  readonly page: Page;
  private readonly browser: Browser;

  static async open(address: string): Promise<Panel> {
    const executablePath = browserPath();
    if (executablePath === undefined)
      throw new Error('The bench needs Chromium; npm test says how to install it.');
    const browser = await chromium.launch({ executablePath, args: ['--no-sandbox', '--disable-gpu'] });
    const page = await browser.newPage({ viewport: { width: 1280, height: 800 } });
    await page.addInitScript(lookFromWithin);
    await page.goto(address);
    await page.locator('main[data-connection="connected"]').waitFor();
    return new Panel(browser, page);
  }

  private constructor(browser: Browser, page: Page) {
    this.browser = browser;
    this.page = page;
  }

  /** Asks for a set on the panel, and holds the bar until it is fired. @returns once the set is complete */
  async fire(frames: number, base: string): Promise<void> {
    const { page } = this;
    const isEnded = (await page.locator('main').getAttribute('data-view')) === 'ended';
    if (isEnded) await page.getByRole('button', { name: 'New set' }).click();
    await page.getByLabel('Frames', { exact: true }).fill(String(frames));
    await page.getByLabel('Base exposure', { exact: true }).selectOption(base);
    const bar = page.getByRole('button', { name: /^Press and hold to fire/ });
    await bar.and(page.locator('[data-does="fire"]')).waitFor();
    await page.waitForTimeout(400);
    const box = await bar.boundingBox();
    if (box === null) throw new Error('The bar is not on the page.');
    await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
    await page.mouse.down();
    await page.locator('main[data-view="running"]').waitFor();
    await page.mouse.up();
    await page.locator('main[data-view="ended"][data-run-state="complete"]').waitFor({ timeout: 120_000 });
    await page.waitForTimeout(200);
  }

  seen(): Promise<Seen> {
    return this.page.evaluate(() => (window as unknown as { seen: Seen }).seen);
  }

  async end(): Promise<void> {
    await this.browser.close();
  }
}
