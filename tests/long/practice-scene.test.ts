import { describe, expect, it, vi } from 'vitest';
import {
  BEAMS,
  inSlices,
  LAKE,
  lightAt,
  meteredTv,
  PICTURE,
  type Region,
  sceneMap,
  WALL_BOARDS,
} from '../../src/camera/practice/scene.js';
import { exposureValueOfLuminance, sixths, toEv } from '../../src/exposure/index.js';

// The first look at the map takes a second, or more on a busy machine.
vi.setConfig({ testTimeout: 30_000 });

const F8 = sixths(36);

async function luminances(region: Region): Promise<number[]> {
  const { luminance } = await sceneMap();
  const values: number[] = [];
  for (let row = region.top; row < region.top + region.height; row += 1) {
    const first = row * PICTURE.width + region.left;
    values.push(...luminance.subarray(first, first + region.width));
  }
  return values;
}

const meanEv = (values: readonly number[]): number =>
  values.reduce((sum, value) => sum + Math.log2(value), 0) / values.length;

describe('the scene of the practice body', () => {
  it('spans more than one frame holds: at least 12 EV from the beams to the lake', async () => {
    expect(meanEv(await luminances(LAKE)) - meanEv(await luminances(BEAMS))).toBeGreaterThan(12);
  });

  it('has its middle tones between the two', async () => {
    const boards = meanEv(await luminances(WALL_BOARDS));
    expect(boards).toBeGreaterThan(meanEv(await luminances(BEAMS)) + 4);
    expect(boards).toBeLessThan(meanEv(await luminances(LAKE)) - 4);
  });

  it('has light of a usable size everywhere, and a colour between lake and wood', async () => {
    const { luminance, warmth } = await sceneMap();
    expect(luminance).toHaveLength(PICTURE.width * PICTURE.height);
    expect(luminance.every((value) => value > 0.1 && value < 60_000)).toBe(true);
    expect(warmth.every((value) => value >= -1 && value <= 1)).toBe(true);
  });

  it('is mapped pixel by pixel from the formula', async () => {
    const { luminance } = await sceneMap();
    // Within the face of the near beam, where no edge is smoothed.
    for (const [column, row] of [[350, 80], [420, 70], [500, 100]] as const) // biome-ignore format: a table
      expect(luminance[row * PICTURE.width + column]).toBeCloseTo(
        lightAt((column + 0.5) / PICTURE.width, (row + 0.5) / PICTURE.height).luminance,
        4,
      );
  });

  it('is the same map for everyone', async () => {
    expect(await sceneMap()).toBe(await sceneMap());
  });
});

describe('a long work in slices', () => {
  it('does every piece once, in order, and lets others run between', async () => {
    const pieces: number[] = [];
    let turns = 0;
    let over = false;
    const count = () => {
      turns += 1;
      if (!over) setImmediate(count);
    };
    setImmediate(count);
    await inSlices(4, (piece) => {
      const until = performance.now() + 10;
      while (performance.now() < until);
      pieces.push(piece);
    });
    over = true;
    expect(pieces).toEqual([0, 1, 2, 3]);
    expect(turns).toBeGreaterThanOrEqual(3);
  });
});

describe('the meter of the practice body', () => {
  it('finds 1/60 s at f/8 and ISO 100', () => {
    expect(meteredTv(F8, 100)).toBe(36);
  });

  it('agrees with a meter of K = 12.5 over the whole map (ISO 2720), to its grid of a third', async () => {
    const { luminance } = await sceneMap();
    const { width, height } = PICTURE;
    let sum = 0;
    let weights = 0;
    for (let pixel = 0; pixel < luminance.length; pixel += 1) {
      const x = ((pixel % width) + 0.5 - width / 2) / height;
      const y = (Math.floor(pixel / width) + 0.5 - height / 2) / height;
      // The bell of the centre-weighted meter, 0.134 picture heights wide: invented, as the scene is.
      const weight = Math.exp(-(x * x + y * y) / (2 * 0.134 ** 2));
      sum += weight * exposureValueOfLuminance(luminance[pixel] ?? 0);
      weights += weight;
    }
    const ev = sum / weights;
    // Av 6 at f/8 (APEX): half a third of rounding, and a little for the coarser grid of the meter's cells.
    expect(Math.abs(toEv(meteredTv(F8, 100)) + 6 - ev)).toBeLessThan(1 / 6 + 0.02);
  });

  it('gives a stop of time for a stop of aperture or of sensitivity (APEX)', () => {
    expect(meteredTv(sixths(F8 - 6), 100)).toBe(42);
    expect(meteredTv(sixths(F8 + 6), 100)).toBe(30);
    expect(meteredTv(F8, 200)).toBe(42);
    expect(meteredTv(F8, 3200)).toBe(66);
  });

  it('stays on the third-stop grid, for nominal speeds too', () => {
    for (const iso of [100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250])
      for (let av = 18; av <= 54; av += 2) expect(Math.abs(meteredTv(sixths(av), iso) % 2)).toBe(0);
    expect(meteredTv(F8, 125)).toBe(38);
    expect(meteredTv(F8, 160)).toBe(40);
  });
});
