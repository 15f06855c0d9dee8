// A set goes to another place whole or not at all: what is copied is what was there, what cannot be proved is not copied, and
// wherever it fails there is nothing of the copy.
import { execFileSync, spawnSync } from 'node:child_process';
import type * as promises from 'node:fs/promises';
import {
  mkdir,
  mkdtemp,
  readdir,
  readFile,
  rm,
  stat,
  statfs,
  symlink,
  truncate,
  utimes,
  writeFile,
} from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import type { SetRecord } from '../../shared/set-record.js';
import { hostMark } from '../../src/frames/folder/staging.js';
import { checkSet, exportSet, RECORD, SUMS, setFoldersIn } from '../../src/frames/index.js';
import { asVersion1, BESIDE, FRAMES, keepRecord, makeSet } from './set-sample.js';

/** What happens to the disk while something is copied; by default nothing. */
const disk = vi.hoisted(() => ({
  beforeReading: async (_file: string): Promise<void> => {},
  beforeWriting: async (_file: string): Promise<void> => {},
}));

vi.mock('../../src/frames/hand-over/checksum.js', async (original) => {
  const whole = await original<typeof import('../../src/frames/hand-over/checksum.js')>();
  const checksumOf = async (file: string) => {
    await disk.beforeReading(file);
    return whole.checksumOf(file);
  };
  return { ...whole, checksumOf };
});

vi.mock('node:fs/promises', async (original) => {
  const whole = await original<typeof promises>();
  const open: typeof whole.open = async (file, flags, mode) => {
    const handle = await whole.open(file, flags, mode);
    if (flags !== 'wx') return handle;
    const { writeFile: write } = handle;
    handle.writeFile = async (...data) => {
      await disk.beforeWriting(String(file));
      return write.apply(handle, data);
    };
    return handle;
  };
  return { ...whole, open };
});

let root = '';
let folder = '';
let into = '';
let record: SetRecord;
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  folder = path.join(root, 'set-20261125-164210');
  into = path.join(root, 'disk', 'sets');
  record = await makeSet(folder);
});
afterEach(async () => {
  disk.beforeReading = async () => {};
  disk.beforeWriting = async () => {};
  await rm(root, { recursive: true, force: true });
});

const inSet = (name: string) => path.join(folder, name);
const target = () => path.join(into, path.basename(folder));

/** Everything below a folder, with its bytes; hidden names too. */
async function contents(of: string): Promise<Map<string, string>> {
  const entries = await readdir(of, { recursive: true, withFileTypes: true });
  const files = entries
    .filter((entry) => entry.isFile())
    .map((entry) => path.join(entry.parentPath, entry.name));
  const texts = files.map(
    async (file) => [path.relative(of, file), (await readFile(file)).toString('latin1')] as const,
  );
  return new Map((await Promise.all(texts)).sort(([a], [b]) => (a < b ? -1 : 1)));
}

/** @returns the error; the set is as it was, and there is nothing of a copy */
async function refused(
  options: Parameters<typeof exportSet>[2] = {},
  where = into,
): Promise<Record<string, unknown>> {
  const before = await contents(folder);
  const error = await exportSet(folder, where, options).then(
    () => null,
    (cause: unknown) => cause,
  );
  expect(await contents(folder)).toEqual(before);
  expect(await readdir(into).catch(() => [])).toEqual([]);
  expect(error).not.toBeNull();
  const { code, message } = error as { code: string; message: string };
  return { code, message };
}

describe('a copy', () => {
  it('holds the frames and what lies beside them, byte for byte, and has nothing wrong with it', async () => {
    const exported = await exportSet(folder, into);
    const there = await contents(target());
    const here = await contents(folder);
    expect([...there.keys()]).toEqual([...FRAMES, ...BESIDE].sort());
    for (const [name, text] of there) expect([name, text]).toEqual([name, here.get(name)]);
    expect(exported).toMatchObject({ folder: target(), frames: 3, leftBehind: ['set-aside/frame-02.jpg'] });
    // What was set aside is not missed, only noted.
    expect((await checkSet(target())).findings.map(({ code }) => code)).toEqual(['aside-missing']);
    // By GNU coreutils, which know nothing of us.
    expect(execFileSync('sha256sum', ['-c', SUMS], { cwd: target(), encoding: 'utf8' })).toBe(
      FRAMES.map((name) => `${name}: OK\n`).join(''),
    );
    expect(await readdir(into)).toEqual([path.basename(folder)]);
  });

  it('keeps the times of the files', async () => {
    const at = new Date('2026-11-25T16:42:11.500Z');
    await utimes(inSet('02_0EV.jpg'), at, at);
    await exportSet(folder, into);
    expect((await stat(path.join(target(), '02_0EV.jpg'))).mtime).toEqual(at);
  });

  it('has only the frames where only they are wanted', async () => {
    const { files } = await exportSet(folder, into, { only: 'frames' });
    expect(await readdir(target())).toEqual(FRAMES);
    expect(files.map(({ file, sha256 }) => [file, sha256])).toEqual(
      record.frames.map(({ file, sha256 }) => [file, sha256]),
    );
  });

  it("takes somebody else's sidecars along, and leaves strangers behind", async () => {
    await writeFile(inSet('02_0EV.jpg.xmp'), 'the work of an evening');
    await writeFile(inSet('notes.txt'), 'tide at nine');
    const { leftBehind } = await exportSet(folder, into);
    expect(await readFile(path.join(target(), '02_0EV.jpg.xmp'), 'utf8')).toBe('the work of an evening');
    expect(leftBehind).toEqual(['notes.txt', 'set-aside/frame-02.jpg']);
  });

  it('of a record of version 1 holds what is there', async () => {
    await keepRecord(folder, asVersion1(record));
    for (const name of BESIDE) if (name !== RECORD) await rm(inSet(name));
    const { findings } = await exportSet(folder, into);
    expect(await readdir(target())).toEqual([...FRAMES, RECORD].sort());
    expect(findings.map(({ code }) => code)).toEqual(['no-checksums']);
  });

  it('of a set that is not complete says so', async () => {
    const [first, ...others] = record.frames;
    const open = { ...first, state: 'rejected', file: null, sha256: null, bytes: null, sidecar: null };
    await rm(inSet('01_-1EV.jpg'));
    await rm(inSet('01_-1EV.xmp'));
    await writeFile(inSet(SUMS), '');
    await keepRecord(folder, { ...record, complete: false, frames: [open, ...others] });
    const { frames, findings } = await exportSet(folder, into);
    expect(frames).toBe(2);
    expect(findings.map(({ code }) => code)).toContain('set-incomplete');
  });

  it('of several megabytes comes whole', async () => {
    // Behind the end of a JPEG anything may stand.
    const [frame] = record.frames;
    const bytes = Buffer.concat([await readFile(inSet('01_-1EV.jpg')), Buffer.alloc(3_500_000, 'boathouse')]);
    await writeFile(inSet('01_-1EV.jpg'), bytes);
    await writeFile(inSet(SUMS), '');
    await keepRecord(folder, { ...record, frames: [{ ...frame, sha256: null }, ...record.frames.slice(1)] });
    await exportSet(folder, into);
    expect((await readFile(path.join(target(), '01_-1EV.jpg'))).equals(bytes)).toBe(true);
  });
});

describe('nothing is copied', () => {
  it('where a frame has changed', async () => {
    const bytes = await readFile(inSet('02_0EV.jpg'));
    bytes[bytes.length - 3] = (bytes[bytes.length - 3] as number) ^ 1;
    await writeFile(inSet('02_0EV.jpg'), bytes);
    const { code, message } = await refused();
    expect(code).toBe('set-damaged');
    expect(message).toMatch(/Frame 2 \(0 EV\): 02_0EV.jpg has changed since it came/);
  });

  it.each([
    ['is not there', () => rm(inSet('03_+1EV.jpg'))],
    [
      'is a link elsewhere',
      async () => {
        await rm(inSet('03_+1EV.jpg'));
        await symlink('/etc/hostname', inSet('03_+1EV.jpg'));
      },
    ],
  ])('where a frame %s', async (_, spoil) => {
    await spoil();
    const before = await exportSet(folder, into).catch((cause: unknown) => cause);
    expect(before).toMatchObject({
      code: 'set-damaged',
      message: expect.stringMatching(/Frame 3 .*: its file 03_\+1EV.jpg is missing\./),
    });
    expect(await readdir(root)).toEqual([path.basename(folder)]);
  });

  it('where the record leads out of the folder', async () => {
    await writeFile(path.join(root, 'secret.jpg'), 'not yours');
    const frames = record.frames.map((frame, index) =>
      index === 0 ? { ...frame, file: '../secret.jpg' } : frame,
    );
    await keepRecord(folder, { ...record, frames });
    expect(await refused()).toMatchObject({ code: 'set-damaged' });
  });

  it.each([
    ['no record', () => rm(inSet(RECORD)), 'no-such-set'],
    ['a record that is cut short', () => truncate(inSet(RECORD), 200), 'record-unreadable'],
    ['a record of a newer program', () => keepRecord(folder, { version: 9 }), 'record-unreadable'],
  ] as const)('where there is %s', async (_, spoil, code) => {
    await spoil();
    expect(await refused()).toMatchObject({ code });
  });

  it('where there is no folder', async () => {
    await expect(exportSet(path.join(root, 'nowhere'), into)).rejects.toMatchObject({ code: 'no-such-set' });
  });

  it.each([
    [
      'a folder with something in it',
      async () => {
        await mkdir(target(), { recursive: true });
        await writeFile(path.join(target(), 'mine.txt'), 'mine');
      },
    ],
    ['an empty folder', () => mkdir(target(), { recursive: true })],
    [
      'a file',
      async () => {
        await mkdir(into, { recursive: true });
        await writeFile(target(), 'mine');
      },
    ],
  ] as const)('where %s has that name', async (_, make) => {
    await make();
    const before = await contents(into);
    const error = await exportSet(folder, into).catch((cause: unknown) => cause);
    expect(error).toMatchObject({ code: 'folder-not-writable', message: expect.stringMatching(/already/) });
    expect(await contents(into)).toEqual(before);
    expect(await readdir(into)).toEqual([path.basename(folder)]);
  });

  it('a second time', async () => {
    await exportSet(folder, into);
    await expect(exportSet(folder, into)).rejects.toMatchObject({ code: 'folder-not-writable' });
    expect(await readdir(into)).toEqual([path.basename(folder)]);
  });

  it.each(['.', 'copies', 'copies/of/it'])('into the set folder itself (%s)', async (inside) => {
    const { code } = await refused({}, inSet(inside));
    expect(code).toBe('folder-not-writable');
  });

  it('by a link into the set folder itself', async () => {
    await symlink(folder, path.join(root, 'elsewhere'));
    const { code } = await refused({}, path.join(root, 'elsewhere', 'copies'));
    expect(code).toBe('folder-not-writable');
  });

  it('beside itself', async () => {
    await expect(exportSet(folder, root)).rejects.toMatchObject({ code: 'folder-not-writable' });
    expect(await readdir(root)).toEqual([path.basename(folder)]);
  });

  it('where it does not fit', async () => {
    // A file with a hole: it takes no room here, and as much there as it says.
    const { bavail, bsize } = await statfs(root);
    await keepRecord(folder, asVersion1(record));
    await writeFile(inSet(SUMS), '');
    await truncate(inSet('02_0EV.jpg'), bavail * bsize + 2 ** 30);
    const error = await exportSet(folder, into).catch((cause: unknown) => cause);
    expect(error).toMatchObject({
      code: 'storing-failed',
      message: expect.stringMatching(/does not fit .* MB are free/),
    });
    expect(await readdir(into)).toEqual([]);
  });
});

describe('what an export that was killed left behind', () => {
  it('goes at the next one; that of a program that is alive does not', async () => {
    const dead = spawnSync('true').pid;
    const gone = `.evenrung-export-${hostMark()}-${dead}-1.part`;
    const alive = `.evenrung-export-${hostMark()}-${process.ppid}-1.part`;
    const mine = `.set-20261125-164210.${dead}-1.part`;
    for (const name of [gone, alive, mine]) {
      await mkdir(path.join(into, name), { recursive: true });
      await writeFile(path.join(into, name, '01_-1EV.jpg'), 'half');
    }
    await exportSet(folder, into);
    expect((await readdir(into)).sort()).toEqual([alive, mine, path.basename(folder)].sort());
  });
});

describe('nothing is left of a copy', () => {
  const at = (name: string, what: () => Promise<void>) => async (file: string) => {
    if (file.startsWith(root) && !file.startsWith(folder) && path.basename(file) === name) await what();
  };

  it('that does not read as it was written', async () => {
    disk.beforeReading = async (file) => at('02_0EV.jpg', () => writeFile(file, 'garbled'))(file);
    const { code, message } = await refused();
    expect(code).toBe('storing-failed');
    expect(message).toMatch(/the copy of 02_0EV.jpg .* differs from the original/);
  });

  it.each(['01_-1EV.jpg', '03_+1EV.jpg', RECORD])('where the disk is full at %s', async (name) => {
    disk.beforeWriting = at(name, () => Promise.reject(Object.assign(new Error(), { code: 'ENOSPC' })));
    const { code, message } = await refused();
    expect(code).toBe('storing-failed');
    expect(message).toMatch(/the disk is full/);
  });

  it('where a frame is changed while it is copied', async () => {
    const bytes = await readFile(inSet('03_+1EV.jpg'));
    disk.beforeWriting = at('01_-1EV.jpg', () => writeFile(inSet('03_+1EV.jpg'), 'another one'));
    const error = await exportSet(folder, into).catch((cause: unknown) => cause);
    expect(error).toMatchObject({ code: 'set-damaged', message: expect.stringMatching(/03_\+1EV.jpg/) });
    expect(await readdir(into)).toEqual([]);
    await writeFile(inSet('03_+1EV.jpg'), bytes);
  });

  it('where a frame goes while it is copied', async () => {
    disk.beforeWriting = at('01_-1EV.jpg', () => rm(inSet('03_+1EV.jpg')));
    const error = await exportSet(folder, into).catch((cause: unknown) => cause);
    expect(error).toMatchObject({ code: 'set-damaged' });
    expect(await readdir(into)).toEqual([]);
  });

  it.each(['beforeWriting', 'beforeReading'] as const)('that was stopped (%s)', async (when) => {
    const stop = new AbortController();
    disk[when] = at('02_0EV.jpg', async () => stop.abort());
    expect(await refused({ signal: stop.signal })).toMatchObject({ code: 'ending' });
  });

  it('where somebody else takes the name meanwhile', async () => {
    disk.beforeReading = at('03_+1EV.jpg', async () => {
      await mkdir(target());
    });
    const error = await exportSet(folder, into).catch((cause: unknown) => cause);
    expect(error).toMatchObject({ code: 'folder-not-writable' });
    expect(await readdir(into)).toEqual([path.basename(folder)]);
    expect(await readdir(target())).toEqual([]);
  });
});

describe('set folders', () => {
  it('are the one that is named, or those in it, by name', async () => {
    await makeSet(path.join(root, 'a-set'));
    await mkdir(path.join(root, 'cut-off', '.incoming'), { recursive: true });
    await mkdir(path.join(root, 'no-set'));
    await writeFile(path.join(root, 'a-file'), '');
    expect(await setFoldersIn(folder)).toEqual([folder]);
    const names = (await setFoldersIn(root)).map((found) => path.basename(found));
    expect(names).toEqual(['a-set', 'cut-off', path.basename(folder)]);
  });

  it.each([
    ['an empty folder', 'empty', /holds no set/],
    ['no folder', 'nowhere', /There is no folder/],
    ['a file', 'file', /is not a folder/],
  ] as const)('are not in %s', async (_, name, sentence) => {
    await mkdir(path.join(root, 'empty'));
    await writeFile(path.join(root, 'file'), '');
    await expect(setFoldersIn(path.join(root, name))).rejects.toMatchObject({
      code: 'no-such-set',
      message: expect.stringMatching(sentence),
    });
  });
});
