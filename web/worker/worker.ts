// The panel's worker in the browser: it keeps the files of one build, so that the panel opens where there is no network and says so
// itself. What the daemon knows and does goes past it: it must never touch what lies below /api/ or /notes/.

/** Both are written by the build: the files of the panel, and a name for just this build. */
declare const PANEL_FILES: readonly string[];
declare const PANEL_BUILD: string;
declare const self: ServiceWorkerGlobalScope;

const OURS = 'panel ';
const KEPT = `${OURS}${PANEL_BUILD}`;
const PAGE = '/';
/** A daemon that is there answers within this; a newer one then brings its own panel. */
const PAGE_WITHIN_MS = 2500;

/** How a file came compressed does not matter any more. */
const IGNORE = { ignoreVary: true };

const files = new Set(PANEL_FILES);

self.addEventListener('install', (event) => {
  event.waitUntil(
    caches
      .open(KEPT)
      .then((kept) => kept.addAll([PAGE, ...files].map((at) => new Request(at, { cache: 'reload' }))))
      .then(() => self.skipWaiting()),
  );
});

self.addEventListener('activate', (event) => {
  event.waitUntil(
    caches
      .keys()
      .then((names) => names.filter((name) => name.startsWith(OURS) && name !== KEPT))
      .then((stale) => Promise.all(stale.map((name) => caches.delete(name))))
      // Pages that are open then see whether they are of this build.
      .then(() => self.clients.claim()),
  );
});

// A page that was being opened just then was passed over, and says so itself.
self.addEventListener('message', (event) => {
  if (event.data === 'claim') event.waitUntil(self.clients.claim());
});

self.addEventListener('fetch', (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== 'GET' || origin !== self.location.origin) return;
  if (request.mode === 'navigate' && (pathname === PAGE || pathname === '/index.html'))
    event.respondWith(page());
  else if (files.has(pathname)) event.respondWith(file(request));
});

/** From the daemon, as long as it answers soon: its page names the files that go with it. */
async function page(): Promise<Response> {
  const kept = await (await caches.open(KEPT)).match(PAGE, IGNORE);
  try {
    const signal = kept === undefined ? null : AbortSignal.timeout(PAGE_WITHIN_MS);
    const answer = await fetch(PAGE, { cache: 'no-cache', signal });
    return answer.ok ? answer : (kept ?? answer);
  } catch {
    return kept ?? Response.error();
  }
}

/** Its name changes with what is in it. */
async function file(request: Request): Promise<Response> {
  return (await (await caches.open(KEPT)).match(request, IGNORE)) ?? fetch(request);
}
