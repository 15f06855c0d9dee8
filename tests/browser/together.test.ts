// The set that is asked for, on several devices at once: what one of them tells late, in vain or twice undoes nothing of another.
import type { Page, Request } from 'playwright-core';
import { describe, expect, it } from 'vitest';
import { freshly, panelForTests, SIZES } from './practice-panel.js';

const [PHONE, LAPTOP] = SIZES;
/** Four times as long as a page waits before it tells what was changed on it. */
const TOLD_BY_NOW_MS = 1000;

const panel = panelForTests();

const framesOf = (page: Page) => page.getByLabel('Frames', { exact: true });
const shows = (page: Page, frames: number) =>
  expect.poll(() => framesOf(page).inputValue(), { timeout: 5000 }).toBe(String(frames));
const tells = (request: Request) => new URL(request.url()).pathname === '/api/asked';
const asksFor = (request: Request, frames: number) =>
  tells(request) && request.postData()?.includes(`"frames":${frames},`) === true;

/** @returns what is waited for, until it is said */
function held(): { readonly until: Promise<void>; readonly goOn: () => void } {
  let goOn = () => {};
  const until = new Promise<void>((resolve) => {
    goOn = resolve;
  });
  return { until, goOn: () => goOn() };
}

/** @returns the requests in which this page tells what is asked for, as they are made */
function toldBy(page: Page): Request[] {
  const told: Request[] = [];
  page.on('request', (request) => {
    if (tells(request)) told.push(request);
  });
  return told;
}

describe('what is asked for', () => {
  it('a page that is opened while a change on another is on its way tells nothing, and shows the change', async () => {
    const way = held();
    const page = await panel.open(LAPTOP, (opened) =>
      opened.route('**/api/asked', async (route) => {
        await way.until;
        await route.continue();
      }),
    );
    await freshly(page);
    const leaves = page.waitForRequest((request) => asksFor(request, 5));
    await framesOf(page).fill('5');
    await leaves;
    let told: Request[] = [];
    const other = await panel.open(PHONE, async (opened) => {
      told = toldBy(opened);
      // If it tells something, that comes last.
      await opened.route('**/api/asked', async (route) => {
        way.goOn();
        await page.waitForResponse('**/api/asked');
        await route.continue();
      });
    });
    await freshly(other);
    await shows(other, 9);
    await other.waitForTimeout(TOLD_BY_NOW_MS);
    way.goOn();
    await shows(other, 5);
    await shows(page, 5);
    expect(told).toEqual([]);
  });

  it('another device changes it before the answer to what was told here has come: that stands on both', async () => {
    const page = await panel.open(LAPTOP);
    await freshly(page);
    const other = await panel.open(PHONE);
    await freshly(other);
    await page.waitForTimeout(TOLD_BY_NOW_MS);
    const answer = held();
    const has = held();
    await page.route('**/api/asked', async (route) => {
      const response = await route.fetch();
      has.goOn();
      await answer.until;
      await route.fulfill({ response });
    });
    await framesOf(page).fill('5');
    await has.until;
    await shows(other, 5);
    await framesOf(other).fill('7');
    await other.waitForResponse((response) => asksFor(response.request(), 7));
    await page.waitForTimeout(TOLD_BY_NOW_MS);
    answer.goOn();
    await shows(page, 7);
    await shows(other, 7);
  });

  it('what is changed while something older is being told is told after it, and no other device comes between', async () => {
    const page = await panel.open(LAPTOP);
    await freshly(page);
    const other = await panel.open(PHONE);
    await freshly(other);
    await page.waitForTimeout(TOLD_BY_NOW_MS);
    const first = held();
    const leaves = page.waitForRequest((request) => asksFor(request, 5));
    await page.route('**/api/asked', async (route) => {
      // The older one takes longer on its way.
      if (asksFor(route.request(), 5)) await first.until;
      await route.continue();
    });
    await framesOf(page).fill('5');
    await leaves;
    await framesOf(page).fill('3');
    await page.waitForTimeout(TOLD_BY_NOW_MS);
    first.goOn();
    await shows(other, 3);
    await other.waitForTimeout(TOLD_BY_NOW_MS);
    await shows(other, 3);
    await shows(page, 3);
  });

  it('what the daemon does not answer is told again, though the page never was without it', async () => {
    const page = await panel.open(LAPTOP);
    await freshly(page);
    const other = await panel.open(PHONE);
    await freshly(other);
    await page.waitForTimeout(TOLD_BY_NOW_MS);
    await page.route('**/api/asked', (route) => route.abort(), { times: 1 });
    await framesOf(page).fill('5');
    await shows(other, 5);
    await shows(page, 5);
    panel.forgetComplaints();
  });

  it('a daemon that begins anew has it from whoever still shows it, and not from a page that was just opened', async () => {
    const page = await panel.open(LAPTOP);
    await freshly(page);
    const told = page.waitForResponse((response) => asksFor(response.request(), 5));
    await framesOf(page).fill('5');
    await told;
    panel.daemon?.signal('SIGKILL');
    await panel.daemon?.ended;
    await page.locator('main[data-connection="lost"]').waitFor();
    await page.route('**/*', (route) => route.abort());
    await panel.serve(Number(new URL(panel.address).port));
    const other = await panel.open(PHONE);
    await freshly(other);
    await other.waitForTimeout(TOLD_BY_NOW_MS);
    await page.unroute('**/*');
    await shows(other, 5);
    await shows(page, 5);
    panel.forgetComplaints();
  });
});
