// Sets that are asked for by two spot readings, fired on the practice body: placed when the run begins, by what the dials stand at then;
// kept as they were written, in the journal and in the record; and what a restart makes of them.
import { mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { sixths } from '../../shared/ev.js';
import { readSetRecord } from '../../shared/set-record.js';
import { AT_ONCE, PracticeBody } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import { checkSet } from '../../src/frames/index.js';
import { Journal } from '../../src/journal/index.js';
import { Hands } from '../harness/hands.js';
import { DyingLink } from '../harness/links.js';
import { openStation } from '../harness/station.js';

/** At f/8 and ISO 100 Tv 2 and 9. A JPEG: R = 7, n = ceil(7 - 5 1/2) + 1 = 3; from 6 1/2 to 7, and 6 2/3 (1/100 s) spares most evenly. */
const METERED = { readings: { darkest: 'EV 8', brightest: '4096 cd/m2' }, step: 1 };
const F11 = sixths(42);

let root = '';
let into = '';
let journal: Journal;
let body: PracticeBody;
let hands: Hands;
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  into = path.join(root, 'sets');
  journal = await Journal.open(path.join(root, 'state'));
  body = new PracticeBody(AT_ONCE);
  hands = new Hands();
});
afterEach(async () => {
  journal.close();
  await rm(root, { recursive: true, force: true });
});

const open = (link: PracticeLink = new PracticeLink(body)) =>
  openStation(root, link, { journal, clock: hands, sleep: hands.sleep, patienceMs: 300 });

async function records() {
  const folders = (await readdir(into)).map((name) => path.join(into, name));
  const texts = await Promise.all(folders.map((at) => readFile(path.join(at, 'set.json'), 'utf8')));
  const read = texts.map((text) => readSetRecord(text).record);
  return read.sort((a, b) => (a.setNumber ?? 0) - (b.setNumber ?? 0));
}

/** Fired on a body that dies after so many frames. @returns the id of the run */
async function cutOff(frames: number, request: object): Promise<string> {
  const { station, events } = await open(new DyingLink(body, frames));
  const { id } = await station.start(request);
  await new Promise<void>((resolve) => {
    let fired = 0;
    let verified = 0;
    events.watch(({ happening }) => {
      if (happening.type !== 'frame') return;
      if (happening.frame.state === 'fired') fired += 1;
      if (happening.frame.state === 'verified') verified += 1;
      if (fired > frames && verified === frames) resolve();
    });
  });
  return id;
}

const shuttersOf = ({ frames }: Awaited<ReturnType<typeof records>>[number]) =>
  frames.map(({ shutter }) => shutter);

describe('a set by two readings', () => {
  it('is fired as it was placed, and its record says what was asked and where it fell', async () => {
    const { station, events } = await open();
    const { id } = await station.start({ ...METERED, name: 'Boathouse at dusk' });
    await station.settled();
    await station.close();
    expect(events.state.run).toMatchObject({ state: 'complete', base: { shutter: '1/50' } });
    const [record] = await records();
    expect(record).toMatchObject({ complete: true, name: 'Boathouse at dusk', base: { shutter: '1/50' } });
    expect(record === undefined ? [] : shuttersOf(record)).toEqual(['1/100', '1/50', '1/25']);
    expect(record?.readings).toMatchObject({
      darkest: { written: 'EV 8', ev100: 8, frame: 3 },
      brightest: { written: '4096 cd/m2', frame: 1 },
      room: { above: 2.5, below: 3 },
    });
    // EV 15 is Tv 9 at f/8; frame 1 is 1/100 s, 6 2/3.
    expect(record?.readings?.brightest.fromGrey).toBeCloseTo(2 + 1 / 3, 9);
    expect(record?.readings?.darkest.fromGrey).toBeCloseTo(2 - 4 - 2 / 3, 9);
    expect(journal.run(id)?.request).toEqual(METERED);
    const [folder = ''] = await readdir(into);
    expect((await checkSet(path.join(into, folder))).findings).toEqual([]);
  });

  it('goes by the dials as they stand when it begins, not when it was planned', async () => {
    const { station } = await open();
    expect(station.plan(METERED).base.label).toBe('1/50');
    // A stop less light by the aperture: every time is a stop longer.
    await body.change('aperture', F11);
    await station.start(METERED);
    await station.settled();
    await station.close();
    const [record] = await records();
    expect(record === undefined ? [] : shuttersOf(record)).toEqual(['1/50', '1/25', '1/13']);
  });

  it('goes by what becomes of the files: raw ones hold more', async () => {
    await body.change('format', 'raw');
    const { station } = await open();
    const plan = station.plan(METERED);
    expect(plan.readings?.room).toMatchObject({ above: 3, below: 4 });
    // R = 7 and r = 7: one frame, 9 - 3 = 6 (1/60 s).
    expect([plan.offsets, plan.base.label]).toEqual([[0], '1/60']);
    await station.close();
  });

  it('that cannot be met fires nothing, and leaves nothing behind', async () => {
    const { station } = await open();
    const reversed = { ...METERED, readings: { darkest: 'EV 15', brightest: 'EV 8' } };
    await expect(station.start(reversed)).rejects.toMatchObject({
      code: 'readings-unusable',
      details: { field: 'darkest' },
    });
    await expect(station.start({ ...METERED, mode: 'aperture' })).rejects.toMatchObject({
      code: 'malformed-request',
    });
    expect(journal.unfinishedRun()).toBeNull();
    expect(body.state.shutter).toBe(new PracticeBody(AT_ONCE).state.shutter);
    await station.close();
  });

  it('that was cut off is gone on with as it was placed, and its frames are fired again', async () => {
    await cutOff(1, METERED);
    const { station } = await open();
    await station.resume();
    await station.settled();
    const [record] = await records();
    expect(record).toMatchObject({ complete: true });
    expect(record === undefined ? [] : shuttersOf(record)).toEqual(['1/100', '1/50', '1/25']);
    expect(record?.readings?.darkest.written).toBe('EV 8');
    // And frames of it are fired again.
    const [set] = journal.sets({ limit: 1 });
    await station.again(set?.id ?? '', { frames: [2] });
    await station.settled();
    expect((await records()).map(({ complete }) => complete)).toEqual([true]);
    await station.close();
  });
});

describe('readings on a schedule', () => {
  const schedule = { every: '4min', count: 3 };

  it('are placed once: all sets share base and frames', async () => {
    const { station, events } = await open();
    events.watch(({ happening }) => {
      // After the first set somebody opens the aperture by mistake: the set goes by its base all the same.
      if (happening.type === 'line-set' && happening.set.ordinal === 1 && happening.set.endedAt !== null)
        void body.change('aperture', F11);
    });
    await station.start({ ...METERED, schedule });
    await station.settled();
    await station.close();
    const made = await records();
    expect(made.map(shuttersOf)).toEqual(Array(3).fill(['1/100', '1/50', '1/25']));
    expect(made.map(({ readings }) => readings?.brightest.written)).toEqual(Array(3).fill('4096 cd/m2'));
  });

  it('outlive a restart: the later sets are those that were begun', async () => {
    const id = await cutOff(1, { ...METERED, schedule });
    const { station, events } = await open();
    // Placed anew for f/11 they would be a stop longer.
    events.watch(({ happening }) => {
      if (happening.type === 'line-set' && happening.set.ordinal === 1 && happening.set.endedAt !== null)
        void body.change('aperture', F11);
    });
    await station.resume();
    await station.settled();
    expect(body.state.aperture).toBe(F11);
    expect(events.state.schedule).toMatchObject({ run: id, state: 'complete', complete: 3 });
    const made = await records();
    expect(made.map(shuttersOf)).toEqual(Array(3).fill(['1/100', '1/50', '1/25']));
    expect(made.map(({ readings }) => readings?.darkest.written)).toEqual(Array(3).fill('EV 8'));
    await station.close();
  });

  it('leave the records once the base has followed the light', async () => {
    const { station, events } = await open();
    events.watch(({ happening }) => {
      if (happening.type === 'line-set' && happening.set.endedAt !== null) body.moveLight(sixths(-6));
    });
    await station.start({ ...METERED, light: {}, schedule: { every: '4min', count: 4 } });
    await station.settled();
    await station.close();
    const made = await records();
    const moved = made.map(({ base }) => base.shutter !== '1/50');
    expect(moved.at(0)).toBe(false);
    expect(moved.at(-1)).toBe(true);
    expect(made.map(({ readings }) => readings === undefined)).toEqual(moved);
  });

  it('say of the sun before anything is fired', async () => {
    const { station } = await open();
    // EV 21.4 at f/8: Tv 15.4, a JPEG needs 13 or shorter.
    const sunny = { readings: { darkest: 'EV 8', brightest: '350000 cd/m2' }, step: 2 };
    expect(station.plan(sunny).warnings.map(({ code }) => code)).toContain('sun-metered');
    const { cautions } = await station.foresee({ ...sunny, schedule });
    expect(cautions[0]).toEqual({
      sentence: expect.stringMatching(/^The brightest part reads EV 21\.4/),
      until: null,
    });
    await station.close();
  });
});
