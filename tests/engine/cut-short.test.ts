// Raw files that a camera hands out cut short, without any error: through the engine, in a finished set, and what is copied of it.
import { mkdtemp, readFile, rm, stat, truncate, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterAll, afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { FiredFrame, FireOptions } from '../../src/camera/index.js';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import {
  checkSet,
  checksumOf,
  type ExifToolProcess,
  exifTool,
  exportSet,
  judgeWhole,
  mustBeWhole,
  oddSizeSentence,
  oddSizes,
  RECORD,
  readRecorded,
  SUMS,
} from '../../src/frames/index.js';
import { makeJpeg, makeMovieRaw } from '../container-files.js';
import { fireSet } from '../harness/set.js';
import { makeRaw, noise, type RawFacts } from '../raw-files.js';

let root = '';
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(root, { recursive: true, force: true });
});
afterAll(() => exifTool.end());

const PIXEL_BYTES = 300_000;

const RAWS = {
  strips: (facts: RawFacts) => makeRaw(facts, { order: 'little', pixelsLast: true }),
  movie: (facts: RawFacts) => makeMovieRaw(facts),
  untold: (facts: RawFacts) =>
    makeRaw(facts, { order: 'little', number: 0x55, pixelsLast: true, pixelsTold: 'beginning' }),
} as const;

/** A body that writes raw files in place of JPEG, and may cut them. */
class RawLink extends PracticeLink {
  released = 0;
  readonly make: (facts: RawFacts) => Buffer;
  /** The share of its file that comes of each release, counted from 1. */
  part: (release: number) => number = () => 1;
  saysSize = false;

  constructor(kind: keyof typeof RAWS) {
    super(new PracticeBody(AT_ONCE));
    this.make = RAWS[kind];
  }

  override async fire(options: FireOptions): Promise<FiredFrame> {
    const { path: file, seconds } = await super.fire(options);
    this.released += 1;
    const { exposureTime, fNumber, iso } = await readRecorded(file);
    const whole = this.make({
      exposureTime: [Math.round((exposureTime ?? 0) * 1e6), 1e6],
      fNumber: [(fNumber ?? 0) * 10, 10],
      iso: iso ?? 0,
      bias: [0, 1],
      pixelBytes: PIXEL_BYTES,
    });
    await writeFile(file, whole.subarray(0, Math.floor(whole.length * this.part(this.released))));
    return { path: file, seconds, ...(this.saysSize ? { saidBytes: whole.length } : {}) };
  }
}

const codes = (marks: readonly { code: string }[] | undefined) => marks?.map(({ code }) => code);

describe.each(['strips', 'movie'] as const)(
  'the last raw file of three comes cut to a tenth (%s)',
  (kind) => {
    it('every time: it is not verified, and the set is not complete', async () => {
      const link = new RawLink(kind);
      link.part = (release) => (release >= 3 ? 0.1 : 1);
      const { state, record, run } = await fireSet(root, { link });
      expect(state).toBe('halted');
      expect(run.error?.code).toMatch(/^frame-/);
      expect(record?.complete).toBe(false);
      expect(record?.frames.filter((frame) => frame.state === 'verified')).toHaveLength(2);
      expect(record?.sentence).toContain('cut short');
      expect(record?.setAside.map(({ reason }) => reason)).toEqual(
        Array(3).fill(expect.stringContaining('cut short')),
      );
    });

    it('once: it is set aside, and its frame made up', async () => {
      const link = new RawLink(kind);
      link.part = (release) => (release === 3 ? 0.1 : 1);
      const { state, record } = await fireSet(root, { link });
      expect([state, record?.complete, link.released]).toEqual(['complete', true, 4]);
      expect(record?.setAside).toHaveLength(1);
      expect(record?.frames.map(({ marks }) => codes(marks))).toEqual([[], [], []]);
    });

    it('by one byte: the same', async () => {
      const link = new RawLink(kind);
      link.part = (release) => (release === 3 ? 1 - 1e-6 : 1);
      const { state, record } = await fireSet(root, { link });
      expect([state, record?.setAside.length]).toEqual(['complete', 1]);
    });
  },
);

describe('a kind that does not say where it ends', () => {
  it('can be worked with: each frame is marked', async () => {
    const { state, record } = await fireSet(root, { link: new RawLink('untold') });
    expect([state, record?.complete]).toEqual(['complete', true]);
    expect(record?.frames.map(({ marks }) => codes(marks))).toEqual(Array(3).fill(['unproved']));
    expect(record?.frames[0]?.marks[0]?.sentence).toBe(
      'Its file may be incomplete: this kind of file does not say how long it should be. Open it before you rely on it.',
    );
  });

  it('cut to a tenth at the end of the set, it is marked for its size as well', async () => {
    const link = new RawLink('untold');
    link.part = (release) => (release === 3 ? 0.1 : 1);
    const { record } = await fireSet(root, { link });
    const odd = record?.frames.filter(({ marks }) => codes(marks)?.includes('size'));
    expect(odd).toHaveLength(1);
    expect(odd?.[0]?.marks.at(-1)?.sentence).toMatch(
      /^Its file has 0\.030 MB, and .* check that it is complete\.$/,
    );
  });

  it('is proved where the camera says the size; cut, it is rejected', async () => {
    const link = new RawLink('untold');
    link.saysSize = true;
    link.part = (release) => (release === 3 ? 0.999 : 1);
    const { state, record } = await fireSet(root, { link });
    expect([state, link.released]).toEqual(['complete', 4]);
    expect(record?.frames.map(({ marks }) => codes(marks))).toEqual([[], [], []]);
    expect(record?.setAside[0]?.reason).toMatch(/it has \d+ bytes, but the camera said \d+/);
  });
});

describe('a finished set with a frame that had come cut short', () => {
  /** As an earlier program would have left it: record and checksums are those of the cut file. */
  async function cutInSet(kind: keyof typeof RAWS, part: number): Promise<string> {
    const { folder, record } = await fireSet(root, { link: new RawLink(kind) });
    const frame = record?.frames[2];
    const file = path.join(folder, frame?.file ?? '');
    await truncate(file, Math.floor((await stat(file)).size * part));
    const { sha256, bytes } = await checksumOf(file);
    const before = frame?.sha256 ?? '';
    const text = await readFile(path.join(folder, RECORD), 'utf8');
    const record3 = text
      .replaceAll(before, sha256)
      .replace(`"bytes": ${frame?.bytes},`, `"bytes": ${bytes},`);
    await writeFile(path.join(folder, RECORD), record3);
    const sums = await readFile(path.join(folder, SUMS), 'utf8');
    await writeFile(path.join(folder, SUMS), sums.replaceAll(before, sha256));
    return folder;
  }

  it('is found by the check, though every checksum agrees, and not copied', async () => {
    const folder = await cutInSet('strips', 0.1);
    const { intact, findings } = await checkSet(folder);
    expect(intact).toBe(3);
    expect(findings.filter(({ severity }) => severity === 'wrong')).toMatchObject([
      {
        code: 'frame-cut',
        frame: 3,
        sentence: expect.stringMatching(/is cut short or broken: its .* reach/),
      },
    ]);
    expect(findings.map(({ code }) => code)).toContain('size-odd');
    await expect(exportSet(folder, path.join(root, 'copy'))).rejects.toMatchObject({
      code: 'set-damaged',
      message: expect.stringContaining('cut short'),
    });
  });

  it('of a kind that does not tell: what is not proved is noted, and the set can be copied', async () => {
    const folder = await cutInSet('untold', 0.1);
    const { findings } = await checkSet(folder);
    expect(findings.map(({ code, severity }) => `${code} ${severity}`)).toEqual([
      ...Array(3).fill('frame-unproved note'),
      'size-odd note',
    ]);
    await exportSet(folder, path.join(root, 'copy'));
  });
});

describe('what is told beside the pixels', () => {
  const says = (tags: object) => ({ read: async () => tags }) as unknown as ExifToolProcess;
  const put = async (bytes: Buffer): Promise<string> => {
    const file = path.join(root, 'frame');
    await writeFile(file, bytes);
    return file;
  };
  const FACTS: RawFacts = { exposureTime: [1, 60], fNumber: [8, 1], iso: 100, bias: [0, 1] };

  it('ExifTool is asked if the structure leaves a question, and what it says of missing bytes counts', async () => {
    const tags = { 'ExifTool:Warning': "Truncated 'mdat' data (missing 90 bytes)" };
    const file = await put(noise(50_000));
    await expect(mustBeWhole(file, { tool: says(tags) })).rejects.toMatchObject({
      message: expect.stringContaining('missing 90 bytes'),
    });
    expect(await judgeWhole(file, { tool: says({ 'ExifTool:Warning': '[minor] Bad directory' }) })).toEqual({
      cut: null,
      doubt: 'its kind is unknown, and so is where it should end',
    });
  });

  it('ExifTool accounts for a preview that lies behind the end', async () => {
    const picture = await makeJpeg(FACTS);
    const file = await put(Buffer.concat([picture, noise(5000)]));
    const found = (bytes: number) =>
      says({ 'IFD:PreviewImageStart': picture.length, 'IFD:PreviewImageLength': bytes });
    expect(await judgeWhole(file, { tool: found(5000) })).toEqual({ cut: null, doubt: null });
    expect((await judgeWhole(file, { tool: found(4000) })).doubt).toBe('1000 bytes follow its own end');
    expect((await judgeWhole(file, { tool: found(6000) })).doubt).toMatch(/its preview reaches to byte/);
  });

  it('a value that points nowhere, with all pixels there, is a doubt and no more: some writers do that', async () => {
    const raw = makeRaw({ ...FACTS, takenAt: ['2026:11:25 16:42:10', '070'] }, { order: 'little' });
    // DateTimeOriginal: text of 20 bytes, elsewhere in the file.
    const entry = raw.indexOf(Buffer.from([0x03, 0x90, 2, 0, 20, 0, 0, 0]));
    raw.writeUInt32LE(5_000_000, entry + 8);
    expect(await judgeWhole(await put(raw), { saidBytes: raw.length })).toEqual({
      cut: null,
      doubt: `a value that it names reaches to byte 5000020, but it has only ${raw.length} bytes`,
    });
  });

  it('ExifTool is not missed if it does not answer', async () => {
    const silent = {
      read: () => Promise.reject(new Error('there is no Perl')),
    } as unknown as ExifToolProcess;
    const file = await put(makeRaw(FACTS, { order: 'big' }));
    expect(await judgeWhole(file, { tool: silent })).toEqual({ cut: null, doubt: null });
  });
});

describe('sizes beside each other', () => {
  const set = (kind: string, ...sizes: number[]) =>
    oddSizes(sizes.map((megabytes, index) => ({ number: index + 1, kind, bytes: megabytes * 1e6 }))).map(
      ({ number }) => number,
    );

  it('of raw files: what has a part of both neighbours is odd, and what the light does is not', () => {
    expect(set('dng', 25, 27, 30, 31, 28)).toEqual([]);
    expect(set('dng', 18, 22, 27, 29, 20)).toEqual([]);
    expect(set('dng', 25, 27, 12, 31, 28)).toEqual([3]);
    expect(set('dng', 25, 27, 65, 31, 28)).toEqual([3]);
    expect(set('dng', 25, 27, 30, 31, 3)).toEqual([5]);
    expect(set('dng', 3, 30, 30)).toEqual([1]);
    // Blown through and through.
    expect(set('dng', 25, 27, 30, 31, 9)).toEqual([]);
  });

  it('of JPEG files: only a deep dip', () => {
    expect(set('jpg', 0.4, 1.5, 5, 8, 7, 3, 0.3)).toEqual([]);
    expect(set('jpg', 4, 5, 1, 7, 6)).toEqual([3]);
  });

  it('kinds are not mixed, and one alone has no neighbours', () => {
    expect(set('dng', 3)).toEqual([]);
    const mixed = [
      { number: 1, kind: 'dng', bytes: 30e6 },
      { number: 2, kind: 'jpg', bytes: 3e6 },
      { number: 3, kind: 'dng', bytes: 31e6 },
    ];
    expect(oddSizes(mixed)).toEqual([]);
  });

  it('are told in one sentence', () => {
    expect(oddSizeSentence({ number: 3, bytes: 307_200, neighbours: [3_087_000] })).toBe(
      'Its file has 0.3 MB, and that of its neighbour has 3.1 MB: check that it is complete.',
    );
  });
});
