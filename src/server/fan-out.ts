// Sends each event to every watcher. An event is serialised and framed once for all of them, and written past
// ws to the socket; that is safe because ws writes only whole frames, and does not compress. Sending never
// waits: the amount that a watcher has not taken yet is bounded, and a watcher that falls behind is dropped,
// and catches up when it comes back. A few watchers get each event at once. A crowd gets events in bunches,
// so that sending them never takes more than a small share of the run's time.
import type { Duplex } from 'node:stream';
import type { WebSocket } from 'ws';
import type { NumberedEvent } from '../../shared/state.js';
import type { DaemonMessage } from '../../shared/stream.js';
import type { EventLog } from '../station/index.js';

/** How many bytes a watcher may leave untaken before it is dropped. */
const MOST_UNSENT_BYTES = 1024 * 1024;
/** Missed events are sent one by one up to this size; beyond it the whole state is smaller. */
const MOST_MISSED_BYTES = 256 * 1024;
/** Up to so many watchers get each event at once. */
const FEW = 32;
/** Sending to a crowd takes at most one part in so many of the time. */
const SHARE = 200;
const LONGEST_WAIT_MS = 400;

interface Watching {
  readonly watcher: WebSocket;
  readonly socket: Duplex;
  /** The number of the last event that it has. */
  after: number;
}

/** An event, framed. */
interface Waiting {
  readonly seq: number;
  readonly bytes: Buffer;
}

const together = (events: readonly Waiting[]): Buffer => Buffer.concat(events.map(({ bytes }) => bytes));

export class FanOut {
  private readonly events: EventLog;
  private readonly unwatch: () => void;
  private readonly watching = new Set<Watching>();
  private waiting: Waiting[] = [];
  private isPlanned = false;
  private timer: NodeJS.Timeout | undefined;
  /** By the steady clock: nothing is sent before. */
  private notBefore = 0;

  constructor(events: EventLog) {
    this.events = events;
    this.unwatch = events.watch((event) => this.take(event));
  }

  /**
   * Sends the watcher what it missed, or the whole state, and every event from then on.
   * @param after the number of the last event that it saw, if it counted in this daemon's numbers
   * @returns a function that ends the sending
   */
  add(watcher: WebSocket, socket: Duplex, after: number | undefined): () => void {
    const { events } = this;
    const one: Watching = { watcher, socket, after: events.seq };
    const missed = after === undefined ? undefined : this.missedSince(after);
    socket.cork();
    if (missed === undefined)
      send(watcher, written({ type: 'state', epoch: events.epoch, seq: events.seq, state: events.state }));
    else for (const bytes of missed) send(watcher, bytes);
    socket.uncork();
    this.watching.add(one);
    return () => this.watching.delete(one);
  }

  close(): void {
    this.unwatch();
    clearTimeout(this.timer);
    this.waiting = [];
    this.watching.clear();
  }

  /** @returns undefined if some of it is not kept any more, or if the whole state is smaller */
  private missedSince(after: number): Buffer[] | undefined {
    const missed = this.events.since(after)?.map((event) => written({ type: 'event', event }));
    const bytes = missed?.reduce((sum, { length }) => sum + length, 0) ?? 0;
    return bytes > MOST_MISSED_BYTES ? undefined : missed;
  }

  private take(event: NumberedEvent): void {
    if (this.watching.size === 0) return;
    this.waiting.push({ seq: event.seq, bytes: framed(written({ type: 'event', event })) });
    if (this.isPlanned) return;
    this.isPlanned = true;
    const wait = this.watching.size <= FEW ? 0 : this.notBefore - performance.now();
    // The run's own work in this turn comes first.
    if (wait <= 0) setImmediate(() => this.flush());
    else this.timer = setTimeout(() => this.flush(), Math.min(wait, LONGEST_WAIT_MS));
  }

  private flush(): void {
    const began = performance.now();
    const { waiting } = this;
    this.waiting = [];
    this.isPlanned = false;
    const [first, last] = [waiting.at(0)?.seq ?? 0, waiting.at(-1)?.seq ?? 0];
    const bunch = together(waiting);
    for (const one of this.watching) {
      // A watcher that was added meanwhile has some of these events already.
      const rest = one.after < first ? bunch : together(waiting.filter(({ seq }) => seq > one.after));
      one.after = Math.max(one.after, last);
      if (rest.length > 0 && canTake(one.watcher)) one.socket.write(rest);
    }
    const now = performance.now();
    this.notBefore = now + (now - began) * SHARE;
  }
}

export const written = (message: DaemonMessage): Buffer => Buffer.from(JSON.stringify(message));

export function send(watcher: WebSocket, bytes: Buffer): void {
  if (canTake(watcher)) watcher.send(bytes, { binary: false });
}

/** Drops a watcher that has left too much untaken. */
function canTake(watcher: WebSocket): boolean {
  if (watcher.readyState !== watcher.OPEN) return false;
  if (watcher.bufferedAmount <= MOST_UNSENT_BYTES) return true;
  watcher.terminate();
  return false;
}

const TEXT_FRAME = 0x81;
const MOST_IN_7_BITS = 125;
const LENGTH_IN_16_BITS = 126;
const LENGTH_IN_64_BITS = 127;

/**
 * @returns a text as a server sends it over a WebSocket: one frame, not masked. Source: RFC 6455, section
 *   5.2
 */
function framed(text: Buffer): Buffer {
  const { length } = text;
  const head = Buffer.alloc(length <= MOST_IN_7_BITS ? 2 : length < 2 ** 16 ? 4 : 10);
  head[0] = TEXT_FRAME;
  if (length <= MOST_IN_7_BITS) head[1] = length;
  else if (length < 2 ** 16) {
    head[1] = LENGTH_IN_16_BITS;
    head.writeUInt16BE(length, 2);
  } else {
    head[1] = LENGTH_IN_64_BITS;
    head.writeBigUInt64BE(BigInt(length), 2);
  }
  return Buffer.concat([head, text]);
}
