// A set that is extended: frames at either end, after its end or because it was asked for beforehand; what is not made of them, what
// cannot be made, and what must not be extended. The program that dies is a station whose shutter never comes back.
import { mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { sixths } from '../../shared/ev.js';
import type { Extend } from '../../shared/kept.js';
import { MOST_FRAMES, type WrittenSetRequest } from '../../shared/request.js';
import type { KeptSetRecord } from '../../shared/set-record.js';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import { PRACTICE_SHAPES } from '../../src/camera/practice/shapes.js';
import type { BodyLimits } from '../../src/exposure/index.js';
import { checkSet, exifTool } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
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
import { ApartTestLink, TestLink } from '../harness/links.js';
import { openStation, stationOver } from '../harness/station.js';

const THREE = { frames: 3, step: 1, base: '1/60' };

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

async function station(of: PracticeBody = body): Promise<Made> {
  const link = new TestLink(of);
  const hands = new Hands();
  return { ...(await openStation(root, link, { journal, clock: hands, sleep: hands.sleep })), link };
}

/** One that is closed at the end. */
async function atWork(of: PracticeBody = body): Promise<Made> {
  const made = await station(of);
  stations.push(made.station);
  return made;
}

const setOf = (made: Made, asked: WrittenSetRequest = THREE, shots?: number): Promise<EndedSet> =>
  endedSet(journal, made, asked, shots);

async function extend({ station: at }: Made, { id }: EndedSet, by: Extend): Promise<void> {
  await at.extend(id, by);
  await at.settled();
}

const filesOf = ({ frames }: KeptSetRecord): (string | null)[] => frames.map(({ file }) => file);

/** What has to hold of a folder at any moment after its first end. */
async function expectSound(set: EndedSet): Promise<KeptSetRecord> {
  const { findings, record } = await checkSet(set.folder);
  expect(findings.filter(({ code }) => code !== 'set-incomplete').map(({ sentence }) => sentence)).toEqual(
    [],
  );
  if (record === null) throw new Error('There is no record.');
  const stored = journal.set(set.id);
  expect(stored?.frames.map(({ view }) => [view.number, view.state, view.file])).toEqual(
    record.frames.map(({ number, state, file }) => [number, state, file]),
  );
  const offsets = record.frames.map(({ offset }) => offset);
  expect(offsets).toEqual([...offsets].sort((a, b) => a - b));
  expect(stored?.plan.offsets).toEqual(offsets);
  expect(stored?.passes).toHaveLength(stored?.plan.passes.length ?? 0);
  expect(record.ratios).toHaveLength(
    Math.max(0, record.frames.filter((one) => one.file !== null).length - 1),
  );
  expect(stored?.sentence).toBe(record.sentence);
  expect(journal.unfinishedRun()).toBeNull();
  return record;
}

describe('a set that is extended', () => {
  it('by one darker frame: that one is fired, and no name changes', async () => {
    const made = await atWork();
    const set = await setOf(made);
    const before = await recordIn(set);
    const found = { ...body.state };
    await extend(made, set, { darker: 1 });

    expect(made.link.releases).toBe(1);
    expect({ ...body.state }).toEqual(found);
    const record = await expectSound(set);
    expect(record).toMatchObject({ complete: true, id: before.id, startedAt: before.startedAt });
    expect(record.sentence).toBe('Frame 4 was added. All 4 frames are verified.');
    expect(filesOf(record)).toEqual(['04_-2EV.jpg', '01_-1EV.jpg', '02_0EV.jpg', '03_+1EV.jpg']);
    expect(record.frames.slice(1).map(({ sha256 }) => sha256)).toEqual(
      before.frames.map(({ sha256 }) => sha256),
    );
    expect(record.frames[0]).toMatchObject({ number: 4, offset: -2, shutter: '1/250', attempts: 1 });
    expect(record.frames[0]?.recorded?.exposureTime).toBeCloseTo(1 / 256, 3);
    expect(record.ratios.map(({ darker, lighter }) => `${darker}-${lighter}`)).toEqual(['4-1', '1-2', '2-3']);
    expect(record.setAside).toEqual([]);
    expect(made.events.state.run).toMatchObject({ state: 'complete', folder: set.folder, error: null });
    expect(made.events.state.run?.frames.map(({ number }) => number)).toEqual([4, 1, 2, 3]);
    expect(journal.sets()).toMatchObject([{ frames: 4, verified: 4, state: 'complete' }]);
    expect(journal.runs()).toMatchObject([{ state: 'complete', sentence: record.sentence, sets: 1 }]);
  });

  it('by one brighter frame', async () => {
    const made = await atWork();
    const set = await setOf(made);
    await extend(made, set, { brighter: 1 });
    expect(made.link.releases).toBe(1);
    const record = await expectSound(set);
    expect(filesOf(record)).toEqual(['01_-1EV.jpg', '02_0EV.jpg', '03_+1EV.jpg', '04_+2EV.jpg']);
  });

  it('by several at both ends: planned like any others, the inner ones first', async () => {
    const made = await atWork();
    const set = await setOf(made);
    const fired: number[] = [];
    made.events.watch(({ happening }) => {
      if (happening.type === 'frame' && happening.frame.state === 'fired') fired.push(happening.frame.offset);
    });
    await extend(made, set, { darker: 2, brighter: 3 });
    const record = await expectSound(set);
    expect(record.sentence).toBe('Frames 4, 5, 6, 7, 8 were added. All 8 frames are verified.');
    expect(filesOf(record)).toEqual([
      ...['05_-3EV.jpg', '04_-2EV.jpg', '01_-1EV.jpg', '02_0EV.jpg', '03_+1EV.jpg'],
      ...['06_+2EV.jpg', '07_+3EV.jpg', '08_+4EV.jpg'],
    ]);
    expect(fired.filter((offset) => offset < 0)).toEqual([-2, -3]);
    // Three in a row are a pass of the camera's own bracket.
    const bracket = record.passes.find(({ offsets }) => offsets.length === 3 && offsets.includes(3));
    expect(bracket?.offsets).toEqual([2, 3, 4]);
    expect(made.link.changes.some((change) => change === 'aeb=+/- 1')).toBe(true);
    expect(new Set(await picturesIn(set)).size).toBe(8);
  });

  it('again and again: numbers count on, and the middle frame is the middle one', async () => {
    const made = await atWork();
    const set = await setOf(made);
    await extend(made, set, { darker: 1 });
    await extend(made, set, { darker: 1 });
    await extend(made, set, { brighter: 1 });
    const record = await expectSound(set);
    expect(filesOf(record).map((file) => file?.slice(0, 2))).toEqual(['05', '04', '01', '02', '03', '06']);
    // Of -3 to +2 EV: -1 and 0 are equally near, and the darker one counts.
    expect(journal.sets()[0]?.middle).toBe(1);
  });

  it('without a number: where its own pictures have lost something, and then not there any more', async () => {
    const made = await atWork();
    // So bright that the darkest frame has lost highlights, and the brightest no shadows.
    const set = await setOf(made, { frames: 3, step: 2, base: '1/8' });
    const before = await recordIn(set);
    const codes = (record: KeptSetRecord) =>
      record.frames.map(({ number, marks }) => [number, marks.map(({ code }) => code)]);
    expect(codes(before)[0]).toEqual([1, ['clipped-light']]);
    expect(before.frames.at(-1)?.marks).toEqual([]);
    await extend(made, set, {});
    const record = await expectSound(set);
    expect(record.frames.map(({ offset }) => offset)).toEqual([-4, -2, 0, 2]);
    // The end is another one now.
    expect(codes(record)[1]).toEqual([1, []]);
  });

  it('completes what it lacks as well', async () => {
    const made = await atWork();
    const set = await setOf(made, { frames: 9, step: 1, base: '1/60' }, 4);
    expect((await recordIn(set)).complete).toBe(false);
    await extend(made, set, { brighter: 1 });
    const record = await expectSound(set);
    expect(record).toMatchObject({ complete: true });
    expect(record.frames).toHaveLength(10);
    expect(record.sentence).toBe('Frame 10 was added. All 10 frames are verified.');
    expect(record.notes.some((note) => /^Frames .* were fired \d+ s after the set/.test(note))).toBe(true);
  });

  it('keeps its template: numbers tell frames apart in any', async () => {
    const made = await atWork();
    const set = await setOf(made);
    await extend(made, set, { darker: 1, brighter: 1 });
    expect(await picturesIn(set)).toEqual([
      ...['01_-1EV.jpg', '02_0EV.jpg', '03_+1EV.jpg', '04_-2EV.jpg', '05_+2EV.jpg'],
    ]);
    for (const name of ['04_-2EV.xmp', '05_+2EV.xmp', 'contact-sheet.jpg'])
      expect(await readdir(set.folder)).toContain(name);
    const sums = await readFile(path.join(set.folder, 'SHA256SUMS'), 'utf8').catch(() => '');
    for (const name of await picturesIn(set)) expect(sums).toContain(name);
  });

  it('tells its sidecars how many frames it has now; one that was edited stays as it is', async () => {
    const made = await atWork();
    const set = await setOf(made);
    const sidecar = (name: string) => path.join(set.folder, name);
    const edited = `${await readFile(sidecar('02_0EV.xmp'), 'utf8')}<!-- developed -->\n`;
    await writeFile(sidecar('02_0EV.xmp'), edited);
    await extend(made, set, { darker: 1 });
    expect(await readFile(sidecar('02_0EV.xmp'), 'utf8')).toBe(edited);
    for (const name of ['04_-2EV.xmp', '01_-1EV.xmp', '03_+1EV.xmp'])
      expect(await readFile(sidecar(name), 'utf8')).toContain('<evenrung:Frames>4</evenrung:Frames>');
    await expectSound(set);
  });

  it('says how long after, and that the light had hardly moved', async () => {
    const made = await atWork();
    const set = await setOf(made);
    await extend(made, set, { darker: 1 });
    const { notes } = await recordIn(set);
    expect(notes.filter((note) => note.startsWith('Frame 4'))).toEqual([
      expect.stringMatching(
        /^Frame 4 was added \d+ s after the set\. The light had hardly moved: frame 4 is (?:0|[+-]0\.1) EV off frame 1\.$/,
      ),
    ]);
  });

  it('says that the light had moved, by how much, and marks the frame', async () => {
    const made = await atWork();
    const set = await setOf(made, { frames: 5, step: 1, base: '1/60' });
    body.moveLight(sixths(6));
    await extend(made, set, { darker: 1 });
    const record = await expectSound(set);
    expect(record.notes.find((note) => note.startsWith('Frame 6'))).toMatch(
      /The light had moved: frame 6 is \+(0\.9|1\.0|1\.1) EV off frame 1\. Check the brightness marks/,
    );
    expect(record.frames.some(({ marks }) => marks.some(({ code }) => code === 'ratio'))).toBe(true);
  });

  it('in aperture priority goes by compensation, and as far as that reaches', async () => {
    await body.change('mode', 'aperture');
    const made = await atWork();
    const set = await setOf(made, { ...THREE, mode: 'aperture' });
    await extend(made, set, { darker: 1 });
    expect((await expectSound(set)).frames.map(({ offset }) => offset)).toEqual([-2, -1, 0, 1]);
    const error = await refusal(made.station.extend(set.id, { darker: 9 }));
    expect(error.code).toBe('outside-compensation-range');
    expect(error.message).toMatch(/shoot a new set in manual mode\.$/);
  });
});

describe('what is not made beyond the ends', () => {
  it('is no part of the set: one that was complete stays so, and says why', async () => {
    const made = await atWork();
    const set = await setOf(made);
    made.link.afterFire = () => Promise.reject(lost());
    await extend(made, set, { darker: 1 });
    const record = await expectSound(set);
    expect(record).toMatchObject({ complete: true });
    expect(filesOf(record)).toEqual(['01_-1EV.jpg', '02_0EV.jpg', '03_+1EV.jpg']);
    expect(record.sentence).toMatch(
      /^Frame 4 \(−2 EV, 1\/250 s\) failed in .* Nothing was added: the set is as it was before\. All 3 frames are verified\.$/,
    );
    expect(made.events.state.run?.frames).toHaveLength(3);
    expect(record.passes).toHaveLength(1);
    expect(record.strays.length).toBeGreaterThan(0);
  });

  it('where somebody stops it: what was made is there, without a gap', async () => {
    const made = await atWork();
    const set = await setOf(made);
    made.link.afterFire = (count) => {
      if (count === 1) made.station.stop();
    };
    await extend(made, set, { darker: 2, brighter: 1 });
    const record = await expectSound(set);
    expect(record.frames.map(({ offset }) => offset)).toEqual([-2, -1, 0, 1]);
    expect(record.sentence).toBe(
      'Stopped. Frame 4 was added. 2 frames that were to be added are not in the set. All 4 frames are verified.',
    );
  });

  it('a number that a release had is not given to another frame', async () => {
    const made = await atWork();
    const set = await setOf(made);
    made.link.afterFire = () => Promise.reject(lost());
    await extend(made, set, { darker: 1 });
    made.link.afterFire = () => undefined;
    await extend(made, set, { brighter: 1 });
    const record = await expectSound(set);
    expect(record.strays.map(({ frame }) => frame)).toContain(4);
    expect(filesOf(record).at(-1)).toBe('05_+2EV.jpg');
  });

  it('after the program died: gone on with, it is made', async () => {
    const first = await station();
    const set = await setOf(first);
    first.link.beforeFire = never;
    await first.station.extend(set.id, { darker: 1, brighter: 1 });
    await expect.poll(() => first.events.state.run?.frames.some(({ state }) => state === 'fired')).toBe(true);

    const second = await atWork();
    expect(second.station.unfinished()?.sentence).toContain('while it was being extended');
    await second.station.resume();
    await second.station.settled();
    const record = await expectSound(set);
    expect(record.complete).toBe(true);
    expect(filesOf(record)).toEqual([
      ...['04_-2EV.jpg', '01_-1EV.jpg', '02_0EV.jpg', '03_+1EV.jpg', '05_+2EV.jpg'],
    ]);
  });

  it('after the program died: ended, the set is what it was', async () => {
    const first = await station();
    const set = await setOf(first);
    const before = await recordIn(set);
    first.link.beforeFire = never;
    await first.station.extend(set.id, { darker: 1 });
    await expect.poll(() => first.events.state.run?.frames.some(({ state }) => state === 'fired')).toBe(true);
    const second = await atWork();
    await second.station.endUnfinished();
    const record = await expectSound(set);
    expect(record.complete).toBe(true);
    expect(filesOf(record)).toEqual(filesOf(before));
    expect(journal.sets()).toMatchObject([{ state: 'complete', frames: 3, verified: 3 }]);
  });

  it('after the program died: ended without its camera, the journal has it as it was', async () => {
    const first = await station();
    const set = await setOf(first);
    first.link.beforeFire = never;
    await first.station.extend(set.id, { darker: 1, brighter: 2 });
    await expect.poll(() => first.events.state.run?.frames.some(({ state }) => state === 'fired')).toBe(true);
    // It has looked for no camera.
    const second = stationOver(root, new TestLink(body), { journal });
    stations.push(second.station);
    await second.station.endUnfinished();
    const stored = journal.set(set.id);
    expect(stored).toMatchObject({ state: 'complete' });
    expect(stored?.frames.map(({ view }) => view.number)).toEqual([1, 2, 3]);
    expect(stored?.plan.offsets).toEqual([-1, 0, 1]);
    expect(stored?.passes).toEqual(['done']);
  });
});

describe('what cannot be made', () => {
  it('because the shutter does not go so far: says how many can, and what would help', async () => {
    const made = await atWork();
    const set = await setOf(made, { frames: 3, step: 1, base: '1/2000' });
    const error = await refusal(made.station.extend(set.id, { darker: 3 }));
    expect(error.code).toBe('outside-shutter-range');
    expect(error.message).toBe(
      "The frames at −4 and −3 EV would need shutter times outside this camera's 30 s to 1/8000 s. At most 1 darker can be added to this set. To reach farther, shoot a new set at a lower ISO, with a smaller aperture or a neutral-density filter.",
    );
    expect(error.details).toMatchObject({ most: 1, field: 'darker', offsets: [-4, -3] });
    expect(error.details).not.toHaveProperty('suggestions');
    // Nothing has begun.
    expect(journal.sets()).toMatchObject([{ state: 'complete', frames: 3 }]);
    expect(made.link.releases).toBe(0);
  });

  it('because it is too many', async () => {
    const made = await atWork();
    const set = await setOf(made);
    const error = await refusal(made.station.extend(set.id, { darker: 30, brighter: 29 }));
    expect(error.code).toBe('frames-out-of-range');
    expect(error.message).toBe(
      `59 more frames are too many: the set has 3, and ${MOST_FRAMES} are the most. Add at most 58, or shoot a new set with a wider step.`,
    );
  });

  it('because nobody says how many, and nothing is lost', async () => {
    const made = await atWork();
    const set = await setOf(made, { frames: 13, step: 1, base: '1/60' });
    const { frames } = await recordIn(set);
    expect(frames.flatMap(({ marks }) => marks.filter(({ code }) => code.startsWith('clipped')))).toEqual([]);
    const error = await refusal(made.station.extend(set.id, {}));
    expect(error.code).toBe('nothing-to-complete');
    expect(error.message).toContain('has lost nothing at its ends');
  });

  it.each([
    ['its folder is gone', 'set-folder-gone', (set: EndedSet) => rm(set.folder, { recursive: true })],
    ['a file of it is gone', 'set-damaged', (set: EndedSet) => rm(path.join(set.folder, '02_0EV.jpg'))],
    [
      'a file of it is another one',
      'set-damaged',
      (set: EndedSet) => writeFile(path.join(set.folder, '02_0EV.jpg'), 'another'),
    ],
  ])('because %s', async (_, code, spoil) => {
    const made = await atWork();
    const set = await setOf(made);
    await spoil(set);
    expect((await refusal(made.station.extend(set.id, { darker: 1 }))).code).toBe(code);
  });

  it('because the camera stands otherwise, or a run is under way', async () => {
    const made = await atWork();
    const set = await setOf(made);
    await body.change('iso', 400);
    const error = await refusal(made.station.extend(set.id, { darker: 1 }));
    expect(error.code).toBe('body-not-ready');
    expect(error.message).toContain('the ISO from 400 to 100');
    await body.change('iso', 100);
    made.link.beforeFire = () => new Promise((resolve) => setTimeout(resolve, 50));
    await made.station.start(THREE);
    expect((await refusal(made.station.extend(set.id, { darker: 1 }))).code).toBe('run-under-way');
    await made.station.settled();
  });
});

describe('a set that may be extended by itself', () => {
  const BRIGHT = { frames: 3, step: 2, base: '1/8' };

  it('reaches on where it has lost something, as far as it was allowed', async () => {
    const made = await atWork();
    const set = await setOf(made, { ...BRIGHT, extend: 1 });
    const record = await expectSound(set);
    expect(record.frames.map(({ offset }) => offset)).toEqual([-4, -2, 0, 2]);
    expect(record.sentence).toBe('Frame 4 was added. All 4 frames are verified.');
    expect(
      record.notes.some((note) =>
        /^The set was extended, because \d+% of its darkest frame was blown out\. Frame 4 \(−4 EV\) is added\.$/.test(
          note,
        ),
      ),
    ).toBe(true);
    // One run, fired in one go: the settings went back once, at its end.
    expect(journal.runs()).toMatchObject([{ sets: 1, state: 'complete' }]);
  });

  it('until nothing is lost any more', async () => {
    const made = await atWork();
    const set = await setOf(made, { frames: 3, step: 1, base: '1/8', extend: 20 });
    const record = await expectSound(set);
    expect(record.frames[0]?.offset).toBeLessThan(-2);
    expect(record.frames[0]?.offset).toBeGreaterThan(-20);
    expect(record.frames.flatMap(({ marks }) => marks.map(({ code }) => code))).not.toContain(
      'clipped-light',
    );
    expect(record.complete).toBe(true);
  });

  it('not where nothing is lost', async () => {
    const made = await atWork();
    const set = await setOf(made, { frames: 13, step: 1, base: '1/60', extend: 2 });
    expect((await expectSound(set)).frames).toHaveLength(13);
  });

  it('as far as the shutter goes, and says so', async () => {
    const made = await atWork();
    body.moveLight(sixths(60));
    const set = await setOf(made, { frames: 3, step: 1, base: '1/4000', extend: 3 });
    const record = await expectSound(set);
    expect(record.complete).toBe(true);
    expect(record.frames[0]?.offset).toBe(-1);
    expect(
      record.notes.some((note) => note.startsWith('The set could not be extended: The frame at −2 EV')),
    ).toBe(true);
  });

  it('on a schedule, set by set', async () => {
    const made = await atWork();
    await made.station.start({ ...BRIGHT, extend: 1, schedule: { every: '4min', count: 2 } });
    await made.station.settled();
    const listed = journal.sets();
    expect(listed).toMatchObject([
      { state: 'complete', frames: 4, verified: 4 },
      { state: 'complete', frames: 4, verified: 4 },
    ]);
    for (const { id, folder } of listed) {
      const record = await expectSound({ id, folder: folder ?? '' });
      expect(filesOf(record)[0]).toBe('04_-4EV.jpg');
    }
  });

  it('no farther than the shutter may go, if that was narrowed', async () => {
    const link = new TestLink(body);
    const narrow = (limits: BodyLimits): BodyLimits => ({
      ...limits,
      shutters: limits.shutters.filter(({ seconds }) => seconds >= 1 / 33),
    });
    const { station: at } = await openStation(root, link, { journal, narrow });
    stations.push(at);
    await at.start({ frames: 3, step: 1, base: '1/15', extend: 2 });
    await at.settled();
    const [listed] = journal.sets();
    const record = await expectSound({ id: listed?.id ?? '', folder: listed?.folder ?? '' });
    expect(record.frames[0]?.shutter).toBe('1/30');
    expect(
      record.notes.some((note) =>
        /^The set could not be extended: .*outside this camera's 30 s to 1\/30 s/.test(note),
      ),
    ).toBe(true);
  });

  it('what cannot be made beyond what was asked for does not spoil it', async () => {
    const made = await atWork();
    made.link.afterFire = (count) => (count > 3 ? Promise.reject(lost()) : undefined);
    await made.station.start({ ...BRIGHT, extend: 1 });
    await made.station.settled();
    const [listed] = journal.sets();
    expect(listed).toMatchObject({ state: 'complete', frames: 3, verified: 3 });
    const record = await expectSound({ id: listed?.id ?? '', folder: listed?.folder ?? '' });
    expect(record.sentence).toMatch(
      /^Frame 4 \(−4 EV, 1\/125 s\) failed in 3 .* All 3 frames are verified\.$/,
    );
  });

  it('after the program died between its frames: goes on, and still reaches on', async () => {
    const first = await station();
    first.link.beforeFire = (count) => (count === 4 ? never() : Promise.resolve());
    await first.station.start({ ...BRIGHT, extend: 1 });
    await expect.poll(() => first.events.state.run?.frames.length).toBe(4);
    await expect.poll(() => first.events.state.run?.frames.some(({ state }) => state === 'fired')).toBe(true);
    const second = await atWork();
    await second.station.resume();
    await second.station.settled();
    const [listed] = journal.sets();
    const record = await expectSound({ id: listed?.id ?? '', folder: listed?.folder ?? '' });
    expect(filesOf(record)[0]).toBe('04_-4EV.jpg');
    expect(record.complete).toBe(true);
  });
});

describe.each(PRACTICE_SHAPES)(
  'over a link that takes release and fetch apart, a body of the shape %s',
  (shape) => {
    it.each(shape === 'none' ? (['frame'] as const) : (['frame', 'pass'] as const))(
      'reaches on by itself, and is extended later, one release a %s',
      async (release) => {
        const of = new PracticeBody({ ...AT_ONCE, shape });
        await of.change('target', 'card');
        const link = new ApartTestLink(of);
        const { station: at } = await openStation(root, link, { journal });
        stations.push(at);
        await at.start({ frames: 3, step: 1, base: '1/15', release, extend: 1 });
        await at.settled();
        const [{ id, folder } = { id: '', folder: null }] = journal.sets({ limit: 1 });
        const set = { id, folder: folder ?? '' };
        expect((await expectSound(set)).frames.map(({ offset }) => offset)).toEqual([-2, -1, 0, 1]);
        await at.extend(id, { darker: 3, brighter: 1 });
        await at.settled();
        const record = await expectSound(set);
        expect(record.sentence).toBe('Frames 5, 6, 7, 8 were added. All 8 frames are verified.');
        expect(record.frames.map(({ number }) => number)).toEqual([7, 6, 5, 4, 1, 2, 3, 8]);
        expect(of.shots).toHaveLength(8);
      },
    );
  },
);
