// A set that is taken up again after its end: frames and passes fired once more, with both kept; sets completed that were stopped or
// halted; and what has to hold before. The program that dies is a station whose shutter never comes back.
import { appendFile, mkdtemp, readdir, readFile, rename, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import Sqlite from 'better-sqlite3';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import { sixths } from '../../shared/ev.js';
import type { Again } from '../../shared/kept.js';
import { type KeptSetRecord, readSetRecord } from '../../shared/set-record.js';
import type { FireOptions } from '../../src/camera/index.js';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import type { BodyLimits } from '../../src/exposure/index.js';
import { checkSet, checksumOf, exifTool } from '../../src/frames/index.js';
import { Journal, journalFile } from '../../src/journal/index.js';
import type { Station } from '../../src/station/index.js';
import {
  type EndedSet,
  endedSet,
  lost,
  type Made,
  never,
  picturesIn,
  recordIn,
  refusal,
} from '../harness/ended-set.js';
import { Hands } from '../harness/hands.js';
import { TestLink } from '../harness/links.js';
import { openStation } from '../harness/station.js';

const NINE = { frames: 9, step: 1, base: '1/60' };

let root = '';
let journal: Journal;
let body: PracticeBody;
let stations: Station[] = [];
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  stations = [];
  journal = await Journal.open(path.join(root, 'state'));
  body = new PracticeBody(AT_ONCE);
});
afterEach(async () => {
  for (const made of stations) await made.close();
  journal.close();
  await exifTool.end();
  await rm(root, { recursive: true, force: true });
});

/** @param see what its limits are taken for */
async function station(
  of: PracticeBody = body,
  see: (limits: BodyLimits) => BodyLimits = (limits) => limits,
): Promise<Made> {
  const link = new TestLink(of);
  const hands = new Hands();
  const made = await openStation(root, link, { journal, clock: hands, sleep: hands.sleep, see });
  return { ...made, link };
}

/** One that is closed at the end. */
async function atWork(of: PracticeBody = body): Promise<Made> {
  const made = await station(of);
  stations.push(made.station);
  return made;
}

/** A set of nine. @param shots after which it is stopped */
const setOf = (made: Made, shots?: number): Promise<EndedSet> => endedSet(journal, made, NINE, shots);

async function fireAgain({ station: at }: Made, { id }: EndedSet, chosen: Again): Promise<void> {
  await at.again(id, chosen);
  await at.settled();
}

/** The pass that made a frame: they are not fired from dark to light. */
const passOf = async (set: EndedSet, number: number): Promise<number> =>
  (await recordIn(set)).frames[number - 1]?.pass ?? 0;
/** What is said of the time that had passed; other notes depend on the computer. */
const laterNotes = ({ notes }: KeptSetRecord): string[] =>
  notes.filter((note) => /check whether the light changed/.test(note));
/** What was set aside, without sidecars. */
const picturesAside = ({ setAside }: KeptSetRecord): string[] =>
  setAside.map(({ file }) => file).filter((file) => !file.endsWith('.xmp'));
const asideIn = async ({ folder }: EndedSet): Promise<string[]> =>
  (await readdir(path.join(folder, 'set-aside')).catch(() => []))
    .filter((name) => name.endsWith('.jpg'))
    .sort();

/** Everything that has to hold of a folder at any moment after its first end. */
async function expectSound(set: EndedSet, more: readonly string[] = []): Promise<KeptSetRecord> {
  const { findings, record } = await checkSet(set.folder);
  const notes = findings.filter(({ file }) => !more.includes(file ?? ''));
  expect(notes.filter(({ code }) => code !== 'set-incomplete').map(({ sentence }) => sentence)).toEqual([]);
  const names = await readdir(set.folder);
  expect(names.filter((name) => name.startsWith('.') || name.endsWith('.part'))).toEqual([]);
  if (record === null) throw new Error('There is no record.');
  const stored = journal.set(set.id);
  expect(stored?.frames.map(({ view }) => [view.state, view.file])).toEqual(
    record.frames.map(({ state, file }) => [state, file]),
  );
  expect(stored?.frames.map(({ sha256 }) => sha256)).toEqual(record.frames.map(({ sha256 }) => sha256));
  expect(stored?.sentence).toBe(record.sentence);
  expect(stored?.asides).toEqual(record.setAside);
  expect(journal.unfinishedRun()).toBeNull();
  return record;
}

describe('a frame that is fired again', () => {
  it('takes its place in the set; the one before is set aside, and both are kept', async () => {
    const made = await atWork();
    const set = await setOf(made);
    const before = await recordIn(set);
    const found = { ...body.state };
    const old = await checksumOf(path.join(set.folder, '03_-2EV.jpg'));
    await fireAgain(made, set, { frames: [3] });

    // One at a time, with the bracket off: nothing that is good is fired again.
    expect(made.link.releases).toBe(1);
    expect(made.link.changes.some((change) => change.startsWith('aeb=+'))).toBe(false);
    expect({ ...body.state }).toEqual(found);
    const record = await expectSound(set);
    expect(record).toMatchObject({ complete: true, id: before.id, startedAt: before.startedAt });
    expect(record.sentence).toBe('Frame 3 was reshot. All 9 frames are verified.');
    const frame = record.frames[2];
    expect(frame).toMatchObject({ number: 3, state: 'verified', file: '03_-2EV_2.jpg', attempts: 2 });
    const reason = expect.stringMatching(/^Reshot at \d\d:\d\d: this is the frame as it was before\.$/);
    // With its sidecar.
    expect(record.setAside).toEqual([
      { file: 'set-aside/frame-03.jpg', reason },
      { file: 'set-aside/frame-03.xmp', reason },
    ]);
    expect(await checksumOf(path.join(set.folder, 'set-aside', 'frame-03.jpg'))).toEqual(old);
    expect(await checksumOf(path.join(set.folder, frame?.file ?? ''))).toMatchObject({
      sha256: frame?.sha256,
    });
    // The others are what they were.
    const others = (all: KeptSetRecord) => all.frames.filter(({ number }) => number !== 3);
    expect(others(record).map(({ file, sha256 }) => [file, sha256])).toEqual(
      others(before).map(({ file, sha256 }) => [file, sha256]),
    );
    expect(laterNotes(record)).toEqual([
      // No frame has a brightness mark, so none is pointed at.
      expect.stringMatching(/^Frame 3 was reshot \d+ s after the set: check whether the light changed\.$/),
    ]);
    expect(made.events.state.run).toMatchObject({ state: 'complete', folder: set.folder, error: null });
    expect(journal.sets()).toHaveLength(1);
    expect(journal.runs()).toMatchObject([{ state: 'complete', sentence: record.sentence, sets: 1 }]);
  });

  it('and again: both earlier ones are kept, under names of their own', async () => {
    const made = await atWork();
    const set = await setOf(made);
    const sums = [await checksumOf(path.join(set.folder, '03_-2EV.jpg'))];
    await fireAgain(made, set, { frames: [3] });
    sums.push(await checksumOf(path.join(set.folder, '03_-2EV_2.jpg')));
    await fireAgain(made, set, { frames: [3] });
    const record = await expectSound(set);
    expect(record.frames[2]).toMatchObject({ file: '03_-2EV.jpg', attempts: 3 });
    expect(picturesAside(record)).toEqual(['set-aside/frame-03.jpg', 'set-aside/frame-03_2.jpg']);
    const kept = await Promise.all(
      picturesAside(record).map((file) => checksumOf(path.join(set.folder, file))),
    );
    expect(kept).toEqual(sums);
    expect(await picturesIn(set)).toHaveLength(9);
  });

  it('is one of several, over several passes; frames that were not chosen are not touched', async () => {
    const made = await atWork();
    const set = await setOf(made);
    await fireAgain(made, set, { frames: [8, 2, 2, 5] });
    expect(made.link.releases).toBe(3);
    const record = await expectSound(set);
    expect(record.sentence).toBe('Frames 2, 5, 8 were reshot. All 9 frames are verified.');
    expect(picturesAside(record).sort()).toEqual(
      ['02', '05', '08'].map((number) => `set-aside/frame-${number}.jpg`),
    );
    expect(await picturesIn(set)).toHaveLength(9);
  });

  it('that is wrong at first is made up; what was wrong is set aside too', async () => {
    const made = await atWork();
    const set = await setOf(made);
    made.link.beforeFire = async (count) => {
      if (count === 1) await body.change('iso', 400);
      if (count === 2) await body.change('iso', 100);
    };
    await fireAgain(made, set, { frames: [3] });
    const record = await expectSound(set);
    expect(made.link.releases).toBe(2);
    const pictures = new Set(picturesAside(record));
    expect(record.setAside.filter(({ file }) => pictures.has(file)).map(({ reason }) => reason)).toEqual([
      'The ISO is 400, but 100 was set.',
      expect.stringMatching(/as it was before/),
    ]);
  });

  it('leaves what others put into the folder where it is, even where it looks like a frame', async () => {
    const made = await atWork();
    const set = await setOf(made);
    const copy = await readFile(path.join(set.folder, '03_-2EV.jpg'));
    await writeFile(path.join(set.folder, 'merged.jpg'), copy);
    await writeFile(path.join(set.folder, '03_-2EV.xmp'), 'somebody has been at work');
    await fireAgain(made, set, { frames: [3] });
    const record = await expectSound(set, ['merged.jpg']);
    expect(await readFile(path.join(set.folder, 'merged.jpg'))).toEqual(copy);
    // What lies beside the earlier frame goes with it.
    expect(await readFile(path.join(set.folder, 'set-aside', 'frame-03.xmp'), 'utf8')).toBe(
      'somebody has been at work',
    );
    expect(record.setAside.map(({ file }) => file)).toEqual([
      'set-aside/frame-03.jpg',
      'set-aside/frame-03.xmp',
    ]);
  });

  it('is not a picture that was taken by hand since the set, and waited in the camera', async () => {
    let aheadMs = -120_000;
    body = new PracticeBody({ ...AT_ONCE, now: () => new Date(Date.now() + aheadMs) });
    const made = await atWork();
    const set = await setOf(made);
    const database = new Sqlite(journalFile(path.join(root, 'state')));
    database.prepare('UPDATE sets SET started_at = ?').run(new Date(Date.now() - 600_000).toISOString());
    database.close();
    // A minute later, with just the exposure of frame 3; nobody fetched it.
    aheadMs = -60_000;
    const { shutter } = body.state;
    await body.change('shutter', sixths(48));
    const [waiting] = await body.release();
    await body.change('shutter', shutter);
    aheadMs = 0;
    const { fire } = made.link;
    made.link.fire = async (options: FireOptions) => {
      const { path: file, seconds } = await fire.call(made.link, options);
      if (made.link.releases === 1 && waiting !== undefined) await writeFile(file, waiting.content);
      return { path: file, seconds };
    };
    await fireAgain(made, set, { frames: [3] });
    expect(made.link.releases).toBe(2);
    const record = await expectSound(set);
    expect(picturesAside(record)).toEqual(['set-aside/other.jpg', 'set-aside/frame-03.jpg']);
    expect(record.strays).toMatchObject([{ frame: 3, reason: 'An earlier picture came in its place.' }]);
  });

  it('whose file is gone is made in its place', async () => {
    const made = await atWork();
    const set = await setOf(made);
    await rm(path.join(set.folder, '03_-2EV.jpg'));
    await fireAgain(made, set, { frames: [3] });
    const record = await expectSound(set);
    expect(record).toMatchObject({ complete: true, setAside: [] });
    expect(record.sentence).toBe('Frame 3 was fired. All 9 frames are verified.');
    expect(record.frames[2]?.file).toBe('03_-2EV.jpg');
  });

  it('in aperture priority tells how far the light had moved', async () => {
    await body.change('mode', 'aperture');
    const made = await atWork();
    await made.station.start({ ...NINE, mode: 'aperture' });
    await made.station.settled();
    const [{ id, folder } = { id: '', folder: '' }] = journal.sets();
    const set = { id, folder: folder ?? '' };
    body.moveLight(sixths(-4));
    await fireAgain(made, set, { frames: [3] });
    const record = await expectSound(set);
    expect(record.frames.map(({ baseMoved }) => baseMoved === null)).toEqual(
      [1, 2, 3, 4, 5, 6, 7, 8, 9].map((number) => number !== 3),
    );
    expect(record.frames[2]?.baseMoved).toBeCloseTo(2 / 3, 6);
    expect(
      record.notes.some((note) => /off the first frame's base exposure, by up to \+0\.67 EV/.test(note)),
    ).toBe(true);
  });
});

describe('a pass that is fired again', () => {
  it('is one firing of the bracket; the earlier frames of it are set aside', async () => {
    const made = await atWork();
    const set = await setOf(made);
    await fireAgain(made, set, { pass: await passOf(set, 5) });
    expect(made.link.releases).toBe(3);
    expect(made.link.changes).toContain('aeb=+/- 1');
    expect(
      body.shots
        .slice(-3)
        .map(({ bracketPosition }) => bracketPosition)
        .sort(),
    ).toEqual([-1, 0, 1]);
    const record = await expectSound(set);
    expect(record.sentence).toBe('Frames 4, 5, 6 were reshot. All 9 frames are verified.');
    expect(picturesAside(record)).toHaveLength(3);
    expect(made.events.state.run?.passes).toEqual(['done', 'done', 'done']);
  });

  it('is what all of its frames are, however they are chosen', async () => {
    const made = await atWork();
    const set = await setOf(made);
    await fireAgain(made, set, { frames: [6, 4, 5] });
    expect(made.link.changes).toContain('aeb=+/- 1');
    expect(made.link.releases).toBe(3);
    await expectSound(set);
  });
});

describe('on a body that can only repeat the pass', () => {
  it('the repeats are set aside, and replace nothing', async () => {
    // As where thirds and halves are offered at once, and the label 0.3 stands for two settings.
    const made = await station(body, (limits) => ({
      ...limits,
      shutters: limits.shutters.map((setting) => ({ ...setting, settable: setting.wire !== '0.3' })),
    }));
    stations.push(made.station);
    await made.station.start({ frames: 3, step: '1/3', base: '0.4' });
    await made.station.settled();
    made.link.releases = 0;
    const [listed] = journal.sets();
    const set = { id: listed?.id ?? '', folder: listed?.folder ?? '' };
    const before = await recordIn(set);
    expect(before.frames[0]?.shutter).toBe('0.3');
    await fireAgain(made, set, { frames: [1] });
    expect(made.link.releases).toBe(2);
    const record = await expectSound(set);
    expect(record.sentence).toBe('Frame 1 was reshot. All 3 frames are verified.');
    expect(record.frames.slice(1).map(({ sha256 }) => sha256)).toEqual(
      before.frames.slice(1).map(({ sha256 }) => sha256),
    );
    expect(
      record.setAside.filter(({ file }) => file.endsWith('.jpg')).map(({ file, reason }) => [file, reason]),
    ).toEqual([
      ['set-aside/frame-02.jpg', 'A repeat of frame 2, which was good already.'],
      ['set-aside/frame-01.jpg', expect.stringMatching(/as it was before/)],
    ]);
  });
});

describe('firing again that comes to nothing', () => {
  it('leaves the frame as it was before, and says so', async () => {
    const made = await atWork();
    const set = await setOf(made);
    const before = journal.set(set.id)?.frames[2];
    made.link.afterFire = () => {
      throw lost();
    };
    await made.station.again(set.id, { frames: [3] });
    await made.station.settled();
    expect(made.link.releases).toBe(2);
    const record = await expectSound(set);
    expect(record.sentence).toBe(
      'Frame 3 (−2 EV, 1/250 s) failed in 2 attempts: The shutter went, but no file came. Frame 3 is as it was before. All 9 frames are verified.',
    );
    expect(record).toMatchObject({ complete: true });
    expect(made.events.state.run).toMatchObject({ state: 'complete', error: 'frame-missing' });
    // With its times; only the releases are counted on.
    const after = journal.set(set.id)?.frames[2];
    expect(after).toEqual({ ...before, view: { ...before?.view, attempts: 3 } });
    expect(await picturesIn(set)).toHaveLength(9);
    // What was made lies there all the same: nothing that came is thrown away.
    expect(record.setAside.map(({ reason }) => reason)).toEqual(
      Array(2).fill('It came when no frame was being waited for.'),
    );
    expect(record.strays).toHaveLength(2);
    expect(laterNotes(record)).toEqual([]);
  });

  it('of a pass leaves what was made, and the rest as it was', async () => {
    const made = await atWork();
    const set = await setOf(made);
    made.link.beforeFire = (count) => {
      if (count > 1)
        throw new EvenrungError('storing-failed', 'The disk is full: make room.', { released: false });
    };
    await fireAgain(made, set, { pass: await passOf(set, 5) });
    const record = await expectSound(set);
    // The centre comes first.
    expect(record.sentence).toMatch(
      /^Frame \d .*The disk is full: make room\. Frame 5 was reshot\. Frames 4, 6 are as they were before\. All 9 frames are verified\.$/,
    );
    expect(picturesAside(record)).toEqual(['set-aside/frame-05.jpg']);
    expect(made.events.state.run).toMatchObject({ state: 'complete', passes: ['done', 'done', 'done'] });
  });

  it('because it was stopped: the same', async () => {
    const made = await atWork();
    const set = await setOf(made);
    const found = { ...body.state };
    made.link.afterFire = (count) => {
      if (count === 1) made.station.stop();
    };
    await fireAgain(made, set, { frames: [3, 4] });
    const record = await expectSound(set);
    expect(record.sentence).toBe(
      'Stopped. Frame 4 was reshot. Frame 3 is as it was before. All 9 frames are verified.',
    );
    expect(await asideIn(set)).toEqual(['frame-04.jpg']);
    expect({ ...body.state }).toEqual(found);
    expect(journal.runs()[0]?.state).toBe('complete');
  });

  it('because the body goes away: the same', async () => {
    const made = await atWork();
    const set = await setOf(made);
    made.link.beforeFire = () => {
      throw new EvenrungError('body-lost', 'The cable was pulled.', { released: false });
    };
    await fireAgain(made, set, { frames: [3] });
    const record = await expectSound(set);
    expect(record.sentence).toMatch(/The cable was pulled\..* Frame 3 is as it was before\./);
    expect(record.complete).toBe(true);
  }, 30_000);

  it('because the journal takes no more before the shutter goes: the same, and nothing is fired', async () => {
    const made = await atWork();
    const set = await setOf(made);
    const before = await readFile(path.join(set.folder, 'set.json'), 'utf8');
    const real = journal.frameChanged.bind(journal);
    journal.frameChanged = (...args) => {
      if (args[1].state === 'fired') throw new Error('The disk is full.');
      real(...args);
    };
    await fireAgain(made, set, { frames: [3] });
    journal.frameChanged = real;
    expect(body.shots).toHaveLength(9);
    const record = await expectSound(set);
    // Record and journal took the times one after the other.
    const what = ({ frames }: KeptSetRecord) =>
      frames.map(({ firedAt: _, storedAt: __, verifiedAt: ___, attempts: ____, ...frame }) => frame);
    expect(what(record)).toEqual(what(readSetRecord(before).record));
  });
});

describe('a set that is not complete', () => {
  it('is completed after it was stopped: whole passes as passes, the rest singly', async () => {
    const made = await atWork();
    const set = await setOf(made, 4);
    const before = await recordIn(set);
    expect(before.complete).toBe(false);
    await made.station.complete(set.id);
    await made.station.settled();
    expect(made.link.releases).toBe(5);
    expect(made.link.changes).toContain('aeb=+/- 1');
    const record = await expectSound(set);
    expect(record).toMatchObject({ complete: true, sentence: 'All 9 frames are verified.', setAside: [] });
    expect(laterNotes(record)).toEqual([
      expect.stringMatching(/^Completed \d+ s after it was begun: check whether the light changed\.$/),
    ]);
    expect(await picturesIn(set)).toHaveLength(9);
    expect(journal.runs()).toMatchObject([{ state: 'complete' }]);
    expect(made.events.state.run).toMatchObject({ state: 'complete', set: { id: set.id } });
  });

  it('is completed after it was halted, by a program that was started since', async () => {
    const first = await station();
    first.link.afterFire = (count) => {
      if (count >= 5) throw lost();
    };
    await first.station.start(NINE);
    await first.station.settled();
    await first.station.close();
    const [listed] = journal.sets();
    expect(listed?.state).toBe('halted');
    const set = { id: listed?.id ?? '', folder: listed?.folder ?? '' };
    const made = await atWork();
    await made.station.complete(set.id.slice(0, 8));
    await made.station.settled();
    const record = await expectSound(set);
    expect(record.complete).toBe(true);
    expect(record.frames.every(({ state }) => state === 'verified')).toBe(true);
  });

  it('stopped once more is told as far as it got, and can be completed then', async () => {
    const made = await atWork();
    const set = await setOf(made, 4);
    made.link.afterFire = (count) => {
      if (count === 2) made.station.stop();
    };
    await made.station.complete(set.id);
    await made.station.settled();
    const record = await expectSound(set);
    expect(record.sentence).toMatch(/^Stopped after 6 of 9 frames\./);
    expect(laterNotes(record)).toEqual([
      expect.stringMatching(
        /^Frames \d, \d were fired \d+ s after the set: check whether the light changed\./,
      ),
    ]);
    made.link.afterFire = () => undefined;
    await made.station.complete(set.id);
    await made.station.settled();
    expect(await expectSound(set)).toMatchObject({ complete: true });
  });

  it('can have a frame fired again and stays as incomplete as it was', async () => {
    const made = await atWork();
    const set = await setOf(made, 4);
    const open = (await recordIn(set)).frames.filter(({ state }) => state !== 'verified').length;
    await fireAgain(made, set, { frames: [5] });
    expect(made.link.releases).toBe(1);
    const record = await expectSound(set);
    expect(record.sentence).toBe('Frame 5 was reshot. 4 of 9 frames are verified.');
    expect(record.frames.filter(({ state }) => state !== 'verified')).toHaveLength(open);
    expect(journal.set(set.id)?.state).toBe('stopped');
  });
});

describe('is refused, and nothing is changed', () => {
  const untouched = async (set: EndedSet, work: () => Promise<unknown>) => {
    const names = await readdir(set.folder, { recursive: true }).catch(() => null);
    const transitions = journal.transitions().length;
    const error = await refusal(work());
    expect(journal.transitions()).toHaveLength(transitions);
    expect(journal.unfinishedRun()).toBeNull();
    expect(await readdir(set.folder, { recursive: true }).catch(() => null)).toEqual(names);
    return error;
  };

  it('a set that is complete, and one of which nothing was stored', async () => {
    const made = await atWork();
    const set = await setOf(made);
    const error = await untouched(set, () => made.station.complete(set.id));
    expect(error).toMatchObject({
      code: 'nothing-to-complete',
      message: expect.stringMatching(
        /is complete: all its 9 frames are verified\. To reshoot some of them, choose frames/,
      ),
    });
    await body.change('mirrorLock', 'on');
    await made.station.start(NINE);
    await made.station.settled();
    await body.change('mirrorLock', 'off');
    const [none] = journal.sets({ limit: 1 });
    expect(none?.folder).toBeNull();
    for (const work of [
      () => made.station.complete(none?.id ?? ''),
      () => made.station.again(none?.id ?? '', { frames: [1] }),
    ])
      expect(await untouched(set, work)).toMatchObject({
        code: 'nothing-to-complete',
        message: expect.stringMatching(/cannot be continued: nothing of it was stored\. Shoot it again\./),
      });
  });

  it('what is no set, no frame, no pass', async () => {
    const made = await atWork();
    const set = await setOf(made);
    expect(await untouched(set, () => made.station.again('x', { frames: [1] }))).toMatchObject({
      code: 'no-such-set',
    });
    const wrong: [Again, RegExp][] = [
      [{ frames: [3, 10] }, /The set has no frame 10: its frames are counted from 1, the darkest, to 9\./],
      [{ frames: [0] }, /no frame 0/],
      [{ frames: [] }, /No frame is chosen/],
      [{ pass: 4 }, /no pass 4: they are counted from 1 to 3/],
    ];
    for (const [chosen, words] of wrong)
      expect(await untouched(set, () => made.station.again(set.id, chosen))).toMatchObject({
        code: 'frames-out-of-range',
        message: expect.stringMatching(words),
      });
  });

  it('while a set is fired, and while one waits that was cut off', async () => {
    const made = await atWork();
    const set = await setOf(made);
    await made.station.start(NINE);
    await expect(made.station.again(set.id, { frames: [3] })).rejects.toMatchObject({
      code: 'run-under-way',
    });
    await made.station.settled();
    const dying = await station();
    dying.link.beforeFire = never;
    const isFired = new Promise<void>((resolve) => {
      dying.events.watch(({ happening }) => {
        if (happening.type === 'frame' && happening.frame.state === 'fired') resolve();
      });
    });
    await dying.station.start(NINE);
    await isFired;
    const next = await atWork();
    await expect(next.station.complete(set.id)).rejects.toMatchObject({ code: 'run-unfinished' });
    await next.station.endUnfinished();
  });

  it('another body', async () => {
    const first = await station();
    const set = await setOf(first);
    await first.station.close();
    const made = await atWork(new PracticeBody({ ...AT_ONCE, serial: 'PB-9999' }));
    expect(await untouched(set, () => made.station.again(set.id, { frames: [3] }))).toMatchObject({
      code: 'body-not-ready',
      message: expect.stringMatching(/with another camera: Practice body, serial number PB-0001/),
    });
  });

  it('an aperture or an ISO that stands otherwise than it did', async () => {
    const made = await atWork();
    const set = await setOf(made);
    await body.change('aperture', sixths(30));
    await body.change('iso', 400);
    const error = await untouched(set, () => made.station.again(set.id, { frames: [3] }));
    expect(error).toMatchObject({
      code: 'body-not-ready',
      message:
        'The camera is not set as it was for this set. Change the aperture from f/5.6 to f/8, and the ISO from 400 to 100, then try again.',
    });
    await body.change('aperture', sixths(36));
    await body.change('iso', 100);
    await fireAgain(made, set, { frames: [3] });
    await expectSound(set);
  });

  it('a body that is not ready', async () => {
    const made = await atWork();
    const set = await setOf(made);
    await body.change('mode', 'aperture');
    expect(await untouched(set, () => made.station.again(set.id, { frames: [3] }))).toMatchObject({
      code: 'body-not-ready',
      message: expect.stringMatching(/manual/i),
    });
  });

  it('a folder that is gone', async () => {
    const made = await atWork();
    const set = await setOf(made);
    await rename(set.folder, `${set.folder}-moved`);
    expect(await untouched(set, () => made.station.again(set.id, { frames: [3] }))).toMatchObject({
      code: 'set-folder-gone',
      message: expect.stringMatching(/is missing: .*Put it back and try again/),
    });
  });

  it('a file that changed, or another one that is gone', async () => {
    const made = await atWork();
    const set = await setOf(made);
    await appendFile(path.join(set.folder, '07_+2EV.jpg'), 'one byte more');
    expect(await untouched(set, () => made.station.again(set.id, { frames: [3] }))).toMatchObject({
      code: 'set-damaged',
      message: expect.stringMatching(
        /^07_\+2EV\.jpg is no longer what came from the camera\. .*reshoot frame 7\.$/,
      ),
    });
    await rm(path.join(set.folder, '07_+2EV.jpg'));
    expect(await untouched(set, () => made.station.again(set.id, { frames: [3] }))).toMatchObject({
      code: 'set-damaged',
      message: expect.stringMatching(/^07_\+2EV\.jpg is missing from .*choose to reshoot frame 7\.$/),
    });
    await fireAgain(made, set, { frames: [3, 7] });
    expect(await expectSound(set)).toMatchObject({ complete: true });
  });
});

describe('cut off in the middle', () => {
  /** A set taken up again by a program that dies with its second release. */
  async function cutOff(chosen: Again, shots = 2): Promise<EndedSet> {
    const first = await station();
    const set = await setOf(first);
    await first.station.close();
    const dying = await station();
    dying.link.beforeFire = (count) => (count === shots ? never() : undefined);
    let seen = 0;
    const isThere = new Promise<void>((resolve) => {
      let isVerified = shots === 1;
      dying.events.watch(({ happening }) => {
        if (happening.type !== 'frame') return;
        if (happening.frame.state === 'fired') seen += 1;
        if (happening.frame.state === 'verified') isVerified = true;
        if (seen === shots && isVerified) resolve();
      });
    });
    await dying.station.again(set.id, chosen);
    await isThere;
    return set;
  }

  it('is told, and leaves a record that is right', async () => {
    const set = await cutOff({ frames: [3, 4] });
    const { findings } = await checkSet(set.folder);
    expect(findings.filter(({ severity }) => severity === 'wrong')).toEqual([]);
    const next = await atWork();
    expect(next.events.state.unfinished).toMatchObject({
      verified: 9,
      frames: 9,
      scheduled: false,
      sentence: expect.stringMatching(/^A set was interrupted while frames 3, 4 were being reshot, when/),
    });
    await next.station.endUnfinished();
  });

  it('is gone on with: what was being fired is fired, and both files are kept', async () => {
    const set = await cutOff({ frames: [3, 4] });
    const next = await atWork();
    await next.station.resume();
    await next.station.settled();
    expect(next.link.releases).toBe(1);
    const record = await expectSound(set);
    expect(record.sentence).toBe('Frames 3, 4 were reshot. All 9 frames are verified.');
    expect(await asideIn(set)).toEqual(['frame-03.jpg', 'frame-04.jpg']);
    expect(record.strays).toMatchObject([
      { frame: 3, reason: 'Evenrung ended while the frame was being taken.' },
    ]);
  });

  it('is gone on with only where aperture and ISO stand as they did', async () => {
    const set = await cutOff({ frames: [3, 4] });
    await body.change('aperture', sixths(30));
    const next = await atWork();
    expect(await refusal(next.station.resume())).toMatchObject({
      code: 'body-not-ready',
      message: expect.stringMatching(/Change the aperture from f\/5\.6 to f\/8, then try again\.$/),
    });
    await body.change('aperture', sixths(36));
    await next.station.resume();
    await next.station.settled();
    expect(await expectSound(set)).toMatchObject({ complete: true, base: { aperture: '8' } });
  });

  it('is ended: what was made stays, and the rest is as it was before', async () => {
    const set = await cutOff({ frames: [3, 4] });
    const next = await atWork();
    await next.station.endUnfinished();
    const record = await expectSound(set);
    expect(record.sentence).toBe(
      'Stopped. Frame 4 was reshot. Frame 3 is as it was before. All 9 frames are verified.',
    );
    expect(await asideIn(set)).toEqual(['frame-04.jpg']);
  });

  it('is ended without its body, in the journal alone, and taken up again then', async () => {
    const set = await cutOff({ frames: [3, 4] });
    const other = await station(new PracticeBody({ ...AT_ONCE, serial: 'PB-9999' }));
    await other.station.endUnfinished();
    await other.station.close();
    expect(other.events.state.unfinished).toBeNull();
    expect(journal.unfinishedRun()).toBeNull();
    expect(journal.set(set.id)).toMatchObject({ state: 'complete', verified: 9 });
    expect(journal.set(set.id)?.frames[2]?.view).toMatchObject({ state: 'verified', file: '03_-2EV.jpg' });
    const made = await atWork();
    await fireAgain(made, set, { frames: [3] });
    const record = await expectSound(set);
    // The one that had not been moved yet is moved now.
    expect(picturesAside(record).sort()).toEqual(['set-aside/frame-03.jpg', 'set-aside/frame-04.jpg']);
    expect(await asideIn(set)).toEqual(['frame-03.jpg', 'frame-04.jpg']);
    expect(await picturesIn(set)).toHaveLength(9);
  });
});

describe('a set of a run on a schedule', () => {
  it('is taken up by itself: the run has ended as it had ended, and its schedule does not go on', async () => {
    const made = await atWork();
    await made.station.start({ ...NINE, frames: 3, schedule: { every: '4min', count: 2 } });
    await made.station.settled();
    const run = journal.runs()[0];
    expect(run).toMatchObject({ kind: 'scheduled', state: 'complete', sets: 2 });
    const [second, first] = journal.sets();
    const set = { id: first?.id ?? '', folder: first?.folder ?? '' };

    const dying = await station();
    dying.link.beforeFire = never;
    const isFired = new Promise<void>((resolve) => {
      dying.events.watch(({ happening }) => {
        if (happening.type === 'frame' && happening.frame.state === 'fired') resolve();
      });
    });
    await dying.station.again(set.id, { frames: [2] });
    await isFired;

    const next = await atWork();
    expect(next.events.state.unfinished).toMatchObject({ scheduled: false, verified: 3 });
    await next.station.resume();
    await next.station.settled();
    expect(next.link.releases).toBe(1);
    expect(next.events.state.schedule).toBeNull();
    expect(await expectSound(set)).toMatchObject({
      sentence: 'Frame 2 was reshot. All 3 frames are verified.',
    });
    const { number: _, notes: __, ...after } = journal.runs()[0] ?? { number: 0, notes: [] };
    const { number: ___, notes: ____, ...before } = run ?? { number: 0, notes: [] };
    expect(after).toEqual(before);
    expect(journal.sets().map(({ id }) => id)).toEqual([second?.id, first?.id]);
  });

  it('cut off after its end, before the run has ended again: ended with the next start', async () => {
    const made = await atWork();
    await made.station.start({ ...NINE, frames: 3, schedule: { every: '4min', count: 2 } });
    await made.station.settled();
    const run = journal.runs()[0];
    const [, first] = journal.sets();
    const real = journal.endRun.bind(journal);
    journal.endRun = () => {
      throw new Error('The program ended here.');
    };
    await fireAgain(made, { id: first?.id ?? '', folder: first?.folder ?? '' }, { frames: [2] });
    journal.endRun = real;
    expect(journal.unfinishedRun()).not.toBeNull();
    const next = await atWork();
    expect(next.events.state.unfinished).toBeNull();
    expect(journal.runs()[0]).toMatchObject({ state: 'complete', sentence: run?.sentence, memo: run?.memo });
  });
});
