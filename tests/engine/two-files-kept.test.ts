// Sets of two files a frame over a whole station: cut off between the two and gone on with, fired again, completed, taken from.
import {
  appendFile,
  copyFile,
  mkdir,
  mkdtemp,
  readdir,
  readFile,
  rename,
  rm,
  writeFile,
} from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterAll, afterEach, beforeEach, describe, expect, it } from 'vitest';
import { type KeptSetRecord, readSetRecord } from '../../shared/set-record.js';
import type { FiredFrame } from '../../src/camera/index.js';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import { checkSet, exifTool } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import type { EventLog, Station } from '../../src/station/index.js';
import { PairLink, type PairOfFiles } from '../harness/pair-link.js';
import { openStation } from '../harness/station.js';

const THREE = { frames: 3, step: 1, base: '1/60' };
const PAIRS = [
  ['01_-1EV.dng', '01_-1EV.jpg'],
  ['02_0EV.dng', '02_0EV.jpg'],
  ['03_+1EV.dng', '03_+1EV.jpg'],
];

let root = '';
let journal: Journal;
let body: PracticeBody;
let stations: Station[] = [];
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  journal = await Journal.open(path.join(root, 'state'));
  body = new PracticeBody({ ...AT_ONCE, shape: 'none' });
  stations = [];
});
afterEach(async () => {
  for (const station of stations) await station.close();
  journal.close();
  await rm(root, { recursive: true, force: true });
});
afterAll(() => exifTool.end());

interface Made {
  readonly station: Station;
  readonly events: EventLog;
  readonly link: PairLink;
}

/** @param dies whether it never comes back: nobody closes it */
async function made(dies = false): Promise<Made> {
  const link = new PairLink(body);
  const one = await openStation(root, link, { journal });
  if (!dies) stations.push(one.station);
  return { ...one, link };
}

async function fired({ station }: Made): Promise<string> {
  await station.start(THREE);
  await station.settled();
  return setFolder();
}

const setFolder = (): string => journal.sets({ limit: 1 })[0]?.folder ?? '';
const setId = (): string => journal.sets({ limit: 1 })[0]?.id ?? '';
const recordIn = async (folder: string): Promise<KeptSetRecord> =>
  readSetRecord(await readFile(path.join(folder, 'set.json'), 'utf8')).record;
const filesOf = ({ frames }: KeptSetRecord) =>
  frames.map(({ file, partner }) => [
    file,
    ...(partner === undefined ? [] : [partner.state === 'there' ? partner.file : '-']),
  ]);
const ofPartners = ({ frames }: KeptSetRecord): [number, string][] =>
  frames.flatMap(({ number, marks }) =>
    marks
      .filter(({ code }) => code.startsWith('partner'))
      .map(({ sentence }): [number, string] => [number, sentence]),
  );
const findingsIn = async (folder: string) =>
  (await checkSet(folder)).findings.map(({ code, severity }) => [code, severity]);
const never = () => new Promise<never>(() => undefined);

/** A program that dies in its second release, once these files of it are there. */
async function dying(which: readonly (keyof PairOfFiles)[]): Promise<void> {
  const { station, events, link } = await made(true);
  const died = new Promise<void>((resolve) => {
    link.comes = async (count, pair) => {
      if (count < 2) return { ...pair.raw, partner: pair.jpeg };
      for (const one of ['raw', 'jpeg'] as const) if (!which.includes(one)) await rm(pair[one].path);
      resolve();
      return never();
    };
  });
  await station.start(THREE);
  await died;
  await expect
    .poll(() => events.state.run?.frames.filter(({ state }) => state === 'verified').length)
    .toBe(1);
}

describe('a program that is killed between the two files', () => {
  it.each([
    [['raw', 'jpeg'], PAIRS[1]],
    [['raw'], ['02_0EV.dng', '-']],
    [['jpeg'], ['02_0EV.jpg', '-']],
  ] as const)('%j were there: the next one takes in what has come', async (which, files) => {
    await dying(which);
    const next = await made();
    await next.station.resume();
    await next.station.settled();
    const record = await recordIn(setFolder());
    expect([record.complete, filesOf(record)[0], filesOf(record)[1]]).toEqual([true, PAIRS[0], files]);
    expect(filesOf(record)[2]).toEqual(PAIRS[2]);
    // Nothing is fired for what is there.
    expect(next.link.releases).toBe(1);
    expect(ofPartners(record).map(([number]) => number)).toEqual(which.length === 2 ? [] : [2]);
    expect(record.setAside).toEqual([]);
  });

  /** What a program leaves that dies when files have their names and nobody knows: the journal is a step behind. */
  async function renamedIn(moved: readonly [from: keyof PairOfFiles, to: string][]): Promise<void> {
    const { station, events, link } = await made(true);
    const died = new Promise<void>((resolve) => {
      link.comes = async (count, pair) => {
        if (count < 2) return { ...pair.raw, partner: pair.jpeg };
        for (const [from, to] of moved) await rename(pair[from].path, path.join(setFolder(), to));
        resolve();
        return never();
      };
    });
    await station.start(THREE);
    await died;
    await expect
      .poll(() => events.state.run?.frames.filter(({ state }) => state === 'verified').length)
      .toBe(1);
  }

  it.each([
    [[['raw', '02_0EV.dng']]],
    [[['jpeg', '02_0EV.jpg']]],
    [
      [
        ['raw', '02_0EV.dng'],
        ['jpeg', '02_0EV.jpg'],
      ],
    ],
  ] as const)('while they get their names, %j: they are one frame', async (moved) => {
    await renamedIn(moved.map(([from, to]) => [from, to]));
    const next = await made();
    await next.station.resume();
    await next.station.settled();
    const record = await recordIn(setFolder());
    expect([record.complete, filesOf(record), record.setAside]).toEqual([true, PAIRS, []]);
    expect(next.link.releases).toBe(1);
    expect(await findingsIn(setFolder())).toEqual([]);
  });

  it('of a frame that is verified already: the other file joins it', async () => {
    const { station, events, link } = await made(true);
    let waiting: FiredFrame | null = null;
    const died = new Promise<void>((resolve) => {
      link.comes = async (count, { raw, jpeg }) => {
        if (count === 1) {
          waiting = jpeg;
          return raw;
        }
        await rm(raw.path);
        await rm(jpeg.path);
        resolve();
        return never();
      };
    });
    await station.start(THREE);
    await died;
    await expect.poll(() => events.state.run?.frames[0]?.state).toBe('verified');
    expect(waiting).not.toBeNull();
    const next = await made();
    await next.station.resume();
    await next.station.settled();
    const record = await recordIn(setFolder());
    expect([record.complete, filesOf(record), record.setAside]).toEqual([true, PAIRS, []]);
    // The second frame was lost with the program.
    expect(next.link.releases).toBe(2);
  });
});

describe('while nobody looks', () => {
  /** A set of which one frame is verified, and the program is gone. */
  async function oneAndGone(): Promise<string> {
    await dying(['raw', 'jpeg']);
    return setFolder();
  }
  const goOn = async () => {
    const next = await made();
    await next.station.resume();
    await next.station.settled();
    return { next, record: await recordIn(setFolder()) };
  };

  it('the JPEG of a frame is deleted: the frame stands, and is marked', async () => {
    const folder = await oneAndGone();
    await rm(path.join(folder, '01_-1EV.jpg'));
    const { next, record } = await goOn();
    expect([record.complete, filesOf(record)[0], next.link.releases]).toEqual([
      true,
      ['01_-1EV.dng', '-'],
      1,
    ]);
    expect(ofPartners(record)).toEqual([
      [
        1,
        "Only the raw file of its two files is in the set. The JPEG was gone after a restart. The camera's card may still have it.",
      ],
    ]);
    expect(await findingsIn(folder)).toEqual([['partner-missing', 'note']]);
  });

  it('the raw file is deleted: what is left is the frame, and is marked', async () => {
    const folder = await oneAndGone();
    await rm(path.join(folder, '01_-1EV.dng'));
    const { next, record } = await goOn();
    expect([record.complete, filesOf(record)[0], next.link.releases]).toEqual([
      true,
      ['01_-1EV.jpg', '-'],
      1,
    ]);
    expect(ofPartners(record).map(([number]) => number)).toEqual([1]);
  });

  it('the JPEG is changed to something else: it is set aside', async () => {
    const folder = await oneAndGone();
    await writeFile(path.join(folder, '01_-1EV.jpg'), 'boathouse');
    const { record } = await goOn();
    expect([record.complete, filesOf(record)[0]]).toEqual([true, ['01_-1EV.dng', '-']]);
    expect(record.setAside.map(({ file }) => file)).toEqual(['set-aside/other.unknown']);
  });
});

describe('a set of pairs after its end', () => {
  it('of which a frame is fired again has both files aside under one name, with their sidecars', async () => {
    const one = await made();
    const folder = await fired(one);
    const before = await recordIn(folder);
    await one.station.again(setId(), { frames: [2] });
    await one.station.settled();
    const record = await recordIn(folder);
    expect([record.complete, filesOf(record)[1]]).toEqual([true, ['02_0EV_2.dng', '02_0EV_2.jpg']]);
    expect(record.setAside.map(({ file }) => file)).toEqual([
      'set-aside/frame-02.dng',
      'set-aside/frame-02.jpg',
      'set-aside/frame-02.xmp',
      'set-aside/frame-02.jpg.xmp',
    ]);
    expect((await readdir(path.join(folder, 'set-aside'))).sort()).toEqual(
      record.setAside.map(({ file }) => path.basename(file)).sort(),
    );
    expect(await findingsIn(folder)).toEqual([]);
    expect(record.frames[1]?.sha256).not.toBe(before.frames[1]?.sha256);
    expect((await readdir(folder)).filter((name) => name.startsWith('02_')).sort()).toEqual([
      '02_0EV_2.dng',
      '02_0EV_2.jpg',
      '02_0EV_2.jpg.xmp',
      '02_0EV_2.xmp',
    ]);
  });

  it('and the frame never comes: it is what it was, with both', async () => {
    const one = await made();
    const folder = await fired(one);
    const before = await recordIn(folder);
    one.link.afterFire = async (_, file) => {
      await rm(file);
      throw new Error('The shutter went, but no file came.');
    };
    await one.station.again(setId(), { frames: [2] });
    await one.station.settled();
    const record = await recordIn(folder);
    expect(filesOf(record)).toEqual(PAIRS);
    expect(record.frames[1]?.partner).toEqual(before.frames[1]?.partner);
    expect(await findingsIn(folder)).toEqual([]);
  });

  it('is taken up again only if the second files are there, and as they came', async () => {
    const one = await made();
    const folder = await fired(one);
    const jpeg = path.join(folder, '01_-1EV.jpg');
    await copyFile(jpeg, path.join(root, 'copy'));
    await appendFile(jpeg, 'more');
    await expect(one.station.again(setId(), { frames: [2] })).rejects.toMatchObject({
      code: 'set-damaged',
      message: expect.stringContaining('01_-1EV.jpg is no longer what came from the camera.'),
    });
    await rm(jpeg);
    await expect(one.station.again(setId(), { frames: [2] })).rejects.toMatchObject({
      code: 'set-damaged',
      message: expect.stringContaining('01_-1EV.jpg is missing from'),
    });
    await copyFile(path.join(root, 'copy'), jpeg);
    await one.station.again(setId(), { frames: [2] });
    await one.station.settled();
    expect((await recordIn(folder)).complete).toBe(true);
  });

  it('gets a second file that was fetched since, when it is taken up again: it lies among the arrivals', async () => {
    const one = await made();
    const fetched = path.join(root, 'fetched.jpg');
    one.link.comes = async (count, { raw, jpeg }) => {
      if (count !== 1) return { ...raw, partner: jpeg };
      await rename(jpeg.path, fetched);
      return raw;
    };
    const folder = await fired(one);
    expect(filesOf(await recordIn(folder))[0]).toEqual(['01_-1EV.dng', '-']);
    await mkdir(path.join(folder, '.incoming'), { recursive: true });
    await rename(fetched, path.join(folder, '.incoming', 'fetched.jpg'));
    await one.station.again(setId(), { frames: [3] });
    await one.station.settled();
    const record = await recordIn(folder);
    expect([record.complete, filesOf(record)[0], ofPartners(record)]).toEqual([true, PAIRS[0], []]);
    expect(await findingsIn(folder)).toEqual([]);
  });
});
