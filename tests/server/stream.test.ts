// The stream on its own server: catching up, those that do not answer any more, those that do not keep up, and crowds.
import http from 'node:http';
import type { AddressInfo } from 'node:net';
import { afterEach, describe, expect, it } from 'vitest';
import { WebSocket } from 'ws';
import type { Happening } from '../../shared/state.js';
import type { DaemonMessage } from '../../shared/stream.js';
import { AT_THIS_COMPUTER } from '../../src/server/access/visitor.js';
import { Guard, LOOPBACK_NAMES } from '../../src/server/guard.js';
import { type Beat, Stream } from '../../src/server/stream.js';
import { EventLog } from '../../src/station/index.js';
import { PACED, pace } from '../pace.js';

const closing: (() => void)[] = [];
afterEach(() => {
  for (const close of closing.splice(0)) close();
});

const note = (text: string): Happening => ({ type: 'note', run: 'a-run', note: text });

async function serve(beat?: Beat) {
  const events = new EventLog();
  const stream = new Stream(events, beat);
  const server = http.createServer();
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  const { port } = server.address() as AddressInfo;
  const guard = new Guard(LOOPBACK_NAMES, port);
  server.on('upgrade', (request, socket, head) =>
    stream.upgrade(request, socket, head, () => {
      guard.check(request.headers);
      return AT_THIS_COMPUTER;
    }),
  );
  closing.push(() => {
    stream.close();
    server.close();
    server.closeAllConnections();
  });
  const open = (options: { autoPong?: boolean } = {}) => {
    const socket = new WebSocket(`ws://127.0.0.1:${port}/api/stream`, options);
    closing.push(() => socket.terminate());
    const messages: DaemonMessage[] = [];
    socket.on('message', (data) => messages.push(JSON.parse(data.toString())));
    const closed = new Promise<number>((resolve) => socket.on('close', (code) => resolve(code)));
    return { socket, messages, closed };
  };
  const watch = async (hello: object = {}, options: { autoPong?: boolean } = {}) => {
    const { socket, messages, closed } = open(options);
    await new Promise((resolve) => socket.on('open', resolve));
    socket.send(JSON.stringify({ type: 'hello', ...hello }));
    await expect.poll(() => messages.length, { interval: 5 }).toBeGreaterThan(0);
    return { socket, messages, closed };
  };
  return { events, watch, open };
}

const numbers = (messages: readonly DaemonMessage[]) =>
  messages.map((message) => (message.type === 'event' ? message.event.seq : message.type));
const soon = (milliseconds: number) => new Promise((resolve) => setTimeout(resolve, milliseconds));

describe('a watcher', () => {
  it('that does not answer any more is dropped; one that does stays', async () => {
    const { watch } = await serve({ everyMs: 60, withinMs: 40 });
    const silent = await watch({}, { autoPong: false });
    const there = await watch();
    expect(await silent.closed).toBe(1006);
    await soon(300);
    expect(there.socket.readyState).toBe(WebSocket.OPEN);
  });

  it('that says no hello is dropped; nonsense is none', async () => {
    const { watch, open } = await serve({ everyMs: 60_000, withinMs: 40, helloWithinMs: 150 });
    const there = await watch();
    const silent = open();
    const babbling = open();
    babbling.socket.on('open', () => babbling.socket.send('{}'));
    expect(await Promise.all([silent.closed, babbling.closed])).toEqual([1008, 1008]);
    expect(there.socket.readyState).toBe(WebSocket.OPEN);
  });

  it('gets every event once and in order, whenever it comes', async () => {
    const { events, watch } = await serve();
    const first = await watch();
    for (let count = 0; count < 5; count += 1) events.tell(note(`${count}`));
    // Those are not sent yet, and are in the state that the second gets.
    const second = await watch();
    events.tell(note('last'));
    await expect.poll(() => numbers(first.messages)).toEqual(['state', 1, 2, 3, 4, 5, 6]);
    const seen = numbers(second.messages);
    const state = second.messages[0];
    if (state?.type !== 'state') throw new Error('The first message is the state.');
    await expect.poll(() => numbers(second.messages).at(-1)).toBe(6);
    expect(seen.slice(1)).toEqual([6].slice(0, seen.length - 1));
    expect(state.seq).toBe(5);
  });

  it('that missed little gets just that; one that missed more than a state is worth gets the state', async () => {
    const { events, watch } = await serve();
    for (let count = 0; count < 400; count += 1) events.tell(note('x'.repeat(1000)));
    const little = await watch({ after: 397, epoch: events.epoch });
    await expect.poll(() => numbers(little.messages)).toEqual([398, 399, 400]);
    const much = await watch({ after: 1, epoch: events.epoch });
    expect(numbers(much.messages)).toEqual(['state']);
  });

  it('that does not keep up is dropped, and no one else waits for it', PACED, async () => {
    const { events, watch } = await serve();
    const slow = await watch();
    const quick = await watch();
    slow.socket.pause();
    const last = 3000;
    let longest = 0;
    for (let count = 1; count <= last; count += 1) {
      const began = performance.now();
      events.tell(note('x'.repeat(20_000)));
      longest = Math.max(longest, performance.now() - began);
      if (count % 10 === 0) await new Promise((resolve) => setImmediate(resolve));
    }
    await expect.poll(() => numbers(quick.messages).at(-1), { timeout: 10_000 }).toBe(last);
    slow.socket.resume();
    await slow.closed;
    expect(slow.messages.length).toBeLessThan(last);
    // It comes back with the last number that it saw.
    const seen = numbers(slow.messages).at(-1);
    const back = await watch({ after: seen, epoch: events.epoch });
    await expect.poll(() => back.messages.length).toBeGreaterThan(0);
    expect(numbers(back.messages)[0]).toBe('state');
    pace('an event is told beside one that does not keep up', longest, 'ms', 500);
  });

  it('in a crowd gets them in bunches, and still all of them', async () => {
    const { events, watch } = await serve();
    const crowd = await Promise.all(Array.from({ length: 60 }, () => watch()));
    for (let count = 0; count < 50; count += 1) {
      events.tell(note(`${count}`));
      await soon(2);
    }
    const all = ['state', ...Array.from({ length: 50 }, (_, index) => index + 1)];
    for (const { messages } of crowd) await expect.poll(() => numbers(messages)).toEqual(all);
  });
});
