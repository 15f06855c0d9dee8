// One process at a time has a state folder, and it goes with the process, however that ends.
import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import { chmod, mkdir, mkdtemp, readdir, readFile, rm, utimes, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { build } from 'vite';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { Owner } from '../../src/system/owner.js';
import { PACED, pace } from '../pace.js';

/** In the project, where the program's libraries are found. */
const OUT = fileURLToPath(new URL('../../dist/tests/processes', import.meta.url));
const HOLDER = path.join(OUT, 'owner-holder.js');
const MOST_WAIT_MS = 100;
const ADDRESS = 'http://127.0.0.1:4160';

let folder = '';
let state = '';
let children: ChildProcess[] = [];
let owners: Owner[] = [];
beforeAll(() =>
  build({
    configFile: false,
    logLevel: 'silent',
    publicDir: false,
    build: {
      ssr: fileURLToPath(new URL('./owner-holder.ts', import.meta.url)),
      outDir: OUT,
      emptyOutDir: false,
      minify: false,
      target: 'node20',
    },
  }),
);
beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  state = path.join(folder, 'made', 'for', 'it');
  children = [];
  owners = [];
});
afterEach(async () => {
  for (const child of children) await kill(child);
  for (const owner of owners) await owner.release();
  await rm(folder, { recursive: true, force: true });
});
afterAll(() => rm(HOLDER, { force: true }));

interface Held {
  readonly child: ChildProcess;
  /** The first line that it printed. */
  readonly said: string;
}

async function hold(what: string, address?: string, flags: readonly string[] = []): Promise<Held> {
  const args = [...flags, HOLDER, state, what, ...(address === undefined ? [] : [address])];
  const child = spawn(process.execPath, args, { stdio: ['pipe', 'pipe', 'inherit'] });
  children.push(child);
  return { child, said: await lineOf(child) };
}

async function lineOf(child: ChildProcess): Promise<string> {
  const [text] = (await once(child.stdout ?? child, 'data')) as [Buffer];
  return text.toString().trim();
}

async function kill(child: ChildProcess): Promise<void> {
  if (child.exitCode !== null || child.signalCode !== null) return;
  const ended = once(child, 'exit');
  child.kill('SIGKILL');
  await ended;
}

async function take(what = 'fire', address?: string): Promise<Owner> {
  const owner = await Owner.take(state, { what, address });
  owners.push(owner);
  return owner;
}

async function refusal(): Promise<{ code: string; message: string; details: Record<string, unknown> }> {
  return take().then(
    () => {
      throw new Error('It was free.');
    },
    (cause) => cause,
  );
}

const told = async () => JSON.parse(await readFile(path.join(state, 'owner.json'), 'utf8'));
const timeOf = (since: string) =>
  new Date(since).toLocaleTimeString('en-GB', { hour: '2-digit', minute: '2-digit', hour12: false });

describe('a second process', () => {
  it('is told who it is that runs, at once', PACED, async () => {
    const { child, said } = await hold('serve', ADDRESS);
    expect(said).toBe('taken');
    const { since, ...rest } = await told();
    expect(rest).toEqual({
      version: 1,
      pid: child.pid,
      host: os.hostname(),
      what: 'serve',
      address: ADDRESS,
    });

    const began = performance.now();
    const refused = await refusal();
    pace('a second owner is refused', performance.now() - began, 'ms', MOST_WAIT_MS);
    expect(refused).toMatchObject({
      code: 'already-owned',
      message: `Evenrung is already running here: serve, process ${child.pid}, panel at ${ADDRESS}, since ${timeOf(since)}. Use that one, or stop it first.`,
      details: { pid: child.pid, what: 'serve', address: ADDRESS, since },
    });

    const second = JSON.parse((await hold('fire')).said);
    expect(second).toMatchObject({ code: 'already-owned', message: refused.message, pid: child.pid });
    pace('a second process is refused', second.took, 'ms', MOST_WAIT_MS * 5);
    // Asking changes nothing.
    expect((await told()).since).toBe(since);
  });

  it('can take it at once when the first is killed, again and again', async () => {
    for (let time = 1; time <= 5; time += 1) {
      const { child, said } = await hold('serve', ADDRESS);
      expect(said).toBe('taken');
      await kill(child);
      // Left behind, and without a lock.
      expect((await told()).pid).toBe(child.pid);
      const owner = await take();
      expect((await told()).pid).toBe(process.pid);
      await owner.release();
    }
  });

  it('can take it when the first lets go, although that lives on', async () => {
    const { child } = await hold('serve');
    child.stdin?.end();
    expect(await lineOf(child)).toBe('released');
    expect(child.exitCode).toBeNull();
    await take();
    expect((await told()).what).toBe('fire');
  });

  it('is refused in the same process too, and asking does not loosen the lock', async () => {
    const owner = await take('serve');
    expect((await refusal()).code).toBe('already-owned');
    // A process loses such a lock when it closes another handle of the same file.
    expect(JSON.parse((await hold('fire')).said)).toMatchObject({ code: 'already-owned', pid: process.pid });
    await owner.release();
    await owner.release();
    expect(await readdir(state)).toEqual(['about.txt', 'owner.lock']);
    expect((await hold('fire')).said).toBe('taken');
  });

  it('is refused although nothing in the first refers to the lock any more', async () => {
    expect((await hold('serve', undefined, ['--expose-gc'])).said).toBe('taken');
    expect((await refusal()).code).toBe('already-owned');
  });

  it('of several at one moment one gets it', async () => {
    const all = await Promise.all([1, 2, 3, 4].map((number) => hold(`serve-${number}`)));
    expect(all.filter(({ said }) => said === 'taken')).toHaveLength(1);
    for (const { said } of all) if (said !== 'taken') expect(JSON.parse(said).code).toBe('already-owned');
  });
});

describe('what it says', () => {
  it('knows the address of the panel from when there is one', async () => {
    const owner = await take('serve');
    expect((await refusal()).message).toMatch(/: serve, process \d+, since /);
    await owner.announce(ADDRESS);
    expect((await refusal()).message).toContain(`, panel at ${ADDRESS}, since `);
    expect((await told()).address).toBe(ADDRESS);
  });

  it('names the day where it is another one', async () => {
    await hold('serve');
    await writeFile(
      path.join(state, 'owner.json'),
      JSON.stringify({ ...(await told()), since: new Date(2020, 10, 25, 16, 42).toISOString() }),
    );
    expect((await refusal()).message).toContain(', since 2020-11-25 16:42. ');
  });

  it('names the computer where it is another one', async () => {
    await hold('serve');
    await writeFile(
      path.join(state, 'owner.json'),
      JSON.stringify({ ...(await told()), host: 'boathouse', pid: 2 ** 30 }),
    );
    expect((await refusal()).message).toContain(`, process ${2 ** 30} on boathouse, since `);
  });

  it.each([
    ['nothing', null],
    ['no JSON', 'serve, process 1234'],
    ['another thing', '{"pid":1234}'],
  ])('does without it where the file holds %s', PACED, async (_, text) => {
    await hold('serve');
    const file = path.join(state, 'owner.json');
    if (text === null) await rm(file);
    else await writeFile(file, text);
    const began = performance.now();
    expect(await refusal()).toMatchObject({
      code: 'already-owned',
      message: 'Evenrung is already running here. Use that one, or stop it first.',
    });
    pace(
      'a second owner is refused without what the file says',
      performance.now() - began,
      'ms',
      MOST_WAIT_MS + 100,
    );
  });
});

describe('what was left behind', () => {
  it('means nothing without a lock: a file about a process that lives', async () => {
    await mkdir(state, { recursive: true });
    const since = new Date().toISOString();
    const other = { version: 1, pid: process.ppid, host: os.hostname(), what: 'serve', address: null, since };
    await writeFile(path.join(state, 'owner.json'), JSON.stringify(other));
    await take();
    expect((await told()).pid).toBe(process.pid);
  });

  it('means nothing, however old: an empty lock file', async () => {
    await mkdir(state, { recursive: true });
    await writeFile(path.join(state, 'owner.lock'), '');
    await utimes(path.join(state, 'owner.lock'), 0, 0);
    await take();
  });

  it('a lock file that is none is set aside', async () => {
    await mkdir(state, { recursive: true });
    await writeFile(path.join(state, 'owner.lock'), 'boathouse '.repeat(200));
    await take();
    expect((await refusal()).code).toBe('already-owned');
    const aside = path.join(state, 'owner.lock.damaged-1');
    expect(await readFile(aside, 'utf8')).toBe('boathouse '.repeat(200));
  });
});

describe('a state folder that cannot be written', () => {
  /** Permissions do not hold for root, who tries it as somebody else. */
  async function asSomebody<T>(work: () => Promise<T>): Promise<T> {
    if (process.getuid?.() !== 0) return work();
    process.seteuid?.(65534);
    try {
      return await work();
    } finally {
      process.seteuid?.(0);
    }
  }

  it('says so: read-only', async () => {
    await mkdir(state, { recursive: true });
    await chmod(folder, 0o755);
    await chmod(state, 0o555);
    await expect(asSomebody(() => take())).rejects.toMatchObject({
      code: 'state-not-writable',
      message: `The state folder ${state} cannot be written: you have no permission. Name a state folder that can be written, in XDG_STATE_HOME.`,
    });
    await chmod(state, 0o755);
    expect(await readdir(state)).toEqual([]);
  });

  it('says so: a lock file that is not ours', async () => {
    await mkdir(state, { recursive: true });
    await chmod(folder, 0o755);
    await chmod(state, 0o777);
    await writeFile(path.join(state, 'owner.lock'), '');
    await chmod(path.join(state, 'owner.lock'), 0o000);
    await expect(asSomebody(() => take())).rejects.toMatchObject({ code: 'state-not-writable' });
  });

  it('says so: where there can be none', async () => {
    await mkdir(path.dirname(state), { recursive: true });
    await writeFile(state, '');
    await expect(take()).rejects.toMatchObject({ code: 'state-not-writable' });
  });

  it('gives the lock back where it cannot be said who has it', async () => {
    await mkdir(path.join(state, 'owner.json'), { recursive: true });
    await expect(take()).rejects.toMatchObject({
      code: 'state-not-writable',
      message: `The lock cannot be written to ${state}/owner.json: it is a folder. Name a state folder that can be written, in XDG_STATE_HOME.`,
    });
    await rm(path.join(state, 'owner.json'), { recursive: true });
    expect((await hold('fire')).said).toBe('taken');
  });
});
