// The WebSocket stream: every watcher says hello once, and then gets every event. A watcher that does not
// keep up, or no longer answers, is dropped, so that it cannot slow a run; when it comes back, it gets what
// it missed.
import type { IncomingMessage } from 'node:http';
import type { Duplex } from 'node:stream';
import { type RawData, type WebSocket, WebSocketServer } from 'ws';
import { ERRORS } from '../../shared/error-codes.js';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import { IN_PLAIN_WORDS } from '../../shared/plain-words.js';
import { firstIssue } from '../../shared/request.js';
import { type WatcherMessage, watcherMessageSchema } from '../../shared/stream.js';
import type { EventLog } from '../station/index.js';
import { Bucket, type Rate, type Visitor } from './access/index.js';
import { FanOut, send, written } from './fan-out.js';

export const STREAM_PATH = '/api/stream';

const LARGEST_MESSAGE_BYTES = 4096;
const FAREWELL_MS = 500;
const MOST_WATCHERS = 256;
/** A watcher says hello, and after that has no reason to say much. */
const MESSAGES: Rate = { burst: 30, perSecond: 5 };
/** A watcher that sends nonsense is told so a few times, and then closed. */
const MOST_MISTAKES = 5;
/**
 * A network that is gone is silent. So each watcher is asked from time to time whether it is there, and has
 * so long to answer.
 */
const ASKED_EVERY_MS = 15_000;
const ANSWERED_WITHIN_MS = 10_000;

/** A connection that does not say hello takes up a place. */
const HELLO_WITHIN_MS = 10_000;

export interface Beat {
  readonly everyMs: number;
  readonly withinMs: number;
  readonly helloWithinMs?: number;
}

export class Stream {
  private readonly sockets = new WebSocketServer({ noServer: true, maxPayload: LARGEST_MESSAGE_BYTES });
  private readonly events: EventLog;
  private readonly fanOut: FanOut;
  private readonly beat: NodeJS.Timeout;
  private readonly visitors = new Map<WebSocket, Visitor>();
  private readonly helloWithinMs: number;

  constructor(events: EventLog, beat: Beat = { everyMs: ASKED_EVERY_MS, withinMs: ANSWERED_WITHIN_MS }) {
    this.events = events;
    this.fanOut = new FanOut(events);
    this.helloWithinMs = beat.helloWithinMs ?? HELLO_WITHIN_MS;
    this.beat = setInterval(() => this.askAll(beat.withinMs), beat.everyMs).unref();
  }

  /** A watcher that does not answer is not there any more. */
  private askAll(withinMs: number): void {
    const silent = new Set(this.sockets.clients);
    for (const watcher of silent) {
      watcher.once('pong', () => silent.delete(watcher));
      if (watcher.readyState === watcher.OPEN) watcher.ping();
    }
    setTimeout(() => {
      for (const watcher of silent) watcher.terminate();
    }, withinMs).unref();
  }

  /**
   * Takes an upgrade request over, or refuses it with a plain HTTP answer.
   * @param admit returns who it is; throws if they are not let in
   */
  upgrade(request: IncomingMessage, socket: Duplex, head: Buffer, admit: () => Visitor): void {
    // A client that is gone before it was answered must not bring the daemon down.
    socket.on('error', () => socket.destroy());
    try {
      const visitor = admit();
      if (request.url !== STREAM_PATH)
        throw new EvenrungError('not-found', 'There is no stream at this address.');
      if (this.sockets.clients.size >= MOST_WATCHERS)
        throw new EvenrungError('too-many-requests', 'Too many devices are watching already.');
      this.sockets.handleUpgrade(request, socket, head, (watcher) => this.welcome(watcher, socket, visitor));
    } catch (cause) {
      const error = asEvenrungError(cause);
      const body = JSON.stringify(error.toWire());
      const answer = `HTTP/1.1 ${ERRORS[error.code].status} Refused\r\nContent-Type: application/json\r\nContent-Length: ${Buffer.byteLength(body)}\r\nConnection: close\r\n\r\n${body}`;
      socket.end(answer, () => socket.destroy());
    }
  }

  /** Hangs up on a device at once: it is told nothing more. */
  drop(device: string): void {
    for (const [watcher, visitor] of this.visitors) if (visitor.device === device) watcher.terminate();
  }

  /** Says goodbye to every watcher, and does not wait for those that do not answer. */
  close(): void {
    clearInterval(this.beat);
    this.fanOut.close();
    for (const watcher of this.sockets.clients) end(watcher, 1001);
    this.sockets.close();
  }

  private welcome(watcher: WebSocket, socket: Duplex, visitor: Visitor): void {
    this.visitors.set(watcher, visitor);
    const heard = new Bucket(MESSAGES, performance.now());
    let mistakes = 0;
    let unwatch: (() => void) | undefined;
    const greeted = setTimeout(() => end(watcher, 1008), this.helloWithinMs).unref();
    // On a protocol error ws closes the connection by itself; without a listener the error would be thrown.
    watcher.on('error', () => undefined);
    watcher.on('close', () => {
      clearTimeout(greeted);
      this.visitors.delete(watcher);
      unwatch?.();
    });
    // ws answers each ping by itself, and the answers to many would pile up.
    watcher.on('ping', () => {
      if (!heard.take(performance.now())) watcher.terminate();
    });
    watcher.on('message', (data, isBinary) => {
      // Messages that were on their way when the connection was closed are not read any more.
      if (watcher.readyState !== watcher.OPEN) return;
      if (!heard.take(performance.now())) {
        end(watcher, 1008);
        return;
      }
      try {
        const message = readMessage(data, isBinary);
        if (unwatch !== undefined) throw new EvenrungError('malformed-message', 'Hello was said already.');
        unwatch = this.begin(watcher, socket, message);
        clearTimeout(greeted);
      } catch (cause) {
        const { code, message } = asEvenrungError(cause);
        send(watcher, written({ type: 'error', code, message }));
        mistakes += 1;
        if (mistakes >= MOST_MISTAKES) end(watcher, 1008);
      }
    });
  }

  private begin(watcher: WebSocket, socket: Duplex, { after, epoch }: WatcherMessage): () => void {
    return this.fanOut.add(watcher, socket, epoch === this.events.epoch ? after : undefined);
  }
}

/** Closes a connection, and does not wait long for one that does not answer. */
function end(watcher: WebSocket, code: number): void {
  watcher.close(code);
  setTimeout(() => watcher.terminate(), FAREWELL_MS).unref();
}

/** @throws EvenrungError malformed-message */
function readMessage(data: RawData, isBinary: boolean): WatcherMessage {
  let json: unknown;
  try {
    if (isBinary) throw new Error('binary');
    json = JSON.parse(data.toString());
  } catch {
    throw new EvenrungError('malformed-message', 'The message is not JSON.');
  }
  const parsed = watcherMessageSchema.safeParse(json, IN_PLAIN_WORDS);
  if (!parsed.success) throw new EvenrungError('malformed-message', firstIssue(parsed.error));
  return parsed.data;
}
