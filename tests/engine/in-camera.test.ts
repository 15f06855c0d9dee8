// What a release made and did not bring is fetched from the camera, and not fired again: after a link that failed at any moment, and after
// a program that ended. Over the practice body in this process, whose pictures are larger than a head.
import { mkdtemp, readdir, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { EvenrungError } from '../../shared/errors.js';
import type { MadeFile } from '../../src/camera/index.js';
import { PracticeBody } from '../../src/camera/practice/model.js';
import { PRACTICE_SHAPES, type PracticeOptions } from '../../src/camera/practice/shapes.js';
import { Journal } from '../../src/journal/index.js';
import { ApartTestLink } from '../harness/links.js';
import { recordIn } from '../harness/set.js';
import { openStation } from '../harness/station.js';

const QUICK = { change: 0, changePerSetting: 0, releaseLag: 0.01, cycle: 0.02, exposureScale: 0.05 };
const FIVE = { frames: 5, step: 1, base: '1/60' };

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

const bodyOf = (options: Partial<PracticeOptions> = {}) =>
  new PracticeBody({ timing: QUICK, picture: 'full', ...options });
const NEVER = new Promise<void>(() => undefined);
const lost = () => new EvenrungError('body-lost', 'The cable was pulled.');

async function fired(link: ApartTestLink, request: object = FIVE) {
  const { station, events } = await openStation(root, link, { journal });
  await station.start(request);
  await station.settled();
  await station.close();
  return { run: events.state.run, record: await onlyRecord() };
}

async function onlyRecord() {
  const [set = ''] = await readdir(path.join(root, 'sets'));
  return recordIn(path.join(root, 'sets', set));
}

describe.each(PRACTICE_SHAPES)('a body of the shape %s', (shape) => {
  it('whose link fails between head and rest: the file is fetched by its name', async () => {
    const body = bodyOf({ shape });
    const link = new ApartTestLink(body);
    let failures = 0;
    link.beforeBring = ({ from }) => {
      if (from === 0 || failures > 0) return;
      failures += 1;
      throw lost();
    };
    const { run, record } = await fired(link);
    expect(run?.state).toBe('complete');
    expect(failures).toBe(1);
    expect(body.shots).toHaveLength(5);
    expect(record?.strays).toEqual([]);
    expect(record?.setAside).toEqual([]);
    expect(link.listings).toBe(0);
  });

  it('whose link fails before the file is told of: it is found on the card by its time', async () => {
    const body = bodyOf({ shape });
    const link = new ApartTestLink(body);
    let failures = 0;
    link.hear = (heard) => {
      if (heard.made.length === 0 || failures > 0) return heard;
      failures += 1;
      throw lost();
    };
    await body.change('target', 'card');
    const { run, record } = await fired(link);
    expect(run?.state).toBe('complete');
    expect(failures).toBe(1);
    expect(link.listings).toBeGreaterThan(0);
    expect(body.shots).toHaveLength(5);
    expect(record?.strays).toEqual([]);
  });

  if (shape !== 'none')
    it('whose link fails within a burst: what has its head here is waited for, the rest is found on the card', async () => {
      const body = bodyOf({ shape });
      const link = new ApartTestLink(body);
      let tellings = 0;
      link.hear = (heard) => {
        const [first] = heard.made;
        if (first === undefined || tellings > 1) return heard;
        tellings += 1;
        if (tellings === 1) return { made: [first], isOver: false };
        throw lost();
      };
      await body.change('target', 'card');
      const { run, record } = await fired(link, { frames: 3, step: 1, base: '1/60', release: 'pass' });
      expect(run?.state).toBe('complete');
      expect(tellings).toBe(2);
      expect(body.shots).toHaveLength(3);
      expect(record?.strays).toEqual([]);
      expect(record?.setAside).toEqual([]);
    });

  it('that tells of a file only after it was found on the card: it does not count for the next release', async () => {
    const body = bodyOf({ shape });
    const link = new ApartTestLink(body);
    const kept: MadeFile[] = [];
    const later: MadeFile[] = [];
    link.hear = (heard) => {
      if (heard.made.length > 0 && kept.length === 0 && body.shots.length === 2) {
        kept.push(...heard.made);
        return { made: [], isOver: true };
      }
      if (heard.made.length > 0 && later.length === 0 && body.shots.length === 3) {
        later.push(...heard.made);
        return { made: kept, isOver: false };
      }
      return { ...heard, made: [...later.splice(0), ...heard.made] };
    };
    await body.change('target', 'card');
    const { run, record } = await fired(link);
    expect(run?.state).toBe('complete');
    expect(kept).toHaveLength(1);
    expect(body.shots).toHaveLength(5);
    expect(record?.strays).toEqual([]);
  });

  it('of a second set right after the first, a frame of which never came: no picture of the first is taken for it', async () => {
    const body = bodyOf({ shape });
    const link = new ApartTestLink(body);
    await body.change('target', 'card');
    const three = { frames: 3, step: 1, base: '1/60' };
    const { station, events } = await openStation(root, link, { journal });
    await station.start(three);
    await station.settled();
    let isLost = false;
    link.hear = (heard) => {
      const [made] = heard.made;
      if (made === undefined || isLost) return heard;
      isLost = true;
      const there = body.files.find(({ name }) => name === made.name);
      if (there !== undefined) body.delete(there);
      return { made: [], isOver: true };
    };
    await station.start(three);
    await station.settled();
    await station.close();
    expect(events.state.run?.state).toBe('complete');
    expect(events.state.run?.frames.map(({ attempts }) => attempts).sort()).toEqual([1, 1, 2]);
    expect(body.shots).toHaveLength(3 + 3 + 1);
  });

  it('whose program ends between head and rest: the next one fetches it', async () => {
    const body = bodyOf({ shape });
    await body.change('target', 'card');
    const dying = new ApartTestLink(body);
    let isDead: () => void = () => undefined;
    const dead = new Promise<void>((resolve) => {
      isDead = resolve;
    });
    dying.beforeBring = ({ from }) => {
      return from === 0 || body.shots.length < 3 ? undefined : NEVER;
    };
    dying.beforePress = (count) => {
      if (count <= 3) return undefined;
      isDead();
      return NEVER;
    };
    const { station } = await openStation(root, dying, { journal });
    await station.start(FIVE);
    await dead;
    const next = new ApartTestLink(body);
    const { station: other, events } = await openStation(root, next, { journal });
    const shots = body.shots.length;
    await other.resume();
    await other.settled();
    await other.close();
    expect(events.state.run?.sentence).toMatch(/^All 5 frames are verified/);
    expect(body.shots.length - shots).toBe(5 - 3);
    const record = await onlyRecord();
    // The fourth was meant, and its shutter never pressed: nobody can know that.
    expect(record?.strays.length).toBe(1);
    expect(record?.frames.every(({ state }) => state === 'verified')).toBe(true);
  });

  it('whose file is deleted meanwhile: the frame is fired again', async () => {
    const body = bodyOf({ shape });
    const link = new ApartTestLink(body);
    let failures = 0;
    link.beforeBring = ({ from, file }) => {
      if (from === 0 || failures > 0) return;
      failures += 1;
      const there = body.files.find(({ name }) => name === file.name);
      if (there !== undefined) body.delete(there);
      throw lost();
    };
    const { run, record } = await fired(link);
    expect(run?.state).toBe('complete');
    expect(body.shots).toHaveLength(6);
    expect(record?.frames.map(({ state }) => state)).toEqual(Array(5).fill('verified'));
  });
});
