// A daemon with both doors, on loopback alone, over a practice body whose shutter is counted; and what knocks on the doors with
// whatever bytes it likes.
import { mkdir, mkdtemp, rm, writeFile } from 'node:fs/promises';
import http from 'node:http';
import https from 'node:https';
import net from 'node:net';
import os from 'node:os';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import tls from 'node:tls';
import v8 from 'node:v8';
import vm from 'node:vm';
import pino from 'pino';
import { WebSocket } from 'ws';
import { pairingSchema } from '../shared/access.js';
import { errorAnswerSchema } from '../shared/stream.js';
import { AT_ONCE, NO_TIME, PracticeBody, type PracticeTiming } from '../src/camera/practice/model.js';
import type { Bounds } from '../src/server/access/index.js';
import { type RunningServer, startServer } from '../src/server/index.js';
import type { EventLog, Station } from '../src/station/index.js';
import { TestLink } from './harness/links.js';
import { openStation } from './harness/station.js';

/** What the second door is called: no such name leads anywhere, and nothing leaves this computer. */
export const NAME = 'boathouse.test';
/** Stands in files that no request may read. */
export const PRIVATE = 'dark-beams-and-a-bright-lake';

/** The state, the names of folders, what lies beside the panel. */
export const IS_PRIVATE = new RegExp(`${PRIVATE}|"epoch"|"actuations"|"frames":`);
/** Where what is asked counts, not how often. */
export const WIDE_BOUNDS: Bounds = {
  connectionsPerAddress: 1000,
  connections: 1000,
  requests: { burst: 1e9, perSecond: 1e9 },
  headersMs: 5000,
  requestMs: 10_000,
};

export type Which = 'here' | 'network';

export interface Answer {
  readonly status: number;
  readonly code: string | null;
  readonly text: string;
  readonly headers: http.IncomingHttpHeaders;
}

export interface Asked {
  readonly body?: string | Buffer | object;
  readonly headers?: Readonly<Record<string, string>>;
  readonly cookie?: string | undefined;
}

export interface Doors {
  readonly server: RunningServer;
  readonly station: Station;
  readonly events: EventLog;
  readonly body: PracticeBody;
  readonly state: string;
  readonly port: Readonly<Record<Which, number>>;
  readonly host: Readonly<Record<Which, string>>;
  ask(which: Which, method: string, at: string, asked?: Asked): Promise<Answer>;
  /** Sends bytes as they are, and takes what comes back until it is hung up or nothing comes for a while. */
  raw(which: Which, bytes: string | Buffer, quietMs?: number, thenEnds?: boolean): Promise<string>;
  /** A connection that nothing was said on yet. */
  connect(which: Which): Promise<net.Socket>;
  /** @returns the cookie of a new device */
  pair(role: 'fire' | 'watch', name?: string): Promise<string>;
  secret(role?: 'fire' | 'watch'): Promise<string>;
  /** @returns an open socket, or the status of the refusal */
  watch(which: Which, headers?: Readonly<Record<string, string>>): Promise<WebSocket | number>;
  /** By what codes end and wrong tries wait, the time stands still but for this. */
  later(seconds: number): void;
  /** How often the shutter was released. */
  released(): number;
  close(): Promise<void>;
}

export interface DoorsOptions {
  /** Where those of the doors are not meant. */
  readonly bounds?: Bounds;
  /** The built panel, where one is to be seen. */
  readonly built?: string;
  /** Of the second door. */
  readonly name?: string;
  readonly timing?: PracticeTiming;
}

export async function openDoors(options: DoorsOptions = {}): Promise<Doors> {
  const { bounds, built, name = NAME, timing = NO_TIME } = options;
  const folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  const [panel, state] = [path.join(folder, 'panel'), path.join(folder, 'state')];
  await mkdir(panel);
  await mkdir(state);
  await writeFile(path.join(panel, 'index.html'), '<title>panel</title>');
  await writeFile(path.join(folder, 'private.txt'), PRIVATE);
  await writeFile(path.join(state, 'private.txt'), PRIVATE);
  const body = new PracticeBody({ ...AT_ONCE, timing });
  const { station, events } = await openStation(folder, new TestLink(body), {
    ...{ into: path.join(folder, `sets-${PRIVATE}`), stateFolder: state },
  });
  let now = Date.now();
  const server = await startServer({
    station,
    events,
    log: pino({ level: 'silent' }),
    panel: built ?? panel,
    notes: folder,
    port: 0,
    bounds,
    now: () => now,
    lan: { port: 0, isPlain: false, stateFolder: state, host: '127.0.0.1', names: [name] },
  });
  const network = server.network?.addresses[0] ?? '';
  const port = { here: Number(new URL(server.address).port), network: Number(new URL(network).port) };
  const host = { here: `127.0.0.1:${port.here}`, network: `${name}:${port.network}` };

  const ask: Doors['ask'] = (which, method, at, { body: sent, headers = {}, cookie } = {}) =>
    new Promise((resolve, reject) => {
      const payload =
        sent === undefined || typeof sent === 'string' || Buffer.isBuffer(sent) ? sent : JSON.stringify(sent);
      const request = (which === 'here' ? http : https).request(
        {
          host: '127.0.0.1',
          port: port[which],
          method,
          path: at,
          agent: false,
          ...(which === 'network' ? { rejectUnauthorized: false } : {}),
          headers: {
            host: host[which],
            ...(payload === undefined
              ? {}
              : { 'content-type': 'application/json', 'content-length': String(Buffer.byteLength(payload)) }),
            ...(cookie === undefined ? {} : { cookie }),
            ...headers,
          },
        },
        (answer) => {
          const parts: Buffer[] = [];
          answer.on('data', (part: Buffer) => parts.push(part));
          answer.on('error', reject);
          answer.on('end', () => {
            const text = Buffer.concat(parts).toString();
            resolve({ status: answer.statusCode ?? 0, code: codeIn(text), text, headers: answer.headers });
          });
        },
      );
      request.on('error', reject);
      request.end(payload);
    });

  const connect: Doors['connect'] = (which) =>
    new Promise((resolve, reject) => {
      const at = { host: '127.0.0.1', port: port[which] };
      const socket = which === 'here' ? net.connect(at) : tls.connect({ ...at, rejectUnauthorized: false });
      socket.once(which === 'here' ? 'connect' : 'secureConnect', () => resolve(socket));
      socket.once('error', reject);
      socket.on('error', () => undefined);
    });

  const raw: Doors['raw'] = async (which, bytes, quietMs = 700, thenEnds = false) => {
    const socket = await connect(which);
    return new Promise((resolve) => {
      let text = '';
      socket.setTimeout(quietMs, () => socket.destroy());
      socket.on('data', (part) => {
        text += part.toString('latin1');
      });
      socket.on('close', () => resolve(text));
      if (thenEnds) socket.end(bytes);
      else socket.write(bytes);
    });
  };

  const secret: Doors['secret'] = async (role = 'fire') => {
    const { text } = await ask('here', 'POST', '/api/devices/pairing', { body: { role } });
    return pairingSchema.parse(JSON.parse(text)).secret;
  };

  const pair: Doors['pair'] = async (role, name = 'a phone') => {
    const { status, headers } = await ask('network', 'POST', '/api/pair', {
      body: { secret: await secret(role), name },
    });
    const [cookie] = headers['set-cookie'] ?? [];
    if (status !== 200 || cookie === undefined) throw new Error(`Not paired: ${status}.`);
    return cookie.split(';')[0] ?? '';
  };

  const watch: Doors['watch'] = (which, headers = {}) =>
    new Promise((resolve, reject) => {
      const scheme = which === 'here' ? 'ws' : 'wss';
      const socket = new WebSocket(`${scheme}://127.0.0.1:${port[which]}/api/stream`, {
        headers: { host: host[which], ...headers },
        rejectUnauthorized: false,
        handshakeTimeout: 10_000,
      });
      socket.on('unexpected-response', (request, answer) => {
        request.destroy();
        resolve(answer.statusCode ?? 0);
      });
      socket.on('open', () => resolve(socket));
      socket.on('error', reject);
      socket.on('error', () => undefined);
    });

  return {
    ...{ server, station, events, body, state, port, host, ask, raw, connect, pair, secret, watch },
    later(seconds) {
      now += seconds * 1000;
    },
    released: () => body.shots.length,
    async close() {
      await station.close();
      await server.close();
      await rm(folder, { recursive: true, force: true });
    },
  };
}

function codeIn(text: string): string | null {
  try {
    return errorAnswerSchema.parse(JSON.parse(text)).error.code;
  } catch {
    return null;
  }
}

v8.setFlagsFromString('--expose-gc');
const collect = vm.runInNewContext('gc') as () => void;

export interface Memory {
  readonly heldMb: number;
  readonly residentMb: number;
}

/** What is held, and what the process takes, once what is not needed any more is gone. */
export async function memory(): Promise<Memory> {
  for (let round = 0; round < 3; round += 1) {
    collect();
    await pause(50);
  }
  const { heapUsed, external, rss } = process.memoryUsage();
  return { heldMb: (heapUsed + external) / 2 ** 20, residentMb: rss / 2 ** 20 };
}
