// The panel's own files on this device: has the browser keep them, if it lets pages do so, and reports when
// this page is of another build than the daemon's. With a browser that refuses (no TLS, a certificate that no
// authority has signed) the panel works without. Must know nothing of what the panel shows.
import { computed, effect, signal } from '@preact/signals';
import { KEPT, storeAt } from './recall.js';
import { connection } from './store.js';

/** Whether the daemon has another panel than this one. */
export const isStale = signal(false);

const place = 'serviceWorker' in navigator ? navigator.serviceWorker : null;
const isConnected = computed(() => connection.value.state === 'connected');

/** A page that nobody has touched yet is reloaded without a word: nothing on it is lost. */
let isTouched = false;
for (const sign of ['pointerdown', 'keydown'] as const)
  addEventListener(
    sign,
    () => {
      isTouched = true;
    },
    { passive: true, once: true },
  );

export const loadAnew = (): void => location.reload();

/** The first time when the panel stands, so that the way is free for it; and whenever the daemon is back, perhaps as a newer one. */
let isRefused = false;
effect(() => {
  if (!isConnected.value || place === null || isRefused) return;
  keep(place).catch(() => {
    // Browsers note that in their console: it is not asked for again.
    isRefused = navigator.serviceWorker.controller === null;
  });
});

async function keep(workers: ServiceWorkerContainer): Promise<void> {
  const known = await workers.getRegistration();
  if (known === undefined) {
    await workers.register('/worker.js', { updateViaCache: 'none' });
    return;
  }
  // Without an answer it is looked for again when the daemon is back.
  await known.update().catch(() => undefined);
  // A worker that takes over claims the pages that stand by then (tests/browser/offline.test.ts): one that was asked for before and came
  // after would be told of no other build. A worker that has yet to take over claims this page, too.
  if (workers.controller === null && known.installing === null && known.waiting === null)
    known.active?.postMessage('claim');
}

// Another worker has taken over: once it is active, it has thrown away files that are not of its build.
place?.addEventListener('controllerchange', () => {
  const worker = place.controller;
  if (worker === null || worker.state === 'activated') return void compare();
  worker.addEventListener('statechange', () => {
    if (worker.state === 'activated') void compare();
  });
});

const ANEW = `${KEPT}loaded-anew`;

/** Once in a visit is enough: a page must not be loaded again and again. */
function hasLoadedAnew(): boolean {
  try {
    const before = storeAt('session').getItem(ANEW) !== null;
    storeAt('session').setItem(ANEW, 'yes');
    return before;
  } catch {
    return true;
  }
}

async function compare(): Promise<void> {
  const own = [...document.querySelectorAll('script[src], link[rel="stylesheet"]')].map(
    (part) => part.getAttribute('src') ?? part.getAttribute('href') ?? '',
  );
  const kept = await Promise.all(own.map((file) => caches.match(file, { ignoreVary: true })));
  if (!kept.includes(undefined)) return;
  if (isTouched || hasLoadedAnew()) isStale.value = true;
  else loadAnew();
}
