// Whether neighbouring frames differ in light as their offsets say, on invented grids of cells; with pictures of the practice body it is
// tried in tests/long/ratios.test.ts. sRGB as in IEC 61966-2-1.
import { describe, expect, it } from 'vitest';
import { compareLight, type LightGrid, type LitFrame, lightRatio } from '../../src/frames/index.js';

/** Linear light of a level of sRGB, 0 to 1. */
const linear = (level: number) => (level <= 0.04045 ? level / 12.92 : ((level + 0.055) / 1.055) ** 2.4);
const grid = (cells: readonly number[], width = cells.length): LightGrid => ({
  ...{ width, height: cells.length / width },
  cells: Float32Array.from(cells),
});
const flat = (light: number, count = 40) => grid(Array<number>(count).fill(light));
const MIDDLE = linear(0.5);

describe('two grids', () => {
  it('differ by the EV of their cells', () => {
    expect(lightRatio(flat(0.2), flat(0.4))).toBeCloseTo(1, 5);
    expect(lightRatio(flat(0.4), flat(0.1))).toBeCloseTo(-2, 5);
  });

  it('of other sizes are not compared', () => {
    const cells = Array<number>(64).fill(0.2);
    expect(lightRatio(grid(cells, 8), grid(cells, 8))).toBeCloseTo(0, 9);
    expect(lightRatio(grid(cells, 8), grid(cells, 16))).toBeNull();
    // The one is as wide, the other as high.
    expect(lightRatio(grid(cells, 8), grid(cells.slice(8), 8))).toBeNull();
    expect(lightRatio(grid(cells, 8), grid(cells.slice(0, 56), 7))).toBeNull();
  });

  it('take thirty cells that both can tell: 29 tell nothing', () => {
    expect(lightRatio(flat(0.2, 30), flat(0.4, 30))).toBeCloseTo(1, 5);
    expect(lightRatio(flat(0.2, 29), flat(0.4, 29))).toBeNull();
    const some = (count: number) =>
      grid([...Array<number>(count).fill(0.2), ...Array<number>(20).fill(Number.NaN)]);
    expect(lightRatio(some(30), flat(0.4, 50))).toBeCloseTo(1, 5);
    expect(lightRatio(some(29), flat(0.4, 49))).toBeNull();
  });

  it.each([
    ['black', 0],
    ['less than black', -0.1],
    ['more than white', 1.2],
    ['nothing', Number.NaN],
  ])('%s tells nothing, in either of them', (_, light) => {
    expect(lightRatio(flat(light), flat(0.4))).toBeNull();
    expect(lightRatio(flat(0.4), flat(light))).toBeNull();
  });

  it('very dark cells still tell, on the straight part of the curve', () => {
    expect(lightRatio(flat(0.001), flat(0.002))).toBeCloseTo(1, 4);
  });

  it('go by the median, not by the mean: what moved in a third of the picture does not count', () => {
    const dark = Array.from({ length: 60 }, () => 0.15);
    const light = dark.map((cell, index) => (index < 20 ? cell * 5 : cell * 2));
    expect(lightRatio(grid(dark), grid(light))).toBeCloseTo(1, 5);
    expect(lightRatio(grid(dark.toReversed()), grid(light.toReversed()))).toBeCloseTo(1, 5);
  });

  it('the median is that of all cells, in whatever order they come', () => {
    const change = [3, 0, 1];
    const dark = Array.from({ length: 60 }, () => 0.06);
    const light = dark.map((cell, index) => cell * 2 ** (change[Math.floor(index / 20)] ?? 0));
    expect(lightRatio(grid(dark), grid(light))).toBeCloseTo(1, 5);
    expect(lightRatio(grid(dark), grid(light.toReversed()))).toBeCloseTo(1, 5);
  });

  it('a cell weighs more the nearer it is to the middle, by the level of sRGB', () => {
    // 20 cells about the middle say +0.5 EV; 35 near black, in both, say +2 EV, and weigh a twentieth.
    const near = linear(0.02);
    const dark = [...Array<number>(20).fill(MIDDLE), ...Array<number>(35).fill(near / 4)];
    const light = [...Array<number>(20).fill(MIDDLE * 2 ** 0.5), ...Array<number>(35).fill(near)];
    expect(lightRatio(grid(dark), grid(light))).toBeCloseTo(0.5, 5);
    // 20 about the middle against 35 near white.
    const bright = linear(0.97);
    const high = [...Array<number>(20).fill(MIDDLE), ...Array<number>(35).fill(bright)];
    const higher = [...Array<number>(20).fill(MIDDLE * 2 ** 0.5), ...Array<number>(35).fill(linear(0.99))];
    expect(lightRatio(grid(high), grid(higher))).toBeCloseTo(0.5, 5);
  });
});

/** @param light of each frame in EV, from the darkest on; null where it has no small copy */
function setOf(light: readonly (number | null)[], step = 1): LitFrame[] {
  const middle = (light.length - 1) / 2;
  // Below white, all of them.
  const lightest = Math.max(...light.map((ev) => ev ?? Number.NEGATIVE_INFINITY));
  return light.map((ev, index) => ({
    ...{ number: index + 1, offsetEv: (index - middle) * step },
    light: ev === null ? null : flat(0.8 * 2 ** (ev - lightest)),
  }));
}
const marked = (light: readonly (number | null)[], step = 1) => {
  const { ratios, suspects } = compareLight(setOf(light, step));
  return [ratios.filter(({ mark }) => mark).map(({ darker, lighter }) => `${darker}-${lighter}`), suspects];
};

describe('the frames of a set', () => {
  it('are compared pair by pair, the darkest first', () => {
    expect(compareLight(setOf([-1, 0, 1]))).toEqual({
      ratios: [
        { darker: 1, lighter: 2, expected: 1, ev: expect.closeTo(1, 5), mark: false },
        { darker: 2, lighter: 3, expected: 1, ev: expect.closeTo(1, 5), mark: false },
      ],
      suspects: [],
      off: [expect.closeTo(0, 5), expect.closeTo(0, 5)],
    });
    expect(compareLight([])).toEqual({ ratios: [], suspects: [], off: [] });
    expect(compareLight(setOf([0]))).toEqual({ ratios: [], suspects: [], off: [] });
  });

  it('tells how far each pair is off, by the curve that most of them show', () => {
    // Bent to 1.2 of each step, and the last frame 0.5 EV too dark.
    const { off } = compareLight(setOf([-2.4, -1.2, 0, 1.2, 1.9]));
    expect(off).toEqual([0, 0, 0, -0.5].map((ev) => expect.closeTo(ev, 1)));
    expect(compareLight(setOf([-1, null, 1])).off).toEqual([null, null]);
  });

  it('without a small copy are not compared, and bring no mark', () => {
    const { ratios, suspects } = compareLight(setOf([-2, -1, null, 1, 2]));
    expect(ratios.map(({ ev }) => ev === null)).toEqual([false, true, true, false]);
    expect(ratios.map(({ mark }) => mark)).toEqual([false, false, false, false]);
    expect(suspects).toEqual([]);
  });

  it('one that differs from both neighbours is named, whichever way', () => {
    expect(marked([-2, -1, -0.6, 1, 2])).toEqual([['2-3', '3-4'], [3]]);
    expect(marked([-2, -1, 0.6, 1, 2])).toEqual([['2-3', '3-4'], [3]]);
  });

  it('light that changed for good, once or twice, blames none', () => {
    expect(marked([-2, -1, 1, 2, 3])).toEqual([['2-3'], []]);
    expect(marked([-3, -2, -1, 0.6, 2.2, 3.2, 4.2])).toEqual([['3-4', '4-5'], []]);
  });

  it('at an end the one neighbour tells, if that agrees with its other one', () => {
    expect(marked([-1.3, -1, 0, 1, 2])).toEqual([['1-2'], [1]]);
    expect(marked([-2, -1, 0, 1, 1.3])).toEqual([['4-5'], [5]]);
    // The other one cannot be compared.
    expect(marked([-1.3, -1, null, 1, 2, 3, 4])).toEqual([['1-2'], []]);
    expect(marked([-4, -3, -2, -1, null, 1, 1.3])).toEqual([['6-7'], []]);
    // Both pairs at the end are marked: the second frame is to blame, not the first.
    expect(marked([-2, -0.3, 0, 1, 2])).toEqual([['1-2', '2-3'], [2]]);
    expect(marked([-2, -1, 0, 0.3, 2])).toEqual([['3-4', '4-5'], [4]]);
  });

  it('of two alone neither can be named', () => {
    expect(marked([0, 3])).toEqual([['1-2'], []]);
  });

  it('a curve that bends all steps alike brings no mark, within what a camera does', () => {
    const times = (bend: number) => [-1.5, -0.5, 0.5, 1.5].map((ev) => ev * bend);
    for (const bend of [0.6, 0.8, 1.6, 1.7]) expect(marked(times(bend))).toEqual([[], []]);
    // Farther than any: 0.6 and 1.7 are what is gone by then, and a tolerance of 0.4.
    expect(marked(times(0.25))[0]).toEqual([]);
    expect(marked(times(0.15))[0]).toEqual(['1-2', '2-3', '3-4']);
    expect(marked(times(2.05))[0]).toEqual([]);
    expect(marked(times(2.15))[0]).toEqual(['1-2', '2-3', '3-4']);
  });

  it('a pair may be off by a quarter of an EV and 0.15 for each EV of its step', () => {
    expect(marked([-2, -1, 0, 1.39, 2.39])[0]).toEqual([]);
    expect(marked([-2, -1, 0, 1.41, 2.41])[0]).toEqual(['3-4']);
    expect(marked([-2, -1, 0, 0.61, 1.61])[0]).toEqual([]);
    expect(marked([-2, -1, 0, 0.59, 1.59])[0]).toEqual(['3-4']);
    expect(marked([-3, -1, 1, 3.54], 2)[0]).toEqual([]);
    expect(marked([-3, -1, 1, 3.56], 2)[0]).toEqual(['3-4']);
  });

  it('two pairs do not tell the curve: then the bend itself must pass', () => {
    expect(marked([0, 1.79, 3.58])[0]).toEqual([]);
    expect(marked([0, 1.81, 3.62])[0]).toEqual(['1-2', '2-3']);
    // Three do: the steps are bent alike.
    expect(marked([0, 1.6, 3.2, 4.8].map((ev) => ev - 2.4))[0]).toEqual([]);
  });

  it('of an even number of pairs, the curve is the mean of the middle two', () => {
    // Steps of 0.8, 0.8, 1.2, 1.2: the bend is 1, and each is off by 0.2.
    expect(marked([-2, -1.2, -0.4, 0.8, 2])[0]).toEqual([]);
    // 0.65, 0.65, 1.55, 1.55: the bend is 1.1, and each is off by 0.45.
    expect(marked([-2.2, -1.55, -0.9, 0.65, 2.2])[0]).toEqual(['1-2', '2-3', '3-4', '4-5']);
  });

  it('frames at one offset do not tell the curve, however little they differ', () => {
    const light = [-1, 0, 0.01, 0.02, 0.03, 1.03];
    const offsets = [-1, 0, 0, 0, 0, 1];
    const frames = setOf(light).map((frame, index) => ({ ...frame, offsetEv: offsets[index] ?? 0 }));
    expect(compareLight(frames).ratios.filter(({ mark }) => mark)).toEqual([]);
  });

  it('frames at one offset are compared all the same', () => {
    const frames = setOf([-1, 0, 0, 1]).map((frame, index) => ({
      ...frame,
      offsetEv: [-1, 0, 0, 1][index] ?? 0,
    }));
    const { ratios } = compareLight(frames);
    expect(ratios.map(({ expected, mark }) => [expected, mark])).toEqual([
      [1, false],
      [0, false],
      [1, false],
    ]);
  });
});
