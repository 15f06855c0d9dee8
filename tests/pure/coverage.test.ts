// What a set holds, on pictures that are computed here: what is lost, at which end and by how much, is then known.
import { readFile } from 'node:fs/promises';
import { describe, expect, it } from 'vitest';
import { LINEAR_OF_LEVEL, levelOf } from '../../shared/srgb.js';
import { type Copy, FLOOR, SHOULDER } from '../../src/light/copy.js';
import { SMALL_PART } from '../../src/light/coverage/areas.js';
import { coverageOf } from '../../src/light/coverage/coverage.js';
import { CELL, type ExposedFrame } from '../../src/light/coverage/exposed.js';
import { coverageMap } from '../../src/light/coverage/map.js';
import { partsOf } from '../../src/light/coverage/parts.js';
import type { Coverage } from '../../src/light/coverage/result.js';
import fc from '../seeded.js';

const SIZE = { width: 120, height: 80 };
const COUNT = SIZE.width * SIZE.height;

/** A frame of light, 1 being white at offset 0, on the curve of sRGB (IEC 61966-2-1). */
function frameOf(light: (cell: number) => number, offsetEv: number): ExposedFrame {
  const pixels = new Uint8Array(COUNT * 3);
  for (let cell = 0; cell < COUNT; cell += 1)
    pixels.fill(levelOf(light(cell) * 2 ** offsetEv), cell * 3, cell * 3 + 3);
  return { number: offsetEv, offsetEv, copy: { ...SIZE, pixels } };
}

const setOf = (light: (cell: number) => number, offsets: readonly number[]): ExposedFrame[] =>
  offsets.map((offset) => frameOf(light, offset));
const range = (from: number, to: number): number[] =>
  Array.from({ length: to - from + 1 }, (_, index) => from + index);
const judged = (light: (cell: number) => number, offsets: readonly number[]): Coverage =>
  coverageOf(setOf(light, offsets)).coverage;

/** The light rises by so many EV from left to right, and is in the middle of one frame in the middle. */
const ramp = (ev: number) => (cell: number) =>
  2 ** (-3 + ev * ((cell % SIZE.width) / (SIZE.width - 1) - 0.5));

/** EV that one frame holds, by the levels between which it counts (IEC 61966-2-1). */
const HELD_EV = Math.log2((LINEAR_OF_LEVEL[SHOULDER] as number) / (LINEAR_OF_LEVEL[FLOOR] as number));

describe('coverage', () => {
  it('of frames that hold everything says so, and how much two hold', () => {
    const coverage = judged(ramp(10), range(-4, 4));
    expect(coverage.holds).toBe(true);
    expect(coverage.shares.none).toBe(0);
    expect(coverage.shares.twoOrMore).toBe(1);
    expect(coverage.sentence).toBe(
      'The set holds everything: every part of the picture is well exposed in at least one frame, and 100% in two or more.',
    );
  });

  it('of one frame is what it holds of a ramp, to a column', () => {
    const { shares } = judged(ramp(14), [0]);
    expect(shares.one).toBeCloseTo(HELD_EV / 14, 1);
    expect(shares.twoOrMore).toBe(0);
    expect(shares.none + shares.one).toBeCloseTo(1, 12);
  });

  it('says how much each frame holds, and how much of that no other one does', () => {
    const { frames, shares } = judged(ramp(14), [-1, 1]);
    expect(frames.map(({ number }) => number)).toEqual([-1, 1]);
    for (const { exposed } of frames) expect(exposed).toBeCloseTo(HELD_EV / 14, 1);
    const alone = frames.reduce((sum, one) => sum + one.alone, 0);
    expect(alone).toBeCloseTo(shares.one, 12);
    const [same] = judged(ramp(2), [0, 0]).frames;
    expect([same?.exposed, same?.alone]).toEqual([1, 0]);
  });

  it('names the end at which something is missing', () => {
    const dark = judged(ramp(12), range(-4, 0));
    expect([dark.holds, dark.highlights.share, dark.shadows.share > 0.1]).toEqual([false, 0, true]);
    expect(dark.sentence).toMatch(
      /^Shadows are missing: \d+% of the picture is too dark even in the brightest/,
    );
    const bright = judged(ramp(12), range(0, 4));
    expect([bright.holds, bright.shadows.share, bright.highlights.share > 0.1]).toEqual([false, 0, true]);
    expect(bright.sentence).toMatch(
      /^Highlights are missing: \d+% of the picture is too bright even in the dark/,
    );
    expect(judged(ramp(20), range(-1, 1)).sentence).toMatch(/^Highlights and shadows are missing: /);
  });

  it('tells about how many stops are missing, to one stop', () => {
    // A ramp of 12 EV about -3 EV ends at +3 EV, and below at -9 EV; a frame holds up to its shoulder and down to its floor.
    const shoulder = Math.log2(LINEAR_OF_LEVEL[SHOULDER] as number);
    const floor = Math.log2(LINEAR_OF_LEVEL[FLOOR] as number);
    for (const end of [-2, -1, 0]) {
      const { stops } = judged(ramp(12), range(end, 4)).highlights;
      expect(Math.abs((stops ?? Number.NaN) - (3 + end - shoulder))).toBeLessThan(1);
    }
    for (const end of [0, 1]) {
      const { stops } = judged(ramp(12), range(-4, end)).shadows;
      expect(Math.abs((stops ?? Number.NaN) - (9 - end + floor))).toBeLessThan(1);
    }
  });

  it('does not tell how many stops a single frame is short of, nor where the lost share stays as it is', () => {
    expect(judged(ramp(14), [0]).highlights.stops).toBeNull();
    // A window that is as bright all over, and a room with nothing in between.
    const window = (cell: number) => (cell % SIZE.width < 30 ? 2 ** 6 : 0.1);
    const coverage = judged(window, range(-2, 2));
    expect(coverage.highlights.share).toBeCloseTo(0.25, 2);
    expect(coverage.highlights.stops).toBeNull();
    expect(coverage.sentence).toContain('how many stops darker would hold it is not known');
  });

  it('says that the step is too wide if a part is too dark in one frame and too bright in the next', () => {
    const coverage = judged(ramp(10), [-8, 8]);
    expect(coverage.between).toBeGreaterThan(0.5);
    expect(coverage.holds).toBe(false);
    expect(coverage.sentence).toMatch(/falls between two frames, because the step is too wide/);
  });

  it('tells a lamp from an area', () => {
    const side = Math.floor(Math.sqrt(SMALL_PART * COUNT));
    const lamp = (cell: number) => {
      const [column, row] = [cell % SIZE.width, Math.floor(cell / SIZE.width)];
      return column < side && row < side ? 2 ** 12 : 0.1;
    };
    const coverage = judged(lamp, range(-4, 4));
    expect(coverage.holds).toBe(true);
    expect(coverage.highlights.small.count).toBe(1);
    expect(coverage.sentence).toMatch(
      /^The set holds everything but 1 small bright spot such as a lamp or a glint/,
    );
    const larger = (cell: number) => (cell % SIZE.width < 2 * side && cell < 20 * SIZE.width ? 2 ** 12 : 0.1);
    expect(judged(larger, range(-4, 4)).holds).toBe(false);
  });

  it('takes a great many small spots for what they are: an area', () => {
    const glints = (cell: number) =>
      cell % 7 === 0 && Math.floor(cell / SIZE.width) % 3 === 0 ? 2 ** 12 : 0.1;
    const coverage = judged(glints, range(-4, 4));
    expect(coverage.holds).toBe(false);
    expect(coverage.highlights.share).toBeGreaterThan(0.04);
  });

  it.each([
    ['black', 0],
    ['white', 255],
  ])('never says that %s frames hold anything', (_name, level) => {
    const frames = range(-4, 4).map((offsetEv) => ({
      number: offsetEv,
      offsetEv,
      copy: { ...SIZE, pixels: new Uint8Array(COUNT * 3).fill(level) },
    }));
    const { coverage } = coverageOf(frames);
    expect(coverage.holds).toBe(false);
    expect(coverage.shares.none).toBe(1);
    expect(level === 0 ? coverage.shadows.share : coverage.highlights.share).toBe(1);
  });

  it('says nothing of frames that do not get brighter with their exposures', () => {
    const same = range(-4, 4).map((offsetEv) => ({ ...frameOf(ramp(4), 0), offsetEv }));
    const { coverage } = coverageOf(same);
    expect([coverage.holds, coverage.isInStep]).toEqual([false, false]);
    expect(coverage.sentence).toMatch(/^What the set holds is not known: its pictures do not get brighter/);
    const turned = setOf(ramp(8), range(-4, 4)).map((frame) => ({ ...frame, offsetEv: -frame.offsetEv }));
    expect(coverageOf(turned).coverage.holds).toBe(false);
  });

  it('counts a colour that is blown out in one channel as lost, and one that is black in one as held', () => {
    const coloured = (red: number, green: number, blue: number) => {
      const pixels = Uint8Array.from({ length: COUNT * 3 }, (_, at) => [red, green, blue][at % 3] as number);
      return coverageOf([{ number: 1, offsetEv: 0, copy: { ...SIZE, pixels } }]).coverage;
    };
    expect(coloured(255, 120, 40).highlights.share).toBe(1);
    expect(coloured(0, 0, 90).shares.one).toBe(1);
  });

  it('is the same in whatever order the frames come, and adds up to the whole picture', () => {
    fc.assert(
      fc.property(
        fc.shuffledSubarray(range(-6, 6), { minLength: 1 }),
        fc.double({ min: 1, max: 24, noNaN: true }),
        (offsets, ev) => {
          const [one, other] = [judged(ramp(ev), offsets), judged(ramp(ev), offsets.toSorted())];
          expect(one).toEqual(other);
          const { shares, highlights, shadows, between } = one;
          expect(shares.none + shares.one + shares.twoOrMore).toBeCloseTo(1, 9);
          const lost =
            highlights.share + highlights.small.share + shadows.share + shadows.small.share + between;
          expect(lost).toBeCloseTo(shares.none, 9);
          expect(one.holds && shares.none > 0.011).toBe(false);
        },
      ),
      { numRuns: 30 },
    );
  });

  it('refuses no frame at all, and frames of different shapes', () => {
    expect(() => coverageOf([])).toThrow(RangeError);
    const narrow: Copy = { width: 2, height: 2, pixels: new Uint8Array(12) };
    expect(() => coverageOf([frameOf(ramp(4), 0), { number: 2, offsetEv: 1, copy: narrow }])).toThrow(
      RangeError,
    );
  });
});

describe('lost cells', () => {
  it('hang together by their corners too, and not around the edge of the picture', () => {
    const rows = ['##...#', '..#...', '......', '#.....'];
    const of = Uint8Array.from(rows.join(''), (char) => (char === '#' ? CELL.bright : CELL.two));
    const { parts } = partsOf({ width: 6, height: 4, of }, CELL.bright);
    expect(parts.map(({ size }) => size).sort()).toEqual([1, 1, 3]);
  });
});

describe('the picture of what a set holds', () => {
  it('shows none, one, and two and more in three ways, over the scene', () => {
    const frames = setOf(ramp(14), [-1, 1]);
    const { cells } = coverageOf(frames);
    const map = coverageMap(frames, cells);
    expect([map.width, map.height]).toEqual([SIZE.width, SIZE.height]);
    const colourAt = (cell: number) => [...map.pixels.subarray(cell * 3, cell * 3 + 3)];
    const some = (kind: number) =>
      colourAt([...cells.of.keys()].find((cell) => cells.of[cell] === kind) ?? -1);
    const [two, one, bright] = [some(CELL.two), some(CELL.one), some(CELL.bright)];
    // Grey; more blue than red; more red than blue.
    expect(new Set(two).size).toBe(1);
    expect((one[2] ?? 0) - (one[0] ?? 0)).toBeGreaterThan(40);
    expect((bright[0] ?? 0) - (bright[2] ?? 0)).toBeGreaterThan(60);
  });

  it('tells them apart without a hue, by day and by the red of the panel at night', async () => {
    // What the panel lays over it by night, as it is served; Rec. 709 for what it comes to without a hue (ITU-R BT.709-6, 3.2).
    const page = await readFile(new URL('../../web/index.html', import.meta.url), 'utf8');
    const [, row = ''] =
      /id="reddened-map"[^>]*>\s*<feColorMatrix values="([^"]*?) 0 0 {2}0 0 0 0 0 {2}/.exec(page) ?? [];
    const night = row.split(' ').map(Number);
    expect(night).toHaveLength(3);
    for (const weights of [night, [0.2126, 0.7152, 0.0722]]) {
      const frames = setOf(ramp(14), [-1, 1]);
      const { cells } = coverageOf(frames);
      const { pixels } = coverageMap(frames, cells);
      const seen = (kind: number) =>
        [...cells.of.keys()]
          .filter((cell) => cells.of[cell] === kind)
          .map((cell) => weights.reduce((sum, weight, at) => sum + weight * (pixels[cell * 3 + at] ?? 0), 0));
      const [two, one, lost] = [seen(CELL.two), seen(CELL.one), seen(CELL.bright)];
      const [most, least] = [Math.max, Math.min].map((of) => (levels: number[]) => of(...levels));
      if (most === undefined || least === undefined) throw new Error('There are two.');
      // Dots stand out of what lies between them, and of the scene; stripes more than dots.
      expect(most(one) - most(two)).toBeGreaterThan(20);
      expect(most(one) - least(one)).toBeGreaterThan(40);
      expect(most(lost)).toBeGreaterThan(most(one));
      if (weights === night) expect(least(one)).toBeGreaterThan(least(two));
    }
  });

  it('shows the scene darker where it is darker, whatever frame holds it', () => {
    const frames = setOf(ramp(8), range(-4, 4));
    const { pixels } = coverageMap(frames, coverageOf(frames).cells);
    const row = Array.from({ length: SIZE.width }, (_, column) => pixels[column * 3] as number);
    expect(row.every((level, column) => level >= (row[column - 1] ?? 0))).toBe(true);
    expect((row.at(-1) ?? 0) - (row[0] ?? 0)).toBeGreaterThan(100);
  });
});
