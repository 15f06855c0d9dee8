// The camera process: everything that talks to a body lives here, so that the daemon can kill it. It is
// forked with the kind of link, its way to the library and, if there may be several bodies, the port as its
// arguments. It does what the channel says, one call at a time, and ends itself when the daemon is gone.
import { Worker } from 'node:worker_threads';
import { asEvenrungError, EvenrungError } from '../../../shared/errors.js';
import type { AttachedPort, Link } from '../link.js';
import type { Holding } from './holding.js';
import type { Answer, Call } from './protocol.js';

/** How long letting go of the body may take once the daemon is gone. */
const FAREWELL_MS = 2500;
/** The part of that time that a busy body may be waited for. */
const FAREWELL_BUSY_MS = 2000;
/** The same while the daemon is there, which has a shorter deadline of its own. */
const RELEASE_MS = 10_000;

const METHODS: ReadonlySet<string> = new Set<keyof Link>([
  'identify',
  'readLimits',
  'readSettings',
  'changeSetting',
  'fire',
  'letGo',
  'press',
  'unpress',
  'listen',
  'bring',
  'list',
]);

const [, , kind, way, port] = process.argv;

// Loaded only when asked for: the practice body must work even if the USB binding cannot be loaded.
async function openLink(): Promise<Link & Partial<Holding>> {
  switch (kind) {
    case 'usb':
      if (way === 'direct') return (await import('../direct/direct-link.js')).openDirectLink(port);
      return (await import('../binding/binding-link.js')).openBindingLink(port);
    case 'practice':
      return (await import('../practice/practice-link.js')).openPracticeLink();
    default:
      throw new EvenrungError('unknown-body', `There is no link called '${kind}'.`);
  }
}

async function attached(): Promise<readonly AttachedPort[]> {
  if (kind === 'usb' && way === 'direct')
    return (await import('../direct/direct-link.js')).attachedDirectly();
  if (kind === 'usb') return (await import('../binding/binding-link.js')).attachedOverBinding();
  return [{ port: 'practice', model: 'Practice body' }];
}

let link: ReturnType<typeof openLink> | undefined;
let opened: Awaited<typeof link>;

/** A link that could not be opened is tried again at the next call. */
async function open(): Promise<Link & Partial<Holding>> {
  link ??= openLink();
  try {
    opened = await link;
    return opened;
  } catch (cause) {
    link = undefined;
    throw cause;
  }
}
let queue: Promise<void> = Promise.resolve();

async function answer({ id, method, args }: Call): Promise<Answer> {
  try {
    if (method === 'attached') return { id, ok: true, value: await attached() };
    if (method === 'memory') return { id, ok: true, value: process.memoryUsage().rss };
    if (!METHODS.has(method))
      throw new EvenrungError('internal', `The camera process does not know the call '${method}'.`);
    const body = await open();
    if (method === 'letGo') endWithin(RELEASE_MS);
    const call = body[method] as ((...given: unknown[]) => Promise<unknown>) | undefined;
    if (call === undefined)
      throw new EvenrungError('internal', `This link cannot take a release and its files apart (${method}).`);
    return { id, ok: true, value: await call.apply(body, [...args]) };
  } catch (cause) {
    const { code, message, details } = asEvenrungError(cause);
    return { id, ok: false, code, message, details };
  }
}

process.on('message', (call: Call) => {
  queue = queue.then(async () => {
    // Nobody waits for it any more: above all, nothing more is released.
    if (!process.connected) return;
    const said = await answer(call);
    // A daemon that was killed a moment ago cannot be told anything, but does not look disconnected yet. That
    // is not an error of this process, which still has to let go of the body.
    if (process.connected) process.send?.(said, () => undefined);
  });
});

// A Ctrl-C at the terminal reaches the whole process group, but only the daemon decides what happens to the
// body.
process.on('SIGINT', () => undefined);
process.on('SIGTERM', () => undefined);
process.on('SIGHUP', () => undefined);

// process.exit would wait for a native call that hangs.
const end = () => process.kill(process.pid, 'SIGKILL');

/**
 * Letting go runs inside a collection, which blocks this thread for as long as the library waits for the body: no timer of
 * this thread can be relied on.
 */
function endWithin(milliseconds: number): void {
  const code = `setTimeout(() => process.kill(process.pid, 'SIGKILL'), ${milliseconds});`;
  const watch = new Worker(code, { eval: true, execArgv: [] });
  watch.on('error', () => setTimeout(end, milliseconds));
  watch.unref();
}

/**
 * A button that is held for a time is held to its end, as asked: the exposure under way is whole, and no
 * shutter stays open.
 */
function farewell(): void {
  endWithin((opened?.heldForMs?.() ?? 0) + FAREWELL_MS);
  const held = opened?.holdEnds?.();
  queue
    .then(() => held)
    .then(async () => (await link)?.letGo(FAREWELL_BUSY_MS))
    .then(end, end);
}

process.on('disconnect', farewell);
// Output that nobody reads any more is not an error either.
for (const stream of [process.stdout, process.stderr]) stream.on('error', () => undefined);
// With the watch of the farewell just begun, an exit can wait for its thread for ever.
process.on('exit', () => {
  if (!process.connected) end();
});
// The daemon may have gone while this module was loaded.
if (!process.connected) farewell();
