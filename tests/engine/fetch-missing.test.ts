// A set that has ended lacks files that its releases made: they are looked for in the camera and fetched, and nothing is fired. Over the
// practice body in this process, whose journal, folder and station are as in the daemon.
import { mkdtemp, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { PracticeBody } from '../../src/camera/practice/model.js';
import { PRACTICE_SHAPES, type PracticeOptions } from '../../src/camera/practice/shapes.js';
import { checkSet } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import { ApartTestLink, PulledLink, TestLink } from '../harness/links.js';
import { recordIn } from '../harness/set.js';
import { openStation } from '../harness/station.js';

const QUICK = { change: 0, changePerSetting: 0, releaseLag: 0.01, cycle: 0.02, exposureScale: 0.05 };
const FIVE = { frames: 5, step: 1, base: '1/60' };
const PATIENCE_MS = 50;

let root = '';
let journal: Journal;
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  journal = await Journal.open(path.join(root, 'state'));
});
afterEach(async () => {
  journal.close();
  await rm(root, { recursive: true, force: true });
});

async function bodyOf(options: Partial<PracticeOptions> = {}): Promise<PracticeBody> {
  const body = new PracticeBody({ timing: QUICK, picture: 'full', ...options });
  await body.change('target', 'card');
  return body;
}
/** Fires five frames, of which the fifth release brings no file: the set halts. @returns its id */
async function halted(link: ApartTestLink, request: object = FIVE): Promise<string> {
  const { station, events } = await openStation(root, link, { journal, patienceMs: PATIENCE_MS });
  await station.start(request);
  await station.settled();
  await station.close();
  expect(events.state.run?.state).toBe('halted');
  expect(link.of.shots).toHaveLength(5);
  return events.state.run?.set.id ?? '';
}

/** Has what it lacks looked for, over another link. @returns how it ended */
async function fetched(id: string, link: TestLink | ApartTestLink) {
  const { station, events } = await openStation(root, link, { journal, patienceMs: PATIENCE_MS });
  const before = { shots: link.of.shots.length, state: { ...link.of.state } };
  await station.fetch(id);
  await station.settled();
  const canStill = station.canLookFor({ body: journal.run(journal.set(id)?.run ?? '')?.body ?? NOBODY });
  await station.close();
  expect(link.of.shots).toHaveLength(before.shots);
  expect(link.of.state).toEqual(before.state);
  const { run } = events.state;
  const folder = journal.set(id)?.folder ?? '';
  return { run, folder, record: await recordIn(folder), canStill };
}
const NOBODY = { model: '', serial: null, link: 'practice' } as const;

/** Nothing of it is wrong. */
async function mustBeWhole(folder: string): Promise<void> {
  const { findings } = await checkSet(folder);
  expect(findings.filter(({ severity }) => severity === 'wrong')).toEqual([]);
}

describe.each(PRACTICE_SHAPES)('a body of the shape %s', (shape) => {
  it.each(['before it is told', 'while it comes'] as const)(
    'whose cable was pulled for good, the last file %s: it is fetched, and the set is complete',
    async (when) => {
      const body = await bodyOf({ shape });
      const id = await halted(new PulledLink(body, when));
      expect(journal.set(id)?.strays).toHaveLength(1);
      const missing = journal.set(id)?.frames.find(({ view }) => view.state !== 'verified')?.view.number;
      const { run, record, folder, canStill } = await fetched(id, new ApartTestLink(body));
      expect(run?.state).toBe('complete');
      expect(run?.sentence).toBe(`Frame ${missing} was fetched from the camera. All 5 frames are verified.`);
      expect(record).toMatchObject({ complete: true, strays: [] });
      // The part that had come by then was set aside at the end of the set.
      expect(record?.setAside).toHaveLength(when === 'while it comes' ? 1 : 0);
      expect(record?.frames.map(({ state }) => state)).toEqual(Array(5).fill('verified'));
      // It was exposed with the others: nothing is said of the light.
      expect(record?.notes.join(' ')).not.toMatch(/whether the light changed/);
      expect(journal.set(id)).toMatchObject({ state: 'complete', strays: [] });
      expect(journal.unfinishedRun()).toBeNull();
      expect(await readFile(path.join(folder, 'SHA256SUMS'), 'utf8')).toMatch(/(.+\n){5}/);
      expect(await readFile(path.join(folder, 'frames.csv'), 'utf8')).not.toContain('rejected');
      await mustBeWhole(folder);
      expect(canStill).toBe(true);
    },
  );
});

describe('what is not in the camera', () => {
  it('is said, and the set is what it was', async () => {
    const body = await bodyOf();
    const id = await halted(new PulledLink(body, 'while it comes'));
    const last = body.files.at(-1);
    if (last !== undefined) body.delete(last);
    const { run, record, folder } = await fetched(id, new ApartTestLink(body));
    const missing = record?.frames.find(({ state }) => state !== 'verified')?.number;
    expect(run?.state).toBe('halted');
    expect(run?.error).toBeNull();
    expect(run?.sentence).toBe(`The camera has no file of frame ${missing}. 4 of 5 frames are verified.`);
    expect(record?.strays).toHaveLength(1);
    const { findings } = await checkSet(folder);
    const wrong = findings.filter(({ severity }) => severity === 'wrong');
    expect(wrong.map(({ code }) => code)).toEqual(['set-incomplete']);
  });

  it('is not made up by a file of a later set, however well that fits', async () => {
    const body = await bodyOf();
    const id = await halted(new PulledLink(body, 'before it is told'));
    const last = body.files.at(-1);
    if (last !== undefined) body.delete(last);
    // More than what the card's clock may be off by, and a set of the same frames over another connection, which tells of no files.
    await new Promise((resolve) => setTimeout(resolve, 5000));
    const { station } = await openStation(root, new TestLink(body), { journal });
    await station.start(FIVE);
    await station.settled();
    await station.close();
    expect(body.shots).toHaveLength(10);
    const link = new ApartTestLink(body);
    const { run, record } = await fetched(id, link);
    expect(link.listings).toBeGreaterThan(0);
    expect(run?.sentence).toMatch(/^The camera has no file of frame \d/);
    expect(record?.frames.filter(({ state }) => state === 'verified')).toHaveLength(4);
    expect(record?.setAside).toEqual([]);
  });
});

it('a stray whose frame was made since: its file is fetched and set aside, and the stray is gone', async () => {
  const body = await bodyOf();
  const id = await halted(new PulledLink(body, 'before it is told'));
  // Over a connection that brings what it fires, and cannot look.
  const { station, events } = await openStation(root, new TestLink(body), { journal });
  await expect(station.fetch(id)).rejects.toMatchObject({ code: 'body-not-ready' });
  await station.complete(id);
  await station.settled();
  await station.close();
  expect(events.state.run?.state).toBe('complete');
  expect(journal.set(id)?.strays).toHaveLength(1);
  const { run, record, folder } = await fetched(id, new ApartTestLink(body));
  expect(run?.state).toBe('complete');
  expect(run?.sentence).toBe(
    'A file that belongs to none of the missing frames was fetched, too. All 5 frames are verified.',
  );
  expect(record?.strays).toEqual([]);
  expect(record?.setAside).toEqual([
    { file: expect.any(String), reason: expect.stringMatching(/^A repeat of frame/) },
  ]);
  await mustBeWhole(folder);
});

it('a program that ends while the file comes: the next one goes on fetching, and fires nothing', async () => {
  const body = await bodyOf();
  const id = await halted(new PulledLink(body, 'while it comes'));
  const dying = new ApartTestLink(body);
  let reached: () => void = () => undefined;
  const isComing = new Promise<void>((resolve) => {
    reached = resolve;
  });
  dying.beforeBring = ({ from }) => {
    if (from === 0) return undefined;
    reached();
    return new Promise<never>(() => undefined);
  };
  const { station: dead } = await openStation(root, dying, { journal });
  await dead.fetch(id);
  await isComing;
  const { station, events } = await openStation(root, new ApartTestLink(body), { journal });
  expect(events.state.unfinished?.sentence).toContain(
    'A set was interrupted while its files were being fetched from the camera',
  );
  await station.resume();
  await station.settled();
  await station.close();
  expect(body.shots).toHaveLength(5);
  expect(events.state.run?.sentence).toMatch(
    /^Frame \d was fetched from the camera\. All 5 frames are verified\.$/,
  );
  expect(journal.set(id)).toMatchObject({ state: 'complete', strays: [] });
  await mustBeWhole(journal.set(id)?.folder ?? '');
});

it('a set that lacks nothing is not taken up', async () => {
  const body = await bodyOf();
  const { station, events } = await openStation(root, new ApartTestLink(body), { journal });
  await station.start(FIVE);
  await station.settled();
  await expect(station.fetch(events.state.run?.set.id ?? '')).rejects.toMatchObject({
    code: 'nothing-to-complete',
  });
  await station.close();
  expect(journal.unfinishedRun()).toBeNull();
});

describe('two files a frame', () => {
  it('a second file that was never told of is found by its name at the end of the set', async () => {
    const body = await bodyOf();
    await body.change('format', 'raw-and-jpeg');
    const link = new ApartTestLink(body);
    let dropped = 0;
    link.hear = (heard) => {
      const made = heard.made.filter(({ name }) => {
        const drops = body.shots.length === 2 && name.endsWith('.JPG');
        if (drops) dropped += 1;
        return !drops;
      });
      return { ...heard, made };
    };
    const { station, events } = await openStation(root, link, { journal });
    await station.start(FIVE);
    await station.settled();
    await station.close();
    expect(dropped).toBe(1);
    const record = await recordIn(journal.set(events.state.run?.set.id ?? '')?.folder ?? '');
    expect(record?.frames.map(({ partner }) => partner?.state)).toEqual(Array(5).fill('there'));
    expect(record?.frames.flatMap(({ marks }) => marks.map(({ code }) => code))).not.toContain(
      'partner-missing',
    );
    expect(body.shots).toHaveLength(5);
  });

  it('one that was hidden then is fetched by its name later', async () => {
    const body = await bodyOf();
    await body.change('format', 'raw-and-jpeg');
    class Hiding extends ApartTestLink {
      override async list() {
        return (await super.list()).filter(({ name }) => !name.endsWith('.JPG'));
      }
    }
    const link = new Hiding(body);
    link.hear = (heard) => ({
      ...heard,
      made: heard.made.filter(({ name }) => body.shots.length !== 2 || !name.endsWith('.JPG')),
    });
    const { station, events } = await openStation(root, link, { journal });
    await station.start(FIVE);
    await station.settled();
    await station.close();
    const id = events.state.run?.set.id ?? '';
    expect(events.state.run?.state).toBe('complete');
    const lone = journal.set(id)?.frames.find(({ view }) => view.partner?.state === 'missing')?.view.number;
    expect(lone).toBeDefined();
    const { run, record, folder } = await fetched(id, new ApartTestLink(body));
    expect(run?.sentence).toBe(
      `The second file of frame ${lone} was fetched from the camera. All 5 frames are verified.`,
    );
    expect(record?.frames.map(({ partner }) => partner?.state)).toEqual(Array(5).fill('there'));
    await mustBeWhole(folder);
  });
});
