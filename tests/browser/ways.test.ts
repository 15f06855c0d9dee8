// What one release fires, and what is kept short: on the panel of a body that can do either, and of one that cannot. The body's limits
// are invented; the planner, the daemon's routes and the panel are the real ones.
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import pino from 'pino';
import type { Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import type { BodyLimits } from '../../src/exposure/index.js';
import { type RunningServer, startServer } from '../../src/server/index.js';
import type { Station } from '../../src/station/index.js';
import { PANEL } from '../built.js';
import { TestLink } from '../harness/links.js';
import { openStation } from '../harness/station.js';
import { PracticePanel, type Size, screenAt, trigger, wellLaid } from './practice-panel.js';

const SIZES: readonly Size[] = [
  { name: 'phone', width: 390, height: 844, colorScheme: 'dark', hasTouch: true },
  { name: 'laptop', width: 1280, height: 800, colorScheme: 'light', hasTouch: false },
];

const TOP = fileURLToPath(new URL('../..', import.meta.url));

const framewise = (limits: BodyLimits): BodyLimits => ({
  ...limits,
  ...{ secondsPerChange: 0.3, secondsPerFrame: 1.2 },
});
const eitherWay = (limits: BodyLimits): BodyLimits => ({
  ...framewise(limits),
  brackets: [...limits.brackets, ...limits.brackets.map((shape) => ({ ...shape, isOneRelease: true }))],
  apart: {
    secondsBeforeExposure: 0.06,
    secondsAfterExposure: 0.14,
    secondsPerTransfer: 0.8,
    secondsPerPiece: 0.25,
    mostInOneGo: 9,
  },
});

/** A panel of a station in this process. */
class PanelOver extends PracticePanel {
  see: (limits: BodyLimits) => BodyLimits = eitherWay;
  private station: Station | undefined;
  private server: RunningServer | undefined;

  override async serve(): Promise<void> {
    const see = (limits: BodyLimits) => this.see(limits);
    const { station, events } = await openStation(path.dirname(this.sets), new TestLink(), { see });
    const log = pino({ level: 'silent' });
    this.station = station;
    this.server = await startServer({ station, events, log, panel: PANEL, notes: TOP, port: 0 });
    this.address = this.server.address;
  }

  /** Meets the body anew, as one that can do this. */
  async meet(see: (limits: BodyLimits) => BodyLimits): Promise<void> {
    this.see = see;
    await this.station?.look();
  }

  override async end(): Promise<void> {
    await this.station?.close();
    await this.server?.close();
    await super.end();
  }
}

const panel = new PanelOver({});
beforeAll(() => panel.begin(), 60_000);
afterEach(async () => {
  expect(await panel.closePages()).toEqual([]);
  await panel.meet(eitherWay);
});
afterAll(() => panel.end());

const fold = (page: Page) => page.locator('summary', { hasText: /^Planned for / });
const least = (page: Page) => page.getByLabel('Plan for', { exact: true });
const release = (page: Page) => page.getByLabel('Each release fires', { exact: true });
const offered = (field: ReturnType<typeof release>) => field.locator('option').allTextContents();
const size = (page: Page) => page.locator('.size');

async function asked(): Promise<unknown> {
  const answer = await fetch(new URL('/api/state', panel.address));
  const { state } = (await answer.json()) as { state: { asked: unknown } };
  return state.asked;
}

describe.each(SIZES)('a body that fires either way, $name', (screen) => {
  it('is asked for the least spread, and shows time and spread of either way', async () => {
    const page = await panel.open(screen);
    await fold(page).click();
    expect(await offered(release(page))).toEqual(['One frame', 'A whole pass']);
    await size(page).getByText('9 frames in 3 passes, about 9 s, spread 4.4 s').waitFor();
    expect(await size(page).getByText('One release per pass').count()).toBe(0);
    await least(page).selectOption('Smallest spread');
    await size(page).getByText('9 frames in 3 passes, about 9 s, spread 2.3 s').waitFor();
    await size(page).getByText('One release per pass').waitFor();
    expect(await offered(release(page))).toEqual(['Whichever spreads less', 'One frame', 'A whole pass']);
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${screen.name}-ways-spread`), fullPage: true });
    await release(page).selectOption('One frame');
    await size(page).getByText('spread 4.4 s').waitFor();
    await page.getByText('Planned for smallest spread, frame by frame').waitFor();
    await expect.poll(asked).toMatchObject({ least: 'spread', release: 'frame' });
  });

  it('is asked for a whole pass, on every device', async () => {
    const page = await panel.open(screen);
    const other = await panel.open(screen);
    await fold(page).click();
    await release(page).selectOption('A whole pass');
    await other.getByText('Planned for shortest time, pass by pass').waitFor();
    await size(other).getByText('spread 2.3 s').waitFor();
    await expect.poll(asked).toMatchObject({ release: 'pass' });
    await release(page).selectOption('One frame');
    await size(other).getByText('spread 4.4 s').waitFor();
    // Frame by frame is what the least time is anyway.
    await expect.poll(asked).not.toHaveProperty('release');
  });

  it('stands on the first screen as well, where the bar is', async () => {
    const page = await panel.open(screen);
    await fold(page).click();
    await release(page).selectOption('A whole pass');
    await size(page).getByText('One release per pass').waitFor();
    const back = page.getByRole('link', { name: 'Back' });
    if (await back.isVisible()) await back.click();
    await trigger(page).getByText('in 3 releases, about 9 s').waitFor();
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${screen.name}-ways-bar`) });
  });
});

describe.each(SIZES)('a body that cannot, $name', (screen) => {
  it('has no choice of what one release fires; the least spread is there', async () => {
    await panel.meet(framewise);
    const page = await panel.open(screen);
    await fold(page).click();
    await least(page).waitFor();
    expect(await release(page).count()).toBe(0);
    await least(page).selectOption('Smallest spread');
    await size(page)
      .getByText(/^9 frames in 3 passes, about \d+ s, spread \d+ s$/)
      .waitFor();
    await wellLaid(page);
  });

  it('that is met where a whole pass was asked for says what to do, and one press does it', async () => {
    const page = await panel.open(screen);
    await fold(page).click();
    await release(page).selectOption('A whole pass');
    await size(page).getByText('One release per pass').waitFor();
    await panel.meet(framewise);
    const refusal = page.getByRole('alert').filter({ hasText: 'cannot fire a whole pass from one release' });
    await refusal.waitFor();
    expect(await release(page).getAttribute('aria-invalid')).toBe('true');
    await wellLaid(page);
    await page.screenshot({ path: screenAt(`${screen.name}-ways-refused`), fullPage: true });
    await page.getByRole('button', { name: /^Frame by frame/ }).click();
    await size(page)
      .getByText(/^9 frames in 3 passes, about \d+ s, spread \d+ s$/)
      .waitFor();
    panel.forgetComplaints();
  });
});

describe.each(SIZES)('the note on passes, $name', (screen) => {
  it('draws both ways, as wide as the page and no wider', async () => {
    const page = await panel.open(screen, undefined, '/notes/hardware-notes/passes.md');
    const drawing = page.getByRole('img', { name: /^Two time lines of nine frames/ });
    await drawing.waitFor();
    const { width, sideways, colours } = await drawing.evaluate((svg) => ({
      width: svg.getBoundingClientRect().width,
      sideways: document.documentElement.scrollWidth - document.documentElement.clientWidth,
      // The page's colours, not those that it has by itself elsewhere.
      colours: [...svg.querySelectorAll('text')].map((text) => getComputedStyle(text).fill),
    }));
    expect([width > 320, width <= 34 * 16, sideways]).toEqual([true, true, 0]);
    expect(colours).not.toContain('rgb(102, 115, 111)');
    await page.screenshot({ path: screenAt(`${screen.name}-note-passes`), fullPage: true });
  });
});
