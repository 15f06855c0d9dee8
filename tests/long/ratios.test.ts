import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { sixths } from '../../shared/ev.js';
import { renderFrame } from '../../src/camera/practice/render.js';
import {
  compareLight,
  type LightGrid,
  type LitFrame,
  lightRatio,
  readPicture,
} from '../../src/frames/index.js';
import { PACED, pace } from '../pace.js';

/** The practice body's base: 1/60 s, f/8. */
const BASE_TV = 36;

let folder = '';
/** By offset in sixths: whole EV from -6 to 6, and thirds about the base. */
const jpegs = new Map<number, Buffer>();
const grids = new Map<number, LightGrid>();

beforeAll(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  const whole = Array.from({ length: 13 }, (_, index) => (index - 6) * 6);
  for (const offset of [...whole, -4, -2, 2, 4]) {
    const jpeg = await renderFrame({
      tv: sixths(BASE_TV - offset),
      av: sixths(36),
      iso: 100,
      biasSixths: sixths(0),
      takenAt: new Date(1_000_000 + offset),
      model: 'Practice',
      serial: '1',
      manual: true,
    });
    jpegs.set(offset, jpeg);
    grids.set(offset, await gridOf(jpeg));
  }
});
afterAll(async () => {
  await rm(folder, { recursive: true, force: true });
});

async function gridOf(jpeg: Buffer): Promise<LightGrid> {
  const file = path.join(folder, 'frame.jpg');
  await writeFile(file, jpeg);
  const picture = await readPicture(file, 'jpg');
  if (picture === null) throw new Error('There is no small copy.');
  return picture.light;
}

/** Another tone curve over the picture, on its 8-bit levels. */
async function bent(jpeg: Buffer, curve: (share: number) => number): Promise<Buffer> {
  const { data, info } = await sharp(jpeg).resize(480).raw().toBuffer({ resolveWithObject: true });
  const table = Uint8Array.from({ length: 256 }, (_, level) => Math.round(255 * curve(level / 255)));
  const pixels = data.map((level) => table[level] as number);
  const { width, height, channels } = info;
  return sharp(pixels, { raw: { width, height, channels } }).jpeg({ quality: 90 }).toBuffer();
}

/** @param changes light of another offset in sixths at an offset, or none */
function setOf(
  offsets: readonly number[],
  changes: Readonly<Record<number, number | null>> = {},
): LitFrame[] {
  return offsets.map((offset, index) => {
    const from = offset in changes ? changes[offset] : offset;
    return {
      number: index + 1,
      offsetEv: offset / 6,
      light: from === null || from === undefined ? null : (grids.get(from) ?? null),
    };
  });
}

const range = (from: number, to: number, step: number): number[] =>
  Array.from({ length: Math.floor((to - from) / step) + 1 }, (_, index) => from + index * step);

const marked = (frames: readonly LitFrame[]) =>
  compareLight(frames)
    .ratios.filter(({ mark }) => mark)
    .map(({ darker, lighter }) => `${darker}-${lighter}`);

describe('the light of neighbouring frames', () => {
  it.each([
    [1 / 3, range(-6, 6, 2)],
    [2 / 3, range(-4, 4, 4)],
    [1, range(-36, 36, 6)],
    [2, range(-36, 36, 12)],
    [3, range(-36, 36, 18)],
  ])('differs by the step of %s EV, over the whole span', (step, offsets) => {
    const { ratios, suspects } = compareLight(setOf(offsets));
    expect(ratios).toHaveLength(offsets.length - 1);
    for (const { ev, expected, mark } of ratios) {
      expect(expected).toBeCloseTo(step, 5);
      // The figure that the head of ratios.ts gives.
      expect(Math.abs((ev ?? Number.NaN) - step)).toBeLessThan(0.02);
      expect(mark).toBe(false);
    }
    expect(suspects).toEqual([]);
  });

  // Curves of our own: contrast about the middle, a long shoulder, and a flat one; on sRGB shares.
  it.each([
    ['contrast', (share: number) => share ** 2 * (3 - 2 * share)],
    ['shoulder', (share: number) => (1.5 * share) / (share + 0.5)],
    ['flat', (share: number) => share ** 0.8],
  ])(
    'a tone curve (%s) bends the steps and brings no mark; a frame that is 1 EV off still does',
    async (_, curve) => {
      const offsets = range(-18, 18, 6);
      const frames: LitFrame[] = [];
      for (const [index, offset] of offsets.entries()) {
        const light = await gridOf(await bent(jpegs.get(offset) as Buffer, curve));
        frames.push({ number: index + 1, offsetEv: offset / 6, light });
      }
      expect(marked(frames)).toEqual([]);
      const wrong = frames.with(3, { ...(frames[3] as LitFrame), light: frames[2]?.light ?? null });
      expect(marked(wrong)).toEqual(['3-4', '4-5']);
      expect(compareLight(wrong).suspects).toEqual([4]);
      // Three frames give two pairs, which do not tell how far the curve bends.
      expect(marked(frames.slice(2, 5))).toEqual([]);
    },
  );

  it('the worst of the curves bends pairs of 1 EV alike to within a quarter EV', async () => {
    const linear = (share: number) => (share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4);
    const level = (light: number) =>
      light <= 0.0031308 ? 12.92 * light : 1.055 * light ** (1 / 2.4) - 0.055;
    /** A hill in the contrast: steep in the middle, a toe and a shoulder. */
    const hill = (share: number) => {
      const light = linear(share) ** 1.6;
      const toe = 0.25 ** 1.6;
      return level(Math.min(1, (light / (light + toe)) * (1 + toe)));
    };
    const frames: LitFrame[] = [];
    for (const [index, offset] of range(-36, 36, 6).entries())
      frames.push({
        number: index + 1,
        offsetEv: offset / 6,
        light: await gridOf(await bent(jpegs.get(offset) as Buffer, hill)),
      });
    const steps = compareLight(frames).ratios.map(({ ev }) => ev ?? Number.NaN);
    const middle = steps.toSorted((a, b) => a - b)[6] as number;
    expect(Math.max(...steps.map((ev) => Math.abs(ev - middle)))).toBeLessThan(0.25);
    expect(marked(frames)).toEqual([]);
  });

  it.each([6, 12, 18])(
    'a frame that is 1 EV dark is marked on both sides, and named (steps of %s sixths)',
    (step) => {
      const frames = setOf(range(-36, 36, step), { 0: -6 });
      const middle = frames.findIndex(({ offsetEv }) => offsetEv === 0) + 1;
      expect(marked(frames)).toEqual([`${middle - 1}-${middle}`, `${middle}-${middle + 1}`]);
      expect(compareLight(frames).suspects).toEqual([middle]);
    },
  );

  it('at an end too', () => {
    const offsets = range(-24, 24, 6);
    const darkest = compareLight(setOf(offsets, { [-24]: -18 }));
    expect(darkest.ratios.map(({ mark }) => mark).indexOf(true)).toBe(0);
    expect(darkest.suspects).toEqual([1]);
    expect(compareLight(setOf(offsets, { 24: 18 })).suspects).toEqual([9]);
  });

  it('two frames that changed places are both named', () => {
    const frames = setOf(range(-24, 24, 6), { [-12]: 12, 12: -12 });
    expect(compareLight(frames).suspects).toEqual([3, 7]);
    expect(marked(frames)).toEqual(['2-3', '3-4', '6-7', '7-8']);
  });

  it('light that changed from one frame on is marked there, and no frame is blamed', () => {
    const frames = setOf(range(-24, 24, 6), { 0: -6, 6: 0, 12: 6, 18: 12, 24: 18 });
    expect(marked(frames)).toEqual(['4-5']);
    expect(compareLight(frames).suspects).toEqual([]);
  });

  it('what cannot be compared is null, and never a mark', () => {
    const frames = setOf(range(-12, 12, 6), { 0: null });
    expect(compareLight(frames).ratios.map(({ ev }) => ev === null)).toEqual([false, true, true, false]);
    expect(marked(frames)).toEqual([]);
    const dark: LightGrid = { width: 64, height: 43, cells: new Float32Array(64 * 43).fill(Number.NaN) };
    expect(lightRatio(dark, grids.get(0) as LightGrid)).toBeNull();
    expect(lightRatio({ width: 2, height: 2, cells: Float32Array.of(0.1, 0.1, 0.1, 0.1) }, dark)).toBeNull();
    expect(compareLight([])).toEqual({ ratios: [], suspects: [], off: [] });
    expect(compareLight(setOf([0]))).toEqual({ ratios: [], suspects: [], off: [] });
  });

  it('takes time that nobody notices', PACED, () => {
    const frames = setOf(range(-36, 36, 6));
    const since = performance.now();
    expect(compareLight(frames).ratios).toHaveLength(frames.length - 1);
    pace('light of neighbours', performance.now() - since, 'ms', 500);
  });
});
