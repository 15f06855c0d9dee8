// The daemon over HTTP and WebSocket: real sockets on loopback, the practice body in its process.
import { mkdtemp, readdir, rm, writeFile } from 'node:fs/promises';
import http from 'node:http';
import net from 'node:net';
import os from 'node:os';
import path from 'node:path';
import pino from 'pino';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { WebSocket } from 'ws';
import { afterHappening, ENDED } from '../../shared/fold.js';
import { planSchema } from '../../shared/plan.js';
import { type DaemonState, daemonStateSchema } from '../../shared/state.js';
import { type DaemonMessage, daemonMessageSchema, errorAnswerSchema } from '../../shared/stream.js';
import { type RunningServer, startServer } from '../../src/server/index.js';
import type { EventLog, Station } from '../../src/station/index.js';
import { stationOfProcess } from '../harness/process-station.js';
import { PACED, pace } from '../pace.js';

let folder = '';
let sets = '';
let server: RunningServer;
let station: Station;
let events: EventLog;
const watchers: WebSocket[] = [];

beforeAll(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  sets = path.join(folder, 'sets');
  const panel = path.join(folder, 'panel');
  await import('node:fs/promises').then(({ mkdir }) => mkdir(panel));
  await writeFile(path.join(panel, 'index.html'), '<title>panel</title>');
  ({ station, events } = stationOfProcess(
    folder,
    { EVENRUNG_PRACTICE_TIMING: 'lifelike' },
    { choice: 'practice' },
  ));
  server = await startServer({
    station,
    events,
    log: pino({ level: 'silent' }),
    panel,
    notes: folder,
    port: 0,
  });
  await station.look();
});
afterEach(async () => {
  for (const watcher of watchers.splice(0)) watcher.terminate();
  if (events.state.run !== null && !ENDED.has(events.state.run.state)) station.stop();
  await station.settled();
});
afterAll(async () => {
  await station.close();
  await server.close();
  await rm(folder, { recursive: true, force: true });
});

interface Answer {
  readonly status: number;
  readonly body: unknown;
}

/** Unlike fetch, sends whatever headers it is given, Host included. */
function ask(
  method: string,
  at: string,
  body?: unknown,
  headers: Record<string, string> = {},
): Promise<Answer> {
  const payload = body === undefined ? undefined : typeof body === 'string' ? body : JSON.stringify(body);
  const type: Record<string, string> = payload === undefined ? {} : { 'content-type': 'application/json' };
  return new Promise((resolve, reject) => {
    const request = http.request(
      `${server.address}${at}`,
      { method, headers: { ...type, ...headers } },
      (answer) => {
        let text = '';
        answer.setEncoding('utf8').on('data', (part: string) => {
          text += part;
        });
        answer.on('end', () => {
          const json = answer.headers['content-type']?.includes('application/json') ?? false;
          resolve({ status: answer.statusCode ?? 0, body: json ? (JSON.parse(text) as unknown) : text });
        });
      },
    );
    request.on('error', reject);
    request.end(payload);
  });
}

const codeOf = ({ body }: Answer): string => errorAnswerSchema.parse(body).error.code;

interface Watching {
  readonly messages: DaemonMessage[];
  readonly socket: WebSocket;
  until(done: (messages: readonly DaemonMessage[]) => boolean): Promise<void>;
}

function watch(hello: unknown = { type: 'hello' }): Promise<Watching> {
  const socket = new WebSocket(`${server.address.replace('http', 'ws')}/api/stream`);
  watchers.push(socket);
  const messages: DaemonMessage[] = [];
  const waiting = new Set<() => void>();
  socket.on('message', (data) => {
    messages.push(daemonMessageSchema.parse(JSON.parse(data.toString())));
    for (const look of waiting) look();
  });
  const until: Watching['until'] = (done) =>
    new Promise((resolve) => {
      const look = () => {
        if (!done(messages)) return;
        waiting.delete(look);
        resolve();
      };
      waiting.add(look);
      look();
    });
  return new Promise((resolve, reject) => {
    socket.on('error', reject);
    socket.on('open', () => {
      if (hello !== null) socket.send(typeof hello === 'string' ? hello : JSON.stringify(hello));
      resolve({ messages, socket, until });
    });
  });
}

const ended = (messages: readonly DaemonMessage[]): boolean =>
  messages.some(
    (message) =>
      message.type === 'event' &&
      message.event.happening.type === 'run-state' &&
      ENDED.has(message.event.happening.state),
  );

describe('the panel and the state', () => {
  it('are served', async () => {
    expect(await ask('GET', '/')).toEqual({ status: 200, body: '<title>panel</title>' });
    const { status, body } = await ask('GET', '/api/state');
    expect(status).toBe(200);
    const { state } = body as { state: unknown };
    expect(daemonStateSchema.parse(state).body).toMatchObject({
      state: 'ready',
      body: { model: 'Practice body' },
    });
  });

  it.each(['/api/nothing', '/nothing', '/../server.test.ts', '/%2e%2e/home', '/..%2fhome'])(
    '%s: not found',
    async (at) => {
      const answer = await ask('GET', at);
      expect(answer.status).toBeGreaterThanOrEqual(400);
      expect(answer.status).toBeLessThan(500);
    },
  );
});

describe('a plan', () => {
  it('is worked out for the body', async () => {
    const { status, body } = await ask('POST', '/api/plan', { frames: 9, step: 1, base: '1/60' });
    expect(status).toBe(200);
    expect(planSchema.parse(body).passes.map((pass) => pass.centre)).toEqual([0, -3, 3]);
  });

  it.each([
    ['{"frames": 9,', 400, 'malformed-request'],
    ['', 400, 'malformed-request'],
    ['[]', 400, 'malformed-request'],
    ['null', 400, 'malformed-request'],
    [{ frames: 9, step: 1, into: '/etc' }, 400, 'malformed-request'],
    [{ frames: 9, step: 1, __proto__: { base: '1/2' }, constructor: 1 }, 400, 'malformed-request'],
    [{ frames: 0, step: 1 }, 400, 'frames-out-of-range'],
    [{ frames: 1e300, step: 1 }, 400, 'frames-out-of-range'],
    [{ frames: 9, step: 0 }, 400, 'step-out-of-range'],
    [{ frames: 9, step: 0.5 }, 422, 'step-not-offered'],
    [{ frames: 9, step: 1, base: '1/8000' }, 422, 'outside-shutter-range'],
    [{ frames: 9, step: 1, base: 'x'.repeat(17_000) }, 413, 'too-large'],
  ])('%j: %s %s', async (written, status, code) => {
    for (const at of ['/api/plan', '/api/run']) {
      const answer = await ask('POST', at, written);
      expect([answer.status, codeOf(answer)]).toEqual([status, code]);
    }
    expect(events.state.run === null || ENDED.has(events.state.run.state)).toBe(true);
  });

  it('a form is no JSON', async () => {
    const answer = await ask('POST', '/api/run', 'frames=9&step=1', {
      'content-type': 'application/x-www-form-urlencoded',
    });
    expect([answer.status, codeOf(answer)]).toEqual([400, 'malformed-request']);
    const plain = await ask('POST', '/api/run', '{"frames":9,"step":1}', { 'content-type': 'text/plain' });
    expect([plain.status, codeOf(plain)]).toEqual([400, 'malformed-request']);
  });
});

describe('strangers', () => {
  const port = () => new URL(server.address).port;

  it.each(['evil.example', '127.0.0.1', '127.0.0.1:1', 'localhost.evil.example'])(
    'Host %s: refused on HTTP',
    async (host) => {
      const answer = await ask('POST', '/api/run', { frames: 9, step: 1 }, { host });
      expect([answer.status, codeOf(answer)]).toEqual([403, 'foreign-host']);
      expect((await ask('GET', '/', undefined, { host })).status).toBe(403);
    },
  );

  it.each(['http://evil.example', 'null', 'http://127.0.0.1:1', 'https://127.0.0.1'])(
    'Origin %s: refused on HTTP',
    async (origin) => {
      const answer = await ask('POST', '/api/run', { frames: 9, step: 1 }, { origin });
      expect([answer.status, codeOf(answer)]).toEqual([403, 'foreign-origin']);
    },
  );

  it('its own names and its own pages are none', async () => {
    for (const name of ['127.0.0.1', 'localhost', 'LOCALHOST']) {
      const host = `${name}:${port()}`;
      expect((await ask('GET', '/api/state', undefined, { host, origin: `http://${host}` })).status).toBe(
        200,
      );
    }
  });

  it.each([
    [{ origin: 'http://evil.example' }, 403],
    [{ origin: 'null' }, 403],
    [{ host: 'evil.example' }, 403],
  ])('an upgrade with %j: refused', async (headers, status) => {
    const socket = new WebSocket(`${server.address.replace('http', 'ws')}/api/stream`, { headers });
    const code = await new Promise((resolve) => {
      socket.on('unexpected-response', (_, answer) => resolve(answer.statusCode));
      socket.on('open', () => resolve('open'));
      socket.on('error', () => undefined);
    });
    socket.terminate();
    expect(code).toBe(status);
  });

  it('an upgrade elsewhere: not found', async () => {
    const socket = new WebSocket(`${server.address.replace('http', 'ws')}/api/other`);
    const code = await new Promise((resolve) => {
      socket.on('unexpected-response', (_, answer) => resolve(answer.statusCode));
      socket.on('error', () => undefined);
    });
    expect(code).toBe(404);
  });
});

describe('a run', () => {
  it('is fired, watched to its end, and its frames are seen', async () => {
    const watching = await watch();
    await watching.until((messages) => messages.length > 0);
    const started = await ask('POST', '/api/run', { frames: 3, step: 1 });
    expect(started.status).toBe(202);
    const { run } = started.body as { run: string };
    await watching.until(ended);
    const [first, ...rest] = watching.messages;
    if (first?.type !== 'state') throw new Error('The first message is the state.');
    const folded = rest.reduce<DaemonState>(
      (state, message) => (message.type === 'event' ? afterHappening(state, message.event.happening) : state),
      first.state,
    );
    expect(folded).toEqual(events.state);
    expect(folded.run?.frames.map((frame) => frame.state)).toEqual(['verified', 'verified', 'verified']);
    const picture = await ask('GET', `/api/run/${run}/frames/1/thumbnail`);
    expect(picture.status).toBe(200);
    for (const at of [
      `/api/run/${run}/frames/4/thumbnail`,
      `/api/run/${run}/frames/x/thumbnail`,
      '/api/run/other/frames/1/thumbnail',
    ]) {
      expect((await ask('GET', at)).status).toBe(404);
    }
  });

  it('one at a time; stop ends it', async () => {
    expect((await ask('POST', '/api/run', { frames: 9, step: 1 })).status).toBe(202);
    const second = await ask('POST', '/api/run', { frames: 9, step: 1 });
    expect([second.status, codeOf(second)]).toEqual([409, 'run-under-way']);
    const look = await ask('POST', '/api/body/look', {});
    expect([look.status, codeOf(look)]).toEqual([409, 'run-under-way']);
    expect((await ask('POST', '/api/run/stop', { now: true })).status).toBe(400);
    expect((await ask('POST', '/api/run/stop')).status).toBe(202);
    await station.settled();
    expect(events.state.run?.state).toBe('stopped');
    const again = await ask('POST', '/api/run/stop', {});
    expect([again.status, codeOf(again)]).toEqual([409, 'nothing-to-stop']);
  });

  it('two at the same moment: one is fired', async () => {
    const before = (await readdir(sets)).length;
    const answers = await Promise.all([1, 2, 3].map(() => ask('POST', '/api/run', { frames: 3, step: 1 })));
    expect(answers.map((answer) => answer.status).sort()).toEqual([202, 409, 409]);
    await station.settled();
    expect((await readdir(sets)).length).toBe(before + 1);
  });
});

describe('the stream', () => {
  it.each([
    ['not JSON'],
    [{ type: 'fire' }],
    [{ type: 'hello', after: -1 }],
    [{ type: 'hello', after: 1.5 }],
    [{ type: 'hello', frames: 9 }],
    [[]],
  ])('%j is answered with one clear sentence, and the watcher may try again', async (message) => {
    const watching = await watch(message);
    await watching.until((messages) => messages.length === 1);
    expect(watching.messages[0]).toMatchObject({ type: 'error', code: 'malformed-message' });
    watching.socket.send(JSON.stringify({ type: 'hello' }));
    await watching.until((messages) => messages.length === 2);
    expect(watching.messages[1]).toMatchObject({ type: 'state', epoch: events.epoch });
  });

  it('binary messages are none; nonsense without end is cut off; so is a huge message', async () => {
    const watching = await watch(null);
    watching.socket.send(Buffer.from('{"type":"hello"}'), { binary: true });
    await watching.until((messages) => messages.length === 1);
    expect(watching.messages[0]).toMatchObject({ type: 'error' });
    const closed = new Promise((resolve) => watching.socket.on('close', resolve));
    for (let times = 0; times < 10; times += 1) watching.socket.send('x');
    expect(await closed).toBe(1008);
    const huge = await watch(null);
    const cut = new Promise((resolve) => huge.socket.on('close', resolve));
    huge.socket.send('x'.repeat(100_000));
    expect(await cut).toBe(1009);
    expect((await ask('GET', '/api/state')).status).toBe(200);
  });

  it('whoever lost the network gets just what was missed; another epoch gets the whole state', async () => {
    const last = events.seq;
    events.tell({ type: 'body', body: events.state.body });
    events.tell({ type: 'body', body: events.state.body });
    const back = await watch({ type: 'hello', after: last, epoch: events.epoch });
    await back.until((messages) => messages.length === 2);
    expect(back.messages.map((message) => (message.type === 'event' ? message.event.seq : null))).toEqual([
      last + 1,
      last + 2,
    ]);
    for (const hello of [
      { type: 'hello', after: last, epoch: 'another' },
      { type: 'hello', after: last + 1000, epoch: events.epoch },
    ]) {
      const other = await watch(hello);
      await other.until((messages) => messages.length === 1);
      expect(other.messages[0]).toMatchObject({ type: 'state', seq: events.seq });
    }
  });
});

describe('clients that misbehave', () => {
  /** Sends raw bytes and hangs up at once, with a reset. */
  const sendAndReset = (bytes: string) =>
    new Promise<void>((resolve) => {
      const socket = net.connect(Number(new URL(server.address).port), '127.0.0.1', () => {
        socket.write(bytes, () => {
          socket.resetAndDestroy();
          resolve();
        });
      });
      socket.on('error', () => undefined);
    });

  it('upgrades that are refused and reset do not take the daemon along', async () => {
    const upgrade = [
      'GET /api/stream HTTP/1.1',
      `Host: ${new URL(server.address).host}`,
      'Origin: http://evil.example',
      'Connection: Upgrade',
      'Upgrade: websocket',
      'Sec-WebSocket-Version: 13',
      'Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==',
      '',
      '',
    ].join('\r\n');
    for (let times = 0; times < 200; times += 1) await sendAndReset(upgrade);
    expect((await ask('GET', '/api/state')).status).toBe(200);
  });

  it('a broken address is answered in our own words', async () => {
    const answer = await ask('GET', '/%zz');
    expect([answer.status, codeOf(answer)]).toEqual([400, 'malformed-request']);
  });

  it('every answer keeps strangers from framing the panel', async () => {
    const { headers } = await fetch(server.address);
    expect(headers.get('content-security-policy')).toContain("frame-ancestors 'none'");
  });

  it('a request that is never finished does not keep the server from closing', PACED, async () => {
    const second = await startServer({
      station,
      events,
      log: pino({ level: 'silent' }),
      panel: folder,
      notes: folder,
      port: 0,
    });
    const { port, host } = new URL(second.address);
    const socket = net.connect(Number(port), '127.0.0.1');
    socket.on('error', () => undefined);
    socket.write(
      `POST /api/plan HTTP/1.1\r\nHost: ${host}\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n{`,
    );
    const silent = new WebSocket(`${second.address.replace('http', 'ws')}/api/stream`);
    watchers.push(silent);
    await new Promise((resolve) => silent.on('open', resolve));
    silent.pause();
    const began = performance.now();
    await second.close();
    pace('the server closes', performance.now() - began, 'ms', 3000);
    socket.destroy();
  });
});

describe('a station', () => {
  const another = () =>
    stationOfProcess(folder, { EVENRUNG_PRACTICE_TIMING: 'at-once' }, { choice: 'practice' }).station;

  it('that is closed while a run begins fires nothing', async () => {
    const other = another();
    await other.look();
    const before = (await readdir(sets)).length;
    const starting = other.start({ frames: 9, step: 1 }).catch((cause: unknown) => cause);
    await other.close();
    expect(await starting).toMatchObject({ code: 'ending' });
    expect((await readdir(sets)).length).toBe(before);
    await expect(other.start({ frames: 9, step: 1 })).rejects.toMatchObject({ code: 'ending' });
    expect(() => other.look()).toThrow(expect.objectContaining({ code: 'ending' }));
  });

  it('does not fire while it looks, nor look while a run begins', async () => {
    const other = another();
    await other.look();
    const looking = other.look();
    await expect(other.start({ frames: 3, step: 1 })).rejects.toMatchObject({ code: 'no-body' });
    await looking;
    const starting = other.start({ frames: 3, step: 1 });
    expect(() => other.look()).toThrow(expect.objectContaining({ code: 'run-under-way' }));
    await starting;
    await other.settled();
    await other.close();
  });
});

describe('the port', () => {
  it('in use: one clear sentence', async () => {
    const port = Number(new URL(server.address).port);
    const second = startServer({
      station,
      events,
      log: pino({ level: 'silent' }),
      panel: folder,
      notes: folder,
      port,
    });
    await expect(second).rejects.toMatchObject({
      code: 'port-in-use',
      message: expect.stringContaining(`Port ${port} is in use`),
    });
    expect((await ask('GET', '/api/state')).status).toBe(200);
  });
});
