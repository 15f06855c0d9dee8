// The camera process and the daemon's side of it: killed, hung, started again, recycled, left alone.
import { spawn } from 'node:child_process';
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { mkdtemp, readdir, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { SupervisedLink, type SupervisedLinkOptions } from '../../src/camera/index.js';
import { residentMemory } from '../../src/camera/process/resident-memory.js';
import { CAMERA_PROCESS, isAlive, start } from '../built.js';
import { childOf } from '../child-of.js';
import { PACED, pace } from '../pace.js';
import { OPERATION } from '../wire/ptp/codes.js';
import { plugIn } from '../wire/ptp/plugged-body.js';

let folder = '';
const links: SupervisedLink[] = [];
beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  for (const link of links.splice(0)) link.kill();
  await rm(folder, { recursive: true, force: true });
});

function open(options: Partial<SupervisedLinkOptions> = {}): SupervisedLink {
  const link = new SupervisedLink({
    kind: 'practice',
    home: path.join(folder, 'home'),
    log: () => undefined,
    entry: CAMERA_PROCESS,
    env: { EVENRUNG_PRACTICE_TIMING: 'at-once' },
    ...options,
  });
  links.push(link);
  return link;
}

async function gone(pid: number | undefined): Promise<boolean> {
  for (let tries = 0; tries < 250; tries += 1) {
    if (pid === undefined || !isAlive(pid)) return true;
    await pause(20);
  }
  return false;
}

/** A camera process that answers the first call and hangs at the second, as a native call would. */
const HANGING = `
let calls = 0;
process.on('SIGTERM', () => {});
process.on('message', ({ id }) => { calls += 1; if (calls === 1) process.send({ id, ok: true, value: { link: 'practice', model: 'x', serial: null } }); });
setInterval(() => {}, 1000);
`;

describe('the camera process', () => {
  it('answers every method of a link', async () => {
    const link = open();
    expect(await link.identify()).toEqual({ link: 'practice', model: 'Practice body', serial: 'PB-0001' });
    expect((await link.readLimits()).longestSeconds).toBe(900);
    expect((await link.readSettings()).get('shutterspeed')).toMatchObject({ kind: 'choice', value: '1/60' });
    expect(await link.changeSetting('shutterspeed', '1/125')).toMatchObject({ value: '1/125' });
    const frame = await link.fire({ into: folder, exposureSeconds: 1 / 125 });
    expect(await readdir(folder)).toContain(path.basename(frame.path));
    const { pid } = link;
    await link.letGo();
    expect(await gone(pid)).toBe(true);
  });

  it('refuses what is no setting and no choice, and goes on', async () => {
    const link = open();
    await expect(link.changeSetting('shutterspeed', '2 fortnights')).rejects.toMatchObject({
      code: 'choice-not-offered',
    });
    await expect(link.changeSetting('/main/x', '1')).rejects.toMatchObject({ code: 'unknown-setting' });
    expect((await link.readSettings()).get('shutterspeed')?.value).toBe('1/60');
  });

  it('when it is killed in the middle of a call: the call fails, the next one starts another', async () => {
    const link = open({ env: { EVENRUNG_PRACTICE_TIMING: 'lifelike' } });
    await link.changeSetting('shutterspeed', '2');
    const first = link.pid;
    const firing = link.fire({ into: folder, exposureSeconds: 2 });
    await pause(200);
    if (first !== undefined) process.kill(first, 'SIGKILL');
    await expect(firing).rejects.toMatchObject({ code: 'body-lost' });
    expect((await link.identify()).model).toBe('Practice body');
    expect(link.pid).not.toBe(first);
  });

  it('when a call hangs: killed at its deadline, and another one is started', PACED, async () => {
    const entry = path.join(folder, 'hanging.cjs');
    await writeFile(entry, HANGING);
    const link = open({ entry, deadlines: { call: 400, start: 10_000 } });
    await link.identify();
    const { pid } = link;
    const started = performance.now();
    await expect(link.readSettings()).rejects.toMatchObject({ code: 'call-timed-out' });
    pace('a call that hangs is ended (deadline 400 ms)', performance.now() - started, 'ms', 1500);
    expect(await gone(pid)).toBe(true);
    expect((await link.identify()).model).toBe('x');
  });

  it('a long exposure is no hang: the deadline grows with it', async () => {
    const link = open({
      env: { EVENRUNG_PRACTICE_TIMING: 'lifelike' },
      deadlines: { fire: 1500, start: 10_000 },
    });
    // The first frame draws the scene, which takes its time.
    await link.fire({ into: folder, exposureSeconds: 2 });
    await link.changeSetting('shutterspeed', '2');
    const { seconds } = await link.fire({ into: folder, exposureSeconds: 2 });
    expect(seconds).toBeGreaterThan(1.5);
  });

  it('does not mind a Ctrl-C of the whole group', async () => {
    const link = open();
    await link.identify();
    const { pid } = link;
    if (pid !== undefined) process.kill(pid, 'SIGINT');
    await pause(200);
    await link.identify();
    expect(link.pid).toBe(pid);
  });

  it('has a HOME of its own, and what it prints comes through line by line', async () => {
    const entry = path.join(folder, 'printing.cjs');
    await writeFile(
      entry,
      'process.on("message", ({ id }) => { console.log(process.env.HOME + "\\nsecond"); console.error("third"); setTimeout(() => process.send({ id, ok: true, value: null }), 100); });',
    );
    const said: string[] = [];
    const link = open({ entry, log: (line) => said.push(line) });
    await link.identify();
    expect(said).toEqual(expect.arrayContaining([path.join(folder, 'home'), 'second', 'third']));
  });

  it('ends by itself when the daemon is killed', async () => {
    const daemon = start(['serve', '--body', 'practice', '--port', '0', '--into', folder], {
      XDG_STATE_HOME: folder,
    });
    await daemon.until(/Body: Practice body/);
    const pid = await childOf(daemon);
    expect(isAlive(pid)).toBe(true);
    daemon.signal('SIGKILL');
    expect(await gone(pid)).toBe(true);
  });

  it('ends by itself when the daemon is killed while it starts', async () => {
    // Nobody listens yet when the channel closes.
    const forking = `
      const child = require('node:child_process').fork(${JSON.stringify(CAMERA_PROCESS)}, ['practice'], { serialization: 'advanced' });
      child.send({ id: 1, method: 'identify', args: [] });
      console.log(child.pid);
      setInterval(() => {}, 1000);`;
    for (const after of [0, 20, 40, 60, 80, 120, 200, 400]) {
      const daemon = spawn(process.execPath, ['-e', forking], { stdio: ['ignore', 'pipe', 'ignore'] });
      const pid = await new Promise<number>((resolve) =>
        daemon.stdout.on('data', (text) => resolve(Number(text))),
      );
      await pause(after);
      daemon.kill('SIGKILL');
      expect(await gone(pid), `killed after ${after} ms`).toBe(true);
    }
  });

  it('ends by itself when the daemon is killed, also where letting go of the body hangs', async () => {
    const plugged = await plugIn('amount');
    try {
      plugged.responder.intercept(OPERATION.closeSession, () => new Promise(() => undefined));
      const daemon = start(['serve', '--body', 'usb', '--port', '0', '--into', folder], {
        XDG_STATE_HOME: folder,
        ...plugged.environment,
      });
      await daemon.until(/Body: /);
      const pid = await childOf(daemon);
      expect(isAlive(pid)).toBe(true);
      daemon.signal('SIGKILL');
      expect(await gone(pid)).toBe(true);
    } finally {
      await plugged.remove();
    }
  });
});

/** Writes down each start, says who is there as the file `who` has it, and does with other calls as the file `how` says. */
const SCRIPTED = `
const fs = require('node:fs');
const at = (name) => require('node:path').join(__dirname, name);
fs.appendFileSync(at('starts'), process.pid + ' ' + Date.now() + '\\n');
process.on('SIGTERM', () => {});
process.on('disconnect', () => process.exit());
process.on('message', ({ id, method }) => {
  fs.appendFileSync(at('asked'), method + '\\n');
  if (method === 'identify') return process.send({ id, ok: true, value: JSON.parse(fs.readFileSync(at('who'), 'utf8')) });
  const how = fs.readFileSync(at('how'), 'utf8');
  if (how === 'crash') return process.abort();
  if (how === 'lose') return process.send({ id, ok: false, code: 'body-lost', message: 'The camera is gone.', details: {} });
  process.send({ id, ok: true, value: new Map() });
});
`;

describe('a camera process that is started again', () => {
  const ONE = { link: 'usb', model: 'One', serial: '1' };
  const write = (name: string, what: string) => writeFile(path.join(folder, name), what);
  const lines = (name: string) =>
    existsSync(path.join(folder, name))
      ? readFileSync(path.join(folder, name), 'utf8').trim().split('\n')
      : [];
  const starts = () => lines('starts').map((line) => line.split(' ').map(Number) as [number, number]);

  async function scripted(options: Partial<SupervisedLinkOptions> = {}): Promise<SupervisedLink> {
    await write('scripted.cjs', SCRIPTED);
    await write('who', JSON.stringify(ONE));
    await write('how', 'answer');
    return open({ entry: path.join(folder, 'scripted.cjs'), ...options });
  }
  /** Starts another process. @returns milliseconds until it ran */
  async function nextStart(link: SupervisedLink): Promise<number> {
    const began = Date.now();
    await write('how', 'answer');
    await link.attached();
    return (starts().at(-1)?.[1] ?? 0) - began;
  }
  const fallen = { code: 'body-lost', message: expect.stringContaining('ended unexpectedly') };

  it('is asked once who it reaches, before the call that started it; the answer serves identify too', async () => {
    const link = await scripted();
    await link.readSettings();
    await link.identify();
    link.kill();
    await link.readSettings();
    link.kill();
    expect(await link.identify()).toEqual(ONE);
    expect(lines('asked')).toEqual(['readSettings', 'identify', 'identify', 'readSettings', 'identify']);
  });

  it('is ended where it reaches another body, and what was asked is not done', async () => {
    const link = await scripted();
    await link.identify();
    const { pid } = link;
    await write('who', JSON.stringify({ ...ONE, serial: '2' }));
    link.kill();
    await expect(link.changeSetting('aeb', 'off')).rejects.toMatchObject({
      code: 'body-lost',
      message:
        'A different camera answers: One, serial number 2. Connect the one from before: One, serial number 1.',
    });
    expect(lines('asked')).toEqual(['identify', 'identify']);
    expect(link.pid).toBeUndefined();
    for (const [started] of starts()) expect(await gone(started)).toBe(true);
    await write('who', JSON.stringify(ONE));
    await link.changeSetting('aeb', 'off');
    expect(link.pid).not.toBe(pid);
  });

  it(
    'waits longer each time that it falls, a second at most, and not at all after a call that succeeded',
    PACED,
    async () => {
      const link = await scripted();
      await link.identify();
      await write('how', 'crash');
      for (let times = 0; times < 6; times += 1)
        await expect(link.readSettings()).rejects.toMatchObject(fallen);
      const waits = starts()
        .slice(2)
        .map(([, at], index) => at - (starts()[index + 1]?.[1] ?? 0));
      // From start to start, so that what a start takes comes on top.
      for (const [index, least] of [0, 250, 500, 1000].entries())
        expect(waits[index]).toBeGreaterThanOrEqual(least);
      const after: number[] = [];
      for (let times = 0; times < 3; times += 1) {
        await write('how', 'answer');
        await link.readSettings();
        await write('how', 'crash');
        await expect(link.readSettings()).rejects.toMatchObject(fallen);
        after.push(await nextStart(link));
      }
      // The least, since a busy machine takes its time.
      pace('started anew after it had answered', Math.min(...after), 'ms', 1000);
    },
  );

  it('does not wait where the body was lost and the process said so', PACED, async () => {
    const link = await scripted();
    await link.identify();
    const after: number[] = [];
    for (let round = 0; round < 3; round += 1) {
      await write('how', 'lose');
      for (let times = 0; times < 5; times += 1) {
        await expect(link.readSettings()).rejects.toMatchObject({ code: 'body-lost' });
      }
      after.push(await nextStart(link));
    }
    pace('started anew after the body was lost', Math.min(...after), 'ms', 1000);
  });

  it('is never there twice, however calls, kills and recyclings meet', async () => {
    const link = await scripted({ memoryBound: 1 });
    await link.identify();
    let most = 0;
    const look = setInterval(() => {
      most = Math.max(most, starts().filter(([pid]) => isAlive(pid)).length);
    }, 1);
    const ends: Promise<unknown>[] = [];
    const begin = (call: Promise<unknown>) => {
      // They are looked at together, later.
      call.catch(() => undefined);
      ends.push(call);
    };
    for (let round = 0; round < 12; round += 1) {
      for (let call = 0; call < 3; call += 1) begin(link.readSettings());
      await pause((round * 37) % 150);
      if (round % 3 === 0) link.kill();
      else if (round % 3 === 1) begin(link.recycleIfLarge());
      else if (link.pid !== undefined) process.kill(link.pid, 'SIGKILL');
      begin(link.identify());
    }
    const settled = await Promise.allSettled(ends);
    for (const one of settled) {
      if (one.status === 'rejected') expect(one.reason).toMatchObject({ code: 'body-lost' });
    }
    const releasing = [link.readSettings().catch(() => undefined), link.letGo(), link.letGo()];
    await Promise.all(releasing);
    clearInterval(look);
    expect(most).toBe(1);
    expect(starts().filter(([pid]) => isAlive(pid))).toEqual([]);
  });

  it('is not started by a call after the link was released, nor by one that waits for a start', async () => {
    const link = await scripted();
    const waiting = link.readSettings();
    waiting.catch(() => undefined);
    await link.letGo();
    await expect(waiting).rejects.toMatchObject({ code: 'body-lost' });
    await expect(link.readSettings()).rejects.toMatchObject({ code: 'body-lost' });
    await pause(100);
    expect(starts().filter(([pid]) => isAlive(pid))).toEqual([]);
  });

  it('only the call in hand is on the clock', async () => {
    const entry = path.join(folder, 'slow.cjs');
    await writeFile(
      entry,
      `let queue = Promise.resolve();
       process.on('message', ({ id }) => { queue = queue.then(() => new Promise((done) => setTimeout(done, 300))).then(() => process.send({ id, ok: true, value: null })); });`,
    );
    const link = open({ entry, deadlines: { call: 700, start: 5000 } });
    const calls = Array.from({ length: 4 }, () => link.readSettings());
    expect(await Promise.all(calls)).toHaveLength(4);
  });
});

describe('recycling', () => {
  it('ends a process above the bound, gently; the next call starts another', async () => {
    const link = open({ memoryBound: 1 });
    await link.identify();
    const { pid } = link;
    expect(await link.recycleIfLarge()).toBe(true);
    expect(isAlive(pid ?? -1)).toBe(false);
    expect(await link.recycleIfLarge()).toBe(false);
    expect((await link.identify()).serial).toBe('PB-0001');
    expect(link.pid).not.toBe(pid);
  });

  it('leaves alone what is small or busy', async () => {
    const small = open();
    await small.identify();
    const { pid } = small;
    expect(await small.recycleIfLarge()).toBe(false);
    expect(small.pid).toBe(pid);
    const busy = open({ memoryBound: 1 });
    await busy.identify();
    const reading = busy.readSettings();
    await Promise.resolve();
    expect(await busy.recycleIfLarge()).toBe(false);
    expect((await reading).size).toBeGreaterThan(0);
  });

  it('the memory is what the kernel says; where it says nothing, the process is asked', async () => {
    const own = await residentMemory(process.pid);
    expect(Math.abs((own ?? 0) / process.memoryUsage().rss - 1)).toBeLessThan(0.3);
    expect(await residentMemory(process.pid, folder)).toBeUndefined();
    const asking = `
      const child = require('node:child_process').fork(${JSON.stringify(CAMERA_PROCESS)}, ['practice'], { serialization: 'advanced' });
      child.on('message', ({ value }) => { console.log(value); child.kill('SIGKILL'); });
      child.send({ id: 1, method: 'memory', args: [] });`;
    const asked = spawn(process.execPath, ['-e', asking], { stdio: ['ignore', 'pipe', 'inherit'] });
    const said = await new Promise<string>((resolve) =>
      asked.stdout.on('data', (text) => resolve(String(text))),
    );
    expect(Number(said)).toBeGreaterThan(20 * 1024 * 1024);
  });
});

describe('around the camera process', () => {
  it('what it prints has a level; chatter that is known has the low one', async () => {
    const entry = path.join(folder, 'levels.cjs');
    await writeFile(
      entry,
      `process.on('message', ({ id }) => {
         console.log('Return value: -2');
         console.error('### Initializing Camera');
         console.error('free(): invalid pointer');
         setTimeout(() => process.send({ id, ok: true, value: null }), 200);
       });`,
    );
    const said: string[] = [];
    const unused: string[] = [];
    const link = open({
      entry,
      log: (line) => unused.push(line),
      logAt: (level, line) => said.push(`${level} ${line}`),
    });
    await link.identify();
    expect(said.sort()).toEqual([
      'debug ### Initializing Camera',
      'debug Return value: -2',
      'warn free(): invalid pointer',
    ]);
    expect(unused).toEqual([]);
  });

  it.each(['/proc/nowhere/deep/home', '/dev/null/home'])(
    'a HOME that cannot be made is told within a moment, and the event loop goes on: %s',
    PACED,
    async (home) => {
      const link = open({ home });
      const started = performance.now();
      await expect(link.identify()).rejects.toMatchObject({ code: 'state-not-writable' });
      pace('a HOME that cannot be made is told', performance.now() - started, 'ms', 1000);
    },
  );

  it('a HOME several levels deep is made', async () => {
    const link = open({ home: path.join(folder, 'a', 'b', 'c') });
    await link.identify();
    expect(readdirSync(path.join(folder, 'a', 'b'))).toEqual(['c']);
  });

  it('what cannot be sent, and a port that cannot be told, end in an error of the catalogue', async () => {
    const link = open();
    await expect(link.changeSetting('x', (() => undefined) as never)).rejects.toMatchObject({
      code: 'internal',
    });
    expect((await link.identify()).model).toBe('Practice body');
    const nowhere = open({ port: () => Promise.reject(new Error('no bus')) });
    await expect(nowhere.identify()).rejects.toMatchObject({
      code: 'internal',
      message: expect.stringContaining('no bus'),
    });
  });
});
