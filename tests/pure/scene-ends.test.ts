// How far the light of a scene reaches, told from a few frames of it: made up cell by cell, so that all of it is known.
import { describe, expect, it } from 'vitest';
import { levelOf, linearOf } from '../../shared/srgb.js';
import { type Copy, FLOOR, SHOULDER } from '../../src/light/copy.js';
import { heldAt, lostAt } from '../../src/light/ends/ends.js';
import { areOfOneLight } from '../../src/light/ends/in-step.js';
import { sceneOf } from '../../src/light/ends/scene.js';
import { endsOf } from '../../src/light/ends/tell.js';

const WIDTH = 120;
const HEIGHT = 80;
const COUNT = WIDTH * HEIGHT;

/** @param evInWords log2 of each cell's light over white at offset 0 */
const frame = (offsetEv: number, evInWords: (cell: number) => number, light = 0) => {
  const pixels = new Uint8Array(COUNT * 3);
  for (let cell = 0; cell < COUNT; cell += 1)
    pixels.fill(levelOf(2 ** (evInWords(cell) + offsetEv + light)), cell * 3, cell * 3 + 3);
  return { offsetEv, copy: { pixels, width: WIDTH, height: HEIGHT } satisfies Copy };
};
/** From -10 EV at the left to +4 EV at the right. */
const wedge = (cell: number): number => -10 + (14 * (cell % WIDTH)) / (WIDTH - 1);
const evTo = (level: number): number => Math.log2(linearOf(level / 255));

describe('the ends of a wedge from -10 to +4 EV', () => {
  const frames = [-6, -2, 2, 6].map((offset) => frame(offset, wedge));
  const scene = sceneOf(frames);

  it('are told to a tenth of an EV', () => {
    // One column of 120 is an area: the brightest one has to be on the shoulder, the darkest one on the floor.
    expect(heldAt(scene, 'highlights', -6)).toBeCloseTo(evTo(SHOULDER) - 4, 1);
    expect(heldAt(scene, 'shadows', 6)).toBeCloseTo(evTo(FLOOR) + 10, 1);
  });

  it('what a frame would lose is what it does lose', () => {
    for (const offset of [-5, -3, 0, 3, 5]) {
      const own = sceneOf([frame(offset, wedge)]);
      for (const end of ['highlights', 'shadows'] as const)
        expect(lostAt(scene, end, offset).share).toBeCloseTo(lostAt(own, end, offset).share, 1);
    }
  });

  it('are not known where no frame reaches them', () => {
    const ends = endsOf([frame(0, wedge), frame(2, wedge)], { highlights: [], shadows: [] });
    expect([ends.highlights.heldAt, ends.shadows.heldAt]).toEqual([null, null]);
    expect(ends.highlights.lost.share).toBeCloseTo((4 - evTo(SHOULDER)) / 14, 1);
  });
});

describe('what is small', () => {
  const lampAt = (size: number) => (cell: number) => (cell < size ? 8 : -2);

  it('does not count, and is told beside', () => {
    const ends = endsOf([frame(0, lampAt(4)), frame(-4, lampAt(4))], { highlights: [-1], shadows: [-1] });
    // The rest is on the shoulder 2 EV brighter.
    expect(ends.highlights.heldAt).toBeCloseTo(2 + evTo(SHOULDER), 1);
    expect(ends.highlights.at[0]).toEqual({ share: 0, small: { count: 1, share: 4 / COUNT } });
    expect(ends.whiteParts).toBe(1);
  });

  it('counts if it is larger than a thousandth of the picture', () => {
    const ends = endsOf([frame(0, lampAt(30)), frame(-4, lampAt(30))], { highlights: [], shadows: [] });
    expect(ends.highlights.heldAt).toBeNull();
  });

  it('is not made larger by its edge, which is part white and gets no whiter', () => {
    const [size, share] = [3, 0.45];
    const isIn = (cell: number, by: number) => {
      const [x, y] = [(cell % WIDTH) - 40, Math.floor(cell / WIDTH) - 30];
      return x >= -by && y >= -by && x < size + by && y < size + by;
    };
    const picture = (offsetEv: number) => {
      const rest = levelOf(2 ** (-2 + offsetEv));
      const pixels = new Uint8Array(COUNT * 3);
      for (let cell = 0; cell < COUNT; cell += 1) {
        const level = isIn(cell, 0)
          ? 255
          : isIn(cell, 1)
            ? Math.round(255 * share + (1 - share) * rest)
            : rest;
        pixels.fill(level, cell * 3, cell * 3 + 3);
      }
      return { offsetEv, copy: { pixels, width: WIDTH, height: HEIGHT } };
    };
    // With its edge it is larger than a thousandth: the edge is on the shoulder where (240 - 255 w) / (1 - w) is the level of the rest.
    const onShoulder = 2 + evTo((SHOULDER - 255 * share) / (1 - share));
    for (const offset of [0, 0.5, 1])
      expect(heldAt(sceneOf([picture(offset)]), 'highlights', offset)).toBeCloseTo(onShoulder, 1);
  });

  it('and a pixel or two that is white is no part', () => {
    expect(endsOf([frame(0, lampAt(2))], { highlights: [], shadows: [] }).whiteParts).toBe(0);
  });
});

describe('frames of one light', () => {
  it.each([
    [0, true],
    [0.3, true],
    [2.5, false],
    [-2.5, false],
  ])('the light changed by %d EV between two frames 3 EV apart: %s', (moved, isOne) => {
    expect(areOfOneLight([frame(-1, wedge), frame(2, wedge, moved)])).toBe(isOne);
  });

  it('nothing is said of frames that share nothing', () => {
    expect(areOfOneLight([frame(-20, wedge), frame(14, wedge)])).toBe(true);
  });
});

it('no frame, or frames of different shapes, are nobody’s scene', () => {
  expect(() => sceneOf([])).toThrow(RangeError);
  const other = { offsetEv: 1, copy: { pixels: new Uint8Array(12), width: 2, height: 2 } };
  expect(() => sceneOf([frame(0, wedge), other])).toThrow(RangeError);
});
