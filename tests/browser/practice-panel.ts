// The built panel in Chromium against the real daemon with the practice body, and a person's actions there.
// Pictures of it are left in dist/tests/screens.
import { mkdirSync } from 'node:fs';
import { mkdtemp, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { type Browser, chromium, type Page, type WebSocketRoute } from 'playwright-core';
import { afterAll, afterEach, beforeAll, expect } from 'vitest';
import type { DaemonState, Happening } from '../../shared/state.js';
import type { DaemonMessage } from '../../shared/stream.js';
import { browserPath } from '../../src/set-up/system-parts.mjs';
import { PANEL, type Started, start } from '../built.js';

const FLAGS = [
  '--no-sandbox',
  '--disable-gpu',
  '--disable-quic',
  '--no-first-run',
  '--disable-background-networking',
  '--disable-component-update',
  '--disable-sync',
];

export const SIZES = [
  { name: 'phone', width: 360, height: 740, colorScheme: 'dark', hasTouch: true },
  { name: 'laptop', width: 1280, height: 800, colorScheme: 'light', hasTouch: false },
] as const;
export interface Size {
  readonly name: string;
  readonly width: number;
  readonly height: number;
  readonly colorScheme: 'dark' | 'light';
  readonly hasTouch: boolean;
}
/** The narrowest that the panel is made for. */
export const NARROW: Size = { name: 'narrow', width: 320, height: 640, colorScheme: 'light', hasTouch: true };

const SCREENS = path.resolve(PANEL, '..', 'tests', 'screens');
/** @param name without its ending */
export const screenAt = (name: string): string => path.join(SCREENS, `${name}.png`);

/** A page that shows what the test tells it. */
export interface Shown {
  readonly page: Page;
  /** The id of the daemon's latest run. */
  readonly run: string;
  /** Something happens, as far as the page can tell. */
  tell(happening: Happening): void;
}

export class PracticePanel {
  /** Holds the set folders. */
  sets = '';
  address = '';
  daemon: Started | undefined;
  private folder = '';
  private browser: Browser | undefined;
  private readonly env: Readonly<Record<string, string>>;
  private pages: { page: Page; complaints: string[] }[] = [];

  /** @param env for the daemon, in addition to its folders */
  static async start(env: Readonly<Record<string, string>> = {}): Promise<PracticePanel> {
    const panel = new PracticePanel(env);
    await panel.begin();
    return panel;
  }

  /** @param env as start() takes it; nothing is there before begin() */
  constructor(env: Readonly<Record<string, string>>) {
    this.env = env;
  }

  async begin(): Promise<void> {
    mkdirSync(SCREENS, { recursive: true });
    const executablePath = browserPath();
    if (executablePath === undefined)
      throw new Error('The browser tests need Chromium; npm test says how to install it.');
    this.browser = await chromium.launch({ executablePath, args: FLAGS });
    this.folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
    this.sets = path.join(this.folder, 'sets');
    await this.serve(0);
  }

  /** @param port 0 takes any free port */
  async serve(port: number): Promise<void> {
    this.daemon = start(['serve', '--body', 'practice', '--port', String(port), '--into', this.sets], {
      EVENRUNG_PRACTICE_TIMING: 'lifelike',
      XDG_STATE_HOME: path.join(this.folder, 'state'),
      XDG_CONFIG_HOME: path.join(this.folder, 'config'),
      ...this.env,
    });
    this.address = (await this.daemon.until(/Panel: (http:\S+)/))[1] ?? '';
  }

  /**
   * Opens the panel; any complaint of the page fails the test.
   * @param prepare runs before anything is loaded
   * @param at where in the panel: a narrow screen has the request at #form, and first the bar and little
   *   else
   */
  async open(
    { width, height, colorScheme, hasTouch }: Size,
    prepare: (page: Page) => Promise<unknown> = async () => {},
    at = '#form',
  ): Promise<Page> {
    // All pages ask for the same set: each test begins with the usual one.
    if (this.pages.length === 0) await this.askAnew();
    if (this.browser === undefined) throw new Error('The panel is not there before it has begun.');
    const context = await this.browser.newContext({
      ...{ viewport: { width, height }, colorScheme, hasTouch },
      locale: 'en-GB',
      // Its kept files would come between the page and an answer that a test replaces; offline.test.ts tests
      // it.
      serviceWorkers: 'block',
    });
    const page = await context.newPage();
    page.setDefaultTimeout(30_000);
    const complaints: string[] = [];
    page.on('pageerror', (error) => complaints.push(error.message));
    page.on('console', (message) => {
      if (message.type() === 'error') complaints.push(message.text());
    });
    this.pages.push({ page, complaints });
    await prepare(page);
    await page.goto(new URL(at, this.address).href);
    return page;
  }

  private async askAnew(): Promise<void> {
    const headers = { 'content-type': 'application/json' };
    const body = JSON.stringify({ frames: 9, step: 1 });
    await fetch(new URL('/api/asked', this.address), { method: 'PUT', headers, body });
    // The readiness of a body is judged for what was planned last.
    await fetch(new URL('/api/plan', this.address), {
      ...{ method: 'POST', headers },
      body: JSON.stringify({ frames: 9, step: 1, base: '1/60' }),
    });
  }

  /**
   * Opens the panel on another state than the daemon's; later events of the daemon are kept from the page.
   * @param prepare runs before anything is loaded
   */
  async show(
    size: Size,
    edit: (state: DaemonState) => DaemonState,
    prepare: (page: Page) => Promise<unknown> = async () => {},
    at?: string,
  ): Promise<Shown> {
    let socket: WebSocketRoute | undefined;
    let seq = 0;
    let run = '';
    const page = await this.open(
      size,
      async (opened) => {
        await prepare(opened);
        await opened.routeWebSocket(/\/api\/stream$/, (route) => {
          socket = route;
          route.connectToServer().onMessage((data) => {
            const message = JSON.parse(String(data)) as DaemonMessage;
            if (message.type !== 'state') return;
            seq = message.seq;
            run = message.state.run?.id ?? '';
            route.send(JSON.stringify({ ...message, state: edit(message.state) }));
          });
        });
      },
      at,
    );
    await page.locator('main[data-connection="connected"]').waitFor();
    return {
      page,
      run,
      tell(happening) {
        seq += 1;
        const event = { seq, at: new Date().toISOString(), happening };
        socket?.send(JSON.stringify({ type: 'event', event }));
      },
    };
  }

  /** The browser logs every answer that is an error: for a test in which one is expected. */
  forgetComplaints(): void {
    for (const { complaints } of this.pages) complaints.splice(0);
  }

  /** @returns the complaints of the pages */
  async closePages(): Promise<string[]> {
    const complaints = this.pages.flatMap((opened) => opened.complaints);
    for (const { page } of this.pages) await page.context().close();
    this.pages = [];
    return complaints;
  }

  async end(): Promise<void> {
    await this.browser?.close();
    this.daemon?.signal('SIGTERM');
    await this.daemon?.ended;
    if (this.folder !== '') await rm(this.folder, { recursive: true, force: true });
  }
}

/**
 * A panel for all tests of a file: there before the first, gone after the last. Any complaint of its pages
 * fails the test.
 * @param env for the daemon, in addition to its folders
 */
export function panelForTests(env: Readonly<Record<string, string>> = {}): PracticePanel {
  const panel = new PracticePanel(env);
  beforeAll(() => panel.begin(), 60_000);
  afterEach(async () => {
    expect(await panel.closePages()).toEqual([]);
  });
  afterAll(() => panel.end());
  return panel;
}

export const rungs = (page: Page) => page.getByRole('list', { name: /^Rungs/ }).getByRole('listitem');
export const rungNames = (page: Page): Promise<string[]> =>
  rungs(page).evaluateAll((found) => found.map((rung) => rung.getAttribute('aria-label') ?? ''));
export const verified = (page: Page) => page.locator('[data-state="verified"][data-frame]');
export const trigger = (page: Page) => page.getByRole('button', { name: /^Press and hold to fire/ });

export async function ask(page: Page, frames: number, step: string, base: string): Promise<void> {
  await page.getByLabel('Frames', { exact: true }).fill(String(frames));
  await page.getByLabel('Step', { exact: true }).selectOption({ label: step });
  await page.getByLabel('Base exposure', { exact: true }).selectOption(base);
}

/** Begins anew if an ended set is still shown. */
export async function freshly(page: Page): Promise<void> {
  await page.locator('main[data-connection="connected"]').waitFor();
  // The daemon may have been started just now.
  await page.locator('main:not([data-body-state="looking"])').waitFor();
  await page.locator('main:not([data-view="running"])').waitFor();
  if ((await page.locator('main').getAttribute('data-view')) === 'ended')
    await page.getByRole('button', { name: 'New set', exact: true }).click();
}

export async function hold(page: Page): Promise<void> {
  await trigger(page).and(page.locator(':not([aria-disabled="true"])')).waitFor();
  const box = await trigger(page).boundingBox();
  if (box === null) throw new Error('The bar is not on the page.');
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await page.mouse.down();
  await page.locator('main[data-view="running"]').waitFor();
  await page.mouse.up();
}

/** Nothing is wider than the page, and whatever can be pressed is large enough to be hit. */
export async function wellLaid(page: Page): Promise<void> {
  const laid = await page.evaluate(() => ({
    sideways: document.documentElement.scrollWidth - document.documentElement.clientWidth,
    small: [...document.querySelectorAll('button, select, input, textarea, summary, a')]
      .filter((control) => control.checkVisibility())
      .map((control) => ({
        name: control.getAttribute('aria-label') ?? control.textContent ?? '',
        box: control.getBoundingClientRect(),
      }))
      .filter(({ box }) => box.height < 48 || box.width < 44)
      .map(({ name, box }) => `${name}: ${box.width} x ${box.height}`),
  }));
  expect(laid).toEqual({ sideways: 0, small: [] });
}
