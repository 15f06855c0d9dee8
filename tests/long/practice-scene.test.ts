import { afterEach, describe, expect, it, vi } from 'vitest';
import { AT_ONCE, PracticeBody, type PracticeOptions } from '../../src/camera/practice/model.js';
import { openPracticeLink } from '../../src/camera/practice/practice-link.js';
import {
  BEAMS,
  inSlices,
  LAKE,
  lightAt,
  meteredTv,
  PICTURE,
  PICTURES,
  type Region,
  sceneMap,
  WALL_BOARDS,
} from '../../src/camera/practice/scene.js';
import { PRACTICE_SCENES, type PracticeScene, STILL } from '../../src/camera/practice/view.js';
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

describe('the other scenes of the practice body', () => {
  const spanOf = async (scene: PracticeScene): Promise<{ span: number; brightest: number }> => {
    const { luminance } = await sceneMap('small', { ...STILL, scene });
    const sorted = luminance.toSorted();
    const at = (share: number) => sorted[Math.floor(share * (sorted.length - 1))] as number;
    return { span: Math.log2(at(0.995) / at(0.005)), brightest: at(1) };
  };

  it('span less in fog and by day than at dusk', async () => {
    const [dusk, day, flat] = await Promise.all((['dusk', 'day', 'flat'] as const).map(spanOf));
    expect(flat?.span).toBeLessThan(6);
    expect(day?.span).toBeLessThan((dusk?.span ?? 0) - 1);
  });

  it('have light and colour of a usable size, and a metered exposure within the shutter', async () => {
    for (const scene of PRACTICE_SCENES) {
      const { luminance, warmth } = await sceneMap('small', { ...STILL, scene });
      // What the drawn scene can hold: 18 EV about, less what a tint adds.
      expect(luminance.every((value) => value > 0.02 && value < 140_000)).toBe(true);
      expect(warmth.every((value) => value >= -1 && value <= 1)).toBe(true);
      // From 30 s to 1/8000 s.
      expect(meteredTv(F8, 100, scene)).toBeGreaterThan(-30);
      expect(meteredTv(F8, 100, scene)).toBeLessThan(78);
    }
  });

  it('are each a scene of its own', async () => {
    const maps = await Promise.all(PRACTICE_SCENES.map((scene) => sceneMap('full', { ...STILL, scene })));
    const sums = maps.map(({ luminance }) => luminance.reduce((sum, value) => sum + value, 0));
    expect(new Set(sums).size).toBe(PRACTICE_SCENES.length);
  });
});

describe('a practice body', () => {
  afterEach(() => vi.unstubAllEnvs());

  it('is pointed at the scene that the environment names, and at no other', () => {
    vi.stubEnv('EVENRUNG_PRACTICE_SCENE', 'moon');
    expect(() => openPracticeLink()).toThrow(
      "The practice camera has no scene 'moon': EVENRUNG_PRACTICE_SCENE takes dusk, day, lamp, flat, spot.",
    );
  });

  it('may have a view of its own for each frame', async () => {
    const views = [STILL, { ...STILL, right: 12 }, STILL];
    const now = () => new Date(1_000_000);
    const filesOf = async (view: PracticeOptions['view']) => {
      const body = new PracticeBody({ ...AT_ONCE, view, now });
      const files: Buffer[] = [];
      for (let frame = 0; frame < 3; frame += 1) {
        const [file] = await body.release();
        if (file === undefined) throw new Error('There is no file.');
        files.push(file.content);
      }
      return files;
    };
    const [still, moved] = [await filesOf(STILL), await filesOf((frame) => views[frame] ?? STILL)];
    expect(moved.map((file, index) => file.equals(still[index] ?? Buffer.alloc(0)))).toEqual([
      true,
      false,
      true,
    ]);
  });
});

describe('a view that has moved', () => {
  it('shows everything further right and down by as much', async () => {
    const still = await sceneMap('full');
    const moved = await sceneMap('full', { ...STILL, right: 8, down: 3 });
    const { width, height } = PICTURE;
    for (const [column, row] of [[200, 300], [640, 480], [900, 700]] as const) // biome-ignore format: a table
      expect(moved.luminance[(row + 3) * width + column + 8]).toBeCloseTo(
        still.luminance[row * width + column] as number,
        3,
      );
    expect(moved.luminance).toHaveLength(width * height);
  });

  it('drifts nothing but the boat and what mirrors it', async () => {
    const still = await sceneMap('small');
    const moved = await sceneMap('small', { ...STILL, drift: 0.1 });
    const { width } = PICTURES.small;
    const changed = [...still.luminance.keys()].filter(
      (at) => still.luminance[at] !== moved.luminance[at] || still.warmth[at] !== moved.warmth[at],
    );
    expect(changed.length).toBeGreaterThan(100);
    // The boat lies in the middle half of the picture.
    expect(changed.every((at) => at % width > width * 0.25 && at % width < width * 0.75)).toBe(true);
  });

  it('keeps the light, and loses the edges, out of focus', async () => {
    const [still, soft] = await Promise.all([sceneMap('small'), sceneMap('small', { ...STILL, defocus: 6 })]);
    const sum = (map: Float32Array) => map.reduce((all, value) => all + value, 0);
    const roughness = (map: Float32Array) =>
      map.reduce((all, value, at) => all + Math.abs(value - (map[at + 1] ?? value)), 0);
    expect(sum(soft.luminance) / sum(still.luminance)).toBeCloseTo(1, 2);
    expect(roughness(soft.luminance)).toBeLessThan(roughness(still.luminance) * 0.8);
  });
});
