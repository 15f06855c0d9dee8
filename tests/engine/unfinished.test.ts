// A run that was cut off with the program: told, gone on with, or ended. The program that died is a station whose shutter never comes
// back; what it had committed is in the journal.
import { spawnSync } from 'node:child_process';
import { appendFile, mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import sharp from 'sharp';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { sixths } from '../../shared/ev.js';
import { readSetRecord } from '../../shared/set-record.js';
import type { FireOptions } from '../../src/camera/index.js';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import {
  CONTACT_SHEET,
  checkSet,
  type Naming,
  parseTemplate,
  SetFolder,
  SUMS,
} from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import { DyingLink, TestLink } from '../harness/links.js';
import { openStation } from '../harness/station.js';
import { namedBy } from '../set-naming.js';

const NINE = { frames: 9, step: 1, base: '1/60' };

let root = '';
let into = '';
let journal: Journal;
let body: PracticeBody;
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  into = path.join(root, 'sets');
  journal = await Journal.open(path.join(root, 'state'));
  body = new PracticeBody(AT_ONCE);
});
afterEach(async () => {
  journal.close();
  await rm(root, { recursive: true, force: true });
});

const station = (link: PracticeLink, naming?: Naming) => openStation(root, link, { journal, naming });

/** A set of which so many frames are verified, and the next one was being made. */
async function cutOff(
  frames: number,
  naming?: Naming,
  request: object = NINE,
  startedBy?: string,
): Promise<string> {
  const { station: dying, events } = await station(new DyingLink(body, frames), naming);
  const isThere = new Promise<void>((resolve) => {
    let fired = 0;
    let verified = 0;
    events.watch(({ happening }) => {
      if (happening.type !== 'frame') return;
      if (happening.frame.state === 'fired') fired += 1;
      if (happening.frame.state === 'verified') verified += 1;
      if (fired === frames + 1 && verified === frames) resolve();
    });
  });
  await dying.start(request, startedBy);
  await isThere;
  const [set] = await readdir(into);
  return path.join(into, set ?? '');
}

const recordIn = async (folder: string) =>
  readSetRecord(await readFile(path.join(folder, 'set.json'), 'utf8')).record;
const wrongIn = async (folder: string) =>
  (await checkSet(folder)).findings.filter(({ severity }) => severity === 'wrong');

describe('a run that was cut off', () => {
  it('is told, and nothing else is begun before it is gone on with or ended', async () => {
    const folder = await cutOff(4);
    const { station: next, events } = await station(new PracticeLink(body));
    expect(events.state.unfinished).toMatchObject({ verified: 4, frames: 9, folder });
    await expect(next.start(NINE)).rejects.toMatchObject({ code: 'run-unfinished' });
    expect(await readdir(into)).toHaveLength(1);
    await next.close();
  });

  it('is gone on with in its own folder; only what is missing is made', async () => {
    const before = { ...body.state };
    const folder = await cutOff(4);
    expect(body.state).not.toEqual(before);
    const { station: next, events } = await station(new PracticeLink(body));
    // What was changed is put back as soon as the body is met.
    expect({ ...body.state }).toEqual(before);
    const shots = body.shots.length;
    await next.resume();
    expect(events.state.unfinished).toBeNull();
    await next.settled();
    expect(events.state.run).toMatchObject({ state: 'complete', folder });
    expect(body.shots.length - shots).toBe(5);
    expect({ ...body.state }).toEqual(before);
    const record = await recordIn(folder);
    expect(record.complete).toBe(true);
    expect(record.strays).toMatchObject([{ reason: 'Evenrung ended while the frame was being taken.' }]);
    expect(record.notes.join()).toMatch(/Resumed after a restart/);
    expect(await wrongIn(folder)).toEqual([]);
    expect(journal.unfinishedRun()).toBeNull();
    await next.close();
  });

  it('has what was verified checked: a file that changed is set aside, one that is gone is made again', async () => {
    const folder = await cutOff(4);
    const files = (await readdir(folder)).filter((name) => name.endsWith('.jpg'));
    expect(files).toHaveLength(4);
    await appendFile(path.join(folder, files[0] ?? ''), 'one byte more');
    await rm(path.join(folder, files[1] ?? ''));
    const { station: next, events } = await station(new PracticeLink(body));
    const shots = body.shots.length;
    await next.resume();
    await next.settled();
    expect(events.state.run?.state).toBe('complete');
    const record = await recordIn(folder);
    // A picture that is whole and rightly exposed is taken up again, whatever hangs behind it.
    expect(body.shots.length - shots + record.setAside.length).toBeGreaterThanOrEqual(6);
    expect(await wrongIn(folder)).toEqual([]);
    await next.close();
  });

  it('takes no picture for a frame that the camera had kept since before the set', async () => {
    const older = new PracticeBody({ ...AT_ONCE, now: () => new Date(Date.now() - 60_000) });
    await older.change('shutter', sixths(36 - 4 * 6));
    const [kept] = await older.release();
    const folder = await cutOff(4);
    // It came in place of the frame that was being made, the brightest one.
    await writeFile(path.join(folder, '.incoming', 'incoming.kept'), kept?.content ?? '');
    const { station: next } = await station(new PracticeLink(body));
    await next.resume();
    await next.settled();
    const record = await recordIn(folder);
    expect(record.complete).toBe(true);
    expect(record.setAside).toMatchObject([
      { reason: 'It had been waiting in the camera since before this release.' },
    ]);
    for (const { marks } of record.frames) expect(marks.filter(({ code }) => code === 'time')).toEqual([]);
    expect(body.shots.filter(({ tv }) => tv === 36 - 4 * 6)).toHaveLength(1);
    await next.close();
  });

  it('that was cut off while the settings were put back: they are, and it ends as it was about to', async () => {
    const before = { ...body.state };
    const link = new TestLink(body);
    const { station: dying } = await station(link);
    // That begins when the last frame was fired: its picture is looked at meanwhile.
    const isPuttingBack = new Promise<void>((resolve) => {
      link.beforeChange = () => {
        if (body.shots.length < 9) return;
        resolve();
        return new Promise<never>(() => undefined);
      };
    });
    await dying.start(NINE);
    await isPuttingBack;
    // It does what it can meanwhile, and stops where it has to know what became of them.
    await expect.poll(async () => readdir(path.join(into, (await readdir(into))[0] ?? ''))).toContain(SUMS);
    expect(body.state).not.toEqual(before);
    const { station: next, events } = await station(new PracticeLink(body));
    expect({ ...body.state }).toEqual(before);
    await next.resume();
    await next.settled();
    expect(events.state.run?.state).toBe('complete');
    expect(body.shots).toHaveLength(9);
    await next.close();
  });

  it('that was stopped, and cut off while the settings were put back: it can be gone on with all the same', async () => {
    const before = { ...body.state };
    const link = new TestLink(body);
    const { station: dying, events: told } = await station(link);
    const isPuttingBack = new Promise<void>((resolve) => {
      link.beforeChange = () => {
        if (told.state.run?.state !== 'putting-back') return;
        resolve();
        return new Promise<never>(() => undefined);
      };
    });
    link.afterFire = (count) => {
      if (count === 4) dying.stop();
    };
    await dying.start(NINE);
    await isPuttingBack;
    const { station: next, events } = await station(new PracticeLink(body));
    expect({ ...body.state }).toEqual(before);
    await next.resume();
    await next.settled();
    expect(events.state.run?.state).toBe('complete');
    expect(body.shots).toHaveLength(9);
    await next.close();
  });

  it('by a program that kept a frame as armed before it fired it: that frame was not fired', async () => {
    const folder = await cutOff(4);
    const set = journal.unfinishedRun()?.set;
    const planned = set?.frames.find(({ view }) => view.state === 'planned')?.view;
    if (set === null || set === undefined || planned === undefined) throw new Error('Nothing is left to do.');
    journal.frameChanged(set.id, { ...planned, state: 'armed', attempts: 1 });
    const { station: next, events } = await station(new PracticeLink(body));
    await next.resume();
    await next.settled();
    expect(events.state.run?.state).toBe('complete');
    // The one that was being made when it was cut off, and no other, is on the card alone.
    expect((await recordIn(folder)).strays).toHaveLength(1);
    expect(await wrongIn(folder)).toEqual([]);
    await next.close();
  });

  it('is ended: the record says how far it got, and a new set can be fired', async () => {
    const folder = await cutOff(4);
    const { station: next, events } = await station(new PracticeLink(body));
    await next.endUnfinished();
    expect(events.state.unfinished).toBeNull();
    const record = await recordIn(folder);
    expect(record.complete).toBe(false);
    expect(record.frames.filter(({ state }) => state === 'verified')).toHaveLength(4);
    await next.start(NINE);
    await next.settled();
    expect(events.state.run?.state).toBe('complete');
    expect(await readdir(into)).toHaveLength(2);
    await next.close();
  });

  it('has its frames named as they were, whatever is said and whatever it is called meanwhile', async () => {
    const naming = (frame: string, set: string): Naming => ({
      frame: parseTemplate(frame, 'frame'),
      set: parseTemplate(set, 'set'),
    });
    const first = naming('{name}_{time}_{frame}', '{name} {set}');
    const folder = await cutOff(4, first, { ...NINE, name: 'dusk' });
    expect(path.basename(folder)).toBe('dusk 0001');
    const [kept = ''] = await readdir(folder).then((names) => names.filter((name) => name.endsWith('.jpg')));
    const { station: next, events } = await station(
      new PracticeLink(body),
      naming('other_{offset}', 'other'),
    );
    const [set] = journal.sets({ limit: 1 });
    journal.relabelSet(set?.id ?? '', { name: 'dawn', note: null, viewpoint: null });
    await next.resume();
    await next.settled();
    expect(events.state.run?.state).toBe('complete');
    const { frames, name } = await recordIn(folder);
    expect(name).toBe('dawn');
    expect(frames.map(({ file }) => file)).toEqual(
      frames.map(({ number }) => kept.replace(/\d\d\.jpg$/, `${String(number).padStart(2, '0')}.jpg`)),
    );
    expect(await wrongIn(folder)).toEqual([]);
    await next.close();
  });

  it('has the pictures of before looked at again: neighbours are compared, and all are on the sheet', async () => {
    const folder = await cutOff(4);
    const { station: next } = await station(new PracticeLink(body));
    await next.resume();
    await next.settled();
    const { ratios, frames } = await recordIn(folder);
    expect(ratios).toHaveLength(8);
    for (const { ev, mark } of ratios) expect([Math.round(ev ?? 0), mark]).toEqual([1, false]);
    const times = frames.map(({ firedAt, storedAt, verifiedAt }) => [firedAt, storedAt, verifiedAt]);
    expect(times.flat().every((time) => time !== null)).toBe(true);
    expect(frames.flatMap(({ marks }) => marks)).toEqual([]);
    const sheet = sharp(path.join(folder, CONTACT_SHEET));
    const { height } = await sheet.metadata();
    for (let index = 0; index < 9; index += 1) {
      const top = height - 28 - 50 - 214 - 280 * (2 - Math.floor(index / 3));
      const at = { left: 28 + (index % 3) * 338, top, width: 320, height: 180 };
      const { channels } = await sharp(await sheet.clone().extract(at).toBuffer()).stats();
      expect(channels[0]?.stdev).toBeGreaterThan(15);
    }
    await next.close();
  });

  it('keeps to the size of its first frames', async () => {
    const folder = await cutOff(4);
    class Small extends PracticeLink {
      override async fire(options: FireOptions) {
        const fired = await super.fire(options);
        if (body.shots.length !== 5) return fired;
        const { path: file, seconds } = fired;
        await writeFile(file, await sharp(file).resize(600).keepExif().jpeg().toBuffer());
        return { path: file, seconds };
      }
    }
    const { station: next, events } = await station(new Small(body));
    await next.resume();
    await next.settled();
    expect(events.state.run?.state).toBe('complete');
    const { setAside } = await recordIn(folder);
    expect(setAside).toHaveLength(1);
    for (const { reason } of setAside) expect(reason).toContain('600 x 400');
    await next.close();
  });

  it('that was killed before it was known of leaves no folder', async () => {
    const { path: folder } = await SetFolder.create(into, namedBy(new Date()), {
      keeper: path.join(root, 'state'),
    });
    const file = path.join(folder, '.reserve');
    const room = await readFile(file, 'latin1');
    await writeFile(file, room.replace(`"pid":${process.pid}`, `"pid":${spawnSync('true').pid}`), 'latin1');
    const { station: next } = await station(new PracticeLink(body));
    await next.start({ frames: 3, step: 1, base: '1/60' });
    await next.settled();
    await next.close();
    expect(await readdir(into)).toHaveLength(1);
    expect(await readdir(folder).catch(() => [])).not.toContain('.reserve');
  });

  it('says who began it, unless somebody else goes on with it', async () => {
    await cutOff(2, undefined, NINE, 'a phone');
    const { station: next, events } = await station(new DyingLink(body, 1));
    await next.resume();
    expect(events.state.run?.startedBy).toBe('a phone');
    await expect(next.start(NINE)).rejects.toThrow('A set is already being shot, started from "a phone"');
    const states = () =>
      events.state.run?.frames.map(({ state }) => state).filter((state) => state !== 'planned');
    await expect
      .poll(states, { timeout: 20_000 })
      .toEqual(expect.toSatisfy((now: string[]) => now.sort().join() === 'fired,verified,verified,verified'));
    const { station: third, events: told } = await station(new PracticeLink(body));
    await third.resume({ startedBy: 'a tablet' });
    await third.settled();
    expect(told.state.run).toMatchObject({ state: 'complete', startedBy: 'a tablet' });
    await third.close();
  });

  it('by a program that kept nothing of who began it, or one that is newer, is gone on with all the same', async () => {
    for (const options of [
      { version: 1, content: {} },
      { version: 9, content: { beginsAt: '2100-01-01T00:00:00.000Z', startedBy: 7 } },
      { version: 2, content: 'damaged' },
    ]) {
      const folder = await cutOff(2, undefined, NINE, 'a phone');
      journal.changeOptions(journal.unfinishedRun()?.run.id ?? '', options);
      const { station: next, events } = await station(new PracticeLink(body));
      await next.resume();
      await next.settled();
      expect(events.state.run).toMatchObject({ state: 'complete', startedBy: 'this computer', folder });
      await next.close();
      await rm(into, { recursive: true });
    }
  });

  it('has no delay any more once a frame of it was fired', async () => {
    const soon = new Date(Date.now() + 60_000).toISOString();
    await cutOff(2);
    const options = { version: 2, content: { beginsAt: soon, startedBy: 'this computer' } };
    journal.changeOptions(journal.unfinishedRun()?.run.id ?? '', options);
    const { station: next, events } = await station(new PracticeLink(body));
    await next.resume();
    await next.settled();
    expect(events.state.run).toMatchObject({ state: 'complete', beginsAt: null });
    await next.close();
  });

  it('is not gone on with by another body', async () => {
    await cutOff(2);
    const other = new PracticeBody({ ...AT_ONCE, serial: 'PB-9999' });
    const { station: next } = await station(new PracticeLink(other));
    await expect(next.resume()).rejects.toMatchObject({
      code: 'body-not-ready',
      message: expect.stringMatching(/serial number PB-0001\. Connect that one/),
    });
    expect(next.unfinished()).not.toBeNull();
    await next.close();
  });

  it('whose folder is gone can still be ended, in the journal alone', async () => {
    const folder = await cutOff(2);
    await rm(folder, { recursive: true });
    const { station: next } = await station(new PracticeLink(body));
    await expect(next.resume()).rejects.toMatchObject({ code: 'set-folder-gone' });
    await next.endUnfinished();
    expect(next.unfinished()).toBeNull();
    const [run] = journal.runs({ limit: 1 });
    expect(run).toMatchObject({ state: 'halted', sentence: expect.stringMatching(/without a record/) });
    await next.close();
  });

  it('is none: said so', async () => {
    const { station: next } = await station(new PracticeLink(body));
    await expect(next.resume()).rejects.toMatchObject({ code: 'nothing-unfinished' });
    await expect(next.endUnfinished()).rejects.toMatchObject({ code: 'nothing-unfinished' });
    await next.close();
  });
});

describe('between sets', () => {
  it('a connection that has grown is begun anew; never in the middle of one', async () => {
    class Growing extends PracticeLink {
      readonly asked: number[] = [];
      async recycleIfLarge(): Promise<boolean> {
        this.asked.push(body.shots.length);
        return false;
      }
    }
    const link = new Growing(body);
    const { station: made } = await station(link);
    for (let sets = 0; sets < 2; sets += 1) {
      await made.start({ frames: 3, step: 1, base: '1/60' });
      await made.settled();
    }
    expect(link.asked).toEqual([3, 6]);
    await made.close();
  });
});

describe('a journal that takes no more', () => {
  it('keeps the shutter from being touched; the settings go back', async () => {
    const before = { ...body.state };
    const { station: made, events } = await station(new PracticeLink(body));
    const real = journal.frameChanged.bind(journal);
    let frames = 0;
    journal.frameChanged = (...args) => {
      if (args[1].state === 'fired') frames += 1;
      if (frames > 3) throw Object.assign(new Error('The disk is full.'), { code: 'SQLITE_FULL' });
      real(...args);
    };
    await made.start(NINE);
    await made.settled();
    expect(events.state.run?.state).toBe('halted');
    expect(body.shots).toHaveLength(3);
    expect({ ...body.state }).toEqual(before);
    await made.close();
  });
});
