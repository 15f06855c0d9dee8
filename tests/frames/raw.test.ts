import { spawn, spawnSync } from 'node:child_process';
import { once } from 'node:events';
import { chmod, mkdtemp, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import sharp from 'sharp';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import {
  ExifToolProcess,
  exifTool,
  mustBeWhole,
  readPicture,
  readPixelSize,
  readRawPreview,
  readRawRecorded,
  readRecorded,
} from '../../src/frames/index.js';
import { underWatch } from '../../src/frames/read/exiftool.js';
import { makeDng, makeJp2, type RawFacts } from '../raw-files.js';

const FACTS: RawFacts = { exposureTime: [1, 3], fNumber: [56, 10], iso: 200, bias: [-4, 3] };
const RECORDED = {
  exposureTime: 1 / 3,
  fNumber: 5.6,
  iso: 200,
  bias: -4 / 3,
  focalLength: null,
  takenAt: null,
};
/** More than the quick reader takes of a file. */
const FAR = 600_000;

let folder = '';
beforeAll(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterAll(async () => {
  await exifTool.end();
  await rm(folder, { recursive: true, force: true });
});

async function put(name: string, bytes: Buffer | string): Promise<string> {
  const file = path.join(folder, name);
  await writeFile(file, bytes);
  return file;
}

const jpegOf = (width: number, height: number) =>
  sharp({ create: { width, height, channels: 3, background: '#fff' } })
    .jpeg()
    .toBuffer();

describe('the exposure that a raw file records', () => {
  it.each(['little', 'big'] as const)('%s endian: the same from both readers', async (order) => {
    const file = await put(`${order}.dng`, makeDng(FACTS, order));
    expect(await readRecorded(file)).toEqual(RECORDED);
    expect(await readRawRecorded(file)).toEqual(RECORDED);
  });

  it.each(['little', 'big'] as const)('%s endian, with its directories behind the pixels', async (order) => {
    const file = await put('far.dng', makeDng(FACTS, order, FAR));
    expect(await readRecorded(file)).toEqual(RECORDED);
  });

  it.each(['little', 'big'] as const)('%s endian: when it was taken, from both readers', async (order) => {
    const facts: RawFacts = { ...FACTS, takenAt: ['2026:11:25 16:42:10', '070'] };
    const file = await put(`taken-${order}.dng`, makeDng(facts, order));
    const recorded = { ...RECORDED, takenAt: '2026-11-25T16:42:10.070' };
    expect([await readRecorded(file), await readRawRecorded(file)]).toEqual([recorded, recorded]);
  });

  it('a container that is no TIFF', async () => {
    const file = await put('frame.jp2', makeJp2(FACTS));
    expect(await readRecorded(file)).toEqual(RECORDED);
  });

  // Exact where the file is: ExifTool tells ten digits, and prints 0.3 s, 1/1.3 s and the like rounded for people.
  it.each([
    [1, 3],
    [10, 13],
    [1, 32000],
    [3, 10],
    [32, 1],
    [1, 181],
    [333333, 1000000],
    [125, 16000],
  ])('%s/%s s is told exactly', async (top, bottom) => {
    const file = await put('exact.jp2', makeJp2({ ...FACTS, exposureTime: [top, bottom], bias: [0, 1] }));
    const { exposureTime, bias } = await readRawRecorded(file);
    expect(exposureTime).toBe(top / bottom);
    expect(bias).toBe(0);
  });

  it('damaged: unreadable, in words', async () => {
    const whole = makeDng(FACTS, 'little', FAR);
    for (const [name, bytes] of [
      ['cut.dng', whole.subarray(0, FAR - 1000)],
      ['head.dng', makeDng(FACTS, 'big').subarray(0, 60)],
      ['words.dng', 'no picture at all, only words, and quite a few of them'],
      ['empty.dng', ''],
    ] as const) {
      const file = await put(name, bytes);
      await expect(readRecorded(file), name).rejects.toMatchObject({
        code: 'frame-unreadable',
        message: expect.stringMatching(/cut short or broken|cannot be read/),
      });
    }
    await expect(readRecorded(path.join(folder, 'gone'))).rejects.toMatchObject({ code: 'frame-unreadable' });
    await expect(readRawRecorded(path.join(folder, 'gone'))).rejects.toMatchObject({
      code: 'frame-unreadable',
    });
  });
});

describe('how many pixels a frame has', () => {
  it('is what its file says of the picture, and not of what lies beside it', async () => {
    const preview = await jpegOf(640, 400);
    const raw = await put('size.dng', makeDng({ ...FACTS, preview }, 'little'));
    expect(await readPixelSize(raw, 'dng')).toEqual({ width: 4, height: 2 });
    expect(await readPixelSize(await put('size.jpg', preview), 'jpg')).toEqual({ width: 640, height: 400 });
  });

  it('does not depend on how the picture is to be turned', async () => {
    const turned = await sharp({ create: { width: 60, height: 40, channels: 3, background: '#777' } })
      .withMetadata({ orientation: 6 })
      .jpeg()
      .toBuffer();
    expect(await readPixelSize(await put('turned.jpg', turned), 'jpg')).toEqual({ width: 60, height: 40 });
  });

  it('is not known of what nobody can read', async () => {
    expect(await readPixelSize(await put('words.jpg', 'words'), 'jpg')).toBeNull();
    expect(await readPixelSize(await put('words.dng', 'words'), 'dng')).toBeNull();
    expect(await readPixelSize(path.join(folder, 'gone'), 'jpg')).toBeNull();
  });
});

describe('the small copy of a raw file', () => {
  it('is made from the preview in it, and says so', async () => {
    const file = await put('preview.dng', makeDng({ ...FACTS, preview: await jpegOf(640, 400) }, 'little'));
    const picture = await readPicture(file, 'dng');
    expect(picture).toMatchObject({ isPreview: true, clipped: { dark: 0, light: 1 } });
    expect(await sharp(picture?.thumbnail).metadata()).toMatchObject({
      format: 'jpeg',
      width: 320,
      height: 200,
    });
  });

  it('is missing where there is no preview, or a broken one: that is no fault of the frame', async () => {
    expect(await readPicture(await put('none.dng', makeDng(FACTS, 'big')), 'dng')).toBeNull();
    const broken = (await jpegOf(640, 400)).subarray(0, 300);
    expect(
      await readPicture(await put('bad.dng', makeDng({ ...FACTS, preview: broken }, 'big')), 'dng'),
    ).toBeNull();
    expect(await readPicture(await put('frame.jp2', makeJp2(FACTS)), 'jp2')).toBeNull();
  });

  it('a file whose pixels never came is found out, though its head is whole', async () => {
    // The directory of the sensor's picture points past the end: there the first of the two.
    const whole = makeDng({ ...FACTS, preview: await jpegOf(640, 400) }, 'little');
    const reach = Buffer.from(whole);
    const strip = reach.indexOf(Buffer.from([0x17, 0x01, 4, 0, 1, 0, 0, 0]));
    reach.writeUInt32LE(5_000_000, strip + 8);
    const file = await put('short.dng', reach);
    expect(await readRecorded(file)).toEqual(RECORDED);
    await expect(mustBeWhole(file)).rejects.toMatchObject({
      code: 'frame-unreadable',
      message: expect.stringContaining('its pixels reach to byte'),
    });
  });
});

describe('the ExifTool process', () => {
  const tools: ExifToolProcess[] = [];
  const tool = (options: ConstructorParameters<typeof ExifToolProcess>[0]) => {
    const made = new ExifToolProcess(options);
    tools.push(made);
    return made;
  };
  afterEach(async () => {
    for (const made of tools.splice(0)) await made.end();
  });

  it('starts when it is needed, once, and ends when it is told to', async () => {
    const one = tool({});
    expect(await one.pids()).toEqual([]);
    const file = await put('frame.jp2', makeJp2(FACTS));
    await Promise.all(Array.from({ length: 5 }, () => readRawRecorded(file, one)));
    const [pid, ...more] = await one.pids();
    expect(more).toEqual([]);
    expect(() => process.kill(pid as number, 0)).not.toThrow();
    await one.end();
    await expect.poll(() => isAlive(pid as number)).toBe(false);
    expect(await readRawRecorded(file, one)).toEqual(RECORDED);
  });

  it('without Perl: one sentence that says what to install; JPEG goes on', async () => {
    const without = tool({ perl: async () => null });
    const file = await put('frame.jp2', makeJp2(FACTS));
    await expect(readRawRecorded(file, without)).rejects.toMatchObject({
      code: 'frame-unreadable',
      message: expect.stringContaining('need Perl'),
    });
    await expect(readRawPreview(file, without)).rejects.toMatchObject({ details: { perl: false } });
    const jpeg = await sharp({ create: { width: 9, height: 9, channels: 3, background: '#777' } })
      .jpeg()
      .withExif({ IFD2: { ExposureTime: '1/125' } })
      .toBuffer();
    const pids = await exifTool.pids();
    expect(await readRecorded(await put('frame.jpg', jpeg))).toMatchObject({ exposureTime: 1 / 125 });
    expect(await exifTool.pids()).toEqual(pids);
  });

  it('one that hangs, or is no ExifTool, costs a deadline and no more', async () => {
    const hung = await put('hung', '#!/bin/sh\nread line\necho 13.59\necho "{ready}"\nexec sleep 60\n');
    await chmod(hung, 0o755);
    const file = await put('frame.jp2', makeJp2(FACTS));
    const since = performance.now();
    await expect(readRawRecorded(file, tool({ program: hung, callDeadlineMs: 400 }))).rejects.toMatchObject({
      code: 'frame-unreadable',
    });
    // It hangs for a minute.
    expect(performance.now() - since).toBeLessThan(30_000);
    for (const nothing of [
      { program: path.join(folder, 'no-such-program') },
      { program: file },
      { perl: async () => path.join(folder, 'no-such-perl') },
    ]) {
      await expect(readRawRecorded(file, tool({ ...nothing, callDeadlineMs: 400 }))).rejects.toMatchObject({
        code: 'frame-unreadable',
        message: expect.stringContaining('does not start'),
      });
    }
  });

  it('ends by itself where the program that started it was killed', async () => {
    const { exiftoolPath, DefaultExiftoolArgs } = await import('exiftool-vendored');
    const args = [...underWatch(await exiftoolPath()), ...DefaultExiftoolArgs];
    const script = `const { spawn } = require('node:child_process');
      const child = spawn('perl', ${JSON.stringify(args)}, { stdio: 'pipe' });
      child.stdout.once('data', (text) => console.log(child.pid + ' ' + text));
      child.stdin.write('-ver\\n-execute\\n');`;
    const program = spawn(process.execPath, ['-e', script], { stdio: ['ignore', 'pipe', 'inherit'] });
    const [told] = await once(program.stdout, 'data');
    const [pid, version] = String(told).split(/\s+/);
    expect(version).toMatch(/^1\d\.\d+$/);
    expect(isAlive(Number(pid))).toBe(true);
    program.kill('SIGKILL');
    await expect.poll(() => isAlive(Number(pid)), { timeout: 8000 }).toBe(false);
  });

  it('does not keep the program alive', async () => {
    const file = await put('frame.jp2', makeJp2(FACTS));
    const library = fileURLToPath(import.meta.resolve('exiftool-vendored'));
    // As src/frames/read/exiftool.ts starts it: nobody ends it here.
    const script = `const { ExifTool } = require(${JSON.stringify(library)});
      const tool = new ExifTool({ maxProcs: 1, unrefStreams: true });
      tool.readRaw(${JSON.stringify(file)}, { readArgs: ['-n', '-ISO'] }).then((tags) => console.log(tags.ISO, tool.pids[0]));`;
    const ended = spawnSync(process.execPath, ['-e', script], { encoding: 'utf8', timeout: 15_000 });
    expect(ended.status).toBe(0);
    const [iso, pid] = ended.stdout.trim().split(' ').map(Number);
    expect(iso).toBe(200);
    await expect.poll(() => isAlive(pid as number), { timeout: 5000 }).toBe(false);
  });
});

function isAlive(pid: number): boolean {
  try {
    process.kill(pid, 0);
    return true;
  } catch {
    return false;
  }
}
