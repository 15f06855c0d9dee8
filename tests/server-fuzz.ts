// Requests and messages that nobody would send on purpose, from a seed: the right ones with something wrong in them, by strangers, by a
// viewer, by somebody who may fire. What has to hold of each is judged here.
import { setTimeout as pause } from 'node:timers/promises';
import type { WebSocket } from 'ws';
import { ERRORS } from '../shared/error-codes.js';
import { type Doors, IS_PRIVATE, type Which } from './two-doors.js';

export const WHO = ['stranger', 'forger', 'viewer', 'shooter', 'page elsewhere', 'other name'] as const;
export type Who = (typeof WHO)[number];
export const KINDS = ['request', 'bytes', 'messages', 'frames'] as const;
export type Kind = (typeof KINDS)[number];

export interface Fuzzed {
  readonly seed: number;
  readonly kind: Kind;
  readonly who: Who;
  /** A status, a close code, ... */
  readonly outcome: string;
  /** What does not hold; nothing where all is well. */
  readonly wrong: readonly string[];
}

export interface Cookies {
  readonly fires: string;
  readonly watches: string;
}

/** Numbers from 0 to 1 (mulberry32, public domain). */
function randomOf(seed: number): () => number {
  let state = (seed * 0x9e3779b1) >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state);
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
}

class Dice {
  private readonly random: () => number;

  constructor(seed: number) {
    this.random = randomOf(seed);
  }

  below(count: number): number {
    return Math.floor(this.random() * count);
  }

  chance(of1: number): boolean {
    return this.random() < of1;
  }

  one<T>(of: readonly [T, ...T[]] | readonly T[]): T {
    return of[this.below(of.length)] as T;
  }

  bytes(count: number): Buffer {
    return Buffer.from(Array.from({ length: count }, () => this.below(256)));
  }
}

const ROUTES = [
  ['POST', '/api/run'],
  ['POST', '/api/run'],
  ['POST', '/api/plan'],
  ['POST', '/api/schedule'],
  ['POST', '/api/run/stop'],
  ['POST', '/api/run/resume'],
  ['POST', '/api/run/end'],
  ['POST', '/api/body/look'],
  ['POST', '/api/body/check'],
  ['POST', '/api/body/tick'],
  ['POST', '/api/pair'],
  ['POST', '/api/devices/pairing'],
  ['DELETE', '/api/devices/0b7e1a54-8f5c-4a53-9b3c-0f6a1f6f2f11'],
  ['GET', '/api/devices'],
  ['GET', '/api/me'],
  ['GET', '/api/state'],
  ['GET', '/api/sets'],
  ['GET', '/api/sets?limit=5&before=3'],
  ['GET', '/api/sets/x/frames/1/file'],
  ['PATCH', '/api/sets/x'],
  ['POST', '/api/sets/x/again'],
  ['POST', '/api/sets/x/extend'],
  ['GET', '/api/sets/x/preview'],
  ['GET', '/api/sets/x/coverage'],
  ['GET', '/api/run/x/coverage?set=x'],
  ['POST', '/api/sound'],
  ['POST', '/api/sound/stop'],
  ['POST', '/api/sound/put-away'],
  ['GET', '/api/sound/x/frames/1/thumbnail'],
  ['GET', '/api/run/x/frames/1/thumbnail'],
  ['GET', '/'],
  ['GET', '/notes/'],
  ['GET', '/api/health'],
] as const;
const METHODS = ['GET', 'HEAD', 'POST', 'PUT', 'PATCH', 'DELETE', 'OPTIONS'] as const;
const SEEDS = [
  '{"frames":9,"step":1,"base":"1/60"}',
  '{"from":"-4","to":"4","step":"2/3","mode":"aperture","settle":2}',
  '{"frames":3,"step":1,"every":"4min","count":3,"name":"boathouse","viewpoint":1}',
  '{"code":"stabiliser","isSo":true}',
  '{"secret":"AAAAAAAAAAAAAAAAAAAAAA","name":"a phone"}',
  '{"role":"fire"}',
  '{"step":1,"from":"1/60","mode":"manual"}',
  '{"darker":2,"brighter":1}',
  '{"camera":"1"}',
  '{"type":"hello","after":3,"epoch":"x"}',
  '{"type":"hello"}',
] as const;
const ODD = [
  '1e400',
  '-0',
  '9'.repeat(300),
  'null',
  '[]',
  '{"__proto__":{"role":"fire"}}',
  '"\\u0000"',
  '"\\ud800"',
  `"${'x'.repeat(3000)}"`,
  '[[[[[[[[[[1]]]]]]]]]]',
  'true',
  '"../../private.txt"',
  '0.1e-999',
] as const;
const PATH_PARTS = [
  '..',
  '%2e%2e',
  '%00',
  '%2f',
  '\\',
  '//',
  '%252e',
  '%zz',
  'é',
  '?',
  '#',
  ';x=1',
  '%c0%ae',
  '~',
  ' ',
] as const;

/** JSON with something wrong in it. */
function spoiltText(dice: Dice): string {
  let text: string = dice.one(SEEDS);
  const times = 1 + dice.below(3);
  for (let time = 0; time < times; time += 1) {
    const at = dice.below(text.length + 1);
    switch (dice.below(6)) {
      case 0:
        text = text.slice(0, at);
        break;
      case 1:
        text = text.slice(0, at) + dice.one(ODD) + text.slice(at);
        break;
      case 2:
        text = text.replace(/:("[^"]*"|[\w.]+)/, () => `:${dice.one(ODD)}`);
        break;
      case 3:
        text = text.replace('{', () => `{"__proto__":${dice.one(ODD)},`);
        break;
      case 4:
        text = text.slice(0, at) + dice.bytes(1 + dice.below(4)).toString('latin1') + text.slice(at);
        break;
      default:
        text = text.replace(
          /"(\w+)":/,
          () => `"${dice.one(['constructor', 'toString', '', 'x', 'frames', 'into', 'command'])}":`,
        );
    }
  }
  return text;
}

/** Never right, whatever else it is: whoever may fire fires nothing with it. */
const neverRight = (text: string): string => `{"not of this":1,${text.replace(/^\s*\{/, '')}`;

function spoiltPath(dice: Dice, at: string): string {
  const place = dice.below(at.length) + 1;
  return `${at.slice(0, place)}${dice.one(PATH_PARTS)}${at.slice(place)}`;
}

/** @returns at which door, and with which headers */
function entrance(who: Who, doors: Doors, { fires, watches }: Cookies, dice: Dice) {
  const [name = '', token = ''] = fires.split('=');
  const network = { which: 'network' as Which, host: doors.host.network };
  switch (who) {
    case 'stranger':
      return { ...network, headers: {} };
    case 'forger': {
      const at = dice.below(token.length);
      const forged = `${token.slice(0, at)}${token[at] === 'A' ? 'B' : 'A'}${token.slice(at + 1)}`;
      return { ...network, headers: { cookie: `${name}=${forged}` } };
    }
    case 'viewer':
      return { ...network, headers: { cookie: watches } };
    case 'shooter':
      return { ...network, headers: { cookie: fires } };
    case 'page elsewhere': {
      const which = dice.one(['here', 'network'] as const);
      const origin = dice.one(['https://evil.example', 'null', 'http://localhost:1', 'file://']);
      return { which, host: doors.host[which], headers: { origin, cookie: fires } };
    }
    case 'other name': {
      const which = dice.one(['here', 'network'] as const);
      const host = dice.one([
        'evil.example',
        'localhost',
        '0.0.0.0',
        '[::]',
        `${doors.host[which]}0`,
        '.',
        'a b',
      ]);
      return { which, host, headers: { cookie: fires } };
    }
  }
}

/** One try, from its seed alone. */
export async function fuzzOnce(doors: Doors, cookies: Cookies, seed: number): Promise<Fuzzed> {
  const dice = new Dice(seed);
  const kind = dice.one(KINDS);
  const who = dice.one(WHO);
  const wrong: string[] = [];
  const released = doors.released();
  const outcome = await TRIES[kind](doors, cookies, who, dice, wrong).catch((cause: unknown) => {
    const { code = String(cause) } = cause as { code?: string };
    return GONE.has(code) ? 'hung up' : `failed: ${code}`;
  });
  if (outcome.startsWith('failed')) wrong.push(outcome);
  if (doors.released() !== released) wrong.push('The shutter was released.');
  return { seed, kind, who, outcome, wrong };
}

/**
 * What a client is told of a connection that the daemon has ended. The last one: after the head of a HEAD that is no HTTP, the daemon
 * cannot know that no body is wanted, and says why in one.
 */
const GONE = new Set(['ECONNRESET', 'EPIPE', 'HPE_CLOSED_CONNECTION']);

type Try = (doors: Doors, cookies: Cookies, who: Who, dice: Dice, wrong: string[]) => Promise<string>;

const TRIES: Readonly<Record<Kind, Try>> = {
  async request(doors, cookies, who, dice, wrong) {
    const { which, host, headers } = entrance(who, doors, cookies, dice);
    const [usual, address] = dice.one(ROUTES);
    const method = dice.chance(0.15) ? dice.one(METHODS) : usual;
    const at = dice.chance(0.25) ? spoiltPath(dice, address) : address;
    const spoilt = who === 'shooter' ? neverRight(spoiltText(dice)) : spoiltText(dice);
    const hasBody = method !== 'GET' && method !== 'HEAD' && dice.chance(0.9);
    const odd = dice.chance(0.1)
      ? { 'content-type': dice.one(['text/plain', 'application/json; charset=utf-16', '']) }
      : {};
    const body = hasBody ? { body: dice.chance(0.1) ? dice.bytes(200) : spoilt } : {};
    // What the client itself will not send is encoded.
    const path = at.replace(/[^\u0021-\u00ff]/g, (sign) => encodeURIComponent(sign));
    const answer = await doors.ask(which, method, path, { ...body, headers: { ...headers, host, ...odd } });
    judge(who, method, answer.status, answer.text, wrong);
    if (answer.status >= 400 && method !== 'HEAD' && (answer.code === null || !(answer.code in ERRORS)))
      wrong.push(`${answer.status} without a code of the catalogue: ${answer.text.slice(0, 80)}`);
    return String(answer.status);
  },

  async bytes(doors, cookies, who, dice, wrong) {
    // What is left of a right request after something was changed may be right: nobody who may fire is among those.
    const shy: Who = who === 'shooter' ? 'viewer' : who;
    const { which, host, headers } = entrance(shy, doors, cookies, dice);
    const [method, at] = dice.one(ROUTES);
    const body = dice.one(SEEDS);
    const lines = [
      `${method} ${at} HTTP/1.1`,
      `Host: ${host}`,
      ...Object.entries(headers).map(([name, value]) => `${name}: ${value}`),
      'Content-Type: application/json',
      `Content-Length: ${body.length}`,
    ];
    let sent = Buffer.from(`${lines.join('\r\n')}\r\n\r\n${method === 'GET' ? '' : body}`);
    const times = 1 + dice.below(4);
    for (let time = 0; time < times; time += 1) {
      const place = dice.below(sent.length);
      const [before, after] = [sent.subarray(0, place), sent.subarray(place)];
      const middle = dice.chance(0.5)
        ? dice.bytes(1 + dice.below(3))
        : Buffer.from(dice.one(['\r\n', '\0', ' ', ':', '\n']));
      sent = Buffer.concat([before, middle, after.subarray(dice.below(3))]);
    }
    const text = await doors.raw(which, sent, 400, true);
    const statuses = [...text.matchAll(/HTTP\/1\.1 (\d{3})/g)].map(([, status]) => Number(status));
    // A changed cookie or Host may be another one, but never one that reads more.
    for (const status of statuses) judge(shy, method, status, text, wrong);
    return statuses.join('+') || 'hung up';
  },

  async messages(doors, cookies, who, dice, wrong) {
    return onStream(doors, cookies, who, dice, wrong, (socket) => {
      const times = 1 + dice.below(5);
      for (let time = 0; time < times; time += 1) {
        const text = spoiltText(dice);
        if (dice.chance(0.2)) socket.send(dice.bytes(dice.below(300)), { binary: dice.chance(0.7) });
        else socket.send(text, { binary: dice.chance(0.1) });
      }
    });
  },

  async frames(doors, cookies, who, dice, wrong) {
    return onStream(doors, cookies, who, dice, wrong, (socket) => {
      const under = (socket as unknown as { readonly _socket: { write(bytes: Buffer): void } })._socket;
      const times = 1 + dice.below(3);
      for (let time = 0; time < times; time += 1) {
        const text = Buffer.from(spoiltText(dice)).subarray(0, 125);
        // A frame of RFC 6455 with its mask of zeros, and then something changed in it.
        const frame = Buffer.concat([Buffer.from([0x81, 0x80 | text.length, 0, 0, 0, 0]), text]);
        if (dice.chance(0.8)) frame[dice.below(Math.min(6, frame.length))] = dice.below(256);
        under.write(frame);
      }
    });
  },
};

/** @returns how a watcher fared that was let in and sent something, or why it was not */
async function onStream(
  doors: Doors,
  cookies: Cookies,
  who: Who,
  dice: Dice,
  wrong: string[],
  send: (socket: WebSocket) => void,
): Promise<string> {
  const { which, host, headers } = entrance(who, doors, cookies, dice);
  const socket = await doors.watch(which, { host, ...headers });
  const mayWatch = who === 'viewer' || who === 'shooter';
  if (typeof socket === 'number') {
    if (mayWatch) wrong.push(`A watcher was refused with ${socket}.`);
    return `upgrade ${socket}`;
  }
  if (!mayWatch) wrong.push('A stranger was let in to the stream.');
  const answered = new Promise<string>((resolve) => {
    socket.on('close', (code) => resolve(`closed with ${code}`));
    // It comes after the answers to all that was sent before.
    socket.on('pong', () => resolve('answered'));
  });
  send(socket);
  socket.ping();
  // A frame that says it is longer than it is waits for its rest.
  const outcome = await Promise.race([answered, pause(300).then(() => 'waits')]);
  socket.terminate();
  return outcome;
}

/** Which answers there may be for whom. */
function judge(who: Who, method: string, status: number, text: string, wrong: string[]): void {
  if (status >= 500 && status !== 503) wrong.push(`${status}: ${text.slice(-200)}`);
  const mayRead = who === 'viewer' || who === 'shooter';
  if (!mayRead && IS_PRIVATE.test(text)) wrong.push(`Something private was read: ${text.slice(0, 120)}`);
  const reads = method === 'GET' || method === 'HEAD';
  if (who === 'viewer' && !reads && status < 400) wrong.push(`A viewer changed something: ${status}.`);
  if ((who === 'page elsewhere' || who === 'other name') && status < 400)
    wrong.push(`${who} was let in: ${status}.`);
}

/** @returns lines: for each kind and each who, what came of it and how often */
export function counted(done: readonly Fuzzed[]): string[] {
  const lines = KINDS.flatMap((kind) =>
    WHO.map((who) => {
      const mine = done.filter((one) => one.kind === kind && one.who === who);
      const counts = new Map<string, number>();
      for (const { outcome } of mine) counts.set(outcome, (counts.get(outcome) ?? 0) + 1);
      const most = [...counts].sort((a, b) => b[1] - a[1]).slice(0, 8);
      return `${kind.padEnd(9)} ${who.padEnd(15)} ${String(mine.length).padStart(6)}  ${most.map(([what, count]) => `${what}: ${count}`).join(', ')}`;
    }),
  );
  return [...lines, `wrong: ${done.filter(({ wrong }) => wrong.length > 0).length} of ${done.length}`];
}
