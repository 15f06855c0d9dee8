// `fire --at` and `run --at`: a daemon on loopback fires, and a command somewhere else follows it, also across a lost network.
import { mkdtemp, readdir, rm, writeFile } from 'node:fs/promises';
import net from 'node:net';
import os from 'node:os';
import path from 'node:path';
import { Command } from 'commander';
import pino from 'pino';
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import { ENDED } from '../../shared/fold.js';
import type { NumberedEvent, ScheduleView } from '../../shared/state.js';
import { DaemonClient } from '../../src/commands/elsewhere/daemon-client.js';
import { AT_HOME } from '../../src/commands/elsewhere/daemon-session.js';
import { addFire } from '../../src/commands/fire.js';
import { fireAt } from '../../src/commands/fire-at.js';
import { addRun } from '../../src/commands/run.js';
import { type RunningServer, startServer } from '../../src/server/index.js';
import type { EventLog, Station } from '../../src/station/index.js';
import { TestLink } from '../harness/links.js';
import { openStation } from '../harness/station.js';

const THREE = { frames: 3, step: 1, base: '1/60' };

let folder = '';
let link: TestLink;
let station: Station;
let events: EventLog;
let server: RunningServer;
let said: string[] = [];
const closing: (() => void)[] = [];
beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  await writeFile(path.join(folder, 'index.html'), '<title>panel</title>');
  link = new TestLink();
  ({ station, events } = await openStation(folder, link));
  const log = pino({ level: 'silent' });
  server = await startServer({ station, events, log, panel: folder, notes: folder, port: 0 });
  said = [];
  vi.spyOn(process.stdout, 'write').mockImplementation((text) => {
    said.push(String(text));
    return true;
  });
  vi.spyOn(process.stderr, 'write').mockImplementation(() => true);
});
afterEach(async () => {
  vi.restoreAllMocks();
  process.exitCode = undefined;
  for (const close of closing.splice(0)) close();
  await station.close();
  await server.close();
  await rm(folder, { recursive: true, force: true });
});

const fireHere = (address: string, json = true) =>
  fireAt({
    ...{ address, json, foreseen: async () => THREE },
    endOfSchedule: (schedule: ScheduleView) => (schedule.state === 'complete' ? 0 : 1),
  });
const saidEvents = () => said.map((line) => JSON.parse(line) as NumberedEvent);
const verifiedIn = (told: readonly NumberedEvent[]) =>
  told.flatMap(({ happening }) =>
    happening.type === 'frame' && happening.frame.state === 'verified' ? [happening.frame.number] : [],
  );

function command(): Command {
  const program = new Command().exitOverride().configureOutput({ writeErr: () => undefined });
  addRun(program);
  addFire(program, pino({ level: 'silent' }));
  return program;
}
const runCommand = (...args: string[]) => command().parseAsync(['node', 'evenrung', ...args]);

describe('fire --at', () => {
  it('is fired there, and goes by here to its end: an event a line', async () => {
    expect(await fireHere(server.address)).toBe(0);
    const told = saidEvents();
    expect(told[0]?.happening.type).toBe('run');
    expect(told.map(({ seq }) => seq)).toEqual(told.map(({ seq }) => seq).sort((a, b) => a - b));
    expect([...new Set(verifiedIn(told))].sort()).toEqual([1, 2, 3]);
    expect(told.at(-1)?.happening).toMatchObject({ type: 'run-state', state: 'complete' });
    expect(await readdir(path.join(folder, 'sets'))).toHaveLength(1);
  });

  it('as a command, in words', async () => {
    await runCommand('fire', '--frames', '3', '--step', '1', '--delay', '2', '--at', server.address);
    expect(process.exitCode).toBe(0);
    expect(said.join('')).toMatch(/^3 frames in 1 pass, about 1 s, beginning in [12] s\n/);
    expect(said.join('')).toContain('\nPass 1 of 1\n');
    expect(said.join('')).toMatch(/All 3 frames are verified\.\nSet folder: /);
  });

  it('tells the brightest frame from an address, though --to was once the word for both', async () => {
    await runCommand('fire', '--from', '-1', '--to', '1', '--step', '1', '--to', server.address);
    expect(events.state.run?.frames.map(({ offset }) => offset)).toEqual([-1, 0, 1]);
  });

  it('what the daemon decides is refused here', async () => {
    await expect(
      runCommand('fire', '--frames', '3', '--step', '1', '--into', '/tmp', '--at', server.address),
    ).rejects.toMatchObject({
      code: 'malformed-request',
      message: expect.stringMatching(/^--into is set where that Evenrung was started/),
    });
    expect(events.state.run).toBeNull();
  });

  it('a schedule is followed to its end', async () => {
    const schedule = { every: '5s', count: 1 };
    const code = await fireAt({
      ...{ address: server.address, json: true },
      foreseen: async (foresee) => {
        expect((await foresee({ ...THREE, schedule })).estimate.sets).toBe(1);
        return { ...THREE, schedule };
      },
      endOfSchedule: (end) => (end.state === 'complete' ? 0 : 1),
    });
    expect(code).toBe(0);
    expect(saidEvents().at(-1)?.happening).toMatchObject({
      type: 'schedule',
      schedule: { state: 'complete' },
    });
  });

  it('is refused in the words of the daemon: another set is being fired', async () => {
    await station.start(THREE, "phone's owner");
    station.hold();
    await expect(fireHere(server.address)).rejects.toMatchObject({
      code: 'run-under-way',
      message: expect.stringContaining('started from "phone\'s owner"'),
    });
  });

  it('ends with 130 where somebody stops it there', async () => {
    link.afterFire = (count) => {
      if (count === 1) station.stop();
    };
    expect(await fireHere(server.address)).toBe(130);
  });

  it('loses the network in the middle, and misses nothing', async () => {
    const relay = await relayTo(Number(new URL(server.address).port));
    link.afterFire = async (count) => {
      if (count !== 2) return;
      relay.cut();
      await new Promise((resolve) => setTimeout(resolve, 300));
    };
    expect(await fireHere(`http://127.0.0.1:${relay.port}`)).toBe(0);
    expect(relay.cuts).toBeGreaterThan(0);
    const told = saidEvents();
    const all = events.since(0)?.filter(({ seq }) => seq >= (told[0]?.seq ?? 0)) ?? [];
    const last = told.at(-1)?.seq ?? 0;
    const ours = all.filter(({ seq, happening }) => seq <= last && 'run' in happening);
    expect(told).toEqual(ours);
    expect(link.releases).toBe(3);
  });

  it('a loss of more than a moment is told, and that it is over; one of a moment is not', async () => {
    const relay = await relayTo(Number(new URL(server.address).port));
    link.afterFire = async (count) => {
      if (count === 1) {
        relay.cut();
        await new Promise((resolve) => setTimeout(resolve, 1500));
      }
      if (count !== 2) return;
      relay.cut(3500);
      await new Promise((resolve) => setTimeout(resolve, 6000));
    };
    const at = `http://127.0.0.1:${relay.port}`;
    expect(await fireHere(at, false)).toBe(0);
    const lines = said.join('').split('\n');
    const [lost] = lines.flatMap((line, index) =>
      line === `Lost the laptop at ${at}: trying again, for at most 58 s.` ? [index] : [],
    );
    expect(lost).toBeDefined();
    expect(lines.slice(lost ?? 0)[1]).toBe('Connected to the laptop again.');
    expect(lines.filter((line) => /^(Lost|Connected to) the laptop/.test(line))).toHaveLength(2);
    expect(lines.at(-3)).toBe('All 3 frames are verified.');
  });

  it('a daemon that had nothing to say for long is looked for as long as any other', async () => {
    const relay = await relayTo(Number(new URL(server.address).port));
    const daemon = new DaemonClient(new URL(`http://127.0.0.1:${relay.port}`), AT_HOME, { patienceMs: 800 });
    const took = daemon.follow(({ event }) => event?.happening.type === 'note');
    await new Promise((resolve) => setTimeout(resolve, 1200));
    relay.cut();
    await new Promise((resolve) => setTimeout(resolve, 700));
    events.tell({ type: 'note', run: 'none', note: 'heard again' });
    await took;
  });

  it('where nobody answers: says so', async () => {
    const free = net.createServer();
    await new Promise<void>((resolve) => free.listen(0, '127.0.0.1', resolve));
    const { port } = free.address() as net.AddressInfo;
    await new Promise((resolve) => free.close(resolve));
    await expect(fireHere(`http://127.0.0.1:${port}`)).rejects.toMatchObject({ code: 'daemon-unreachable' });
  });
});

/**
 * A network that can be cut. The daemon looks at the host that a request names, so the name is put right on the way.
 */
async function relayTo(to: number) {
  const pairs = new Set<net.Socket>();
  let cuts = 0;
  let port = 0;
  let downUntil = 0;
  const relay = net.createServer((from) => {
    if (performance.now() < downUntil) {
      from.resetAndDestroy();
      return;
    }
    const there = net.connect(to, '127.0.0.1');
    for (const socket of [from, there]) {
      pairs.add(socket);
      socket.on('error', () => undefined);
      socket.on('close', () => pairs.delete(socket));
    }
    from.once('data', (head) => {
      there.write(head.toString('latin1').replaceAll(`127.0.0.1:${port}`, `127.0.0.1:${to}`), 'latin1');
      from.pipe(there);
    });
    there.pipe(from);
  });
  await new Promise<void>((resolve) => relay.listen(0, '127.0.0.1', resolve));
  port = (relay.address() as net.AddressInfo).port;
  closing.push(() => {
    for (const socket of pairs) socket.destroy();
    relay.close();
  });
  return {
    port,
    get cuts() {
      return cuts;
    },
    /** Cuts what goes through it, and lets nothing through for so many ms. */
    cut(downMs = 0) {
      downUntil = performance.now() + downMs;
      cuts += pairs.size;
      for (const socket of pairs) socket.resetAndDestroy();
    },
  };
}

describe('run --at', () => {
  const heldNow = () => expect.poll(() => events.state.run?.state, { interval: 10, timeout: 5000 });

  it.each([
    ['pause', 'resume', '--at'],
    // The former names.
    ['hold', 'go-on', '--to'],
  ])('%s, %s and stop, with %s', async (pause, resume, at) => {
    await station.start(THREE);
    await runCommand('run', pause, at, server.address);
    await heldNow().toBe('held');
    await runCommand('run', resume, at, server.address);
    await station.settled();
    expect(events.state.run?.state).toBe('complete');
    await station.start(THREE);
    station.hold();
    await runCommand('run', 'stop', at, server.address, '--json');
    await station.settled();
    expect(ENDED.has(events.state.run?.state ?? 'preparing')).toBe(true);
    expect(said).toEqual(['Pausing after the current frame.\n', 'Resuming.\n', '{}\n']);
  });

  it.each(['stop', 'pause', 'resume'])('%s where nothing is fired is refused', async (name) => {
    await expect(runCommand('run', name, '--at', server.address)).rejects.toMatchObject({
      code: name === 'stop' ? 'nothing-to-stop' : 'nothing-to-hold',
    });
  });
});

it.each(['4', 'localhost:4160', 'ftp://127.0.0.1', ''])("'%s' is no address", (text) => {
  expect(() => DaemonClient.addressIn(text)).toThrow(expect.objectContaining({ code: 'malformed-request' }));
});
