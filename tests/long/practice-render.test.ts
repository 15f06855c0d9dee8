import path from 'node:path';
import ExifReader from 'exifreader';
import sharp from 'sharp';
import { afterEach, describe, expect, it, vi } from 'vitest';
import { sixths } from '../../shared/ev.js';
import { keptScene } from '../../src/camera/practice/drawn-scene.js';
import { drawScene, type FrameToRender, renderFrame } from '../../src/camera/practice/render.js';
import {
  BEAMS,
  LAKE,
  PICTURE,
  PICTURES,
  type Region,
  sceneMap,
  WALL_BOARDS,
} from '../../src/camera/practice/scene.js';

// Some tests render dozens of frames, and the machine may be busy.
vi.setConfig({ testTimeout: 60_000 });

const BASE: FrameToRender = {
  tv: sixths(36),
  av: sixths(36),
  iso: 100,
  biasSixths: sixths(0),
  takenAt: new Date('2031-02-03T04:05:06.078Z'),
  model: 'Practice body',
  serial: 'PB-0007',
  manual: true,
};

/** A picture, decoded. */
interface Picture {
  /** Red, green, blue of every pixel. */
  readonly levels: Buffer;
  /** Luminance as a share of white, pixel by pixel. */
  readonly linear: Float64Array;
}

async function render(changes: Partial<FrameToRender> = {}): Promise<Picture> {
  const { data, info } = await sharp(await renderFrame({ ...BASE, ...changes }))
    .raw()
    .toBuffer({ resolveWithObject: true });
  expect(info).toMatchObject({ ...PICTURE, channels: 3 });
  const linear = new Float64Array(PICTURE.width * PICTURE.height);
  for (let pixel = 0; pixel < linear.length; pixel += 1) {
    const channel = (index: number) => LINEAR[data[pixel * 3 + index] ?? 0] ?? 0;
    linear[pixel] = 0.2126 * channel(0) + 0.7152 * channel(1) + 0.0722 * channel(2);
  }
  return { levels: data, linear };
}

/** The sRGB curve (IEC 61966-2-1), back from a level to a share of white. */
function linearOf(level: number): number {
  const share = level / 255;
  return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
}

const LINEAR = Float64Array.from({ length: 256 }, (_, level) => linearOf(level));

function pixelsOf(region: Region): number[] {
  const pixels: number[] = [];
  for (let row = region.top; row < region.top + region.height; row += 1)
    for (let column = region.left; column < region.left + region.width; column += 1)
      pixels.push(row * PICTURE.width + column);
  return pixels;
}

const mean = (values: readonly number[]): number =>
  values.reduce((sum, value) => sum + value, 0) / values.length;

const meanLinear = ({ linear }: Picture, pixels: readonly number[]): number =>
  mean(pixels.map((pixel) => linear[pixel] ?? 0));

const levelsOf = ({ levels }: Picture, pixels: readonly number[]): number[] =>
  pixels.flatMap((pixel) => [...levels.subarray(pixel * 3, pixel * 3 + 3)]);

/** A frame holds a patch that is clipped nowhere and well above the black. */
function holds(picture: Picture, pixels: readonly number[]): boolean {
  const levels = levelsOf(picture, pixels);
  return Math.max(...levels) < 250 && mean(levels) > 25;
}

/** Noise, from two pictures of the same thing: half the mean square of their difference. */
function noiseOf(one: Picture, other: Picture, pixels: readonly number[]): number {
  const squares = pixels.map((pixel) => ((one.linear[pixel] ?? 0) - (other.linear[pixel] ?? 0)) ** 2);
  return Math.sqrt(mean(squares) / 2);
}

const SAME_EXPOSURES: readonly Partial<FrameToRender>[] = [
  { tv: sixths(42), av: sixths(30) },
  { tv: sixths(38), av: sixths(34) },
  { tv: sixths(42), iso: 200 },
  { tv: sixths(54), iso: 800 },
];
const later = new Date(BASE.takenAt.getTime() + 1000);

describe('the light of a frame', () => {
  // Debevec and Malik, "Recovering High Dynamic Range Radiance Maps from Photographs", SIGGRAPH 1997: pixel exposure over
  // shutter time is the same from every frame that holds the patch. The absolute value follows from ISO 2720, K = 12.5:
  // what is metered, L = K N^2 / (t S), lies at 18 % of white.
  it.each([
    ['beams', BEAMS, [30, 36, 42, 48, 54, 60]],
    ['boards', WALL_BOARDS, [-6, 0, 6, 12, 18]],
    ['lake', LAKE, [-42, -36, -30, -24]],
  ] as const)(
    'gives the same luminance of the %s from every frame that holds them',
    async (_, region, offsets) => {
      const pixels = pixelsOf(region);
      const { luminance: map } = await sceneMap();
      const truth = mean(pixels.map((pixel) => map[pixel] ?? 0));
      for (const offset of offsets) {
        const picture = await render({ tv: sixths(BASE.tv - offset) });
        expect(holds(picture, pixels)).toBe(true);
        const seconds = 2 ** ((offset - BASE.tv) / 6);
        const luminance = ((meanLinear(picture, pixels) / 0.18) * 12.5 * 8 ** 2) / (seconds * 100);
        expect(luminance / truth).toBeGreaterThan(0.98);
        expect(luminance / truth).toBeLessThan(1.02);
      }
    },
  );

  it('puts what is metered at level 118, 18 % on the sRGB curve', async () => {
    const { luminance } = await sceneMap();
    const picture = await render();
    // EV 12 at ISO 100 (ISO 2720).
    const grey = (12.5 * 2 ** 12) / 100;
    const pixels = [...luminance.keys()].filter(
      (pixel) => Math.abs((luminance[pixel] ?? 0) / grey - 1) < 0.1,
    );
    expect(pixels.length).toBeGreaterThan(1000);
    const linear = meanLinear(picture, pixels);
    expect(linear).toBeGreaterThan(linearOf(114));
    expect(linear).toBeLessThan(linearOf(122));
  });

  it('is the same for the same product of time, aperture and sensitivity', async () => {
    const pixels = pixelsOf(WALL_BOARDS);
    const base = meanLinear(await render(), pixels);
    for (const same of SAME_EXPOSURES)
      expect(Math.abs(meanLinear(await render(same), pixels) / base - 1)).toBeLessThan(0.02);
  });

  it('needs the whole bracket: black beams and a white lake at the base, each held at one end', async () => {
    const [beams, lake] = [pixelsOf(BEAMS), pixelsOf(LAKE)];
    const base = await render();
    expect(mean(levelsOf(base, beams))).toBeLessThan(3);
    expect(mean(levelsOf(base, lake))).toBeGreaterThan(250);
    expect(Math.max(...levelsOf(await render({ tv: sixths(60) }), lake))).toBeLessThan(255);
    expect(mean(levelsOf(await render({ tv: sixths(12) }), beams))).toBeGreaterThan(12);
  });
});

describe('the noise of a frame', () => {
  it('falls with light, beside the signal (Hasinoff, Durand and Freeman, CVPR 2010)', async () => {
    const pixels = pixelsOf(WALL_BOARDS);
    const relative: number[] = [];
    for (const tv of [48, 36, 24].map(sixths)) {
      const one = await render({ tv });
      relative.push(noiseOf(one, await render({ tv, takenAt: later }), pixels) / meanLinear(one, pixels));
    }
    const [dark = 0, middle = 0, light = 0] = relative;
    expect(light).toBeGreaterThan(0);
    expect(middle).toBeGreaterThan(light * 1.4);
    expect(dark).toBeGreaterThan(middle * 1.4);
  });

  it('grows with sensitivity', async () => {
    const pixels = pixelsOf(WALL_BOARDS);
    const low = noiseOf(await render(), await render({ takenAt: later }), pixels);
    const fast = { tv: sixths(66), iso: 3200 };
    expect(noiseOf(await render(fast), await render({ ...fast, takenAt: later }), pixels)).toBeGreaterThan(
      2 * low,
    );
  });

  it('is the same for the same frame, byte by byte, and another a second later', async () => {
    const bytes = await renderFrame(BASE);
    expect((await renderFrame({ ...BASE })).equals(bytes)).toBe(true);
    const { levels } = await render();
    expect((await render({ takenAt: later })).levels.equals(levels)).toBe(false);
  });
});

// Types of values (Exif 2.32, CIPA DC-008-2019, 4.6.2, from memory; confirmed with an independent reader).
const ASCII = 2;
const SHORT = 3;
const RATIONAL = 5;
const SRATIONAL = 10;

/** Type and count of every tag of the first and the Exif directory (TIFF 6.0, little or big endian). */
function typesIn(jpeg: Buffer): Map<number, { type: number; count: number }> {
  const start = jpeg.indexOf('Exif\0\0', 0, 'latin1') + 6;
  const little = jpeg.toString('latin1', start, start + 2) === 'II';
  const short = (at: number) => (little ? jpeg.readUInt16LE(start + at) : jpeg.readUInt16BE(start + at));
  const long = (at: number) => (little ? jpeg.readUInt32LE(start + at) : jpeg.readUInt32BE(start + at));
  const types = new Map<number, { type: number; count: number }>();
  const read = (directory: number) => {
    for (let entry = 0; entry < short(directory); entry += 1) {
      const at = directory + 2 + entry * 12;
      types.set(short(at), { type: short(at + 2), count: long(at + 4) });
      if (short(at) === 0x8769) read(long(at + 8));
    }
  };
  read(long(4));
  return types;
}

const EXPOSURE_TIMES =
  '30/1 25/1 20/1 15/1 13/1 10/1 8/1 6/1 5/1 4/1 32/10 25/10 2/1 16/10 13/10 1/1 8/10 6/10 5/10 4/10 3/10 1/4 1/5 1/6 1/8 ' +
  '1/10 1/13 1/15 1/20 1/25 1/30 1/40 1/50 1/60 1/80 1/100 1/125 1/160 1/200 1/250 1/320 1/400 1/500 1/640 1/800 1/1000 ' +
  '1/1250 1/1600 1/2000 1/2500 1/3200 1/4000 1/5000 1/6400 1/8000';
const F_NUMBERS: readonly (readonly [number, readonly [number, number]])[] = [
  [18, [28, 10]], [20, [32, 10]], [24, [4, 1]], [30, [56, 10]], [34, [71, 10]], [36, [8, 1]], [42, [11, 1]], [54, [22, 1]],
]; // biome-ignore format: a table
const BIASES: readonly (readonly [number, readonly [number, number]])[] = [
  [0, [0, 1]], [6, [1, 1]], [-8, [-4, 3]], [2, [1, 3]], [-3, [-1, 2]], [-24, [-4, 1]], [5, [5, 6]],
]; // biome-ignore format: a table

async function tagsOf(changes: Partial<FrameToRender> = {}) {
  const jpeg = await renderFrame({ ...BASE, ...changes });
  return { tags: ExifReader.load(jpeg), types: typesIn(jpeg) };
}

describe('the Exif of a frame', () => {
  afterEach(() => {
    vi.unstubAllEnvs();
  });

  it('records the nominal time of every third stop from 30 s to 1/8000 s as a rational', async () => {
    const written: string[] = [];
    for (let tv = -30; tv <= 78; tv += 2) {
      const { tags, types } = await tagsOf({ tv: sixths(tv) });
      expect(types.get(0x829a)).toEqual({ type: RATIONAL, count: 1 });
      const value = tags.ExposureTime?.value;
      written.push(Array.isArray(value) ? value.join('/') : String(value));
    }
    expect(written.join(' ')).toBe(EXPOSURE_TIMES);
  });

  it.each(F_NUMBERS)('records the nominal f-number of Av %d/6', async (av, value) => {
    const { tags, types } = await tagsOf({ av: sixths(av) });
    expect(types.get(0x829d)).toEqual({ type: RATIONAL, count: 1 });
    expect(tags.FNumber?.value).toEqual(value);
  });

  it.each(BIASES)('records a bias of %d/6 EV, signed and exact', async (biasSixths, value) => {
    const { tags, types } = await tagsOf({ biasSixths: sixths(biasSixths) });
    expect(types.get(0x9204)).toEqual({ type: SRATIONAL, count: 1 });
    expect(tags.ExposureBiasValue?.value).toEqual(value);
  });

  it.each([100, 125, 3200])('records ISO %d', async (iso) => {
    const { tags, types } = await tagsOf({ iso });
    expect(types.get(0x8827)).toEqual({ type: SHORT, count: 1 });
    expect(tags.ISOSpeedRatings?.value).toBe(iso);
  });

  // Exif 2.32, 4.6.5, from memory: ExposureProgram 1 manual, 3 aperture priority; ExposureMode 0 auto, 1 manual, 2 auto bracket.
  it.each([
    ['manual', {}, 1, 1],
    ['manual, a bracket off its centre', { biasSixths: sixths(6) }, 1, 2],
    ['manual, the centre of a bracket', { bracketed: true }, 1, 2],
    ['aperture priority', { manual: false }, 3, 0],
    ['aperture priority, compensated', { manual: false, biasSixths: sixths(6) }, 3, 0],
    ['aperture priority, bracketed', { manual: false, biasSixths: sixths(6), bracketed: true }, 3, 2],
  ] as const)('records program and mode: %s', async (_, changes, program, mode) => {
    const { tags, types } = await tagsOf(changes);
    expect(types.get(0x8822)).toEqual({ type: SHORT, count: 1 });
    expect(types.get(0xa402)).toEqual({ type: SHORT, count: 1 });
    expect(tags.ExposureProgram?.value).toBe(program);
    expect(tags.ExposureMode?.value).toBe(mode);
  });

  it.each([
    ['UTC', '+00:00', '2031:02:03 04:05:06'],
    ['Asia/Kolkata', '+05:30', '2031:02:03 09:35:06'],
    ['America/St_Johns', '-03:30', '2031:02:03 00:35:06'],
  ])('records when it was taken, to the millisecond, in the zone %s', async (zone, offset, local) => {
    vi.stubEnv('TZ', zone);
    const { tags, types } = await tagsOf();
    expect(types.get(0x9003)).toEqual({ type: ASCII, count: 20 });
    expect(tags.DateTimeOriginal?.value).toEqual([local]);
    expect(types.get(0x9011)).toEqual({ type: ASCII, count: 7 });
    expect(tags.OffsetTimeOriginal?.value).toEqual([offset]);
    expect(types.get(0x9291)?.type).toBe(ASCII);
    expect(tags.SubSecTimeOriginal?.value).toEqual(['078']);
  });

  it('says what took it, and that the scene is invented', async () => {
    const { tags, types } = await tagsOf({ model: 'Some model', serial: 'X 1' });
    expect(tags.Model?.value).toEqual(['Some model']);
    expect(tags.Make?.value).toEqual(['Evenrung']);
    expect(tags.BodySerialNumber?.value).toEqual(['X 1']);
    expect(tags.ImageDescription?.value).toEqual(['Practice picture of an invented scene']);
    // The zone and the serial number came with later versions than the one that the writer declares.
    expect(tags.ExifVersion?.description).toBe('0232');
    for (const tag of [0x010e, 0x010f, 0x0110, 0xa431]) expect(types.get(tag)?.type).toBe(ASCII);
  });

  it('refuses a time or an aperture that is on no third-stop scale', async () => {
    await expect(renderFrame({ ...BASE, tv: sixths(37) })).rejects.toThrow(RangeError);
    await expect(renderFrame({ ...BASE, av: sixths(35) })).rejects.toThrow(RangeError);
  });
});

describe('a small picture', () => {
  const lightOf = async (changes: Partial<FrameToRender>): Promise<number> => {
    const levels = await sharp(await renderFrame({ ...BASE, ...changes }))
      .raw()
      .toBuffer();
    return mean([...levels].map((level) => LINEAR[level] ?? 0));
  };

  it('has the size that it says, and the Exif of the full one', async () => {
    const small = await renderFrame({ ...BASE, picture: 'small' });
    expect(await sharp(small).metadata()).toMatchObject(PICTURES.small);
    const { tags } = await tagsOf({ picture: 'small' });
    expect(tags.ExposureTime).toEqual((await tagsOf({})).tags.ExposureTime);
  });

  it.each([24, 36, 48].map(sixths))('has the light of the full one, at Tv %d', async (tv) => {
    const ratio = (await lightOf({ tv, picture: 'small' })) / (await lightOf({ tv }));
    expect(ratio).toBeGreaterThan(0.97);
    expect(ratio).toBeLessThan(1.03);
  });
});

describe('the scene that the build has drawn', () => {
  const folder = path.resolve('dist/program');
  const bytes = (of: ArrayBufferView) => Buffer.from(of.buffer, of.byteOffset, of.byteLength);

  it.each(['full', 'small'] as const)('is what would be drawn now: %s', async (picture) => {
    const { codes, noise } = await drawScene(picture);
    const kept = await keptScene(picture, codes.length, noise.length, folder);
    if (kept === null) throw new Error('None is kept.');
    expect(bytes(kept.codes).equals(bytes(codes))).toBe(true);
    expect(bytes(kept.noise).equals(bytes(noise))).toBe(true);
  });

  it('is drawn anew where it is not there, or cut short', async () => {
    expect(await keptScene('full', 1, 1, path.join(folder, 'not-there'))).toBeNull();
    expect(await keptScene('full', 1, 1, folder)).toBeNull();
  });
});
