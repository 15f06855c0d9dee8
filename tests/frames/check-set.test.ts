import { mkdir, mkdtemp, readdir, readFile, rm, stat, symlink, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { readSetRecord, type SetRecord, setRecordSchema } from '../../shared/set-record.js';
import {
  CONTACT_SHEET,
  checkSet,
  checksumOf,
  exifTool,
  RECORD,
  SUMS,
  sidecarText,
  sumsText,
  TABLE,
} from '../../src/frames/index.js';
import { makeDng } from '../raw-files.js';

const OFFSETS = [-1, 0, 1];
const LABELS = ['1/125', '1/60', '1/30'];

let root = '';
let folder = '';
let count = 0;
let record: SetRecord;
const jpegs: Buffer[] = [];

beforeAll(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  for (const label of LABELS) jpegs.push(await jpegOf(label));
});
afterAll(async () => {
  await exifTool.end();
  await rm(root, { recursive: true, force: true });
});

const jpegOf = (exposureTime: string, iso = '100', bias?: number) =>
  sharp({ create: { width: 60, height: 40, channels: 3, background: '#777' } })
    .jpeg()
    .withExif({
      IFD2: {
        ExposureTime: exposureTime,
        FNumber: '8/1',
        ISOSpeedRatings: iso,
        ...(bias === undefined ? {} : { ExposureBiasValue: `${bias}/1` }),
      },
    })
    .toBuffer();

const fileOf = (index: number): string => record.frames[index]?.file as string;
const inSet = (name: string): string => path.join(folder, name);

/** A whole set of three, with everything beside it. */
beforeEach(async () => {
  count += 1;
  folder = path.join(root, `set-${count}`);
  await mkdir(path.join(folder, 'set-aside'), { recursive: true });
  await writeFile(inSet('set-aside/frame-02.jpg'), jpegs[1] as Buffer);
  record = {
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
  };
  for (const [index, offset] of OFFSETS.entries()) {
    const file = `0${index + 1}_${offset > 0 ? '+' : ''}${offset}EV.jpg`;
    await writeFile(inSet(file), jpegs[index] as Buffer);
    const { sha256, bytes } = await checksumOf(inSet(file));
    const sidecar = file.replace('.jpg', '.xmp');
    record.frames.push({
      number: index + 1,
      pass: 1,
      offset,
      exposureTime: 2 ** (offset - 6),
      shutter: LABELS[index] as string,
      state: 'verified',
      attempts: 1,
      recorded: { exposureTime: [1 / 125, 1 / 60, 1 / 30][index] as number, fNumber: 8, iso: 100 },
      clipped: { dark: 0, light: 0 },
      file,
      reason: null,
      baseMoved: null,
      sha256,
      bytes,
      sidecar,
    });
    await writeFile(inSet(sidecar), sidecarOf(index));
  }
  await writeFile(
    inSet(SUMS),
    sumsText(record.frames.map(({ file, sha256 }) => ({ file: file as string, sha256: sha256 as string }))),
  );
  await writeFile(inSet(TABLE), '');
  await writeFile(inSet(CONTACT_SHEET), '');
  await keep();
});

const keep = (changed: object = record) => writeFile(inSet(RECORD), JSON.stringify(changed));

const sidecarOf = (index: number, set = 'a-set') =>
  sidecarText({
    set,
    frame: index + 1,
    frames: 3,
    offsetEv: OFFSETS[index] as number,
    base: record.base,
    createdAt: null,
    name: null,
    note: null,
    viewpoint: null,
    practice: true,
  });

/** The findings in short, with whatever is said of each. */
async function found(): Promise<[code: string, severity: string, frame: number | null, sentence: string][]> {
  const { findings } = await checkSet(folder);
  return findings.map(({ code, severity, frame, sentence }) => [code, severity, frame, sentence]);
}

/** The record as version 1 wrote it. */
function asVersion1(): object {
  const frames = record.frames.map(({ sha256: _sum, bytes: _bytes, sidecar: _sidecar, ...frame }) => frame);
  return { ...record, version: 1, frames };
}

describe('a set as it was left', () => {
  it('has nothing wrong with it, and is not written to', async () => {
    const states = async () =>
      Promise.all(
        (await readdir(folder, { recursive: true })).sort().map(async (name) => {
          const { mtimeMs, size, isDirectory } = await stat(inSet(name));
          return [name, mtimeMs, size, isDirectory];
        }),
      );
    const before = await states();
    expect(await checkSet(folder)).toMatchObject({ version: 2, intact: 3, findings: [] });
    expect((await states()).map(([name, time, size]) => [name, time, size])).toEqual(
      before.map(([name, time, size]) => [name, time, size]),
    );
  });

  it('raw frames are read too', async () => {
    const raw = makeDng(
      { exposureTime: [1, 125], fNumber: [8, 1], iso: 100, bias: [0, 1] },
      'little',
      600_000,
    );
    await writeFile(inSet(fileOf(0)), raw);
    const { sha256, bytes } = await checksumOf(inSet(fileOf(0)));
    Object.assign(record.frames[0] as object, { sha256, bytes });
    await rm(inSet(SUMS));
    await keep();
    expect(await found()).toEqual([]);
  });

  it('of version 1: what can be checked is, and what cannot is said once', async () => {
    await rm(inSet(SUMS));
    await keep(asVersion1());
    const { version, intact, findings } = await checkSet(folder);
    expect({ version, intact }).toEqual({ version: 1, intact: 0 });
    expect(findings.map(({ code }) => code)).toEqual(['no-checksums']);
    expect(findings[0]?.severity).toBe('note');
    expect(findings[0]?.sentence).toContain('version 1');
    await writeFile(inSet(fileOf(1)), await jpegOf('1/30'));
    expect((await found()).map(([code]) => code)).toEqual(['no-checksums', 'exposure-wrong']);
  });

  it('of version 1 with a list of checksums: that is used', async () => {
    await keep(asVersion1());
    expect(await checkSet(folder)).toMatchObject({ version: 1, intact: 3, findings: [] });
  });

  it('in aperture priority the time was the body’s own: only what it recorded then counts', async () => {
    record.mode = 'aperture';
    for (const frame of record.frames) Object.assign(frame, { exposureTime: 1, shutter: '1' });
    await keep();
    expect(await found()).toEqual([]);
  });
});

describe('in aperture priority', () => {
  /** The light came up by a stop after the first frame: the second has the same time, and only its bias tells it from the first. */
  const TIMES = ['1/125', '1/125', '1/60'];

  /** @param biases that the files record; null where a file has none */
  async function metered(biases: readonly (number | null)[], kept = biases): Promise<void> {
    record.mode = 'aperture';
    record.passes = [{ centre: 0, step: 1, offsets: OFFSETS, frames: [] }];
    await rm(inSet(SUMS));
    for (const [index, frame] of record.frames.entries()) {
      const time = TIMES[index] as string;
      await writeFile(inSet(fileOf(index)), await jpegOf(time, '100', biases[index] ?? undefined));
      const exposureTime = 1 / Number(time.slice(2));
      frame.recorded = { exposureTime, fNumber: 8, iso: 100, bias: kept[index] ?? null };
      frame.sha256 = null;
    }
    await keep();
  }

  async function exchange(one: number, other: number): Promise<void> {
    const [first, second] = [await readFile(inSet(fileOf(one))), await readFile(inSet(fileOf(other)))];
    await writeFile(inSet(fileOf(one)), second);
    await writeFile(inSet(fileOf(other)), first);
  }

  const wrong = async () => (await found()).filter(([, severity]) => severity === 'wrong');

  it('the biases of the files prove the frames', async () => {
    await metered(OFFSETS);
    expect(await wrong()).toEqual([]);
    await exchange(0, 1);
    expect(await wrong()).toEqual([
      [
        'exposure-wrong',
        'wrong',
        1,
        "Frame 1 (−1 EV): The file is not the frame at −1 EV (it records 0 EV). The file's exposure compensation is 0 EV, but the record says −1 EV.",
      ],
      [
        'exposure-wrong',
        'wrong',
        2,
        "Frame 2 (0 EV): The file is not the frame at 0 EV (it records −1 EV). The file's exposure compensation is −1 EV, but the record says 0 EV.",
      ],
    ]);
  });

  it('they do so where an earlier program kept none of them', async () => {
    await metered(OFFSETS, [null, null, null]);
    expect(await wrong()).toEqual([]);
    await exchange(0, 1);
    expect((await wrong()).map(([, , frame, sentence]) => [frame, sentence])).toEqual([
      [1, 'Frame 1 (−1 EV): The file is not the frame at −1 EV (it records 0 EV).'],
      [2, 'Frame 2 (0 EV): The file is not the frame at 0 EV (it records −1 EV).'],
    ]);
  });

  it('a bias that the record has and the file has not is said', async () => {
    await metered([null, 0, 1], OFFSETS);
    expect((await wrong()).map(([, , frame, sentence]) => [frame, sentence])).toEqual([
      [1, "Frame 1 (−1 EV): The file's exposure compensation is gone, but the record says −1 EV."],
    ]);
  });

  it('files without the bracket’s part, or without a bias, are told by their times', async () => {
    TIMES[1] = '1/60';
    TIMES[2] = '1/30';
    for (const biases of [
      [0, 0, 0],
      [null, null, null],
    ]) {
      await writeFile(inSet(SUMS), '');
      await metered(biases, [null, null, null]);
      for (const frame of record.frames) frame.recorded = null;
      await keep();
      expect(await wrong()).toEqual([]);
      await exchange(0, 2);
      expect((await wrong()).map(([code, , frame]) => [code, frame])).toEqual([
        ['exposure-wrong', 1],
        ['exposure-wrong', 3],
      ]);
    }
  });
});

describe('what happened since', () => {
  it('one flipped bit', async () => {
    const bytes = await readFile(inSet(fileOf(1)));
    bytes.writeUInt8(bytes.readUInt8(bytes.length - 20) ^ 1, bytes.length - 20);
    await writeFile(inSet(fileOf(1)), bytes);
    expect(await found()).toEqual([
      [
        'frame-changed',
        'wrong',
        2,
        'Frame 2 (0 EV): 02_0EV.jpg has changed since it came: its size is right, but its contents have changed. Replace it from a copy.',
      ],
    ]);
    expect((await checkSet(folder)).intact).toBe(2);
  });

  it('every byte of a file counts', async () => {
    const whole = await readFile(inSet(fileOf(0)));
    for (let at = 0; at < whole.length; at += 61) {
      const bytes = Buffer.from(whole);
      bytes.writeUInt8(bytes.readUInt8(at) ^ 0x10, at);
      await writeFile(inSet(fileOf(0)), bytes);
      expect(
        (await found()).map(([code]) => code),
        `byte ${at}`,
      ).toContain('frame-changed');
    }
  });

  it('a file that was cut short, and one that is empty', async () => {
    await writeFile(inSet(fileOf(0)), (jpegs[0] as Buffer).subarray(0, -10));
    await writeFile(inSet(fileOf(2)), '');
    const findings = await found();
    expect(findings.map(([code, , frame]) => [code, frame])).toEqual([
      ['frame-changed', 1],
      ['frame-changed', 3],
      ['frame-unreadable', 3],
    ]);
    expect(findings[0]?.[3]).toContain(`but ${jpegs[0]?.length} came from the camera`);
  });

  it('a frame that is gone, and one whose name leads elsewhere', async () => {
    await rm(inSet(fileOf(0)));
    await rm(inSet(fileOf(1)));
    await symlink('/etc/hostname', inSet(fileOf(1)));
    expect((await found()).map(([code, severity, frame]) => [code, severity, frame])).toEqual([
      ['frame-missing', 'wrong', 1],
      ['frame-missing', 'wrong', 2],
    ]);
  });

  it('two frames that changed names', async () => {
    await writeFile(inSet(fileOf(0)), jpegs[2] as Buffer);
    await writeFile(inSet(fileOf(2)), jpegs[0] as Buffer);
    const findings = await found();
    expect(findings.map(([code, , frame]) => [code, frame])).toEqual([
      ['frame-changed', 1],
      ['frame-changed', 3],
      ['exposure-wrong', 1],
      ['exposure-wrong', 3],
    ]);
    expect(findings[2]?.[3]).toContain('The time is 1/30 s, but 1/125 s was set.');
  });

  it('another ISO than the record says, where no checksum tells', async () => {
    await rm(inSet(SUMS));
    await keep(asVersion1());
    await writeFile(inSet(fileOf(1)), await jpegOf('1/60', '400'));
    expect(await found()).toContainEqual([
      'exposure-wrong',
      'wrong',
      2,
      "Frame 2 (0 EV): The ISO is 400, but 100 was set. The file's ISO is 400, but the record says 100.",
    ]);
  });

  it('the list of checksums and the record differ', async () => {
    await writeFile(inSet(SUMS), sumsText([{ file: fileOf(1), sha256: 'ab'.repeat(32) }]));
    expect((await found()).map(([code, , frame]) => [code, frame])).toEqual([['sums-differ', 2]]);
  });

  it('files that nobody knows, left-overs, and what was set aside and is gone', async () => {
    await writeFile(inSet('merged.tif'), '');
    await mkdir(inSet('.incoming'));
    await writeFile(inSet('.incoming/late'), '');
    await writeFile(inSet('.reserve'), '');
    await writeFile(inSet('set.json.part'), '');
    await writeFile(inSet('set-aside/other.jpg'), '');
    await rm(inSet('set-aside/frame-02.jpg'));
    const { findings } = await checkSet(folder);
    expect(findings.map(({ code, severity, file }) => [code, severity, file])).toEqual([
      ['left-over', 'note', '.incoming/late'],
      ['left-over', 'note', '.reserve'],
      ['file-unknown', 'note', 'merged.tif'],
      ['file-unknown', 'note', 'set-aside/other.jpg'],
      ['left-over', 'note', 'set.json.part'],
      ['aside-missing', 'note', 'set-aside/frame-02.jpg'],
    ]);
  });

  it('sidecars: another frame’s, another set’s, gone, and somebody else’s', async () => {
    await writeFile(inSet('01_-1EV.xmp'), sidecarOf(1));
    await writeFile(inSet('02_0EV.xmp'), sidecarOf(1, 'another-set'));
    await rm(inSet('03_+1EV.xmp'));
    await writeFile(inSet('03_+1EV.jpg.xmp'), '<x:xmpmeta xmlns:x="adobe:ns:meta/"/>');
    expect(await found()).toEqual([
      ['sidecar-differs', 'wrong', 1, 'Frame 1 (−1 EV): 01_-1EV.xmp names another frame and offset.'],
      ['sidecar-differs', 'wrong', 2, 'Frame 2 (0 EV): 02_0EV.xmp names another set.'],
      ['sidecar-missing', 'note', 3, 'Frame 3 (+1 EV): its sidecar 03_+1EV.xmp is missing.'],
    ]);
    await writeFile(inSet('01_-1EV.xmp'), '<x:xmpmeta xmlns:x="adobe:ns:meta/"/>');
    expect(await found()).toContainEqual([
      'sidecar-differs',
      'note',
      1,
      'Frame 1 (−1 EV): 01_-1EV.xmp no longer names its set.',
    ]);
  });
});

describe('the record', () => {
  it('of a set that is not complete', async () => {
    Object.assign(record.frames[2] as object, { state: 'rejected', file: null, sidecar: null, sha256: null });
    Object.assign(record, { complete: false, sentence: 'Stopped after 2 of 3 frames.' });
    await rm(inSet('03_+1EV.jpg'));
    await rm(inSet('03_+1EV.xmp'));
    await keep();
    expect(await found()).toEqual([
      [
        'set-incomplete',
        'wrong',
        null,
        'The set is not complete: Frame 3 (+1 EV) is missing. Stopped after 2 of 3 frames.',
      ],
    ]);
    // It calls itself complete, and is not.
    await keep({ ...record, complete: true });
    expect((await found()).map(([code]) => code)).toEqual(['set-incomplete']);
  });

  it('says that the set is not complete, though every frame is there', async () => {
    await keep({ ...record, complete: false, sentence: 'Halted.' });
    expect(await found()).toEqual([['set-incomplete', 'wrong', null, 'The set is not complete. Halted.']]);
  });

  it.each(['../../elsewhere.jpg', '/etc/hostname', '..', 'a\\b.jpg', ''])(
    'names %j: not followed',
    async (file) => {
      Object.assign(record.frames[1] as object, { file, sidecar: file });
      await keep();
      expect((await found()).filter(([, severity]) => severity === 'wrong')).toEqual([
        ['name-outside', 'wrong', 2, 'Frame 2 (0 EV): the record names a file that is not in the folder.'],
      ]);
    },
  );

  it('is missing, cut short, of a newer program, or something else', async () => {
    const text = await readFile(inSet(RECORD), 'utf8');
    for (const [content, code, words] of [
      [text.slice(0, 200), 'record-unreadable', 'cut short'],
      ['', 'record-unreadable', 'cut short'],
      ['[]', 'record-unreadable', 'its version is missing'],
      ['{"version":2}', 'record-unreadable', 'The record set.json cannot be read: id: it is missing.'],
      [
        JSON.stringify({ ...record, version: 3 }),
        'record-newer',
        'The record set.json has version 3, and this Evenrung reads up to 2: use a newer Evenrung.',
      ],
      [JSON.stringify({ ...record, frames: 'none' }), 'record-unreadable', 'cannot be read: frames:'],
    ] as const) {
      await writeFile(inSet(RECORD), content);
      const check = await checkSet(folder);
      expect(check).toMatchObject({ record: null, version: null, intact: 0 });
      expect(check.findings.map((finding) => finding.code)).toEqual([code]);
      expect(check.findings[0]?.sentence).toContain(words);
    }
    await rm(inSet(RECORD));
    expect((await found()).map(([code]) => code)).toEqual(['record-missing']);
    folder = path.join(root, 'nowhere');
    expect((await found()).map(([code]) => code)).toEqual(['folder-unreadable']);
  });

  it('of version 1 has today’s shape once it is read, and can be written again', async () => {
    const { record: read, version } = readSetRecord(JSON.stringify(asVersion1()));
    expect(version).toBe(1);
    expect(read).toMatchObject({ version: 2, name: null, ratios: [], baseShifts: [], setNumber: null });
    expect(read.frames[0]).toMatchObject({ sha256: null, bytes: null, firedAt: null, marks: [] });
    expect(setRecordSchema.parse(read)).toEqual(read);
    // Version 1 had no strays at first.
    const { strays: _, ...first } = asVersion1() as SetRecord;
    expect(readSetRecord(JSON.stringify(first)).record.strays).toEqual([]);
  });

  it('of today comes back as it was written', () => {
    const written: SetRecord = {
      ...record,
      name: 'Boathouse 湖',
      note: 'two\nlines',
      viewpoint: 'stern',
      run: 'a-run',
      setNumber: 4,
      baseShifts: [{ at: '2026-11-25T16:42:12.000Z', ev: 1 / 3, reason: 'It gets darker.' }],
      ratios: [{ darker: 1, lighter: 2, expected: 1, ev: null, mark: false }],
      frames: record.frames.map((frame) => ({
        ...frame,
        marks: [{ code: 'ratio', sentence: 'Brighter than planned.' }],
      })),
    };
    const { record: read } = readSetRecord(JSON.stringify(written));
    expect(read).toMatchObject(written as object);
  });
});
