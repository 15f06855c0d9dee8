// What is still owed to a body is on disk, whole, whatever fails or is pulled while it is written.
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import type { FileHandle } from 'node:fs/promises';
import { mkdir, mkdtemp, readdir, readFile, rename, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { build } from 'vite';
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import { AsFoundStore } from '../../src/bodies/as-found.js';
import type { BodyIdentity, Debts } from '../../src/camera/index.js';
import fc from '../seeded.js';

/** Every call to the file system is noted while `notes` is a list; the one with this number fails. */
const faults = vi.hoisted(() => ({
  notes: null as string[] | null,
  failAt: 0,
  code: 'EIO',
}));

vi.mock('node:fs/promises', async (importOriginal) => {
  const real = await importOriginal<typeof import('node:fs/promises')>();
  const step = (what: string) => {
    if (faults.notes === null) return;
    faults.notes.push(what);
    if (faults.notes.length === faults.failAt) {
      throw Object.assign(new Error(`${what} failed`), { code: faults.code });
    }
  };
  const noting =
    <A extends unknown[], R>(name: string, call: (...args: A) => Promise<R>) =>
    async (...args: A): Promise<R> => {
      step(name);
      return call(...args);
    };
  const open = async (...args: Parameters<typeof real.open>) => {
    step('open');
    const handle = await real.open(...args);
    const what = (await handle.stat()).isDirectory() ? ' folder' : '';
    for (const name of ['writeFile', 'sync', 'close'] as const) {
      const call = handle[name].bind(handle) as (...args: unknown[]) => Promise<void>;
      (handle as unknown as Record<string, unknown>)[name] = async (...given: unknown[]) => {
        // A file that cannot be closed properly is closed all the same.
        if (name === 'close') await call(...given);
        step(`${name}${what}`);
        return name === 'close' ? undefined : call(...given);
      };
    }
    return handle as FileHandle;
  };
  return {
    ...real,
    open,
    rename: noting('rename', real.rename),
    rm: noting('rm', real.rm),
    mkdir: noting('mkdir', real.mkdir),
    stat: noting('stat', real.stat),
    lstat: noting('lstat', real.lstat),
    readFile: noting('readFile', real.readFile as typeof readFile),
  };
});

let folder = '';
let damaged: string[] = [];
beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  damaged = [];
});
afterEach(async () => {
  faults.notes = null;
  await rm(folder, { recursive: true, force: true });
});

const store = (at = folder) => new AsFoundStore(at, (aside) => damaged.push(aside));
const identity = (model: string, serial: string | null): BodyIdentity => ({ link: 'usb', model, serial });
const BODY = identity('Body of the boathouse', 'B-0007');

const owed = (...entries: [name: string, found: string, written: string][]): Debts =>
  new Map(entries.map(([name, found, written]) => [name, { found, written: [written, `${written}, too`] }]));
const SHUTTER = owed(['shutterspeed', '1/60', '30']);
// In this order; a plain object would put the number first.
const MANY = owed(
  ['drivemode', 'Single', 'Bracket'],
  ['shutterspeed', '1/60', '30'],
  ['5001', '', 'ü "quoted" \\ \n line'],
  ['__proto__', 'a', 'b'],
);

const theFile = async (): Promise<string> => {
  const names = (await readdir(folder)).filter((name) => name.endsWith('.json'));
  expect(names).toHaveLength(1);
  return path.join(folder, names[0] ?? '');
};

describe('what is owed to a body', () => {
  it('is nothing where nothing was written, not even a folder', async () => {
    expect(await store(path.join(folder, 'not', 'there')).read(BODY)).toEqual(new Map());
    expect(damaged).toEqual([]);
  });

  it('comes back in its order, in another program too', async () => {
    const at = path.join(folder, 'made', 'for', 'it');
    await store(at).write(BODY, MANY);
    const read = await store(at).read(BODY);
    expect([...read]).toEqual([...MANY]);
    expect(await store(at).read({ ...BODY, serial: 'B-0008' })).toEqual(new Map());
  });

  it('says whose it is and when it was written', async () => {
    await store().write(BODY, SHUTTER);
    const { savedAt, ...rest } = JSON.parse(await readFile(await theFile(), 'utf8'));
    expect(rest).toEqual({
      version: 1,
      model: BODY.model,
      serial: BODY.serial,
      debts: [{ name: 'shutterspeed', found: '1/60', written: ['30', '30, too'] }],
    });
    expect(Math.abs(Date.parse(savedAt) - Date.now())).toBeLessThan(60_000);
    expect(path.basename(await theFile())).toMatch(/^Body-of-the-boathouse-B-0007-[0-9a-f]{32}\.json$/);
  });

  it('is gone once it is paid, and paying twice is no error', async () => {
    await store().write(BODY, SHUTTER);
    await store().write(BODY, new Map());
    expect(await readdir(folder)).toEqual([]);
    await store().write(BODY, new Map());
    expect(await store().read(BODY)).toEqual(new Map());
  });

  it('the last of many writes at once wins, and each is as it was when it was asked for', async () => {
    const changing = new Map([['n', { found: '0', written: [''] }]]);
    const writes: Promise<void>[] = [];
    const reads: Promise<Debts>[] = [];
    for (let number = 1; number <= 30; number += 1) {
      changing.set('n', { found: String(number), written: [''] });
      // By turns through two stores on one folder.
      writes.push(store().write(BODY, number % 7 === 0 ? new Map() : changing));
      reads.push(store().read(BODY));
    }
    await Promise.all(writes);
    const seen = (await Promise.all(reads)).map((debts) => debts.get('n')?.found ?? 'none');
    const expected = Array.from({ length: 30 }, (_, at) => ((at + 1) % 7 === 0 ? 'none' : String(at + 1)));
    expect(seen).toEqual(expected);
    expect(await readdir(folder)).toHaveLength(1);
  });

  it('a write that failed does not hold up the next', async () => {
    const at = path.join(folder, 'taken');
    await writeFile(at, '');
    // Two at once: the second waits for its turn behind one that fails.
    const writes = await Promise.allSettled([store(at).write(BODY, SHUTTER), store(at).write(BODY, SHUTTER)]);
    const failed = { status: 'rejected', reason: expect.objectContaining({ code: 'state-not-writable' }) };
    expect(writes).toEqual([failed, failed]);
    await rm(at);
    await store(at).write(BODY, MANY);
    expect([...(await store(at).read(BODY))]).toEqual([...MANY]);
  });
});

describe('names from the wire', () => {
  const HARMLESS = /^[A-Za-z0-9][A-Za-z0-9-]{0,140}\.json$/;
  const NASTY: [string, string | null][] = [
    ['', null],
    ['', ''],
    ['null', 'null'],
    ['null', null],
    ['../../etc/passwd', '..'],
    ['..', '../../etc/passwd'],
    ['/', '\\'],
    ['a', 'b-c'],
    ['a-b', 'c'],
    ['A', 'b-c'],
    ['a/b', 'c'],
    ['a\0b', 'c'],
    ['con', null],
    ['x'.repeat(300), 'y'.repeat(300)],
    ['x'.repeat(300), `${'y'.repeat(299)}z`],
    ['Лодочный сарай', 'ボート小屋'],
    ['ü', '1'],
    ['u\u0308', '1'],
    ['\ud800', '1'],
    ['\ud801', '1'],
    ['line\nend', '\r'],
    ['.hidden', '.'],
  ];

  it('lead to one file each, inside the folder, under a name that any file system takes', async () => {
    for (const [index, [model, serial]] of NASTY.entries()) {
      await store().write(identity(model, serial), owed(['n', String(index), '']));
    }
    for (const [index, [model, serial]] of NASTY.entries()) {
      expect([...(await store().read(identity(model, serial)))]).toEqual([...owed(['n', String(index), ''])]);
    }
    const entries = await readdir(folder, { withFileTypes: true });
    expect(entries.every((entry) => entry.isFile())).toBe(true);
    // Some file systems tell no capitals from small letters.
    expect(new Set(entries.map(({ name }) => name.toLowerCase())).size).toBe(NASTY.length);
    for (const { name } of entries) expect(name).toMatch(HARMLESS);
    expect(damaged).toEqual([]);
  });

  it('whatever they are: two bodies share no file', () => {
    const text = fc.string({ unit: 'binary', maxLength: 300 });
    const body = fc.tuple(text, fc.option(text));
    fc.assert(
      fc.property(body, body, ([model, serial], [otherModel, otherSerial]) => {
        fc.pre(model !== otherModel || serial !== otherSerial);
        const names = [identity(model, serial), identity(otherModel, otherSerial)].map((each) =>
          path.relative(folder, store().pathFor(each)).toLowerCase(),
        );
        expect(names[0]).not.toBe(names[1]);
        for (const name of names) expect(name).toMatch(HARMLESS);
      }),
      { numRuns: 500 },
    );
  });
});

describe('a damaged file', () => {
  const whole = async (): Promise<{ file: string; text: string }> => {
    await store().write(BODY, MANY);
    const file = await theFile();
    return { file, text: await readFile(file, 'utf8') };
  };

  const changed = (text: string, change: (content: Record<string, unknown>) => void): string => {
    const content = JSON.parse(text);
    change(content);
    return JSON.stringify(content);
  };

  it.each<[string, (text: string) => string]>([
    ['empty', () => ''],
    ['full of zeros', (text) => '\0'.repeat(text.length)],
    ['no JSON', () => 'shutterspeed=1/60'],
    ['null', () => 'null'],
    ['without its fields', () => '{}'],
    ['of another version', (text) => changed(text, (content) => Object.assign(content, { version: 2 }))],
    ['with a field too many', (text) => changed(text, (content) => Object.assign(content, { more: 1 }))],
    ['about another model', (text) => changed(text, (content) => Object.assign(content, { model: 'x' }))],
    ['about no serial', (text) => changed(text, (content) => Object.assign(content, { serial: null }))],
    [
      'with a setting twice',
      (text) =>
        changed(text, (content) => (content.debts as unknown[]).push((content.debts as unknown[])[0])),
    ],
  ])('%s: kept under another name, told, read as nothing', async (_, damage) => {
    const { file, text } = await whole();
    await writeFile(file, damage(text));
    expect(await store().read(BODY)).toEqual(new Map());
    expect(damaged).toEqual([`${file}.damaged-1`]);
    expect(await readFile(`${file}.damaged-1`, 'utf8')).toBe(damage(text));
    expect(await readdir(folder)).toEqual([`${path.basename(file)}.damaged-1`]);
  });

  it('cut off anywhere', async () => {
    const { file, text } = await whole();
    // Without its last line end it is still whole.
    let cuts = 0;
    for (let length = 0; length < text.length - 1; length += 13) {
      cuts += 1;
      await writeFile(file, text.slice(0, length));
      expect(await store().read(BODY)).toEqual(new Map());
      expect(damaged.at(-1)).toBe(`${file}.damaged-${cuts}`);
    }
    expect(damaged).toHaveLength(cuts);
    expect(await readdir(folder)).toHaveLength(cuts);
  });

  it('does not stand in the way of the next write', async () => {
    const { file } = await whole();
    await writeFile(file, '{');
    await store().read(BODY);
    await store().write(BODY, SHUTTER);
    expect([...(await store().read(BODY))]).toEqual([...SHUTTER]);
    expect(await readFile(`${file}.damaged-1`, 'utf8')).toBe('{');
  });

  it('a folder in its place is set aside too', async () => {
    const { file } = await whole();
    await rename(file, path.join(folder, 'elsewhere'));
    await mkdir(file);
    expect(await store().read(BODY)).toEqual(new Map());
    expect(damaged).toEqual([`${file}.damaged-1`]);
  });

  it('that cannot be set aside is an error, and stays', async () => {
    const { file } = await whole();
    await writeFile(file, '{');
    Object.assign(faults, { notes: [], failAt: 3, code: 'EROFS' });
    await expect(store().read(BODY)).rejects.toMatchObject({
      code: 'state-not-writable',
      message: `The file ${file} is damaged and cannot be set aside: the disk is read-only. Name a state folder that can be written, in XDG_STATE_HOME.`,
    });
    expect(faults.notes).toEqual(['readFile', 'lstat', 'rename']);
    expect(damaged).toEqual([]);
    faults.notes = null;
    expect(await readFile(file, 'utf8')).toBe('{');
  });
});

describe('writing', () => {
  it('reaches the disk before it takes the place of the old, and the new name before it is done', async () => {
    await store().write(BODY, SHUTTER);
    faults.failAt = 0;
    faults.notes = [];
    await store().write(BODY, MANY);
    expect(faults.notes).toEqual([
      'stat',
      'open',
      'writeFile',
      'sync',
      'close',
      'rename',
      'open',
      'sync folder',
      'close folder',
    ]);
    faults.notes = [];
    await store().write(BODY, new Map());
    expect(faults.notes).toEqual(['rm', 'open', 'sync folder', 'close folder']);
  });

  it.each<[string, Debts]>([
    ['a change', MANY],
    ['the end of it', new Map()],
  ])('%s: whichever step fails, it is told, and the old or the new is there whole', async (_, next) => {
    const seen = new Set<string>();
    for (let failAt = 1; ; failAt += 1) {
      const at = await mkdtemp(path.join(folder, 'fault-'));
      await store(at).write(BODY, SHUTTER);
      Object.assign(faults, { notes: [], failAt, code: 'EIO' });
      const outcome = await store(at)
        .write(BODY, next)
        .then(
          () => null,
          (cause) => cause,
        );
      const reached = (faults.notes ?? []).length >= failAt;
      faults.notes = null;
      const names = await readdir(at);
      expect(names.filter((name) => !name.endsWith('.json'))).toEqual([]);
      const now = JSON.stringify([...(await store(at).read(BODY))]);
      if (!reached) {
        expect(outcome).toBeNull();
        expect(now).toBe(JSON.stringify([...next]));
        break;
      }
      expect(outcome).toMatchObject({
        code: 'state-not-writable',
        message: `The camera's settings cannot be written down in ${at}: the disk reports an error. Name a state folder that can be written, in XDG_STATE_HOME.`,
      });
      expect([JSON.stringify([...SHUTTER]), JSON.stringify([...next])]).toContain(now);
      seen.add(now);
    }
    // Before the rename it is the old one, after it the new one: both were met.
    expect(seen.size).toBe(2);
    expect(damaged).toEqual([]);
  });

  it.each([
    ['EINVAL', 'sync folder'],
    ['EACCES', 'sync folder'],
  ])('a folder that cannot be synced (%s) is no error', async (code, what) => {
    await store().write(BODY, SHUTTER);
    Object.assign(faults, { notes: [], failAt: 8, code });
    await store().write(BODY, MANY);
    expect(faults.notes?.[7]).toBe(what);
    faults.notes = null;
    expect([...(await store().read(BODY))]).toEqual([...MANY]);
  });

  it.each([
    ['ENOSPC', 'the disk is full'],
    ['EROFS', 'the disk is read-only'],
    ['EACCES', 'you have no permission'],
  ])('says why (%s)', async (code, words) => {
    Object.assign(faults, { notes: [], failAt: 3, code });
    await expect(store().write(BODY, SHUTTER)).rejects.toThrow(
      `cannot be written down in ${folder}: ${words}.`,
    );
  });

  it('where there can be no folder', async () => {
    const file = path.join(folder, 'file');
    await writeFile(file, '');
    await expect(store(file).write(BODY, SHUTTER)).rejects.toThrow('part of its path is a file');
    await expect(store(path.join(file, 'deeper')).write(BODY, SHUTTER)).rejects.toMatchObject({
      code: 'state-not-writable',
    });
    // A file system that holds no folders of ours, where Node's own recursive mkdir never comes back.
    await expect(store('/proc/evenrung/as-found').write(BODY, SHUTTER)).rejects.toMatchObject({
      code: 'state-not-writable',
    });
  });

  it('a program that is killed in the middle leaves the old or the new', async () => {
    await build({
      configFile: false,
      logLevel: 'silent',
      ssr: { noExternal: true },
      build: {
        ssr: fileURLToPath(new URL('../../src/bodies/as-found.ts', import.meta.url)),
        outDir: folder,
        emptyOutDir: false,
        rolldownOptions: { output: { entryFileNames: 'as-found.mjs' } },
      },
    });
    const at = path.join(folder, 'state');
    const writer = path.join(folder, 'writer.mjs');
    // Each generation has its number in every entry, and enough of them for more than one block of a disk.
    await writeFile(
      writer,
      `import { AsFoundStore } from './as-found.mjs';
const store = new AsFoundStore(${JSON.stringify(at)});
const names = Array.from({ length: 400 }, (_, n) => 'setting-' + n);
for (let number = 1; ; number += 1) {
  const debts = new Map(names.map((name) => [name, { found: String(number), written: ['x'.repeat(number % 50)] }]));
  await store.write(${JSON.stringify(BODY)}, debts);
  if (number === 1) console.log('written');
}`,
    );
    let furthest = 0;
    for (let kill = 0; kill < 6; kill += 1) {
      const child = spawn(process.execPath, [writer], { stdio: ['ignore', 'pipe', 'inherit'] });
      const ended = once(child, 'exit');
      try {
        await Promise.race([once(child.stdout, 'data'), ended]);
        await pause(13 * kill);
      } finally {
        child.kill('SIGKILL');
        await ended;
      }
      const read = await store(at).read(BODY);
      expect(read.size).toBe(400);
      const generations = new Set([...read.values()].map(({ found }) => found));
      expect(generations.size).toBe(1);
      furthest = Math.max(furthest, Number([...generations][0]));
    }
    expect(damaged).toEqual([]);
    // It was killed among writes, not before or after them all.
    expect(furthest).toBeGreaterThan(1);
  }, 90_000);
});
