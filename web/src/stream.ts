// Keeps a picture of the daemon's state over the WebSocket, and knows when that picture cannot be trusted. It
// must know nothing of the screen: it only tells its watcher the state, and the state of the connection.
import { afterHappening, ENDED } from '../../shared/fold.js';
import type { DaemonState } from '../../shared/state.js';
import type { DaemonMessage, WatcherMessage } from '../../shared/stream.js';
import { askState } from './api.js';

export type Connection =
  | { readonly state: 'connecting' }
  | { readonly state: 'connected' }
  | {
      readonly state: 'lost';
      /** When the picture was last known to be right; null if it never was. */
      readonly since: Date | null;
      /** When the next attempt is made, in ms of the clock; null during an attempt. */
      readonly retryAt: number | null;
      /** The daemon's message as it closed the connection. */
      readonly message: string | null;
    };

export interface Watcher {
  onState(state: DaemonState): void;
  onConnection(connection: Connection): void;
}

const FIRST_RETRY_MS = 500;
const LONGEST_RETRY_MS = 8000;
const OPEN_WITHIN_MS = 8000;
/**
 * The stream is silent during a long exposure, and so is a dead wireless network: after so long without a
 * message, the daemon is asked for its state.
 */
const SILENCE_MS = 10_000;
/** The same while a run is under way, when there is more to miss. */
const RUN_SILENCE_MS = 4000;
/** How long an event may still take on the stream after an answer has counted it. */
const STREAM_LAG_MS = 1500;

export interface Stream {
  tryNow(): void;
}

/** Watches as long as the page is open. */
export function watch(watcher: Watcher): Stream {
  let socket: WebSocket | null = null;
  let picture: { epoch: string; seq: number; state: DaemonState } | null = null;
  let good: Date | null = null;
  let heard = Date.now();
  let failures = 0;
  let retry: ReturnType<typeof setTimeout> | undefined;
  let lastWords: string | null = null;

  function open() {
    clearTimeout(retry);
    const mine = new WebSocket(
      `${location.protocol === 'https:' ? 'wss' : 'ws'}://${location.host}/api/stream`,
    );
    socket = mine;
    if (failures > 0) watcher.onConnection({ state: 'lost', since: good, retryAt: null, message: lastWords });
    setTimeout(() => {
      if (socket === mine && mine.readyState === WebSocket.CONNECTING) lose();
    }, OPEN_WITHIN_MS);
    mine.onopen = () => {
      const hello: WatcherMessage =
        picture === null ? { type: 'hello' } : { type: 'hello', after: picture.seq, epoch: picture.epoch };
      mine.send(JSON.stringify(hello));
      heard = Date.now();
      // If nothing has happened meanwhile, the daemon has nothing to send: only asking for the state shows
      // that the picture is right.
      if (picture !== null) void compare(mine);
    };
    mine.onmessage = ({ data }) => {
      if (socket !== mine) return;
      heard = Date.now();
      const message = readMessage(data);
      if (message === undefined) startOver('a message that cannot be read');
      else take(message);
    };
    mine.onclose = () => {
      if (socket === mine) lose();
    };
  }

  function take(message: DaemonMessage) {
    switch (message.type) {
      case 'state':
        picture = { epoch: message.epoch, seq: message.seq, state: message.state };
        settle();
        return;
      case 'event': {
        const { seq, happening } = message.event;
        if (picture === null) return startOver('an event before the state');
        if (seq <= picture.seq) return;
        if (seq > picture.seq + 1) return startOver(`event ${seq} after ${picture.seq}`);
        picture = { ...picture, seq, state: afterHappening(picture.state, happening) };
        settle();
        return;
      }
      case 'error':
        lastWords = message.message;
        startOver(message.code);
    }
  }

  /** The picture has just been found right. */
  function settle() {
    if (picture === null) return;
    good = new Date();
    failures = 0;
    lastWords = null;
    watcher.onState(picture.state);
    watcher.onConnection({ state: 'connected' });
  }

  function lose() {
    const dead = socket;
    socket = null;
    dead?.close();
    const wait = Math.min(LONGEST_RETRY_MS, FIRST_RETRY_MS * 2 ** failures) * (0.8 + Math.random() * 0.4);
    failures += 1;
    clearTimeout(retry);
    retry = setTimeout(open, wait);
    watcher.onConnection({ state: 'lost', since: good, retryAt: Date.now() + wait, message: lastWords });
  }

  /** Something does not add up, so the next hello asks for the whole state. */
  function startOver(why: string) {
    console.warn(`The stream starts over: ${why}.`);
    picture = null;
    lose();
  }

  /** Asks for the state over HTTP, to see whether the stream is alive and has told everything. */
  async function compare(mine: WebSocket) {
    const answer = await askState();
    if (socket !== mine || picture === null) return;
    if (!answer.ok) return lose();
    heard = Date.now();
    const { epoch, seq } = answer.value;
    if (epoch === picture.epoch && seq <= picture.seq) return settle();
    await new Promise((resolve) => setTimeout(resolve, STREAM_LAG_MS));
    if (socket !== mine || picture === null) return;
    if (epoch === picture.epoch && seq <= picture.seq) return;
    startOver('the stream lags behind');
  }

  function tryNow() {
    if (socket === null) open();
  }

  function lookAgain() {
    if (document.visibilityState !== 'visible') return;
    if (socket === null) open();
    else if (socket.readyState === WebSocket.OPEN) void compare(socket);
  }

  setInterval(() => {
    if (socket?.readyState !== WebSocket.OPEN || document.visibilityState !== 'visible') return;
    const run = picture?.state.run ?? null;
    const isUnderWay = run !== null && !ENDED.has(run.state);
    if (Date.now() - heard >= (isUnderWay ? RUN_SILENCE_MS : SILENCE_MS)) {
      heard = Date.now();
      void compare(socket);
    }
  }, 1000);
  document.addEventListener('visibilitychange', lookAgain);
  addEventListener('online', lookAgain);
  // Even without a network the daemon may be there, on this very computer, so it is asked before it is given
  // up.
  addEventListener('offline', lookAgain);
  open();
  return { tryNow };
}

/** Checks only what would break the panel otherwise; the daemon has checked the rest. */
function readMessage(data: unknown): DaemonMessage | undefined {
  if (typeof data !== 'string') return undefined;
  let message: Partial<Record<string, unknown>>;
  try {
    message = JSON.parse(data) ?? {};
  } catch {
    return undefined;
  }
  switch (message.type) {
    case 'state':
      return typeof message.epoch === 'string' && typeof message.seq === 'number' && isState(message.state)
        ? (message as unknown as DaemonMessage)
        : undefined;
    case 'event':
      return isEvent(message.event) ? (message as unknown as DaemonMessage) : undefined;
    case 'error':
      return typeof message.message === 'string' ? (message as unknown as DaemonMessage) : undefined;
    default:
      return undefined;
  }
}

function isState(value: unknown): boolean {
  const { body, run } = (value ?? {}) as { body?: { state?: unknown }; run?: { frames?: unknown } | null };
  return typeof body?.state === 'string' && (run === null || Array.isArray(run?.frames));
}

function isEvent(value: unknown): boolean {
  const { seq, happening } = (value ?? {}) as { seq?: unknown; happening?: { type?: unknown } };
  return typeof seq === 'number' && typeof happening?.type === 'string';
}
