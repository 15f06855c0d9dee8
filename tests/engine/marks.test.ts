// What a person should know of frames that are in the set all the same: in sets that are really fired.

import { mkdtemp, readdir, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import sharp from 'sharp';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { sixths } from '../../shared/ev.js';
import type { PracticeOptions } from '../../src/camera/practice/model.js';
import { TestLink } from '../harness/links.js';
import { fireSet, marksOf } from '../harness/set.js';

let into = '';
beforeEach(async () => {
  into = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(into, { recursive: true, force: true });
});

/** Files are made anew, in another size. */
const changing = (options: Partial<PracticeOptions> = {}) =>
  Object.assign(new TestLink(options), { saysSize: false });

describe('clipping', () => {
  it('of a set that does not reach is told with its frame, in the record and to the panel', async () => {
    const { record, log } = await fireSet(into, { frames: 3 });
    expect(marksOf(record?.frames ?? [])).toEqual([
      [1, 'clipped-light'],
      [3, 'clipped-dark'],
    ]);
    expect(marksOf(log.state.run?.frames ?? [])).toEqual(marksOf(record?.frames ?? []));
    expect(record?.frames[0]?.marks[0]?.sentence).toMatch(/^\d+% of the darkest frame is blown out/);
  });
});

describe('the time that a file records', () => {
  it('in a real set: right as it is, with a clock that is off, and marked where the clock is set on the way', async () => {
    const right = changing();
    const off = changing();
    off.of.setClock(new Date(Date.now() - 3 * 86_400_000 - 123_456));
    // From the fourth frame on: some minutes fast; and an hour slow, as in the night when summer time ends.
    const onTheWay = changing();
    onTheWay.beforeFire = (count) => {
      if (count === 4) onTheWay.of.setClock(new Date(Date.now() + 400_000));
    };
    const atNight = changing();
    atNight.beforeFire = (count) => {
      if (count === 4) atNight.of.setClock(new Date(Date.now() - 3_600_000));
    };
    const marks = [];
    for (const link of [right, off, onTheWay, atNight]) {
      const { record } = await fireSet(into, { frames: 9, link });
      marks.push(marksOf(record?.frames ?? []).filter(([, code]) => !code.startsWith('clipped')));
    }
    expect(marks.slice(0, 2)).toEqual([[], []]);
    expect(marks[2]).toEqual([4, 5, 6, 7, 8, 9].map((number) => [number, 'time']));
    // The middle frame of the second pass is fired first.
    expect(marks[3]).toEqual([[5, 'order']]);
  });

  it('that a camera does not write: no mark', async () => {
    const link = changing();
    link.of.setClock(new Date(Date.now() - 400_000));
    link.afterFire = async (_, file) => {
      const bytes = await sharp(file)
        .withExif({ IFD2: { ExposureTime: '1/60', FNumber: '8/1', ISOSpeedRatings: '100' } })
        .jpeg()
        .toBuffer();
      await writeFile(file, bytes);
    };
    const { record, state } = await fireSet(into, { frames: 1, link });
    expect(state).toBe('complete');
    expect(marksOf(record?.frames ?? []).filter(([, code]) => !code.startsWith('clipped'))).toEqual([]);
  });
});

describe('the light of neighbours', () => {
  it('in a real set: a lamp that goes on for one frame is seen, told, and no reason to fire again', async () => {
    const link = changing({ shape: 'none' });
    link.beforeFire = (count) => {
      if (count === 5) link.of.moveLight(sixths(9));
      if (count === 6) link.of.moveLight(sixths(-9));
    };
    const { record, log, events, state } = await fireSet(into, { frames: 9, link });
    expect([state, link.releases]).toEqual(['complete', 9]);
    const odd = marksOf(record?.frames ?? []).filter(([, code]) => code === 'ratio');
    expect(odd).toEqual([[5, 'ratio']]);
    expect(marksOf(log.state.run?.frames ?? [])).toEqual(marksOf(record?.frames ?? []));
    expect(record?.ratios.filter(({ mark }) => mark).map(({ darker }) => darker)).toEqual([4, 5]);
    // It is told by an event of a frame that stays verified, and that was verified before.
    const verified = events.flatMap(({ happening }) =>
      happening.type === 'frame' && happening.frame.state === 'verified' ? [happening.frame] : [],
    );
    expect(verified.filter(({ number }) => number === 5)).toHaveLength(2);
    expect(verified).toHaveLength(10);
    expect(verified.at(-1)?.marks.map(({ code }) => code)).toEqual(['ratio']);
    expect(record?.frames[4]?.attempts).toBe(1);
  });
});

describe('a frame of another size', () => {
  const shrink = (count: number) => {
    const link = changing();
    link.afterFire = async (at, file) => {
      if (at !== count) return;
      await writeFile(file, await sharp(file).resize(150).keepExif().jpeg().toBuffer());
    };
    return link;
  };

  it('is rejected with both sizes, set aside, and made up', async () => {
    const link = shrink(5);
    const { record, state, folder, events } = await fireSet(into, { frames: 9, link });
    expect([state, link.releases]).toEqual(['complete', 10]);
    const reason =
      "The picture has 150 x 100 pixels, and the other frames have 300 x 200: frames of two sizes cannot be merged. Set the camera's image size back.";
    expect(record?.setAside).toEqual([{ file: 'set-aside/frame-04.jpg', reason }]);
    expect(await readdir(path.join(folder, 'set-aside'))).toEqual(['frame-04.jpg']);
    expect(
      events.some(({ happening }) => happening.type === 'frame' && happening.frame.reason === reason),
    ).toBe(true);
    for (const { file } of record?.frames ?? [])
      expect(await sharp(path.join(folder, file ?? '')).metadata()).toMatchObject({
        width: 300,
        height: 200,
      });
  });

  it('from then on: the run halts and says so', async () => {
    const link = changing();
    link.afterFire = async (at, file) => {
      if (at > 3) await writeFile(file, await sharp(file).resize(150).keepExif().jpeg().toBuffer());
    };
    const { state, run } = await fireSet(into, { frames: 9, link });
    expect(state).toBe('halted');
    expect(run.error).toMatchObject({
      code: 'frame-wrong',
      message: expect.stringContaining('150 x 100 pixels, and the other frames have 300 x 200'),
    });
  });
});
