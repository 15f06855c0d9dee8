// Soundings over practice bodies that can be made to fail: what is fired, what is said, and that nothing of it is left behind.
import { mkdir, mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import sharp, { type Sharp } from 'sharp';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { SoundingView } from '../../shared/sounding.js';
import { sixths } from '../../src/exposure/index.js';
import { ApartTestLink, TestLink } from '../harness/links.js';
import { AT_BUILT, bodyBefore, endsProposed, soundOver } from '../harness/sounding.js';
import { openStation, setsIn, stateIn } from '../harness/station.js';

let root = '';
beforeEach(async () => {
  root = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(root, { recursive: true, force: true });
});

/** What a sounding leaves behind: nothing. */
async function expectNothingLeft(): Promise<void> {
  expect(await readdir(stateIn(root)).then((names) => names.filter((name) => name === 'sounding'))).toEqual(
    [],
  );
  expect(await readdir(setsIn(root)).catch(() => [])).toEqual([]);
  expect(await readdir(path.join(stateIn(root), 'as-found')).catch(() => [])).toEqual([]);
}

const change =
  (picture: (jpeg: Sharp) => Sharp) =>
  async (_: number, file: string): Promise<void> => {
    const jpeg = sharp(await readFile(file)).keepExif();
    await writeFile(file, await picture(jpeg).jpeg().toBuffer());
  };

async function soundFrom(link: TestLink, asked: object = {}): Promise<SoundingView> {
  const before = { ...link.of.state };
  const view = await soundOver(root, link, asked);
  expect({ ...link.of.state }).toEqual(before);
  await expectNothingLeft();
  return view;
}

describe('a sounding', () => {
  it('begins with the time that was asked for, ends with a set, and leaves body and disk as they were', async () => {
    const link = new TestLink(bodyBefore('day'));
    const view = await soundFrom(link, { from: '1/1000' });
    expect(view).toMatchObject({ state: 'proposed', error: null, now: null, mode: 'manual', step: 1 });
    expect(view.frames[0]).toMatchObject({ number: 1, offset: 0, shutter: '1/1000' });
    expect(link.releases).toBe(view.frames.length);
    expect(endsProposed(view)).toEqual(['1/2500', '1/40']);
    expect(view.proposal).toMatchObject({
      set: { from: '-3', to: '+3', step: '1', base: '1/320' },
      frames: 7,
    });
    expect(view.proposal?.command).toBe('evenrung fire --from -3 --to +3 --step 1 --base 1/320');
  });

  it('tells each frame as it is fired, and keeps its picture until something is fired', async () => {
    const link = new TestLink(bodyBefore('flat'));
    const { station, events } = await openStation(root, link, AT_BUILT);
    const told: SoundingView[] = [];
    events.watch(({ happening }) => {
      if (happening.type === 'sounding' && happening.sounding !== null) told.push(happening.sounding);
    });
    const begun = station.sound({ step: 1 }, 'The left phone');
    expect(() => station.sound({ step: 1 })).toThrow(/camera is in use/);
    await expect(station.start({ frames: 3, step: 1 })).rejects.toMatchObject({ code: 'run-under-way' });
    const view = await begun.ended;
    expect(told[0]).toMatchObject({ startedBy: 'The left phone', state: 'firing', frames: [] });
    expect(told.map(({ frames }) => frames.length)).toEqual(
      told.map(({ frames }) => frames.length).toSorted(),
    );
    expect(told.some(({ now }) => now === 'Brighter, until a frame opens the shadows.')).toBe(true);
    const number = view.proposal?.darkest.testFrame ?? 0;
    const picture = station.testFrame(view.id, number);
    expect(await sharp(picture ?? Buffer.alloc(0)).metadata()).toMatchObject({ format: 'jpeg', width: 320 });
    expect(station.testFrame(view.id, 99)).toBeNull();
    expect(station.testFrame('another', number)).toBeNull();
    await station.start({ frames: 1, step: 1 });
    await station.settled();
    expect([events.state.sounding, station.testFrame(view.id, number)]).toEqual([null, null]);
    await station.close();
  });

  it('is stopped after the test frame in hand', async () => {
    const link = new TestLink(bodyBefore('dusk'));
    const { station } = await openStation(root, link, AT_BUILT);
    expect(() => station.stopSounding()).toThrow(/No sounding is being taken/);
    link.afterFire = (count) => {
      if (count === 2) station.stopSounding();
    };
    const view = await station.sound({ step: 1 }).ended;
    expect(view).toMatchObject({ state: 'stopped', error: null, proposal: null });
    expect([link.releases, link.of.state.shutter]).toEqual([2, 36]);
    await station.close();
    await expectNothingLeft();
  });

  it('is stopped by the end of the program, and what is owed is put back', async () => {
    const link = new TestLink(bodyBefore('dusk'));
    const { station } = await openStation(root, link, AT_BUILT);
    let closing: Promise<void> | undefined;
    link.afterFire = (count) => {
      if (count === 2) closing = station.close();
    };
    expect(await station.sound({ step: 1 }).ended).toMatchObject({ state: 'stopped' });
    await closing;
    expect([link.releases, link.of.state.shutter]).toEqual([2, 36]);
    await expectNothingLeft();
  });

  it('sweeps up what a killed program left, and says nothing of it', async () => {
    const left = path.join(stateIn(root), 'sounding');
    await mkdir(left, { recursive: true });
    await writeFile(path.join(left, 'incoming.1'), 'left behind');
    expect(await soundFrom(new TestLink(bodyBefore('flat')))).toMatchObject({ state: 'proposed' });
  });

  it('over a link that takes release and fetch apart, of a raw file and a JPEG, or of a raw file alone', async () => {
    for (const format of ['raw-and-jpeg', 'raw'] as const) {
      const body = bodyBefore('flat');
      await body.change('format', format);
      expect(await soundOver(root, new ApartTestLink(body))).toMatchObject({ state: 'proposed' });
      await expectNothingLeft();
    }
  });

  it('in aperture priority, by compensation', async () => {
    const body = bodyBefore('flat');
    await body.change('mode', 'aperture');
    const view = await soundFrom(new TestLink(body), { mode: 'aperture' });
    expect(view).toMatchObject({ state: 'proposed', proposal: { set: { mode: 'aperture' }, frames: 1 } });
    expect(view.proposal?.set.base).toBeUndefined();
    // The body meters 1/13 s.
    expect(view.frames[0]?.shutter).toBe('1/13');
  });
});

describe('the sun', () => {
  /** The lamp shines at EV 22.1 then, and everything else far below 21. */
  const sunny = (): TestLink => {
    const body = bodyBefore('lamp');
    body.moveLight(sixths(15));
    return new TestLink(body);
  };

  it('in the frame ends it with the caution, before anything is exposed for longer', async () => {
    const link = sunny();
    const view = await soundFrom(link);
    expect(view).toMatchObject({ state: 'sun', error: 'sun-in-frame', proposal: null });
    expect(view.sentence).toMatch(
      /^The sun may be in the frame, .* white even in a frame so dark that only the sun/,
    );
    expect(Math.max(...view.frames.map(({ offset }) => offset))).toBe(0);
  });

  it('does not keep whoever knows of it from going on', async () => {
    const view = await soundFrom(sunny(), { despiteSun: true });
    expect(view.state).toBe('proposed');
    // The set comes with the caution all the same.
    expect(view.proposal?.caution).toMatch(/^Part of the picture is white even in the darkest test frame/);
  });
});

describe('what ends it is said, and what to do', () => {
  it.each([
    ['black', (jpeg: Sharp) => jpeg.linear(0, 0), /^Every test frame is black, .*take the lens cap off/],
    ['white', (jpeg: Sharp) => jpeg.linear(0, 255), /^Every test frame is white, .*neutral-density/],
  ])('a scene that is %s throughout', async (_, picture, sentence) => {
    const link = new TestLink(bodyBefore('flat'));
    link.saysSize = false;
    link.afterFire = change(picture);
    const view = await soundFrom(link);
    expect(view).toMatchObject({ state: 'failed', error: 'not-sounded', proposal: null });
    expect(view.sentence).toMatch(sentence);
    expect(link.releases).toBeLessThanOrEqual(8);
  });

  it('a body that is not ready', async () => {
    const body = bodyBefore('flat');
    await body.change('mode', 'aperture');
    const view = await soundFrom(new TestLink(body));
    expect(view).toMatchObject({ state: 'failed', error: 'body-not-ready', frames: [] });
  });

  it('a picture that cannot be read', async () => {
    const link = new TestLink(bodyBefore('flat'));
    link.saysSize = false;
    link.afterFire = async (_, file) => writeFile(file, (await readFile(file)).subarray(0, 20_000));
    const view = await soundFrom(link);
    expect(view).toMatchObject({ state: 'failed', error: 'frame-unreadable' });
    expect(view.sentence).toMatch(/Set the camera to JPEG, or to raw and JPEG, then sound again\.$/);
  });

  it('a file of another frame', async () => {
    const link = new TestLink(bodyBefore('flat'));
    let first: Buffer | undefined;
    link.saysSize = false;
    link.afterFire = async (_, file) => {
      first ??= await readFile(file);
      await writeFile(file, first);
    };
    const view = await soundFrom(link);
    expect(view).toMatchObject({ state: 'failed', error: 'frame-wrong' });
    // Which time comes second depends on the noise of the first picture.
    const [, second] = link.of.shots;
    const set = `1/${2 ** ((second?.tv ?? Number.NaN) / 6)} s`;
    expect(view.sentence).toContain(
      `A test frame is not as it was set. The time is 1/60 s, but ${set} was set.`,
    );
  });

  it('light that moves meanwhile', async () => {
    const link = new TestLink(bodyBefore('flat'));
    link.afterFire = (count) => {
      if (count === 1) link.of.moveLight(sixths(-24));
    };
    const view = await soundFrom(link);
    expect(view).toMatchObject({ state: 'failed', error: 'not-sounded' });
    expect(view.sentence).toMatch(/the light changed, or the camera was turned/);
  });

  it('a shutter that is too slow for the highlights', async () => {
    const link = new TestLink(bodyBefore('dusk', { shortestTv: sixths(54) }));
    const view = await soundFrom(link);
    expect(view).toMatchObject({
      state: 'proposed',
      proposal: { darkest: { isHeld: false, shutter: '1/500' } },
    });
    expect(view.proposal?.darkest.sentence).toMatch(
      /^Even in frame 1, the darkest \(1\/500 s\), 1% of the picture is too bright, and the camera has no faster shutter/,
    );
    expect(view.proposal?.brightest.isHeld).toBe(true);
  });

  it('settings that cannot be put back', async () => {
    const link = new TestLink(bodyBefore('flat'));
    link.beforeChange = (name, value) => {
      if (name === 'shutterspeed' && value === '1/60' && link.releases > 1)
        throw new Error('It does not take it.');
    };
    const view = await soundOver(root, link);
    expect(view).toMatchObject({ state: 'failed', error: 'not-put-back' });
    expect(view.sentence).toMatch(/shutterspeed to 1\/60/);
  });

  it('a request that no camera could meet, at once', async () => {
    const link = new TestLink(bodyBefore('flat'));
    const { station } = await openStation(root, link, AT_BUILT);
    expect(() => station.sound({ step: 9 })).toThrow(/3 EV/);
    expect(await station.sound({ step: 1, from: '1/90000' }).ended).toMatchObject({
      error: 'base-not-offered',
    });
    expect(link.releases).toBe(0);
    await station.close();
  });
});
