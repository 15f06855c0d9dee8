// The camera process when its daemon is gone in the middle of something: what it still says, nobody hears, and it has to let go of the
// body and end all the same. The test is its daemon, and holds it still while the channel closes, so that nothing depends on who is faster.
import { type ChildProcess, fork } from 'node:child_process';
import { once } from 'node:events';
import { readFileSync } from 'node:fs';
import { setTimeout as pause } from 'node:timers/promises';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { within } from '../../src/camera/process/one-process.js';
import type { Answer, LinkMethod } from '../../src/camera/process/protocol.js';
import { CAMERA_PROCESS } from '../built.js';
import { OPERATION } from '../wire/ptp/codes.js';
import { type PluggedBody, plugIn } from '../wire/ptp/plugged-body.js';

/** What letting go may take at the most (src/camera/process/camera-process.ts), and some for a machine that is busy. */
const ENDS_WITHIN_MS = 10_000;

/** Its end, as it kills itself: after an error that nobody caught it would be code 1. */
const BY_ITS_OWN_HAND = [null, 'SIGKILL'];

interface Held {
  readonly child: ChildProcess;
  /** Code and signal, once it has ended. */
  readonly ended: Promise<unknown[]>;
  readonly said: () => string;
}

let children: ChildProcess[] = [];
let plugged: PluggedBody | undefined;
beforeEach(() => {
  children = [];
});
afterEach(async () => {
  for (const child of children) child.kill('SIGKILL');
  await plugged?.remove();
  plugged = undefined;
});

/** @param first code that runs in it before its own */
function begin(args: readonly string[], first = '', env: Readonly<Record<string, string>> = {}): Held {
  const before = first === '' ? [] : ['--import', `data:text/javascript,${encodeURIComponent(first)}`];
  const child = fork(CAMERA_PROCESS, [...args], {
    env: { ...process.env, EVENRUNG_PRACTICE_TIMING: 'at-once', ...env },
    execArgv: ['--expose-gc', ...before],
    serialization: 'advanced',
    stdio: ['ignore', 'pipe', 'pipe', 'ipc'],
  });
  children.push(child);
  let said = '';
  child.stderr?.on('data', (text: Buffer) => {
    said += text;
  });
  return { child, ended: once(child, 'exit'), said: () => said };
}

let lastId = 0;
async function call(child: ChildProcess, method: LinkMethod): Promise<Answer> {
  lastId += 1;
  const id = lastId;
  const answered = new Promise<Answer>((resolve, reject) => {
    child.on('message', (one: Answer) => one.id === id && resolve(one));
    child.once('exit', (code, signal) => reject(new Error(`It ended (${code}, ${signal}).`)));
  });
  child.send({ id, method, args: [] });
  return answered;
}

/** Asks for something, and is gone before the process has even read it: both the call and the end wait for it in the channel. */
async function askAndLeave(child: ChildProcess, method: LinkMethod): Promise<void> {
  child.kill('SIGSTOP');
  while (!/^\d+ \(.*\) T/.test(readFileSync(`/proc/${child.pid}/stat`, 'utf8'))) await pause(1);
  await new Promise((resolve) => child.send({ id: 0, method, args: [] }, resolve));
  const closed = once(child, 'disconnect');
  child.disconnect();
  await closed;
  child.kill('SIGCONT');
}

async function endOf({ ended }: Held): Promise<unknown> {
  return (await within(ended, ENDS_WITHIN_MS)) ? ended : 'It is still there.';
}

describe('a camera process whose daemon', () => {
  it.each(['memory', 'readSettings'] as const)(
    'is gone while it answers (%s): the answer is lost, and it ends by itself',
    async (method) => {
      const held = begin(['practice']);
      expect(await call(held.child, 'identify')).toMatchObject({ ok: true });
      await askAndLeave(held.child, method);
      expect(await endOf(held), held.said()).toEqual(BY_ITS_OWN_HAND);
      expect(held.said()).toBe('');
    },
  );

  it.each(['binding', 'direct'] as const)(
    'is gone while it answers, with a camera on the cable (%s): the session is closed',
    async (way) => {
      plugged = await plugIn('amount');
      const held = begin(['usb', way], '', plugged.environment);
      expect(await call(held.child, 'identify')).toMatchObject({ ok: true });
      expect(plugged.responder.count(OPERATION.closeSession)).toBe(0);
      await askAndLeave(held.child, 'memory');
      expect(await endOf(held), held.said()).toEqual(BY_ITS_OWN_HAND);
      expect(plugged.responder.count(OPERATION.closeSession)).toBe(1);
    },
  );

  it('is gone, with a defect while letting go hangs: it ends, and waits for nothing', async () => {
    plugged = await plugIn('amount');
    plugged.responder.intercept(OPERATION.closeSession, () => new Promise(() => undefined));
    const defect = `process.on('disconnect', () => setImmediate(() => { throw new Error('a defect'); }));`;
    const held = begin(['usb', 'direct'], defect, plugged.environment);
    expect(await call(held.child, 'identify')).toMatchObject({ ok: true });
    held.child.disconnect();
    expect(await endOf(held), held.said()).toEqual(BY_ITS_OWN_HAND);
  });

  it('reads nothing of what it prints any more: it goes on answering, and ends by itself as ever', async () => {
    // Prints each time that it answers.
    const printing = `const { send } = process;
      process.send = (...said) => { console.log('out'); console.error('err'); return send.apply(process, said); };`;
    const held = begin(['practice'], printing);
    const { child } = held;
    expect(await call(child, 'identify')).toMatchObject({ ok: true });
    const closed = [child.stdout, child.stderr].map((stream) => stream && once(stream, 'close'));
    child.stdout?.destroy();
    child.stderr?.destroy();
    await Promise.all(closed);
    for (let times = 0; times < 3; times += 1)
      expect(await call(child, 'memory')).toMatchObject({ ok: true });
    await askAndLeave(child, 'memory');
    expect(await endOf(held)).toEqual(BY_ITS_OWN_HAND);
  });
});
