// A set folder of three frames as a run hands it over, with all files beside them. Invented.
import { mkdir, writeFile } from 'node:fs/promises';
import path from 'node:path';
import sharp from 'sharp';
import type { SetRecord } from '../../shared/set-record.js';
import {
  CONTACT_SHEET,
  checksumOf,
  RECORD,
  SUMS,
  sidecarText,
  sumsText,
  TABLE,
} from '../../src/frames/index.js';

const OFFSETS = [-1, 0, 1];
const LABELS = ['1/125', '1/60', '1/30'];

const jpegOf = (exposureTime: string) =>
  sharp({ create: { width: 60, height: 40, channels: 3, background: '#777' } })
    .jpeg()
    .withExif({ IFD2: { ExposureTime: exposureTime, FNumber: '8/1', ISOSpeedRatings: '100' } })
    .toBuffer();

/** The files that a run hands over: the frames, and those beside them. */
export const FRAMES = ['01_-1EV.jpg', '02_0EV.jpg', '03_+1EV.jpg'];
export const BESIDE = [
  ...FRAMES.map((name) => name.replace('.jpg', '.xmp')),
  RECORD,
  SUMS,
  TABLE,
  CONTACT_SHEET,
];

/** Makes the folder. @returns the record in it */
export async function makeSet(folder: string, more: Partial<SetRecord> = {}): Promise<SetRecord> {
  const inSet = (name: string) => path.join(folder, name);
  await mkdir(inSet('set-aside'), { recursive: true });
  await writeFile(inSet('set-aside/frame-02.jpg'), await jpegOf('1/60'));
  const record: SetRecord = {
    version: 2,
    id: 'a-set',
    complete: true,
    sentence: 'All 3 frames are verified.',
    practice: true,
    startedAt: '2026-11-25T16:42:10.000Z',
    endedAt: '2026-11-25T16:42:20.000Z',
    body: { link: 'practice', model: 'Practice', serial: null },
    base: { shutter: '1/60', exposureTime: 1 / 64, aperture: 'f/8', iso: '100' },
    mode: 'manual',
    step: 1,
    passes: [],
    frames: [],
    setAside: [{ file: 'set-aside/frame-02.jpg', reason: 'A repeat.' }],
    strays: [],
    notes: [],
    clockDifference: null,
    putBack: [],
    notPutBack: [],
    ...more,
  };
  for (const [index, file] of FRAMES.entries()) {
    const offset = OFFSETS[index] as number;
    const shutter = LABELS[index] as string;
    await writeFile(inSet(file), await jpegOf(shutter));
    const sidecar = BESIDE[index] as string;
    record.frames.push({
      number: index + 1,
      pass: 1,
      offset,
      exposureTime: 2 ** (offset - 6),
      shutter,
      state: 'verified',
      attempts: 1,
      recorded: { exposureTime: 1 / Number(shutter.slice(2)), fNumber: 8, iso: 100 },
      clipped: { dark: 0, light: 0 },
      file,
      reason: null,
      baseMoved: null,
      ...(await checksumOf(inSet(file))),
      sidecar,
    });
    const { id, base } = record;
    const facts = { set: id, frame: index + 1, frames: 3, offsetEv: offset, base };
    const unsaid = { createdAt: null, name: null, note: null, viewpoint: null };
    await writeFile(inSet(sidecar), sidecarText({ ...facts, ...unsaid, practice: true }));
  }
  const sums = record.frames.map(({ file, sha256 }) => ({ file: file as string, sha256: sha256 as string }));
  await writeFile(inSet(SUMS), sumsText(sums));
  await writeFile(inSet(TABLE), 'a table\r\n');
  await writeFile(inSet(CONTACT_SHEET), 'a sheet');
  await keepRecord(folder, record);
  return record;
}

export const keepRecord = (folder: string, record: object): Promise<void> =>
  writeFile(path.join(folder, RECORD), JSON.stringify(record));

/** The record as version 1 wrote it. */
export function asVersion1(record: SetRecord): object {
  const frames = record.frames.map(({ sha256: _sum, bytes: _bytes, sidecar: _sidecar, ...frame }) => frame);
  return { ...record, version: 1, frames };
}
