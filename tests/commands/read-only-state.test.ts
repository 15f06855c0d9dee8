// A state folder that can only be read, as on a disk that was mounted so: what it holds is shown, also what only the journal's log
// holds, because the program that wrote it was killed.
import { execFile } from 'node:child_process';
import { chmod, mkdir, mkdtemp, readdir, readFile, rm, stat, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { promisify } from 'node:util';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { Owner } from '../../src/system/index.js';
import { sweepParts, writeWhole } from '../../src/system/whole-file.js';
import { MAIN, start } from '../built.js';
import { childOf } from '../child-of.js';

let folder = '';
beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(folder, { recursive: true, force: true });
});

const IS_ROOT = process.getuid?.() === 0;

/** Runs the program where the folder may only be read: a root is let write anyway, unless the disk refuses. */
async function readOnly(state: string, args: readonly string[], env: Record<string, string>) {
  const program = [process.execPath, MAIN, ...args];
  const options = { env: { ...process.env, ...env } };
  if (IS_ROOT) {
    const mounted = 'mount --bind "$1" "$1" && mount -o remount,ro,bind "$1" && shift && exec "$@"';
    return promisify(execFile)('unshare', ['-m', 'sh', '-c', mounted, 'sh', state, ...program], options);
  }
  const folders = [state, path.join(state, 'evenrung'), path.join(state, 'evenrung', 'journal')];
  for (const one of folders) await chmod(one, 0o555);
  try {
    return await promisify(execFile)(program[0] ?? '', program.slice(1), options);
  } finally {
    for (const one of folders) await chmod(one, 0o755);
  }
}

it('lists a set that stands in the log alone, changes nothing, and leaves nothing behind', async () => {
  const state = path.join(folder, 'state');
  const temporary = path.join(folder, 'tmp');
  await mkdir(temporary);
  const firing = start(
    ['fire', '--frames', '9', '--step', '1', '--body', 'practice', '--into', path.join(folder, 'sets')],
    { XDG_STATE_HOME: state, EVENRUNG_PRACTICE_TIMING: 'lifelike' },
  );
  await firing.until(/frame +\d+ .* verified/);
  const camera = await childOf(firing);
  firing.signal('SIGKILL');
  await firing.ended;
  if (camera > 0)
    await expect.poll(() => stat(`/proc/${camera}`).catch(() => null), { timeout: 10_000 }).toBeNull();
  const journal = path.join(state, 'evenrung', 'journal');
  expect((await stat(path.join(journal, 'journal.sqlite-wal'))).size).toBeGreaterThan(4096);
  const before = await contentOf(journal);
  const env = { XDG_STATE_HOME: state, TMPDIR: temporary };
  const { stdout } = await readOnly(state, ['sets', '--json'], env);
  const { set } = JSON.parse(stdout.trim().split('\n')[0] ?? '') as { set: { id: string; verified: number } };
  expect(set.verified).toBeGreaterThan(0);
  const shown = await readOnly(state, ['sets', 'show', set.id, '--log'], env);
  expect(shown.stdout).toContain('verified');
  expect(await contentOf(journal)).toEqual(before);
  expect((await readdir(temporary)).filter((name) => name.startsWith('evenrung-journal'))).toEqual([]);
  // Where it can be written again, the same is told.
  const { stdout: later } = await promisify(execFile)(process.execPath, [MAIN, 'sets', '--json'], {
    env: { ...process.env, ...env },
  });
  expect(later).toBe(stdout);
});

async function contentOf(inside: string): Promise<ReadonlyMap<string, string>> {
  const names = (await readdir(inside)).filter((name) => !name.endsWith('-shm')).sort();
  const texts = names.map(async (name) => [name, await readFile(path.join(inside, name), 'latin1')] as const);
  return new Map(await Promise.all(texts));
}

it('what killed programs left of files is swept by the next owner; what is written just now, or is no part, stays', async () => {
  const dead = 2 ** 22 + 1;
  const left = [`owner.json.${dead}-1.part`, `devices.json.${dead}-12.part`];
  const inside = [`as-found/a-body.json.${dead}-3.part`, `journal/about.txt.${dead}-1.part`];
  const staying = [`daemons.json.${process.ppid}-1.part`, 'daemons.json', 'mine.part', 'as-found/b.json'];
  for (const name of [...left, ...inside, ...staying]) {
    await mkdir(path.dirname(path.join(folder, name)), { recursive: true });
    await writeFile(path.join(folder, name), '{');
  }
  const owner = await Owner.take(folder, { what: 'a test' });
  try {
    const there = new Set(await readdir(folder, { recursive: true }));
    expect([...left, ...inside].filter((name) => there.has(name))).toEqual([]);
    expect(staying.filter((name) => !there.has(name))).toEqual([]);
    // A second one has no say: it does not own the folder.
    await writeFile(path.join(folder, left[0] ?? ''), '{');
    await expect(Owner.take(folder, { what: 'another' })).rejects.toMatchObject({ code: 'already-owned' });
    expect(await readdir(folder)).toContain(left[0]);
  } finally {
    await owner.release();
  }
});

it('a part of a process that had our number is swept, one that this process is writing is not', async () => {
  await writeFile(path.join(folder, `a.json.${process.pid}-999999.part`), '{');
  const writing = writeWhole(path.join(folder, 'b.json'), 'x'.repeat(30_000_000));
  await expect
    .poll(() => readdir(folder), { interval: 1 })
    .toContainEqual(expect.stringMatching(/^b\.json\..*part$/));
  await sweepParts(folder);
  await writing;
  expect(await readdir(folder)).toEqual(['b.json']);
});
