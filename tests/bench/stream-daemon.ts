// A daemon in a process of its own for the stream bench, with the practice body, and watchers of it that only take what is sent.
import { type ChildProcess, spawn } from 'node:child_process';
import { randomBytes, randomUUID } from 'node:crypto';
import { readFileSync } from 'node:fs';
import net from 'node:net';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import type { DaemonState } from '../../shared/state.js';

const ROOT = path.resolve(path.dirname(fileURLToPath(import.meta.url)), '../../..');
const MAIN = path.join(ROOT, 'dist/program/main.js');
const LOOK_MS = 20;
/** In USER_HZ, which is 100 on Linux (proc(5)). */
const TICK_MS = 10;

export interface Daemon {
  readonly address: string;
  state(): Promise<DaemonState>;
  /** @returns the run, once it has ended */
  fire(request: object): Promise<NonNullable<DaemonState['run']>>;
  /** Milliseconds of the processor that the daemon itself has used. */
  cpuMs(): number;
  end(): Promise<void>;
}

/** @param timing of the practice body */
export async function startDaemon(folder: string, timing: 'at-once' | 'lifelike'): Promise<Daemon> {
  const child = spawn(
    process.execPath,
    [MAIN, 'serve', '--body', 'practice', '--port', '0', '--into', path.join(folder, 'sets')],
    {
      env: {
        ...{ ...process.env, EVENRUNG_PRACTICE_TIMING: timing },
        ...{ XDG_STATE_HOME: path.join(folder, 'state'), XDG_CONFIG_HOME: path.join(folder, 'config') },
      },
      stdio: ['ignore', 'ignore', 'pipe'],
    },
  );
  const address = await addressOf(child);
  const state = async () => {
    const answer = await fetch(`${address}/api/state`);
    return ((await answer.json()) as { state: DaemonState }).state;
  };
  while ((await state()).body.state !== 'ready') await pause(LOOK_MS);
  return {
    address,
    state,
    async fire(request) {
      const answer = await fetch(`${address}/api/run`, {
        method: 'POST',
        headers: { 'content-type': 'application/json', 'idempotency-key': randomUUID() },
        body: JSON.stringify(request),
      });
      if (answer.status !== 202) throw new Error(await answer.text());
      const { run: id } = (await answer.json()) as { run: string };
      for (;;) {
        // Seldom: whoever asks for the state costs the daemon time, too.
        await pause(250);
        const { run } = await state();
        if (run?.id === id && run.endedAt !== null) {
          if (run.state !== 'complete') throw new Error(`The run ended as ${run.state}: ${run.sentence}`);
          return run;
        }
      }
    },
    cpuMs() {
      const fields = readFileSync(`/proc/${child.pid}/stat`, 'utf8')
        .replace(/^.*\) /s, '')
        .split(' ');
      return (Number(fields[11]) + Number(fields[12])) * TICK_MS;
    },
    async end() {
      child.kill('SIGTERM');
      if (child.exitCode === null) await new Promise((resolve) => child.on('exit', resolve));
    },
  };
}

function addressOf(child: ChildProcess): Promise<string> {
  let said = '';
  return new Promise((resolve, reject) => {
    child.on('exit', (code) => reject(new Error(`The daemon ended with ${code}: ${said}`)));
    child.stderr?.setEncoding('utf8').on('data', (text: string) => {
      said += text;
      const found = /Panel: (http:[^\s"]+)/.exec(said);
      if (found !== null) resolve(found[1] ?? '');
    });
  });
}

export interface Watchers {
  /** Bytes that each of them has taken. */
  taken(): number[];
  end(): void;
}

/**
 * Watchers that take what is sent and do nothing with it: real ones are other computers, and what they make of it costs nothing here.
 * @returns once each of them has the state
 */
export async function attach(address: string, number: number): Promise<Watchers> {
  const { hostname, port, host } = new URL(address);
  const taken = Array.from({ length: number }, () => 0);
  const sockets = await Promise.all(
    taken.map(async (_, index) => {
      const socket = net.connect(Number(port), hostname);
      const answered = new Promise<void>((resolve, reject) => {
        socket.on('error', reject);
        socket.on('data', (bytes) => {
          taken[index] = (taken[index] ?? 0) + bytes.length;
          resolve();
        });
      });
      socket.write(upgradeTo(host));
      await answered;
      socket.write(HELLO);
      return socket;
    }),
  );
  for (let before = -1, now = 0; now !== before; ) {
    before = now;
    await pause(SETTLED_MS);
    now = taken.reduce((sum, one) => sum + one, 0);
  }
  taken.fill(0);
  return {
    taken: () => [...taken],
    end() {
      for (const socket of sockets) socket.destroy();
    },
  };
}

const SETTLED_MS = 300;

const upgradeTo = (host: string): string =>
  [
    ...['GET /api/stream HTTP/1.1', `Host: ${host}`, 'Connection: Upgrade', 'Upgrade: websocket'],
    ...['Sec-WebSocket-Version: 13', `Sec-WebSocket-Key: ${randomBytes(16).toString('base64')}`, '', ''],
  ].join('\r\n');

/** A masked text frame (RFC 6455, 5.2); a mask of zeros leaves the text as it is. */
const TEXT = '{"type":"hello"}';
const HELLO = Buffer.concat([Buffer.from([0x81, 0x80 | TEXT.length, 0, 0, 0, 0]), Buffer.from(TEXT)]);

export const pause = (milliseconds: number): Promise<void> =>
  new Promise((resolve) => setTimeout(resolve, milliseconds));
