// What moves about on a page without anybody having pressed anything.
import type { Page } from 'playwright-core';

export interface Shift {
  readonly value: number;
  readonly at: number;
  readonly what: readonly string[];
}

/** Whatever moves without anybody having pressed anything just before. */
export const noteShifts = async (page: Page): Promise<void> => {
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
export const shiftsOn = (page: Page): Promise<Shift[]> =>
  page.evaluate(() => (window as unknown as { shifts: Shift[] }).shifts);
