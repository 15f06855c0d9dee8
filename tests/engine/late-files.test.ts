// Files that come one release late, because a picture waited in the camera: what a set makes of them.

import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import { sixths } from '../../shared/ev.js';
import { Body, type FiredFrame, type FireOptions, type Settings } from '../../src/camera/index.js';
import { AT_ONCE, PracticeBody, type PracticeShape } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import { checkSet } from '../../src/frames/index.js';
import type { CameSoFar } from '../../src/set/assign/from-before.js';
import { fireSet } from '../harness/set.js';

const FRAMES = 9;
/** Milliseconds that the pictures which wait are older than the set. */
const OLDER_MS = 60_000;

/** What becomes of pictures that wait: another connection finds none, or finds them, or is even told how many. */
type Waiting = 'forgotten' | 'kept' | 'told';

/** A body that sends the picture which has waited longest. */
class LateLink extends PracticeLink {
  readonly what: Waiting;
  readonly waiting: Buffer[] = [];
  /** The release whose file comes twice, counted from 1. */
  twice = 0;
  /** Whether the body tells no clock, as in plain PTP. */
  isSilent = false;
  /** The release in which its process dies, with the file that it was fetching; counted from 1. */
  dies = 0;
  kills = 0;
  private count = 0;

  constructor(body: PracticeBody, what: Waiting) {
    super(body);
    this.what = what;
  }
  override async identify() {
    return { ...(await super.identify()), link: 'usb' as const };
  }
  override async readSettings(): Promise<Settings> {
    const settings = new Map(await super.readSettings());
    if (this.isSilent) settings.delete('datetime');
    const value = String(this.waiting.length === 0 ? 0 : 0x8000 + this.waiting.length);
    const name = 'd215';
    return this.what === 'told'
      ? new Map([...settings, [name, { name, kind: 'text' as const, value }]])
      : settings;
  }
  override async fire(options: FireOptions): Promise<FiredFrame> {
    this.count += 1;
    const { path: file, seconds } = await super.fire(options);
    const made = await readFile(file);
    this.waiting.push(made, ...(this.count === this.twice ? [made] : []));
    if (this.count === this.dies) {
      this.waiting.shift();
      await rm(file);
      throw new EvenrungError('body-lost', 'The camera process ended unexpectedly.');
    }
    await writeFile(file, this.waiting.shift() ?? '');
    return { path: file, seconds };
  }
  kill(): void {
    this.kills += 1;
    if (this.what === 'forgotten') this.waiting.length = 0;
  }
}

let root = '';
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(root, { recursive: true, force: true });
});

/** @param waits how many pictures are waiting from before */
async function late(shape: PracticeShape, what: Waiting, waits: number) {
  let older = OLDER_MS;
  const body = new PracticeBody({ ...AT_ONCE, shape, now: () => new Date(Date.now() - older) });
  const link = new LateLink(body, what);
  for (let time = 0; time < waits; time += 1)
    link.waiting.push(...(await body.release()).map(({ content }) => content));
  older = 0;
  return { body, link };
}

/**
 * @param count frames of the set, an odd number
 * @param cameBefore what the files of earlier sets told
 * @returns the set's record, what a check of the folder finds, and what its files told
 */
async function makeSet(link: LateLink, count = FRAMES, cameBefore: CameSoFar | null = null) {
  const body = await Body.meet(link);
  const fired = await fireSet(root, { body, frames: count, cameBefore: async () => cameBefore });
  const { record, run } = fired;
  if (record === null) throw new Error('The set has no record.');
  const { findings } = await checkSet(fired.folder);
  return {
    record,
    wrong: findings.filter(({ severity }) => severity === 'wrong'),
    came: run.cameFrom(body),
  };
}

it.each(['none', 'amount'] as const)(
  'one that waited is set aside, and the next connection knows nothing of it: %s',
  async (shape) => {
    const { body, link } = await late(shape, 'forgotten', 1);
    const { record, wrong } = await makeSet(link);
    expect(record.sentence).toBe('All 9 frames are verified.');
    expect(wrong).toEqual([]);
    expect(record.setAside.map(({ reason }) => reason)).toEqual([
      'It had been waiting in the camera since before this release.',
    ]);
    // The release that brought it has a file of its own, which never came.
    expect(record.strays).toHaveLength(1);
    expect(link.kills).toBe(1);
    expect(body.shots).toHaveLength(1 + FRAMES + 1);
  },
);

it.each([1, 2])(
  'a body that keeps %i of them has its files told by what they record, set after set',
  async (waits) => {
    const { body, link } = await late('drive-entry', 'told', waits);
    for (let set = 1; set <= 2; set += 1) {
      const startedAt = Date.now();
      const { record, wrong } = await makeSet(link);
      expect(record.sentence).toBe('All 9 frames are verified.');
      expect(wrong).toEqual([]);
      expect(record.notes.join()).toMatch(/comes (?:one release|2 releases) late/);
      expect(record.setAside.map(({ reason }) => reason)).toEqual(
        Array(waits).fill('It had been waiting in the camera since before this release.'),
      );
      for (const { marks, firedAt } of record.frames) {
        expect(Date.parse(firedAt ?? '')).toBeGreaterThanOrEqual(startedAt);
        expect(marks.filter(({ code }) => code === 'time')).toEqual([]);
      }
      // One release more for each that waits.
      expect(body.shots).toHaveLength(waits + set * (FRAMES + waits));
      expect(link.waiting).toHaveLength(waits);
    }
  },
);

it('so has one that keeps it and does not tell', async () => {
  const { body, link } = await late('none', 'kept', 1);
  for (let set = 1; set <= 2; set += 1) {
    const { record, wrong } = await makeSet(link);
    expect(record.sentence).toBe('All 9 frames are verified.');
    expect(wrong).toEqual([]);
  }
  // In the second set the first file is too young to be told by its time, and its frame is fired once more.
  expect(body.shots).toHaveLength(1 + (FRAMES + 1) + (FRAMES + 2));
});

it('one that comes twice costs a release, and no more', async () => {
  const { body, link } = await late('none', 'forgotten', 0);
  link.twice = 4;
  const { record, wrong } = await makeSet(link);
  expect(record.sentence).toBe('All 9 frames are verified.');
  expect(wrong).toEqual([]);
  expect(record.setAside).toHaveLength(1);
  expect(record.strays).toHaveLength(1);
  expect(body.shots).toHaveLength(FRAMES + 1);
});

it.each([
  ['none', 3],
  ['amount', 4],
] as const)(
  'while each file comes one release late, every release is told of, also one whose file is lost on its way: %s',
  async (shape, lost) => {
    const { body, link } = await late(shape, 'kept', 1);
    link.dies = 4;
    const { record, wrong } = await makeSet(link);
    expect(record.sentence).toBe('All 9 frames are verified.');
    expect(wrong).toEqual([]);
    // The third shot, which the process took along; and what was fired instead last, and still waits.
    expect(record.strays.map(({ frame }) => frame)).toEqual([lost, lost]);
    // The first shot is from before the set, and among those that were set aside.
    expect(FRAMES + record.strays.length + record.setAside.length).toBe(body.shots.length);
  },
);

it('one that waits at the end of a set is told of there, and the files that have come are not', async () => {
  const { body, link } = await late('amount', 'kept', 1);
  const { record } = await makeSet(link);
  expect(record.sentence).toBe('All 9 frames are verified.');
  expect(link.waiting).toHaveLength(1);
  expect(record.strays).toHaveLength(1);
  expect(FRAMES + record.strays.length + record.setAside.length).toBe(body.shots.length);
});

/** A set of one frame by a body that tells no clock, and then a picture of the same exposure that waits. @param ms how much older it is */
async function silentWithOneWaiting(ms: number) {
  let older = 60_000;
  const body = new PracticeBody({ ...AT_ONCE, shape: 'none', now: () => new Date(Date.now() - older) });
  const link = new LateLink(body, 'forgotten');
  link.isSilent = true;
  // Its clock is a minute slow all the time.
  const first = await makeSet(link, 1);
  expect(first.record.sentence).toBe('The frame is verified.');
  expect(first.record.clockDifference).toBeNull();
  older = 60_000 + ms;
  await body.change('shutter', sixths(36));
  const [waiting] = await body.release();
  older = 60_000;
  if (waiting !== undefined) link.waiting.push(waiting.content);
  return { body, link, came: halfAMinuteEarlier(first.came) };
}

/** As if that set had been fired before a pause. */
function halfAMinuteEarlier(came: CameSoFar | null): CameSoFar {
  if (came?.last == null || came.anchor === null) throw new Error('No file told its time.');
  const back = (at: string) => new Date(Date.parse(at) - 30_000).toISOString();
  const takenAt = back(`${came.last.takenAt}Z`).slice(0, -1);
  const { firedAt, storedAt, exposureTime } = came.anchor;
  return {
    last: { ...came.last, takenAt },
    anchor: {
      takenAt,
      exposureTime,
      firedAt: firedAt === null ? null : back(firedAt),
      storedAt: back(storedAt),
    },
  };
}

it('of a body that tells no clock, one that was pressed 4.5 s before the set is not taken for its only frame', async () => {
  const { link, came } = await silentWithOneWaiting(4500);
  const { record, wrong } = await makeSet(link, 1, came);
  expect(record.sentence).toBe('The frame is verified.');
  expect(wrong).toEqual([]);
  expect(record.setAside.map(({ reason }) => reason)).toEqual([
    'It had been waiting in the camera since before this release.',
  ]);
  expect(record.strays).toHaveLength(1);
  expect(record.frames[0]?.attempts).toBe(2);
  expect(record.frames[0]?.marks.filter(({ code }) => code === 'time')).toEqual([]);
});

it('one that was pressed within the slack of the clocks is marked as its frame', async () => {
  const { link, came } = await silentWithOneWaiting(2000);
  const { record } = await makeSet(link, 1, came);
  expect(record.frames[0]?.attempts).toBe(1);
  const [mark] = record.frames[0]?.marks.filter(({ code }) => code === 'time') ?? [];
  expect(mark?.sentence).toMatch(/^It may have been taken [23] s before it was fired/);
});

it('a frame that is made again within one second, by a body that tells whole seconds, is a new one', async () => {
  const second = new Date(2026, 10, 25, 16, 42, 10);
  const body = new PracticeBody({ ...AT_ONCE, shape: 'none', now: () => second });
  const link = new (class extends LateLink {
    private bad = true;
    /** The first file comes damaged; of all of them, the time has no parts of a second. */
    override async fire(options: FireOptions): Promise<FiredFrame> {
      const fired = await super.fire(options);
      const jpeg = await readFile(fired.path);
      // SubSecTimeOriginal is ASCII, a terminating zero behind it: blanks are no digits.
      const parts = jpeg.indexOf('000\0', 0, 'latin1');
      if (parts > 0) jpeg.write('   ', parts, 'latin1');
      await writeFile(fired.path, this.bad ? jpeg.subarray(0, jpeg.length / 2) : jpeg);
      this.bad = false;
      return fired;
    }
  })(body, 'forgotten');
  link.isSilent = true;
  const { record } = await makeSet(link, 1);
  expect(record.sentence).toBe('The frame is verified.');
  expect(record.frames[0]?.attempts).toBe(2);
  expect(record.setAside.map(({ reason }) => reason)).not.toContain(
    'It had been waiting in the camera since before this release.',
  );
});

it('a file that comes with the next release is no stray any more; that release is one, if its own never comes', async () => {
  const body = new PracticeBody({ ...AT_ONCE, shape: 'amount' });
  const link = new (class extends LateLink {
    private lost: Buffer | null = null;
    private number = 0;
    /** The file of the first release comes with the second, which is for another frame, and whose own is lost. */
    override async fire(options: FireOptions): Promise<FiredFrame> {
      this.number += 1;
      const fired = await super.fire(options);
      if (this.number === 1) {
        this.lost = await readFile(fired.path);
        await rm(fired.path);
        throw new EvenrungError('body-lost', 'The cable was out for a moment.', { released: true });
      }
      if (this.number === 2 && this.lost !== null) await writeFile(fired.path, this.lost);
      return fired;
    }
  })(body, 'forgotten');
  const { record, wrong } = await makeSet(link);
  expect(record.sentence).toBe('All 9 frames are verified.');
  expect(wrong).toEqual([]);
  expect(body.shots).toHaveLength(FRAMES + 1);
  expect(record.strays.map(({ reason }) => reason)).toEqual([
    'The file of an earlier frame came in its place.',
  ]);
});
