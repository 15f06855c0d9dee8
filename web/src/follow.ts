// Keeps the current frame of a run in view, on screens that cannot show the whole ladder. If somebody scrolls
// by hand, the page is left alone for a while.

const LEFT_ALONE_MS = 6000;

let handAt = Number.NEGATIVE_INFINITY;

for (const sign of ['wheel', 'touchmove', 'keydown'] as const) {
  addEventListener(
    sign,
    (event) => {
      if (!(event instanceof KeyboardEvent) || SCROLL_KEYS.has(event.key)) handAt = performance.now();
    },
    { passive: true },
  );
}

const SCROLL_KEYS: ReadonlySet<string> = new Set([
  'ArrowUp',
  'ArrowDown',
  'PageUp',
  'PageDown',
  'Home',
  'End',
  'Tab',
]);

/**
 * Scrolls no farther than necessary. Bars that cover the ends of the page are allowed for by the element's
 * scroll margin.
 */
export function bringIntoSight(element: Element | null): void {
  if (element === null || performance.now() - handAt < LEFT_ALONE_MS) return;
  // Somebody who looks at something that lies over the page comes back to the place where they were.
  if (document.querySelector('dialog[open]') !== null) return;
  const calm = matchMedia('(prefers-reduced-motion: reduce)').matches;
  element.scrollIntoView({ block: 'nearest', behavior: calm ? 'auto' : 'smooth' });
}
