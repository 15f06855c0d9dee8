// Whole sets whose pictures are judged while they are made: what is said of them, what is written into their folder, and what is fired again
// or added because of it. The practice scene is invented; its light, and what moves in it, are known.
import { mkdtemp, readdir, readFile, rm, stat } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import parseHdr from 'parse-hdr';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { WrittenSetRequest } from '../../shared/request.js';
import type { Happening } from '../../shared/state.js';
import { PracticeBody } from '../../src/camera/practice/model.js';
import { NO_TIME } from '../../src/camera/practice/shapes.js';
import { STILL, type View } from '../../src/camera/practice/view.js';
import { checkSet, exifTool } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import { openJudge } from '../../src/light/index.js';
import { LIGHT_PROCESS } from '../built.js';
import { type EndedSet, endedSet, type Made, recordIn } from '../harness/ended-set.js';
import { TestLink } from '../harness/links.js';
import { openStation } from '../harness/station.js';

let root = '';
let journal: Journal;
beforeAll(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  journal = await Journal.open(path.join(root, 'state'));
});
afterAll(async () => {
  journal.close();
  await exifTool.end();
  await rm(root, { recursive: true, force: true });
});

const judged = { openJudge: () => openJudge({ entry: LIGHT_PROCESS }) };

/** So many frames a stop apart hold the practice scene at dusk around what is metered. */
const WHOLE: WrittenSetRequest = { frames: 11, step: 1, base: '1/60' };

interface Fired extends Made {
  readonly set: EndedSet;
  readonly told: readonly Happening[];
}

/** @param view of each frame, counted from 0 in firing order */
async function fired(
  asked: WrittenSetRequest,
  view: View | ((frame: number) => View) = STILL,
): Promise<Fired> {
  const link = new TestLink(new PracticeBody({ timing: NO_TIME, view }));
  const made = { ...(await openStation(root, link, { journal, ...judged })), link };
  const told: Happening[] = [];
  made.events.watch(({ happening }) => told.push(happening));
  const set = await endedSet(journal, made, asked);
  await made.station.proved();
  return { ...made, set, told };
}

const namesOf = async ({ folder }: EndedSet): Promise<string[]> => (await readdir(folder)).sort();
const marksOf = (set: EndedSet): string[] =>
  (journal.set(set.id)?.frames ?? []).flatMap(({ view: { number, marks } }) =>
    marks.map(({ code }) => `${number} ${code}`),
  );

describe('a set of a scene that holds still', () => {
  it('is said to hold everything, in record, table, contact sheet and journal, and becomes a proof', async () => {
    const { set, told, events, station } = await fired(WHOLE);
    const record = await recordIn(set);
    expect(record.light?.sentence).toMatch(/^The set holds everything: every part/);
    expect(record.light?.coverage?.holds).toBe(true);
    expect(record.light?.frames.map(({ number }) => number)).toEqual([1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]);
    expect(record.light?.again).toEqual([]);
    expect(record.light?.proof?.isMade).toBe(true);
    expect(marksOf(set)).toEqual([]);
    expect(journal.set(set.id)?.light).toMatchObject(record.light ?? {});
    expect(events.state.run?.light?.proof?.isMade).toBe(true);
    const lights = told.flatMap((one) => (one.type === 'light' ? [one.light] : []));
    // As long as frames are to come nothing is said to be missing.
    for (const light of lights.filter(({ frames }) => frames.length < 11)) {
      expect(light.sentence).toMatch(/^So far \d+ of 11 pictures are judged/);
      expect([light.coverage, light.proof]).toEqual([null, null]);
    }
    expect(await namesOf(set)).toEqual(
      expect.arrayContaining([
        'coverage.png',
        'preview.jpg',
        'radiance.hdr',
        'contact-sheet.jpg',
        'frames.csv',
      ]),
    );
    const preview = await sharp(path.join(set.folder, 'preview.jpg')).metadata();
    expect([preview.width, preview.height]).toEqual([1024, 683]);
    // Read back by a reader of somebody else's.
    const { shape } = parseHdr(await readFile(path.join(set.folder, 'radiance.hdr')));
    expect(shape).toEqual([1200, 800]);
    const rows = (await readFile(path.join(set.folder, 'frames.csv'), 'utf8')).split('\r\n');
    expect(rows[0]).toContain('well_exposed,exposed_here_only,compared_with');
    expect((await checkSet(set.folder)).findings).toEqual([]);
    await station.close();
  });

  it.each([
    ['darker', { from: -4, to: 5 }, 'Highlights are missing'],
    ['brighter', { from: -5, to: 4 }, 'Shadows are missing'],
  ] as const)(
    'that lacks a frame at the %s end says so and how many stops, and one press makes it whole',
    async (end, part, words) => {
      const { set, station } = await fired({ ...part, step: 1, base: '1/60' });
      const record = await recordIn(set);
      expect(record.light?.sentence).toContain(words);
      const { highlights, shadows } = record.light?.coverage ?? {};
      // The scene's own end is a stop away: eleven frames hold it, ten do not.
      expect(Math.abs(((end === 'darker' ? highlights : shadows)?.stops ?? 0) - 1)).toBeLessThanOrEqual(0.5);
      const code = end === 'darker' ? '1 clipped-light' : '10 clipped-dark';
      expect(marksOf(set)).toEqual([code]);
      await station.extend(set.id);
      await station.settled();
      await station.proved();
      const after = await recordIn(set);
      expect(after.frames).toHaveLength(11);
      expect(after.light?.coverage?.holds).toBe(true);
      expect(marksOf(set)).toEqual([]);
      expect((await checkSet(set.folder)).findings).toEqual([]);
      await station.close();
    },
  );
});

describe('a set in which something goes wrong', () => {
  it('marks the frame for which the camera moved, and is without a mark once it was fired again', async () => {
    const { set, station } = await fired(WHOLE, (frame) => (frame === 4 ? { ...STILL, right: 8 } : STILL));
    const [mark] = marksOf(set);
    const number = Number(mark?.split(' ')[0]);
    expect(marksOf(set)).toEqual([`${number} camera-moved`]);
    expect(journal.set(set.id)?.light?.again).toEqual([number]);
    const preview = await stat(path.join(set.folder, 'preview.jpg'));
    await station.again(set.id, { frames: [number] });
    await station.settled();
    await station.proved();
    expect(marksOf(set)).toEqual([]);
    expect(journal.set(set.id)?.light?.again).toEqual([]);
    expect((await stat(path.join(set.folder, 'preview.jpg'))).mtimeMs).toBeGreaterThan(preview.mtimeMs);
    await station.close();
  });

  it('marks what moved by itself, and what is out of focus', async () => {
    const { set, station } = await fired(WHOLE, (frame) =>
      frame === 3 ? { ...STILL, drift: 0.6 } : frame === 7 ? { ...STILL, defocus: 3 } : STILL,
    );
    const codes = marksOf(set).map((mark) => mark.split(' ')[1]);
    expect(new Set(codes)).toEqual(new Set(['subject-moved', 'less-sharp']));
    await station.close();
  });
});

describe('a set that was cut off', () => {
  it('is judged as a whole when it is gone on with', async () => {
    const body = new PracticeBody({ timing: NO_TIME });
    const link = new TestLink(body);
    const first = { ...(await openStation(root, link, { journal, ...judged })), link };
    link.afterFire = (count) => (count === 5 ? new Promise<never>(() => undefined) : undefined);
    await first.station.start(WHOLE);
    await expect.poll(() => link.releases).toBe(5);
    await expect.poll(() => first.events.state.run?.light?.frames.length ?? 0).toBeGreaterThan(3);
    const again = new TestLink(body);
    const second = { ...(await openStation(root, again, { journal, ...judged })), link: again };
    await second.station.resume();
    await second.station.settled();
    await second.station.proved();
    const set = journal.sets({ limit: 1 })[0];
    expect(set?.state).toBe('complete');
    const light = journal.set(set?.id ?? '')?.light;
    expect(light?.frames).toHaveLength(11);
    expect(light?.coverage?.holds).toBe(true);
    await second.station.close();
  });
});
