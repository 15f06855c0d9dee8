// Every screen of the panel, on a phone and on a laptop, in each look: axe finds nothing against it, nothing lies outside the screen or is
// too small to be touched, and each visible label stands in a list that somebody has read through.
import { readFile } from 'node:fs/promises';
import { createRequire } from 'node:module';
import type axe from 'axe-core';
import type { Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { PracticePanel, type Size, wellLaid } from './practice-panel.js';
import { fireSets, openScreen, SCREENS } from './screens.js';

const PHONE: Size = { name: 'phone', width: 390, height: 844, colorScheme: 'dark', hasTouch: true };
const LAPTOP: Size = { name: 'laptop', width: 1280, height: 800, colorScheme: 'light', hasTouch: false };
/** Web Content Accessibility Guidelines 2.2, A and AA, and what axe counts as good practice. */
const TAGS = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];

const labels = new Set<string>();
let source = '';
let panel: PracticePanel;
beforeAll(async () => {
  source = await readFile(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
  panel = await PracticePanel.start({
    EVENRUNG_PRACTICE_TIMING: 'at-once',
    EVENRUNG_PRACTICE_PICTURE: 'full',
    // Pictures are judged, as they are for everybody.
    EVENRUNG_LIGHT: '',
  });
  await fireSets(panel, LAPTOP);
});
afterEach(async () => {
  await panel.closePages();
});
afterAll(async () => {
  await panel?.end();
});

/** @param rules where only these are to be looked at @returns what is wrong, a line each */
async function violations(page: Page, rules?: readonly string[]): Promise<string[]> {
  const found = await page.evaluate(
    async ({ tags, only }) => {
      const { run } = (globalThis as unknown as { axe: typeof axe }).axe;
      const { violations: all } = await run(document, {
        resultTypes: ['violations'],
        runOnly: only === null ? { type: 'tag', values: tags } : { type: 'rule', values: only },
      });
      // A bar that sticks lies over whatever has scrolled below it: what is too small has to be so in sight, too.
      const top = scrollY;
      for (const one of all.filter(({ id }) => id === 'target-size')) {
        const small = [];
        for (const node of one.nodes) {
          const selector = String(node.target[0]);
          document.querySelector(selector)?.scrollIntoView({ block: 'center' });
          const again = await run(selector, { runOnly: { type: 'rule', values: ['target-size'] } });
          if (again.violations.length > 0) small.push(node);
        }
        one.nodes = small;
      }
      scrollTo(0, top);
      return all;
    },
    { tags: TAGS, only: rules === undefined ? null : [...rules] },
  );
  return found.flatMap(({ id, nodes }) =>
    nodes.map(({ html, any }) => `${id}: ${html.slice(0, 160)} ${any[0]?.message ?? ''}`),
  );
}

/** As if it was chosen on another page of this browser. */
async function dress(page: Page, look: 'day' | 'night'): Promise<void> {
  await page.evaluate((name) => {
    const [key, newValue] = ['evenrung.light', JSON.stringify(name)];
    localStorage.setItem(key, newValue);
    dispatchEvent(new StorageEvent('storage', { key, newValue, storageArea: localStorage }));
  }, look);
  await page.locator(`html[data-light="${look}"]`).waitFor();
}

/** @returns what reaches beyond the side of the screen, with letters of that size */
async function sidewaysAt(page: Page, size: string): Promise<string[]> {
  await page.evaluate((to) => {
    document.documentElement.style.fontSize = to;
  }, size);
  const found = await page.evaluate(() => {
    if (document.documentElement.scrollWidth <= document.documentElement.clientWidth) return [];
    return [...document.querySelectorAll('body *')]
      .filter(
        (element) => element.checkVisibility() && element.getBoundingClientRect().right > innerWidth + 1,
      )
      .map((element) => `${element.tagName.toLowerCase()}.${element.getAttribute('class') ?? ''}`);
  });
  await page.evaluate(() => {
    document.documentElement.style.fontSize = '';
  });
  return [...new Set(found)].slice(0, 8);
}

async function collectLabels(page: Page): Promise<void> {
  const found = await page.evaluate(() => {
    const shown = (selector: string) =>
      [...document.querySelectorAll<HTMLElement>(selector)].filter(
        (element) => element.tagName === 'OPTION' || element.checkVisibility(),
      );
    return [
      ...shown('[aria-label]').map((element) => element.getAttribute('aria-label') ?? ''),
      // biome-ignore lint/performance/useDomNodeTextContent: what is seen, line by line.
      ...shown('button, a, summary, label, h1, h2, h3, dt, option').flatMap(({ innerText }) =>
        innerText.split('\n'),
      ),
    ];
  });
  for (const label of found) {
    const plain = label
      .replace(/\s+/g, ' ')
      .trim()
      // What is counted, measured or dated, and what people and bodies are called.
      .replace(/\d+(?:[.,/:]\d+)*/g, '0')
      .replace(/[+\u2212-]0/g, '0')
      .replace(/0 (?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sept?|Oct|Nov|Dec)(?: 0)?, 0/g, '0')
      .replace(/0 h 0 min|0 min 0 s|0 h|0 min\b/g, '0 s')
      .replace(/^Disk .*/, 'Disk 0');
    if (/\p{L}/u.test(plain) && plain.length < 120 && !/W{9}|\/tmp|<img/.test(plain)) labels.add(plain);
  }
}

describe.each(SCREENS)('$name', (screen) => {
  it('is well laid, and axe finds nothing', async () => {
    const page = await openScreen(panel, screen, PHONE);
    await wellLaid(page);
    await page.evaluate(source);
    expect(await violations(page)).toEqual([]);
    await collectLabels(page);
    await dress(page, 'day');
    expect(await violations(page, ['color-contrast'])).toEqual([]);
    // Text at 200 % (WCAG 2.2, 1.4.4): nothing is pushed out of the screen.
    expect(await sidewaysAt(page, '200%')).toEqual([]);
    await dress(page, 'night');
    await page.setViewportSize(LAPTOP);
    await wellLaid(page);
    expect(await violations(page)).toEqual([]);
    await collectLabels(page);
  });
});

describe('all of them', () => {
  it('have the labels that somebody has read through', async () => {
    const list = [...labels].sort((a, b) => a.localeCompare(b, 'en')).join('\n');
    await expect(`${list}\n`).toMatchFileSnapshot('./labels.txt');
  });
});
