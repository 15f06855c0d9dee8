// Keeps in sight what a run is at, on screens that cannot show the whole ladder. Whoever scrolls by hand is left alone.

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

/** Scrolls no farther than it takes; what lies over the page's ends is in the element's scroll margin. */
export function bringIntoSight(element: Element | null): void {
  if (element === null || performance.now() - handAt < LEFT_ALONE_MS) return;
  // Whoever looks at something that lies over the page comes back to where they were.
  if (document.querySelector('dialog[open]') !== null) return;
  const calm = matchMedia('(prefers-reduced-motion: reduce)').matches;
  element.scrollIntoView({ block: 'nearest', behavior: calm ? 'auto' : 'smooth' });
}
