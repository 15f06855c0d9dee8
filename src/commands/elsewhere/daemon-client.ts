// A daemon that runs somewhere else, as a command talks to it: requests over HTTP, and its stream, which is
// continued from the last event when the network comes back. It knows no command.
import { randomUUID } from 'node:crypto';
import http from 'node:http';
import https from 'node:https';
import { setTimeout as pause } from 'node:timers/promises';
import { WebSocket } from 'ws';
import { type Me, meSchema, type PairRequest } from '../../../shared/access.js';
import { type ErrorCode, errorCodeSchema } from '../../../shared/error-codes.js';
import { asEvenrungError, EvenrungError } from '../../../shared/errors.js';
import { afterHappening } from '../../../shared/fold.js';
import { shortened } from '../../../shared/plain-words.js';
import type { DaemonState, NumberedEvent } from '../../../shared/state.js';
import { daemonMessageSchema, errorAnswerSchema, type WatcherMessage } from '../../../shared/stream.js';
import type { DaemonSession } from './daemon-session.js';

const ANSWER_MS = 40_000;
/** A request that got no answer is sent again under its key, so that it counts once. */
const MOST_TRIES = 4;
const FIRST_PAUSE_MS = 500;
const LONGEST_PAUSE_MS = 8000;
/** The daemon asks its watchers every 15 s whether they are there: one that asks no more is gone. */
const SILENCE_MS = 40_000;
/** How long a daemon may be away before its watcher gives up. */
const PATIENCE_MS = 60_000;
/** A loss that is over sooner is not worth a word. */
const TOLD_LOST_AFTER_MS = 2000;

/** Errors of TLS for a certificate that is not the expected one. */
const OTHER_CERTIFICATE =
  /^(DEPTH_ZERO_SELF_SIGNED_CERT|SELF_SIGNED_CERT_IN_CHAIN|UNABLE_TO_\w+|CERT_\w+|ERR_TLS_CERT_\w+)$/;

/** Refusals that may be none a moment later. */
const PASSES: ReadonlySet<ErrorCode> = new Set(['too-many-requests', 'ending', 'internal']);

interface Answer {
  readonly status: number;
  readonly text: string;
  readonly cookies: readonly string[];
}

export interface Followed {
  readonly state: DaemonState;
  /** Null if the whole state was sent again. */
  readonly event: NumberedEvent | null;
}

/** Told while a daemon is followed. */
export interface Connection {
  /** The daemon is gone, and is looked for during so many seconds from now on. */
  readonly lost: (patienceSeconds: number) => void;
  readonly back: () => void;
}

export class DaemonClient {
  private readonly address: URL;
  private readonly session: DaemonSession;
  private readonly patienceMs: number;

  /** @param address as people write it @throws EvenrungError malformed-request */
  static addressIn(address: string): URL {
    const url = URL.canParse(address) ? new URL(address) : null;
    if (url !== null && /^https?:$/.test(url.protocol)) return new URL('/', url);
    throw new EvenrungError(
      'malformed-request',
      `'${shortened(address)}' is not an address of Evenrung: give one such as http://127.0.0.1:4160.`,
    );
  }

  constructor(address: URL, session: DaemonSession, { patienceMs = PATIENCE_MS } = {}) {
    this.address = address;
    this.session = session;
    this.patienceMs = patienceMs;
  }

  /**
   * Asks for something once, however often it has to be sent.
   * @returns the answer, parsed
   * @throws EvenrungError the daemon's own; daemon-unreachable
   */
  async press(path: string, body?: unknown): Promise<unknown> {
    const key = randomUUID();
    for (let tries = 1; ; tries += 1) {
      try {
        return answerIn(await this.send('POST', path, body, { 'idempotency-key': key }));
      } catch (cause) {
        if (asEvenrungError(cause).code !== 'daemon-unreachable' || tries >= MOST_TRIES) throw cause;
        await pause(FIRST_PAUSE_MS * tries);
      }
    }
  }

  /**
   * Shows the secret of a code, which is good for one answer.
   * @returns whom the daemon takes this computer for, and the cookie that proves it
   * @throws EvenrungError the daemon's own; daemon-unreachable
   */
  async pair(asked: PairRequest): Promise<{ readonly me: Me; readonly cookie: string }> {
    const answer = await this.send('POST', '/api/pair', asked, {});
    const me = meSchema.safeParse(answerIn(answer));
    const [cookie] = answer.cookies.map((written) => written.split(';')[0] ?? '');
    if (me.success && cookie !== undefined) return { me: me.data, cookie };
    throw new EvenrungError(
      'malformed-message',
      'The answer of Evenrung there to the code is not understood.',
    );
  }

  private send(
    method: string,
    path: string,
    body: unknown,
    more: Readonly<Record<string, string>>,
  ): Promise<Answer> {
    const { address, session } = this;
    const payload = body === undefined ? undefined : JSON.stringify(body);
    const headers = {
      ...{ ...session.headers, ...more },
      ...(payload === undefined
        ? {}
        : { 'content-type': 'application/json', 'content-length': String(Buffer.byteLength(payload)) }),
    };
    const { request } = address.protocol === 'https:' ? https : http;
    return new Promise((resolve, reject) => {
      const asked = request(new URL(path, address), { ...session.tls, method, headers }, (answer) => {
        let text = '';
        answer.setEncoding('utf8').on('data', (part: string) => {
          text += part;
        });
        answer.on('end', () =>
          resolve({ status: answer.statusCode ?? 0, text, cookies: answer.headers['set-cookie'] ?? [] }),
        );
        answer.on('error', (cause) => reject(this.unreachable(cause)));
      });
      asked.setTimeout(ANSWER_MS, () => asked.destroy(new Error('no answer')));
      asked.on('error', (cause) => reject(this.unreachable(cause)));
      asked.end(payload);
    });
  }

  /**
   * Follows the daemon's events, across losses of the network, until `take` has seen enough.
   * @param take is given the state at first, and then each change; @returns true ends it
   * @param connection is told of losses of more than a moment
   * @throws EvenrungError daemon-unreachable; malformed-message if a message cannot be understood; the
   *   daemon's refusal
   */
  async follow(
    take: (followed: Followed) => boolean | Promise<boolean>,
    connection: Connection = { lost: () => undefined, back: () => undefined },
  ): Promise<void> {
    const watched = new WatchedConnection(connection, this.patienceMs);
    try {
      await this.followWatched(take, watched);
    } finally {
      watched.end();
    }
  }

  private async followWatched(
    take: (followed: Followed) => boolean | Promise<boolean>,
    connection: WatchedConnection,
  ): Promise<void> {
    let picture: { epoch: string; seq: number; state: DaemonState } | null = null;
    /** Not when it was heard last: between two sets a daemon has nothing to say for long. */
    let lostAt: number | null = null;
    let failures = 0;
    for (;;) {
      const stream = new Incoming(this.socket(), picture);
      try {
        for await (const text of stream.messages()) {
          lostAt = null;
          failures = 0;
          connection.heard();
          const message = readMessage(text);
          if (message.type === 'error') throw new EvenrungError(codeOr(message.code), message.message);
          if (message.type === 'state') {
            const { epoch, seq, state } = message;
            picture = { epoch, seq, state };
            if (await take({ state, event: null })) return;
            continue;
          }
          const { event } = message;
          if (picture === null || event.seq > picture.seq + 1) {
            picture = null;
            break;
          }
          if (event.seq <= picture.seq) continue;
          picture = {
            ...picture,
            seq: event.seq,
            state: afterHappening(picture.state, event.happening),
          };
          if (await take({ state: picture.state, event })) return;
        }
      } finally {
        stream.end();
      }
      if (stream.refusal !== null && !PASSES.has(stream.refusal.code)) throw stream.refusal;
      lostAt ??= performance.now();
      if (performance.now() - lostAt > this.patienceMs) throw this.unreachable(stream.trouble);
      // The first failure of one that was never there is its last.
      if (picture === null && failures > 0) throw this.unreachable(stream.trouble);
      connection.closed();
      await pause(Math.min(LONGEST_PAUSE_MS, FIRST_PAUSE_MS * 2 ** failures) * (0.8 + Math.random() * 0.4));
      failures += 1;
    }
  }

  private socket(): WebSocket {
    const { address, session } = this;
    const at = new URL('/api/stream', address);
    at.protocol = address.protocol === 'https:' ? 'wss:' : 'ws:';
    return new WebSocket(at, { ...session.tls, headers: session.headers, handshakeTimeout: 8000 });
  }

  private unreachable(cause: unknown): EvenrungError {
    if (cause instanceof EvenrungError) return cause;
    const code = cause instanceof Error ? ((cause as NodeJS.ErrnoException).code ?? cause.message) : null;
    if (code !== null && OTHER_CERTIFICATE.test(code)) return this.notBelieved();
    const why = code === null ? '' : ` (${code})`;
    return new EvenrungError(
      'daemon-unreachable',
      `Evenrung at ${this.address.origin} does not answer${why}. Check that it runs there, and that no set is being shot before you fire again.`,
    );
  }

  private notBelieved(): EvenrungError {
    const { origin } = this.address;
    return this.session.tls.ca === undefined
      ? new EvenrungError(
          'not-paired',
          `This computer is not paired with Evenrung at ${origin}: get a code there, and give it to \`evenrung pair\`.`,
        )
      : new EvenrungError(
          'certificate-differs',
          `Nothing was sent: the computer at ${origin} does not show the certificate that this one was paired with. If Evenrung there made a new certificate, pair again.`,
        );
  }
}

/** Whether the daemon is there, told once when it is gone, and once when it is back. */
class WatchedConnection {
  private readonly connection: Connection;
  private readonly patienceMs: number;
  private isLost = false;
  private timer: NodeJS.Timeout | undefined;

  constructor(connection: Connection, patienceMs: number) {
    this.connection = connection;
    this.patienceMs = patienceMs;
  }

  closed(): void {
    if (this.isLost) return;
    this.timer ??= setTimeout(() => {
      this.isLost = true;
      this.connection.lost(Math.max(0, Math.round((this.patienceMs - TOLD_LOST_AFTER_MS) / 1000)));
    }, TOLD_LOST_AFTER_MS);
  }

  heard(): void {
    this.end();
    if (this.isLost) this.connection.back();
    this.isLost = false;
  }

  end(): void {
    clearTimeout(this.timer);
    this.timer = undefined;
  }
}

/** The messages of one connection, as a queue, so that the receiver may take its time. */
class Incoming {
  trouble: unknown = null;
  /** The daemon's refusal, if it lets nobody watch. */
  refusal: EvenrungError | null = null;
  private readonly socket: WebSocket;
  private readonly queue: string[] = [];
  private isOver = false;
  private wake: () => void = () => undefined;
  private silence: NodeJS.Timeout | undefined;

  constructor(socket: WebSocket, picture: { readonly epoch: string; readonly seq: number } | null) {
    this.socket = socket;
    const hello: WatcherMessage =
      picture === null ? { type: 'hello' } : { type: 'hello', after: picture.seq, epoch: picture.epoch };
    const heard = () => {
      clearTimeout(this.silence);
      this.silence = setTimeout(() => socket.terminate(), SILENCE_MS);
    };
    heard();
    socket.on('open', () => socket.send(JSON.stringify(hello)));
    socket.on('ping', heard);
    socket.on('message', (data) => {
      heard();
      this.queue.push(data.toString());
      this.wake();
    });
    // Refused before it was a stream: with a sentence, as other requests are.
    socket.on('unexpected-response', (_request, answer) => {
      let text = '';
      answer.setEncoding('utf8').on('data', (part: string) => {
        text += part;
      });
      answer.on('end', () => {
        this.refusal = refusalIn({ status: answer.statusCode ?? 0, text });
        socket.terminate();
      });
      answer.on('error', () => socket.terminate());
    });
    socket.on('error', (cause) => {
      this.trouble = cause;
    });
    socket.on('close', () => {
      clearTimeout(this.silence);
      this.isOver = true;
      this.wake();
    });
  }

  async *messages(): AsyncGenerator<string> {
    for (;;) {
      const next = this.queue.shift();
      if (next !== undefined) yield next;
      else if (this.isOver) return;
      else
        await new Promise<void>((resolve) => {
          this.wake = resolve;
        });
    }
  }

  end(): void {
    clearTimeout(this.silence);
    this.socket.terminate();
  }
}

/** @throws EvenrungError malformed-message */
function readMessage(text: string) {
  const parsed = daemonMessageSchema.safeParse(jsonIn(text));
  if (parsed.success) return parsed.data;
  throw new EvenrungError(
    'malformed-message',
    'The answer of Evenrung there is not understood: it may be another version.',
  );
}

/** @throws EvenrungError the daemon's own */
function answerIn(answer: Pick<Answer, 'status' | 'text'>): unknown {
  if (answer.status >= 200 && answer.status < 300) return jsonIn(answer.text);
  throw refusalIn(answer);
}

function refusalIn({ status, text }: Pick<Answer, 'status' | 'text'>): EvenrungError {
  const refused = errorAnswerSchema.safeParse(jsonIn(text));
  if (!refused.success)
    return new EvenrungError(
      'internal',
      `Evenrung there answered with ${status} and nothing that can be read.`,
    );
  const { code, message, page: _, ...details } = refused.data.error;
  return new EvenrungError(codeOr(code), message, details);
}

function jsonIn(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return undefined;
  }
}

/** A newer daemon may know codes that this program does not. */
const codeOr = (code: string): ErrorCode => errorCodeSchema.safeParse(code).data ?? 'internal';
