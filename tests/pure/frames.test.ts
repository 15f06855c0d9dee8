import { mkdir, mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import sharp from 'sharp';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { SHUTTER_SCALES, type ShutterSetting } from '../../src/exposure/index.js';
import { smallCopyOf } from '../../src/frames/decode/small-copy.js';
import { judge, readPicture, readRecorded, SetFolder } from '../../src/frames/index.js';
import { namedBy } from '../set-naming.js';

let folder = '';
beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(async () => {
  await rm(folder, { recursive: true, force: true });
});

const shutter = (label: string): ShutterSetting => {
  const setting = SHUTTER_SCALES.third.find((candidate) => candidate.label === label);
  if (setting === undefined) throw new Error(`There is no ${label}.`);
  return setting;
};

describe('a recorded exposure against the setting that was asked for', () => {
  const asked = { shutter: shutter('1/125'), fNumber: 8, iso: 100 };

  it.each([1 / 125, 1 / 128, 0.008])('%s s is right for 1/125: nominal or exact', (exposureTime) => {
    expect(judge({ exposureTime, fNumber: 8, iso: 100 }, asked)).toEqual({ right: true });
  });

  it('holds for every third-stop setting, and never for its neighbours', () => {
    const scale = SHUTTER_SCALES.third;
    for (const [index, setting] of scale.entries()) {
      for (const seconds of [setting.nominalSeconds, setting.seconds]) {
        const frame = { exposureTime: seconds, fNumber: 8, iso: 100 };
        expect(judge(frame, { ...asked, shutter: setting }).right).toBe(true);
        for (const neighbour of [scale[index - 1], scale[index + 1]]) {
          if (neighbour !== undefined)
            expect(judge(frame, { ...asked, shutter: neighbour }).right).toBe(false);
        }
      }
    }
  });

  it('1/3 s is another way to write 0.3 s', () => {
    expect(
      judge({ exposureTime: 1 / 3, fNumber: 8, iso: 100 }, { ...asked, shutter: shutter('0.3') }).right,
    ).toBe(true);
  });

  it('time, aperture and ISO are each checked by themselves', () => {
    const verdict = judge({ exposureTime: 1 / 60, fNumber: 5.6, iso: 200 }, asked);
    expect(verdict).toEqual({
      right: false,
      reasons: [
        'The time is 1/60 s, but 1/125 s was set.',
        'The aperture is f/5.6, but f/8 was set.',
        'The ISO is 200, but 100 was set.',
      ],
    });
    expect(judge({ exposureTime: 1 / 125, fNumber: 5.6, iso: 100 }, asked).right).toBe(false);
    expect(judge({ exposureTime: 1 / 125, fNumber: 8, iso: 125 }, asked).right).toBe(false);
  });

  it('an exact f-number is right too; what neither side tells is not wrong; a missing time is', () => {
    expect(judge({ exposureTime: 1 / 125, fNumber: 5.657, iso: 100 }, { ...asked, fNumber: 5.6 }).right).toBe(
      true,
    );
    expect(judge({ exposureTime: 1 / 125, fNumber: null, iso: null }, asked).right).toBe(true);
    expect(
      judge({ exposureTime: 1 / 125, fNumber: 8, iso: 100 }, { ...asked, fNumber: null, iso: null }).right,
    ).toBe(true);
    expect(judge({ exposureTime: null, fNumber: 8, iso: 100 }, asked).right).toBe(false);
  });
});

describe('files that came back', () => {
  const jpeg = (exif?: Record<string, string>) => {
    const image = sharp({ create: { width: 640, height: 400, channels: 3, background: '#808080' } }).jpeg();
    return (exif === undefined ? image : image.withExif({ IFD2: exif })).toBuffer();
  };

  it('tell their exposure', async () => {
    const file = path.join(folder, 'frame');
    await writeFile(
      file,
      await jpeg({
        ExposureTime: '1/125',
        FNumber: '56/10',
        ISOSpeedRatings: '200',
        ExposureBiasValue: '-4/3',
      }),
    );
    expect(await readRecorded(file)).toEqual({
      exposureTime: 1 / 125,
      fNumber: 5.6,
      iso: 200,
      bias: -4 / 3,
      focalLength: null,
      takenAt: null,
    });
  });

  it('or do not, and nothing is invented', async () => {
    const file = path.join(folder, 'frame');
    await writeFile(file, await jpeg({ Software: 'none' }));
    expect(await readRecorded(file)).toEqual({
      exposureTime: null,
      fNumber: null,
      iso: null,
      bias: null,
      focalLength: null,
      takenAt: null,
    });
  });

  it.each([
    ['empty', Buffer.alloc(0)],
    ['noise', Buffer.from('no picture at all, only words, and quite a few of them')],
  ])('%s: unreadable, in words', async (_, bytes) => {
    const file = path.join(folder, 'frame');
    await writeFile(file, bytes);
    await expect(readRecorded(file)).rejects.toMatchObject({ code: 'frame-unreadable' });
  });

  it('a JPEG that is cut short is found out', async () => {
    const file = path.join(folder, 'frame');
    const whole = await jpeg({ ExposureTime: '1/60' });
    await writeFile(file, whole.subarray(0, Math.floor(whole.length * 0.8)));
    await expect(smallCopyOf(file, null)).rejects.toMatchObject({ code: 'frame-unreadable' });
  });

  it('show how much is black and how much is blown out', async () => {
    const file = path.join(folder, 'frame');
    const black = { create: { width: 100, height: 100, channels: 3 as const, background: '#000' } };
    const white = await sharp({ create: { width: 25, height: 100, channels: 3, background: '#fff' } })
      .png()
      .toBuffer();
    const grey = await sharp({ create: { width: 50, height: 100, channels: 3, background: '#777' } })
      .png()
      .toBuffer();
    await sharp(black)
      .composite([
        { input: white, left: 0, top: 0 },
        { input: grey, left: 25, top: 0 },
      ])
      .jpeg({ quality: 100, chromaSubsampling: '4:4:4' })
      .toFile(file);
    const picture = await smallCopyOf(file, null);
    expect(picture.clipped.light).toBeCloseTo(0.25, 1);
    expect(picture.clipped.dark).toBeCloseTo(0.25, 1);
    expect((await sharp(picture.thumbnail).metadata()).format).toBe('jpeg');
  });

  it('are known by content, and what is not a JPEG has no small copy', async () => {
    const file = path.join(folder, 'frame.XXXX');
    await writeFile(file, await jpeg());
    const set = await SetFolder.create(path.join(folder, 'sets'), namedBy(new Date()));
    expect(await set.kindOf(file)).toBe('jpg');
    expect(await readPicture(file, 'dng')).toBeNull();
    await writeFile(file, 'words');
    expect(await set.kindOf(file)).toBeUndefined();
  });
});

describe('the set folder', () => {
  const at = namedBy(new Date(2026, 10, 25, 16, 42, 10));

  it('numbers frames, sets others aside, and overwrites nothing', async () => {
    const set = await SetFolder.create(path.join(folder, 'new', 'sets'), at);
    expect(path.basename(set.path)).toBe('set-20261125-164210');
    const arrive = async (name: string) => {
      const file = path.join(set.incoming, name);
      await writeFile(file, name);
      return file;
    };
    expect(await set.keep(await arrive('a'), '03_-1.33EV', 'jpg')).toBe('03_-1.33EV.jpg');
    expect(await set.keep(await arrive('b'), '03_-1.33EV', 'jpg')).toBe('03_-1.33EV_2.jpg');
    expect(await set.keep(await arrive('c'), '10_+2EV', 'dng')).toBe('10_+2EV.dng');
    expect(await set.keep(await arrive('d'), '05_0EV', 'jpg')).toBe('05_0EV.jpg');
    expect(await set.setAside(await arrive('e'), 3, undefined)).toBe(
      path.join('set-aside', 'frame-03.unknown'),
    );
    expect(await readFile(path.join(set.path, '03_-1.33EV.jpg'), 'utf8')).toBe('a');
    expect(await readdir(set.incoming)).toEqual([]);
  });

  it('a second set in the same second has its own folder', async () => {
    const first = await SetFolder.create(folder, at);
    const second = await SetFolder.create(folder, at);
    expect(path.basename(second.path)).toBe(`${path.basename(first.path)}-2`);
  });

  it('is removed where nothing was stored in it, and only there', async () => {
    const empty = await SetFolder.create(folder, at);
    expect(await empty.removeIfEmpty()).toBe(true);
    expect(await readdir(folder)).toEqual([]);
    const used = await SetFolder.create(folder, at);
    await writeFile(path.join(used.incoming, 'late'), 'late');
    expect(await used.removeIfEmpty()).toBe(false);
    expect(await readdir(used.path)).toEqual(['.incoming', '.reserve']);
  });

  it('where it cannot be: one sentence, nothing made', async () => {
    const file = path.join(folder, 'file');
    await writeFile(file, '');
    await expect(SetFolder.create(path.join(file, 'sets'), at)).rejects.toMatchObject({
      code: 'folder-not-writable',
    });
  });

  it('a file that is gone: storing-failed; a folder that vanished: set-folder-gone', async () => {
    const set = await SetFolder.create(folder, at);
    await expect(set.keep(path.join(set.incoming, 'never'), '01_0EV', 'jpg')).rejects.toMatchObject({
      code: 'storing-failed',
    });
    await rm(set.path, { recursive: true });
    await mkdir(folder, { recursive: true });
    await expect(set.keep(path.join(folder, 'x'), '01_0EV', 'jpg')).rejects.toMatchObject({
      code: 'set-folder-gone',
    });
  });
});
