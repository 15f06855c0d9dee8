// The computer is kept awake by a tool of the system, and by nothing once the run, or the whole program, is gone. The tools
// are shell scripts of the same names, first on PATH.
import { spawn } from 'node:child_process';
import { chmod, mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { build } from 'vite';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { type Awake, type StayAwakeOptions, stayAwake } from '../../src/system/stay-awake.js';
import { isAlive } from '../built.js';
import { PACED, pace } from '../pace.js';

const SETTINGS = 'turn off automatic sleep, and leave the lid open.';

let folder = '';
const held: Awake[] = [];
beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  for (const awake of held.splice(0)) await awake.release();
  await rm(folder, { recursive: true, force: true });
});

const env = () => ({ ...process.env, PATH: `${folder}:${process.env.PATH}`, NOTES: folder });

/** On a busy machine a script takes its time to start: only the test of the delay uses the real patience. */
async function stay(options: StayAwakeOptions = {}): Promise<Awake> {
  const awake = await stayAwake('a set is fired', {
    platform: 'linux',
    env: env(),
    answerWithin: 10_000,
    ...options,
  });
  held.push(awake);
  return awake;
}

/** Each script first notes its process id and its arguments. */
async function tool(name: string, script: string): Promise<void> {
  const file = path.join(folder, name);
  const notes = `echo $$ > "$NOTES/${name}.pid"\nprintf '%s\\n' "$@" > "$NOTES/${name}.args"\n`;
  await writeFile(file, `#!/bin/sh\n${notes}${script}\n`);
  await chmod(file, 0o755);
}

/** Like the real one: takes the lock, then runs the command and waits for it. */
const LOCKS = 'while :; do case $1 in --*) shift ;; *) break ;; esac; done\n"$@"';

async function inhibitor(script = LOCKS): Promise<void> {
  await tool('systemd-inhibit', script);
  await tool('cat', 'exec /bin/cat');
}

/** @returns the process id of a script, once it has noted it */
async function noted(name: string): Promise<number> {
  for (let tries = 0; tries < 250; tries += 1) {
    const pid = Number(await readFile(path.join(folder, `${name}.pid`), 'utf8').catch(() => ''));
    if (pid > 0) return pid;
    await pause(20);
  }
  throw new Error(`${name} was never started.`);
}
const notedArgs = async (name: string): Promise<string[]> =>
  (await readFile(path.join(folder, `${name}.args`), 'utf8')).trimEnd().split('\n');

async function gone(pid: number): Promise<boolean> {
  for (let tries = 0; tries < 250; tries += 1) {
    if (!isAlive(pid)) return true;
    await pause(20);
  }
  return false;
}

describe('where systemd-inhibit is', () => {
  it('it holds a lock on idling, sleep and the lid until it is released', async () => {
    await inhibitor();
    const awake = await stay();
    expect(awake.reminder).toBeNull();
    expect(await notedArgs('systemd-inhibit')).toEqual([
      '--what=idle:sleep:handle-lid-switch',
      '--who=Evenrung',
      '--why=a set is fired',
      '--mode=block',
      'cat',
    ]);
    const pids = [await noted('systemd-inhibit'), await noted('cat')];
    await pause(100);
    expect(pids.map(isAlive)).toEqual([true, true]);
    await Promise.all([awake.release(), awake.release()]);
    for (const pid of pids) expect(await gone(pid)).toBe(true);
  });

  it('one that does not heed the polite signal is ended all the same', PACED, async () => {
    await inhibitor("trap '' TERM\necho held\n/bin/cat > /dev/null");
    const awake = await stay();
    expect(awake.reminder).toBeNull();
    const pid = await noted('systemd-inhibit');
    const before = performance.now();
    await awake.release();
    expect(await gone(pid)).toBe(true);
    pace('a tool that does not heed is ended', performance.now() - before, 'ms', 2000);
  });

  it('what it has started of its own goes with it', async () => {
    await inhibitor('echo held\nsleep 60 &\necho $! > "$NOTES/sleep.pid"\nwait');
    const awake = await stay();
    const pid = await noted('sleep');
    expect(isAlive(pid)).toBe(true);
    await awake.release();
    expect(await gone(pid)).toBe(true);
  });

  it('one that fails at once: a reminder, and nothing else', async () => {
    await inhibitor('echo "Failed to connect to bus: No such file or directory" >&2\nexit 1');
    const lost: string[] = [];
    const awake = await stay({ onLost: (sentence) => lost.push(sentence) });
    expect(awake.reminder).toBe(
      `This laptop may fall asleep while shooting (the system refused it): ${SETTINGS}`,
    );
    await awake.release();
    expect(lost).toEqual([]);
  });

  it(
    'one that never answers delays the run by a third of a second, and is ended by release',
    PACED,
    async () => {
      await inhibitor('/bin/cat > /dev/null');
      const before = performance.now();
      const awake = await stay({ answerWithin: 300 });
      const took = performance.now() - before;
      expect(took).toBeGreaterThan(290);
      pace('a run is delayed by a tool that never answers (300 ms)', took, 'ms', 1000);
      expect(awake.reminder).toContain('(the system did not answer)');
      const pid = await noted('systemd-inhibit');
      expect(isAlive(pid)).toBe(true);
      await awake.release();
      expect(await gone(pid)).toBe(true);
    },
  );

  it('one that is taken away later is told once', async () => {
    await inhibitor();
    const lost: string[] = [];
    const awake = await stay({ onLost: (sentence) => lost.push(sentence) });
    const cat = await noted('cat');
    process.kill(await noted('systemd-inhibit'), 'SIGKILL');
    for (let tries = 0; lost.length === 0 && tries < 250; tries += 1) await pause(20);
    expect(lost).toEqual([
      `This laptop may fall asleep while shooting (the system no longer keeps it awake): ${SETTINGS}`,
    ]);
    expect(await gone(cat)).toBe(true);
    await awake.release();
    expect(lost).toHaveLength(1);
  });

  it('letting go is no loss', async () => {
    await inhibitor();
    const lost: string[] = [];
    const awake = await stay({ onLost: (sentence) => lost.push(sentence) });
    const pid = await noted('systemd-inhibit');
    await awake.release();
    expect(await gone(pid)).toBe(true);
    await pause(50);
    expect(lost).toEqual([]);
  });
});

describe('where the tool cannot be had', () => {
  it('a missing one is named', async () => {
    const awake = await stay({ env: { PATH: folder } });
    expect(awake.reminder).toBe(
      `This laptop may fall asleep while shooting (systemd-inhibit is not installed): ${SETTINGS}`,
    );
    await awake.release();
  });

  it('one that may not be run is a refusal', async () => {
    await writeFile(path.join(folder, 'systemd-inhibit'), '#!/bin/sh\n');
    const awake = await stay({ env: { PATH: folder } });
    expect(awake.reminder).toContain('(the system refused it)');
  });

  it('words that no process can be given do not throw', async () => {
    await inhibitor();
    const awake = await stayAwake('a\0b', { platform: 'linux', env: env() });
    expect(awake.reminder).toContain('(the system refused it)');
    await awake.release();
  });

  it('a system that it knows no tool of', async () => {
    const awake = await stay({ platform: 'win32' });
    expect(awake.reminder).toBe(
      `This laptop may fall asleep while shooting (it has no way to do so here): ${SETTINGS}`,
    );
    await awake.release();
  });
});

describe('where caffeinate is', () => {
  const WATCHES = 'while kill -0 "$5"; do sleep 0.05; done';

  it('it holds for this process, until it is released', async () => {
    await tool('caffeinate', WATCHES);
    const awake = await stay({ platform: 'darwin', answerWithin: 150 });
    expect(awake.reminder).toBeNull();
    const pid = await noted('caffeinate');
    await pause(100);
    expect(await notedArgs('caffeinate')).toEqual(['-i', '-m', '-s', '-w', String(process.pid)]);
    expect(isAlive(pid)).toBe(true);
    await awake.release();
    expect(await gone(pid)).toBe(true);
  });

  it('one that fails at once: a reminder', async () => {
    await tool('caffeinate', 'exit 1');
    const awake = await stay({ platform: 'darwin' });
    expect(awake.reminder).toContain('(the system refused it)');
  });

  it('one that ends later is told', async () => {
    await tool('caffeinate', WATCHES);
    const lost: string[] = [];
    const awake = await stay({
      platform: 'darwin',
      answerWithin: 150,
      onLost: (sentence) => lost.push(sentence),
    });
    expect(awake.reminder).toBeNull();
    process.kill(await noted('caffeinate'), 'SIGKILL');
    for (let tries = 0; lost.length === 0 && tries < 250; tries += 1) await pause(20);
    expect(lost).toHaveLength(1);
  });
});

describe('whoever keeps it awake', () => {
  /** A program of its own that stays awake, does what it is told, and prints what it was reminded of. */
  async function owner(then: string) {
    await inhibitor();
    await build({
      configFile: false,
      logLevel: 'silent',
      build: {
        ssr: fileURLToPath(new URL('../../src/system/stay-awake.ts', import.meta.url)),
        outDir: folder,
        emptyOutDir: false,
        rolldownOptions: { output: { entryFileNames: 'stay-awake.mjs' } },
      },
    });
    const file = path.join(folder, 'owner.mjs');
    await writeFile(
      file,
      `import { stayAwake } from './stay-awake.mjs';
const awake = await stayAwake('a set is fired', { platform: 'linux', answerWithin: 10_000 });
${then}
console.log(String(awake.reminder));`,
    );
    const child = spawn(process.execPath, [file], {
      env: env(),
      detached: true,
      stdio: ['ignore', 'pipe', 'inherit'],
    });
    const ended = new Promise<number | null>((resolve) => child.on('exit', resolve));
    const said = new Promise<string>((resolve) => child.stdout.on('data', (text) => resolve(String(text))));
    return { child, ended, said: await Promise.race([said, ended]) };
  }

  const LIVES_ON = "process.on('SIGINT', () => {});\nsetInterval(() => {}, 1000);";

  it('is killed: the lock goes with it', async () => {
    const { child, said } = await owner(LIVES_ON);
    try {
      expect(said).toBe('null\n');
      const pids = [await noted('systemd-inhibit'), await noted('cat')];
      expect(pids.map(isAlive)).toEqual([true, true]);
      child.kill('SIGKILL');
      for (const pid of pids) expect(await gone(pid)).toBe(true);
    } finally {
      child.kill('SIGKILL');
    }
  });

  it('is asked to stop by a Ctrl-C of the whole group: the lock holds while it puts things back', async () => {
    const { child, said } = await owner(LIVES_ON);
    try {
      expect(said).toBe('null\n');
      const pid = await noted('systemd-inhibit');
      process.kill(-(child.pid ?? Number.NaN), 'SIGINT');
      await pause(200);
      expect(isAlive(child.pid ?? -1)).toBe(true);
      expect(isAlive(pid)).toBe(true);
    } finally {
      child.kill('SIGKILL');
    }
    expect(await gone(await noted('systemd-inhibit'))).toBe(true);
  });

  it('has nothing left to do: it ends, and so does the lock', async () => {
    const { child, said, ended } = await owner('');
    try {
      expect(said).toBe('null\n');
      expect(await Promise.race([ended, pause(5000, 'still there')])).toBe(0);
      expect(await gone(await noted('systemd-inhibit'))).toBe(true);
    } finally {
      child.kill('SIGKILL');
    }
  });

  it('goes on after it has let go', async () => {
    const { child, ended } = await owner('await awake.release();\nprocess.exit(7);');
    try {
      expect(await Promise.race([ended, pause(5000, 'still there')])).toBe(7);
    } finally {
      child.kill('SIGKILL');
    }
  });
});
