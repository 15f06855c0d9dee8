// The table of attacks: what somebody could try at the doors, each tried here on loopback, its outcome printed. Whatever is tried,
// nothing fires, nothing private is read, nothing crashes, and memory returns to where it was.
import { readFile } from 'node:fs/promises';
import type net from 'node:net';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { afterAll, beforeAll, beforeEach, expect, it } from 'vitest';
import { WebSocket } from 'ws';
import { daemonStateSchema } from '../../shared/state.js';
import { API_ROUTES } from '../../src/server/routes.js';
import { IS_JUDGED, PACED, pace } from '../pace.js';
import {
  type Answer,
  type Asked,
  type Doors,
  IS_PRIVATE,
  memory,
  NAME,
  openDoors,
  PRIVATE,
  type Which,
} from '../two-doors.js';

const FIRE = { frames: 3, step: 1 };
const MOST_MB = 50;
const NOT_MEASURED = { heldMb: 0, residentMb: 0 };

/** Whatever fires or changes. */
const CHANGES = [
  ['POST', '/api/run', FIRE],
  ['POST', '/api/run/stop', {}],
  ['POST', '/api/sound', { step: 1 }],
  ['POST', '/api/sound/stop', {}],
  ['POST', '/api/sound/put-away', {}],
  ['POST', '/api/run/hold', {}],
  ['POST', '/api/run/go-on', {}],
  ['POST', '/api/run/resume', {}],
  ['POST', '/api/run/end', {}],
  ['POST', '/api/plan', FIRE],
  ['POST', '/api/schedule', { ...FIRE, schedule: { everySeconds: 600, count: 2 } }],
  ['PUT', '/api/asked', FIRE],
  ['POST', '/api/body/look', {}],
  ['POST', '/api/body/check', {}],
  ['POST', '/api/body/clock', {}],
  ['POST', '/api/body/tick', { code: 'stabiliser', isSo: true }],
  ['PATCH', '/api/sets/x', { name: 'x' }],
  ['POST', '/api/sets/x/again', { frames: [1] }],
  ['POST', '/api/sets/x/complete', {}],
  ['POST', '/api/sets/x/extend', {}],
  ['POST', '/api/sets/x/fetch', {}],
] as const;
const READS = [
  '/api/state',
  '/api/sets',
  '/api/sets/x',
  '/api/sets/x/contact-sheet',
  '/api/sets/x/frames/1/file',
  '/api/run/x/frames/1/thumbnail',
  '/api/sound/x/frames/1/thumbnail',
  '/api/me',
] as const;
const FOR_HERE_ONLY = [
  ['GET', '/api/devices', undefined],
  ['POST', '/api/devices/pairing', { role: 'fire' }],
  ['DELETE', '/api/devices/0b7e1a54-8f5c-4a53-9b3c-0f6a1f6f2f11', undefined],
] as const;

let doors: Doors;
let fires = '';
let watches = '';
const table: [string, string][] = [];
const crashes: unknown[] = [];
const note = (cause: unknown) => void crashes.push(cause);

beforeAll(async () => {
  process.on('unhandledRejection', note);
  process.on('uncaughtException', note);
  doors = await openDoors();
  fires = await doors.pair('fire', "phone's owner");
  watches = await doors.pair('watch', 'the tablet');
  // What is loaded once, and stays, is loaded now.
  await doors.ask('network', 'POST', '/api/plan', { body: FIRE, cookie: fires });
  const socket = await doors.watch('network', { cookie: fires });
  if (typeof socket !== 'number') socket.terminate();
});
afterAll(async () => {
  await doors.close();
  process.off('unhandledRejection', note);
  process.off('uncaughtException', note);
  const width = Math.max(...table.map(([what]) => what.length));
  console.log(['', ...table.map(([what, outcome]) => `${what.padEnd(width)}  ${outcome}`)].join('\n'));
});
// A burst of one attack is not to be what refuses the next one.
beforeEach(() => pause(400));

/** @param strike tries it, and returns what came of it in a few words */
function attack(what: string, strike: () => Promise<string>, timeout = 60_000): void {
  it(what, { tags: PACED.tags, timeout }, async () => {
    const released = doors.released();
    const before = IS_JUDGED ? await memory() : NOT_MEASURED;
    const outcome = await strike();
    await doors.station.settled();
    expect(doors.released()).toBe(released);
    expect(crashes).toEqual([]);
    await lives();
    table.push([what, outcome]);
    if (!IS_JUDGED) return;
    const after = await settledBelow(before.residentMb + MOST_MB);
    pace(`held after ${what}`, after.heldMb - before.heldMb, 'MB', MOST_MB);
    pace(`resident after ${what}`, after.residentMb - before.residentMb, 'MB', MOST_MB);
  });
}

/** What hangs on sockets that are just closing takes a moment to go. */
async function settledBelow(mb: number) {
  let found = await memory();
  for (let look = 0; look < 10 && found.residentMb > mb; look += 1) found = await memory();
  return found;
}

/** Both doors still answer those who may ask. */
async function lives(): Promise<void> {
  const deadline = performance.now() + 50_000;
  for (;;) {
    const here = await doors.ask('here', 'GET', '/api/state').catch(() => null);
    const there = await doors.ask('network', 'GET', '/api/state', { cookie: fires }).catch(() => null);
    if (here?.status === 200 && there?.status === 200) {
      const { state } = JSON.parse(there.text) as { state: unknown };
      expect(daemonStateSchema.parse(state).run).toBeNull();
      return;
    }
    // Who has asked for too much waits; nothing else is a reason.
    expect([here?.status, there?.status].filter((status) => status !== 200 && status !== 429)).toEqual([]);
    expect(performance.now()).toBeLessThan(deadline);
    await pause(500);
  }
}

/** @returns each outcome once, with how often it came */
function outcomes(answers: readonly (string | number | null)[]): string {
  const counts = new Map<string, number>();
  for (const answer of answers) counts.set(String(answer), (counts.get(String(answer)) ?? 0) + 1);
  return [...counts].map(([answer, count]) => (count === 1 ? answer : `${count} x ${answer}`)).join(', ');
}

const words = ({ status, code }: Answer): string => (code === null ? String(status) : `${status} ${code}`);

/** Nothing private may stand in an answer to those who may not read. */
function withoutPrivate(answer: Answer): Answer {
  expect(answer.text).not.toMatch(IS_PRIVATE);
  return answer;
}

async function refused(which: Which, tries: readonly (readonly [string, string, unknown])[], asked: Asked) {
  const answers: Answer[] = [];
  for (const [method, at, body] of tries) {
    const sent = body === undefined ? {} : { body: body as object };
    answers.push(withoutPrivate(await doors.ask(which, method, at, { ...sent, ...asked })));
  }
  return answers;
}

const reads = READS.map((at) => ['GET', at, undefined] as const);

async function stranger(cookie: string | undefined): Promise<string> {
  const answers = await refused('network', [...CHANGES, ...reads, ...FOR_HERE_ONLY], { cookie });
  const socket = await doors.watch('network', cookie === undefined ? {} : { cookie });
  expect(socket).toBe(401);
  const all = outcomes([...answers.map(words), 'upgrade 401']);
  expect(all).toBe(`${answers.length} x 401 not-paired, upgrade 401`);
  return all;
}

attack('no cookie', () => stranger(undefined));

attack('old cookie: the device was dropped, its socket open', async () => {
  const cookie = await doors.pair('fire', 'lost phone');
  const socket = await doors.watch('network', { cookie });
  if (typeof socket === 'number') throw new Error(`Not let in: ${socket}`);
  const closed = new Promise((resolve) => socket.on('close', resolve));
  const { devices } = JSON.parse((await doors.ask('here', 'GET', '/api/devices')).text) as {
    devices: { id: string; name: string }[];
  };
  const id = devices.find(({ name }) => name === 'lost phone')?.id ?? '';
  const began = performance.now();
  expect((await doors.ask('here', 'DELETE', `/api/devices/${id}`)).status).toBe(200);
  await closed;
  pace('the socket of a dropped device is closed', performance.now() - began, 'ms', 1000);
  return `${await stranger(cookie)}, socket closed`;
});

attack(
  "other device's cookie: ids and secrets of two mixed, what the list on disk holds, another door's name",
  async () => {
    const [name = '', held = ''] = fires.split('=');
    const [id = ''] = held.split('.');
    const [, viewer = ''] = (watches.split('=')[1] ?? '').split('.');
    const kept = JSON.parse(await readFile(path.join(doors.state, 'devices.json'), 'utf8')) as {
      devices: { id: string; proof: string }[];
    };
    const proof = kept.devices.find((device) => device.id === id)?.proof ?? '';
    const cookies = [
      `${name}=${id}.${viewer}`,
      `${name}=${id}.${proof}`,
      `${name}=${id}`,
      `${name}=`,
      `evenrung=${held}`,
      `${fires}; ${watches}`,
      `${name}="${held}"`,
      `${name}=${held}%00`,
      `${name}=${'A'.repeat(4000)}`,
    ];
    const answers = await Promise.all(
      cookies.map((cookie) => doors.ask('network', 'POST', '/api/run', { body: FIRE, cookie })),
    );
    const all = outcomes(answers.map((answer) => words(withoutPrivate(answer))));
    expect(all).toBe(`${cookies.length} x 401 not-paired`);
    return all;
  },
);

attack('viewer firing, changing, and asking for what is done at the laptop', async () => {
  const changes = await refused('network', CHANGES, { cookie: watches });
  const here = await refused('network', FOR_HERE_ONLY, { cookie: watches });
  expect(outcomes(changes.map(words))).toBe(`${CHANGES.length} x 403 watch-only`);
  expect(outcomes(here.map(words))).toBe(`${FOR_HERE_ONLY.length} x 403 only-here`);
  // Looking on is what it may.
  expect((await doors.ask('network', 'GET', '/api/state', { cookie: watches })).status).toBe(200);
  const byPhone = await refused('network', FOR_HERE_ONLY, { cookie: fires });
  expect(outcomes(byPhone.map(words))).toBe(`${FOR_HERE_ONLY.length} x 403 only-here`);
  return outcomes([...changes, ...here, ...byPhone].map(words));
});

attack('a message on the stream that fires', async () => {
  const socket = await doors.watch('network', { cookie: fires });
  if (typeof socket === 'number') throw new Error(`Not let in: ${socket}`);
  const told: string[] = [];
  socket.on('message', (data) => told.push((JSON.parse(data.toString()) as { type: string }).type));
  for (const message of [
    { type: 'fire', ...FIRE },
    { type: 'run', ...FIRE },
    { type: 'hello', run: FIRE },
  ])
    socket.send(JSON.stringify(message));
  await expect.poll(() => told.length).toBe(3);
  socket.terminate();
  expect(outcomes(told)).toBe('3 x error');
  return outcomes(told);
});

const pairing = (secret: string, name = 'x') =>
  doors.ask('network', 'POST', '/api/pair', { body: { secret, name } });

/** @returns the answer once it is heard */
async function patiently(secret: string): Promise<Answer> {
  for (;;) {
    const answer = await pairing(secret);
    if (answer.code !== 'too-many-tries') return answer;
    const { error } = JSON.parse(answer.text) as { error: { waitSeconds: number } };
    doors.later(error.waitSeconds);
  }
}

attack('guessed secret, 300 at once', async () => {
  const secret = await doors.secret();
  const guesses = await Promise.all([...Array(300)].map((_, n) => pairing(`${secret.slice(0, -2)}${n}`)));
  const all = outcomes(guesses.map((answer) => words(withoutPrivate(answer))));
  // One is heard, and nobody else for a second.
  expect(all).toBe('403 pairing-refused, 299 x 429 too-many-tries');
  // The right one waits as well, and then is still good.
  expect((await pairing(secret)).code).toBe('too-many-tries');
  doors.later(1);
  expect((await pairing(secret)).status).toBe(200);
  expect(words(await patiently(secret))).toBe('403 pairing-refused');
  return all;
});

attack('guessed secret, again and again for 10 minutes', async () => {
  const secret = await doors.secret();
  let heard = 0;
  for (let second = 0; second < 600; second += 10) {
    const { code } = await pairing(`${secret.slice(0, -2)}${second}`);
    if (code === 'pairing-refused') heard += 1;
    else expect(code).toBe('too-many-tries');
    doors.later(10);
  }
  // After each the next one waits longer, half a minute in the end.
  expect(heard).toBeGreaterThan(15);
  expect(heard).toBeLessThan(30);
  expect(words(await patiently(secret))).toBe('403 pairing-refused');
  return `${heard} of 60 heard, and the code is good for nothing any more`;
});

attack('secret used twice: one after the other, and five at once', async () => {
  // After the attack before nobody is heard at once.
  doors.later(30);
  const secret = await doors.secret('watch');
  const answers = await Promise.all([1, 2, 3, 4, 5].map((n) => pairing(secret, `phone ${n}`)));
  expect(answers.filter(({ status }) => status === 200)).toHaveLength(1);
  expect(answers.filter(({ headers }) => headers['set-cookie'] !== undefined)).toHaveLength(1);
  const later = await patiently(secret);
  expect(words(later)).toBe('403 pairing-refused');
  return outcomes([...answers, later].map(words));
});

attack('wrong Host (a name that was made to point here), on both doors', async () => {
  const answers: string[] = [];
  const hosts = [
    'evil.example',
    `evil.example:${doors.port.network}`,
    NAME,
    `${NAME}.evil.example:${doors.port.network}`,
  ];
  for (const host of hosts) {
    for (const which of ['here', 'network'] as const) {
      for (const at of ['/', '/api/state', '/api/health']) {
        const answer = await doors.ask(which, 'GET', at, { headers: { host }, cookie: fires });
        answers.push(words(withoutPrivate(answer)));
      }
      answers.push(
        words(await doors.ask(which, 'POST', '/api/run', { body: FIRE, headers: { host }, cookie: fires })),
      );
      answers.push(`upgrade ${String(await doors.watch(which, { host, cookie: fires }))}`);
    }
  }
  // The name of one door is none of the other.
  answers.push(
    words(await doors.ask('here', 'POST', '/api/run', { body: FIRE, headers: { host: doors.host.network } })),
  );
  const all = outcomes(answers);
  expect(all).toBe(`${hosts.length * 2 * 4 + 1} x 403 foreign-host, ${hosts.length * 2} x upgrade 403`);
  return all;
});

attack('foreign Origin over HTTP and WebSocket, with a good cookie', async () => {
  const answers: string[] = [];
  const origins = ['https://evil.example', 'null', `http://${doors.host.network}`, `https://${NAME}`, ''];
  for (const origin of origins) {
    for (const which of ['here', 'network'] as const) {
      const asked = { body: FIRE, headers: { origin }, cookie: fires };
      answers.push(words(withoutPrivate(await doors.ask(which, 'POST', '/api/run', asked))));
      answers.push(
        words(withoutPrivate(await doors.ask(which, 'GET', '/api/state', { headers: { origin } }))),
      );
      answers.push(`upgrade ${String(await doors.watch(which, { origin, cookie: fires }))}`);
    }
  }
  const all = outcomes(answers);
  expect(all).toBe(`${origins.length * 4} x 403 foreign-origin, ${origins.length * 2} x upgrade 403`);
  return all;
});

attack('a page elsewhere that draws its pictures in', async () => {
  const answers: string[] = [];
  for (const which of ['here', 'network'] as const) {
    for (const site of ['cross-site', 'same-site']) {
      const headers = { 'sec-fetch-site': site, 'sec-fetch-mode': 'no-cors', 'sec-fetch-dest': 'image' };
      answers.push(
        words(withoutPrivate(await doors.ask(which, 'GET', '/api/sets', { headers, cookie: fires }))),
      );
    }
  }
  const all = outcomes(answers);
  expect(all).toBe('4 x 403 foreign-origin');
  const own = await doors.ask('here', 'GET', '/api/state');
  expect([own.headers['cross-origin-resource-policy'], own.headers['access-control-allow-origin']]).toEqual([
    'same-origin',
    undefined,
  ]);
  return all;
});

attack('form post from another site, with and without its Origin', async () => {
  const forms: [string, string][] = [
    ['application/x-www-form-urlencoded', 'frames=3&step=1'],
    ['text/plain', JSON.stringify(FIRE)],
    [
      'multipart/form-data; boundary=b',
      '--b\r\nContent-Disposition: form-data; name="frames"\r\n\r\n3\r\n--b--\r\n',
    ],
  ];
  const [foreign, unnamed]: [string[], string[]] = [[], []];
  for (const which of ['here', 'network'] as const) {
    for (const [type, body] of forms) {
      for (const at of ['/api/run', '/api/run/stop', '/api/devices/pairing']) {
        const headers = { 'content-type': type };
        const origin = 'https://evil.example';
        const asked = { body, cookie: fires };
        foreign.push(
          words(await doors.ask(which, 'POST', at, { ...asked, headers: { ...headers, origin } })),
        );
        const answer = await doors.ask(which, 'POST', at, { ...asked, headers });
        expect(answer.status).toBeGreaterThanOrEqual(400);
        unnamed.push(words(withoutPrivate(answer)));
      }
    }
  }
  expect(outcomes(foreign)).toBe('18 x 403 foreign-origin');
  expect(outcomes(unnamed)).toBe('15 x 400 malformed-request, 3 x 403 only-here');
  return outcomes([...foreign, ...unnamed]);
});

attack(
  'path tricks: encoded, double-encoded, absolute, NUL, backslashes',
  async () => {
    const file = 'private.txt';
    const absolute = path.join(doors.state, file);
    const paths = [
      `/../${file}`,
      `/..%2f${file}`,
      `/%2e%2e/${file}`,
      `/%2e%2e%2f${file}`,
      `/%252e%252e%252f${file}`,
      `/..%252f${file}`,
      `/..%5c${file}`,
      `/..\\${file}`,
      `/%c0%ae%c0%ae/${file}`,
      `/%uff0e%uff0e/${file}`,
      `/....//${file}`,
      `/./../${file}`,
      `/index.html/../../${file}`,
      `/${encodeURIComponent(absolute)}`,
      `//${absolute}`,
      absolute,
      `/file://${absolute}`,
      `/index.html%00/../../${file}`,
      `/..%00/${file}`,
      `/notes/../../${file}`,
      `/notes/..%2f..%2f${file}`,
      `/notes/hardware-notes/%2e%2e/%2e%2e/${file}`,
      '/api/sets/..%2f..%2fstate/frames/1/file',
      '/api/sets/%2e%2e/contact-sheet',
      `/api/run/..%2f..%2f${file}/frames/1/thumbnail`,
      `http://evil.example/../${file}`,
      `https://${NAME}/../${file}`,
      '/%61pi/state',
      '/api%2fstate',
      '/API/state',
      '/api//state',
      '//api/state',
      '/api/state/',
      '/api/./state',
      '/x/../api/state',
      '/api/state;x=1',
      '/api/state%00',
      '/api/state%20',
      '/devices.json',
      '/../state/devices.json',
      '/..%2fstate%2ftls%2fkey.pem',
    ];
    const answers: string[] = [];
    // A stranger at one door, whoever may fire at the other: neither reads a file.
    for (const at of paths) {
      for (const which of ['here', 'network'] as const) {
        const text = await doors.raw(
          which,
          `GET ${at} HTTP/1.1\r\nHost: ${doors.host[which]}\r\nConnection: close\r\n\r\n`,
        );
        expect([at, text]).not.toEqual([at, expect.stringMatching(PRIVATE)]);
        if (which === 'network') expect([at, text]).not.toEqual([at, expect.stringMatching(IS_PRIVATE)]);
        const status = /^HTTP\/1\.1 (\d{3})/.exec(text)?.[1] ?? 'hung up';
        // `/api/state` written otherwise is the state, and may be read at this computer.
        if (status === '200') expect([which, /"epoch"|<title>panel/.test(text)]).toEqual(['here', true]);
        answers.push(status);
      }
    }
    expect(answers.filter((answer) => answer === 'hung up')).toEqual([]);
    return outcomes(answers);
  },
  120_000,
);

/** Sends until it is hung up on. @returns bytes that were sent */
async function pour(socket: net.Socket, head: string, part: Buffer, mostBytes: number): Promise<number> {
  let sent = 0;
  let isOver = false;
  const over = new Promise<void>((resolve) => {
    socket.on('close', () => {
      isOver = true;
      resolve();
    });
  });
  socket.resume();
  socket.write(head);
  while (!isOver && sent < mostBytes) {
    sent += part.length;
    if (!socket.write(part))
      await Promise.race([over, new Promise((resolve) => socket.once('drain', resolve))]);
  }
  socket.end();
  await Promise.race([over, pause(20_000)]);
  socket.destroy();
  return sent;
}

attack(
  'a body of 100 MB, by a stranger and by a paired phone, with its length and in chunks',
  async () => {
    const most = 100 * 2 ** 20;
    const block = Buffer.alloc(64 * 1024, 'x');
    const chunk = Buffer.concat([
      Buffer.from(`${block.length.toString(16)}\r\n`),
      block,
      Buffer.from('\r\n'),
    ]);
    const taken: string[] = [];
    for (const [which, cookie] of [
      ['here', ''],
      ['network', ''],
      ['network', `Cookie: ${fires}\r\n`],
    ] as const) {
      const head = `POST /api/run HTTP/1.1\r\nHost: ${doors.host[which]}\r\n${cookie}Content-Type: application/json\r\n`;
      const whole = await pour(
        await doors.connect(which),
        `${head}Content-Length: ${most}\r\n\r\n`,
        block,
        most,
      );
      const parts = await pour(
        await doors.connect(which),
        `${head}Transfer-Encoding: chunked\r\n\r\n`,
        chunk,
        most,
      );
      for (const bytes of [whole, parts]) {
        expect(bytes).toBeLessThan(most / 4);
        taken.push(`hung up after ${(bytes / 2 ** 20).toFixed(1)} MB`);
      }
    }
    return outcomes(taken);
  },
  120_000,
);

attack('slow headers: 30 connections that never finish, at each door', async () => {
  const began = performance.now();
  const closedAfter: number[] = [];
  await Promise.all(
    (['here', 'network'] as const).flatMap((which) =>
      [...Array(30)].map(async () => {
        const socket = await doors.connect(which);
        socket.resume();
        socket.write(`GET /api/state HTTP/1.1\r\nHost: ${doors.host[which]}\r\n`);
        const drip = setInterval(() => socket.write('x-a: b\r\n'), 500);
        await new Promise((resolve) => socket.on('close', resolve));
        clearInterval(drip);
        closedAfter.push((performance.now() - began) / 1000);
      }),
    ),
  );
  expect(closedAfter).toHaveLength(60);
  pace('connections that never finish are hung up on', Math.max(...closedAfter), 's', 15);
  return `60 x hung up, the last after ${Math.max(...closedAfter).toFixed(1)} s`;
});

attack('slow bodies, and connections that say nothing of TLS', async () => {
  const began = performance.now();
  const sockets = await Promise.all([...Array(20)].map(() => doors.connect('network')));
  const closed = sockets.map(async (socket) => {
    socket.resume();
    socket.write(
      `POST /api/plan HTTP/1.1\r\nHost: ${doors.host.network}\r\nCookie: ${fires}\r\nContent-Type: application/json\r\nContent-Length: 9000\r\n\r\n{`,
    );
    const drip = setInterval(() => socket.write(' '), 500);
    await new Promise((resolve) => socket.on('close', resolve));
    clearInterval(drip);
  });
  const { default: plain } = await import('node:net');
  const silent = [...Array(20)].map(
    () =>
      new Promise((resolve) => {
        const socket = plain.connect(doors.port.network, '127.0.0.1');
        socket.on('error', () => undefined);
        socket.on('close', resolve);
        socket.resume();
      }),
  );
  await Promise.all([...closed, ...silent]);
  const seconds = (performance.now() - began) / 1000;
  pace('slow bodies are hung up on', seconds, 's', 30);
  return `40 x hung up, the last after ${seconds.toFixed(1)} s`;
});

/** @returns the close code of a socket that is flooded, and how much of the flood it took */
async function flood(
  count: number,
  send: (socket: WebSocket) => void,
): Promise<{ code: number; sent: number }> {
  const socket = await doors.watch('network', { cookie: watches });
  if (typeof socket === 'number') throw new Error(`Not let in: ${socket}`);
  const closed = new Promise<number>((resolve) => socket.on('close', resolve));
  socket.send(JSON.stringify({ type: 'hello' }));
  let sent = 0;
  while (sent < count && socket.readyState === WebSocket.OPEN) {
    for (
      let some = 0;
      some < 500 && sent < count && socket.readyState === WebSocket.OPEN;
      some += 1, sent += 1
    )
      send(socket);
    await new Promise((resolve) => setImmediate(resolve));
  }
  return { code: await closed, sent };
}

attack('100,000 tiny messages', async () => {
  const { code, sent } = await flood(100_000, (socket) => socket.send('0'));
  expect(code).toBe(1008);
  return `closed with ${code}; ${sent} were sent by then`;
});

attack('100,000 pings whose answers are not read, and as many empty fragments', async () => {
  const pings = await flood(100_000, (socket) => socket.ping('x'.repeat(120)));
  const fragments = await flood(100_000, (socket) => socket.send('', { fin: false }));
  expect([pings.code, fragments.code].every((code) => code >= 1006)).toBe(true);
  return `closed with ${pings.code} and ${fragments.code}; ${pings.sent} and ${fragments.sent} were sent by then`;
});

/** Sends bodies to what reads JSON, as one who may fire. @returns each outcome */
async function bodies(which: Which, written: readonly string[]): Promise<string[]> {
  const answers: string[] = [];
  for (const at of ['/api/run', '/api/schedule', '/api/body/tick', '/api/body/look', '/api/pair']) {
    for (const body of written) {
      const answer = await doors.ask(which, 'POST', at, { body, cookie: fires });
      expect([at, body.slice(0, 80), answer.status >= 400 && answer.status < 500]).toEqual([
        at,
        body.slice(0, 80),
        true,
      ]);
      answers.push(words(answer));
    }
  }
  return answers;
}

/** Sends messages on the stream. @returns each outcome */
async function messages(written: readonly (string | Buffer)[], binary = false): Promise<string[]> {
  const told: string[] = [];
  for (const message of written) {
    const socket = await doors.watch('network', { cookie: fires });
    if (typeof socket === 'number') throw new Error(`Not let in: ${socket}`);
    const outcome = new Promise<string>((resolve) => {
      socket.on('message', (data) => resolve(JSON.parse(data.toString()).code as string));
      socket.on('close', (code) => resolve(`closed with ${code}`));
    });
    socket.send(message, { binary });
    told.push(await outcome);
    socket.terminate();
  }
  return told;
}

attack('deeply nested JSON', async () => {
  const deep = (open: string, close: string, depth: number) => `${open.repeat(depth)}1${close.repeat(depth)}`;
  const written = [
    deep('[', ']', 7000),
    deep('{"a":', '}', 2500),
    '['.repeat(16_000),
    '{"frames":'.repeat(1500),
  ];
  const answers = await bodies('network', written);
  const told = await messages([deep('[', ']', 2000), deep('{"type":', '}', 400), '['.repeat(4000)]);
  expect(outcomes(told)).toBe('3 x malformed-message');
  return outcomes([...answers, ...told]);
});

attack('prototype keys', async () => {
  const written = [
    '{"frames":3,"step":1,"__proto__":{"isAdmin":true,"role":"fire"}}',
    '{"frames":3,"step":1,"constructor":{"prototype":{"role":"fire"}}}',
    '{"__proto__":{"frames":3,"step":1}}',
    '{"\\u005f_proto__":{"frames":3,"step":1}}',
    '{"frames":3,"step":1,"toString":1,"hasOwnProperty":1}',
    '{"secret":"x","name":"x","__proto__":{"role":"fire"}}',
  ];
  const answers = await bodies('network', written);
  const told = await messages([
    '{"type":"hello","__proto__":{"after":1}}',
    '{"type":"__proto__"}',
    '{"type":"hello","constructor":{"prototype":{"x":1}}}',
  ]);
  expect(({} as { role?: unknown }).role).toBeUndefined();
  return outcomes([...answers, ...told]);
});

attack('huge numbers', async () => {
  const written = [
    '{"frames":1e400,"step":1}',
    '{"frames":9007199254740993,"step":1}',
    '{"frames":-1e308,"step":1}',
    '{"frames":3,"step":1e308}',
    '{"frames":3,"step":"1e999999999"}',
    `{"frames":3,"step":"1/${'9'.repeat(400)}"}`,
    `{"frames":${'9'.repeat(4000)},"step":1}`,
    '{"frames":3,"step":1,"base":"1e308"}',
    '{"frames":3,"step":1,"settle":1e300}',
    '{"frames":3,"step":1,"every":1e300,"count":1e300}',
  ];
  const answers = await bodies('network', written);
  const told = await messages([
    '{"type":"hello","after":1e400}',
    `{"type":"hello","after":${'9'.repeat(3000)}}`,
  ]);
  return outcomes([...answers, ...told]);
});

attack('binary frames, and invalid UTF-8', async () => {
  const hello = Buffer.from('{"type":"hello"}');
  const broken = Buffer.concat([
    Buffer.from('{"type":"'),
    Buffer.from([0xff, 0xfe, 0xc0, 0xaf, 0xed, 0xa0, 0x80]),
    Buffer.from('"}'),
  ]);
  const binary = await messages([hello, broken, Buffer.alloc(4000)], true);
  const text = await messages([broken, Buffer.from([0xc3])]);
  expect(outcomes(binary)).toBe('3 x malformed-message');
  expect(outcomes(text)).toBe('2 x closed with 1007');
  const body = Buffer.concat([
    Buffer.from('{"frames":3,"step":1,"name":"'),
    Buffer.from([0xc0, 0x80, 0xff]),
    Buffer.from('","x":1}'),
  ]);
  const posted = await doors.ask('network', 'POST', '/api/run', { body, cookie: fires });
  expect(words(posted)).toBe('400 malformed-request');
  const name = Buffer.concat([
    Buffer.from('{"secret":"x","name":"'),
    Buffer.from([0x1b, 0x5b, 0xff]),
    Buffer.from('"}'),
  ]);
  expect(words(await doors.ask('network', 'POST', '/api/pair', { body: name }))).toBe(
    '400 malformed-request',
  );
  const cookie = Buffer.from([0xff, 0xfe]).toString('latin1');
  const odd = await doors.ask('network', 'GET', '/api/state', { cookie: `__Host-evenrung=${cookie}` });
  expect(odd.status).toBe(401);
  return outcomes([...binary, ...text, words(posted), words(odd)]);
});

attack('heads that are too large, split, doubled or smuggled', async () => {
  const host = `Host: ${doors.host.network}`;
  const fireBody = JSON.stringify(FIRE);
  const heads = [
    `GET / HTTP/1.1\r\n${host}\r\nx: ${'a'.repeat(20_000)}\r\n\r\n`,
    `GET /${'a'.repeat(20_000)} HTTP/1.1\r\n${host}\r\n\r\n`,
    `GET / HTTP/1.1\r\n${host}\r\n${'a: b\r\n'.repeat(3000)}\r\n`,
    `GET /api/state HTTP/1.1\r\n${host}\r\nHost: evil.example\r\n\r\n`,
    'GET /api/state HTTP/1.1\r\n\r\n',
    'GET /api/state HTTP/1.0\r\n\r\n',
    `POST /api/health HTTP/1.1\r\n${host}\r\nContent-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\nPOST /api/run HTTP/1.1\r\n${host}\r\nContent-Type: application/json\r\nContent-Length: ${fireBody.length}\r\n\r\n${fireBody}`,
    `GET /api/health HTTP/1.1\r\n${host}\r\n\r\nGET /api/state HTTP/1.1\r\n${host}\r\n\r\n`,
    'GET / HTTP/2.0\r\n\r\n',
    'PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n',
    'CONNECT evil.example:443 HTTP/1.1\r\nHost: evil.example:443\r\n\r\n',
    `TRACE /api/state HTTP/1.1\r\n${host}\r\nCookie: ${fires}\r\n\r\n`,
    `OPTIONS /api/run HTTP/1.1\r\n${host}\r\nOrigin: https://evil.example\r\nAccess-Control-Request-Method: POST\r\n\r\n`,
    '\u0000\u0001\u0002',
    '\r\n\r\n\r\n',
  ];
  const answers: string[] = [];
  for (const head of heads) {
    const text = await doors.raw('network', head);
    expect([head.slice(0, 60), text]).not.toEqual([head.slice(0, 60), expect.stringMatching(IS_PRIVATE)]);
    expect(text).not.toContain('access-control-allow');
    answers.push(
      [...text.matchAll(/HTTP\/1\.1 (\d{3})/g)].map(([, status]) => status).join('+') || 'hung up',
    );
  }
  return outcomes(answers);
});

attack(
  'upgrade flood: 500 by strangers, 500 by a paired phone',
  async () => {
    const strangers = await Promise.all(
      [...Array(500)].map(() => doors.watch('network').catch(() => 'hung up' as const)),
    );
    await pause(4000);
    const paired = await Promise.all(
      [...Array(500)].map(() => doors.watch('network', { cookie: watches }).catch(() => 'hung up' as const)),
    );
    const open = paired.filter((socket) => socket instanceof WebSocket);
    expect(strangers.some((socket) => socket instanceof WebSocket)).toBe(false);
    expect(open.length).toBeLessThanOrEqual(256);
    // Whoever sits at the laptop is not kept out meanwhile.
    expect((await doors.ask('here', 'GET', '/api/state')).status).toBe(200);
    for (const socket of open) socket.terminate();
    const said = (all: readonly (WebSocket | number | string)[]) =>
      outcomes(all.map((one) => (one instanceof WebSocket ? 'let in' : one)));
    return `strangers: ${said(strangers)}; paired: ${said(paired)}`;
  },
  120_000,
);

attack(
  'requests without pause',
  async () => {
    const one = `GET /api/health HTTP/1.1\r\nHost: ${doors.host.network}\r\n\r\n`;
    const began = performance.now();
    const texts = await Promise.all([1, 2, 3].map(() => doors.raw('network', one.repeat(1000), 1500)));
    const seconds = (performance.now() - began) / 1000;
    const answers = texts.flatMap((text) =>
      [...text.matchAll(/HTTP\/1\.1 (\d{3})/g)].map(([, status]) => status ?? ''),
    );
    expect(answers.filter((status) => status !== '200' && status !== '429')).toEqual([]);
    // What fits at once, and what has room again meanwhile.
    const heard = answers.filter((status) => status === '200').length;
    expect(heard).toBeLessThanOrEqual(400 + 50 * seconds);
    const all = `of 3000 ${outcomes(answers)}, then hung up`;
    return all;
  },
  120_000,
);

it('whatever takes somebody who may fire was tried', () => {
  const tried = new Set(CHANGES.map(([method, at]) => `${method} ${at.replace('/sets/x', '/sets/{id}')}`));
  const needed = API_ROUTES.filter(({ needs }) => needs === 'fire');
  expect([...tried].sort()).toEqual(
    needed.map(({ method, path: at }) => `${method.toUpperCase()} ${at}`).sort(),
  );
});

it('of all of these, none had a success', () => {
  expect(table.length).toBeGreaterThanOrEqual(25);
  expect(doors.released()).toBe(0);
});
