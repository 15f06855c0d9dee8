// The raw file that the practice body makes, through the program's own readers of raw files, and through ExifTool.
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { AT_ONCE, PracticeBody, type PracticeFile } from '../../src/camera/practice/model.js';
import { sixths } from '../../src/exposure/index.js';
import { readRecorded, recordedTv } from '../../src/frames/index.js';
import { exifTool } from '../../src/frames/read/exiftool.js';
import { rawKindOf, readRawPreview, readRawRecorded } from '../../src/frames/read/raw.js';
import { readWholeness } from '../../src/frames/wholeness/index.js';

let folder = '';
const takenAt = new Date(2026, 0, 2, 3, 4, 5, 678);
const body = new PracticeBody({ ...AT_ONCE, now: () => takenAt });
let raw: PracticeFile;
let jpeg: PracticeFile;
let file = '';

beforeAll(async () => {
  folder = await mkdtemp(path.join(tmpdir(), 'evenrung-raw-'));
  await body.change('shutter', sixths(10));
  await body.change('iso', 400);
  await body.change('format', 'raw-and-jpeg');
  const made = await body.release();
  if (made[0] === undefined || made[1] === undefined) throw new Error('There is no pair.');
  [raw, jpeg] = [made[0], made[1]];
  file = path.join(folder, 'frame');
  await writeFile(file, raw.content);
});
afterAll(() => rm(folder, { recursive: true, force: true }));

it('records what the JPEG of the same frame records, whoever reads it', async () => {
  const other = path.join(folder, 'frame.jpg');
  await writeFile(other, jpeg.content);
  const recorded = await readRecorded(file);
  expect(recorded).toEqual(await readRecorded(other));
  expect(recorded).toEqual(await readRawRecorded(file));
  expect(recorded).toMatchObject({ fNumber: 8, iso: 400, bias: 0, focalLength: 24 });
  expect(recordedTv(recorded.exposureTime)).toBe(10 / 6);
  expect(recorded.takenAt).not.toBeNull();
});

it('is told by its content, is whole, and is not if its end is missing', async () => {
  expect(await rawKindOf(file)).toBe('dng');
  expect(await readWholeness(file)).toEqual({ state: 'whole', hasNote: false });
  await writeFile(`${file}.cut`, raw.content.subarray(0, raw.content.length - 100));
  expect((await readWholeness(`${file}.cut`)).state).toBe('cut');
});

it('has the JPEG as its preview, and its head tells the exposure', async () => {
  expect((await readRawPreview(file))?.jpeg.equals(jpeg.content)).toBe(true);
  await writeFile(`${file}.head`, raw.content.subarray(0, 4096));
  expect(await readRecorded(`${file}.head`)).toEqual(await readRecorded(file));
});

it('is sound to ExifTool', async () => {
  const tags = await exifTool.read(file, ['-validate', '-Warning', '-Error', '-SerialNumber', '-CFAPattern']);
  expect([tags.Warning, tags.Error]).toEqual([undefined, undefined]);
  expect(tags).toMatchObject({ SerialNumber: 'PB-0001' });
});

it('a bulb exposure records how long it was', async () => {
  await body.change('shutter', 'bulb');
  await body.change('format', 'raw');
  const over = new Promise<PracticeFile>((resolve) => {
    const out = body.heed((event) => {
      if (event.is === 'file') resolve(event.file);
      else out();
    });
  });
  body.press({ holdSeconds: 95.5 });
  await writeFile(`${file}.bulb`, (await over).content);
  expect((await readRecorded(`${file}.bulb`)).exposureTime).toBe(95.5);
});
