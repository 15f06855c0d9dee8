// Whether frames sit on each other, on the practice scene: by how far the camera turned, the boat drifted or the lens lost focus is known there.
import { beforeAll, describe, expect, it } from 'vitest';
import type { Grey } from '../../src/light/copy.js';
import { type Cv, openCv } from '../../src/light/process/opencv.js';
import { type Compared, compared } from '../../src/light/steady/compare.js';
import { marksOf } from '../../src/light/steady/marks.js';
import { tonesBetween } from '../../src/light/steady/tones.js';
import { copiesOf, SCALE, type Shot, shoot } from './practice-frames.js';

let cv: Cv;
beforeAll(async () => {
  ({ cv } = await openCv());
});

/** The darker frame of a pair is the same in many tests. */
const shot = new Map<string, Promise<Grey>>();
function greyOf(wanted: Shot): Promise<Grey> {
  const which = JSON.stringify(wanted);
  const grey =
    shot.get(which) ??
    shoot(wanted)
      .then(copiesOf)
      .then(({ grey }) => grey);
  shot.set(which, grey);
  return grey;
}

/** @param shot the frame an EV brighter than its neighbour, with what became of it in between */
async function besideDarker(offset: number, shot: Omit<Shot, 'offset'>): Promise<Compared> {
  const first = await greyOf({ offset, seed: 1 });
  const second = await greyOf({ ...shot, offset: offset + 1 });
  const found = compared(cv, { first, second, firstIsDarker: true });
  if (found === null) throw new Error('They have too little in common.');
  return found;
}

const codesOf = (found: Compared): string[] =>
  marksOf(found, { number: 2, against: 1, scale: SCALE }).map(({ code }) => code);

/** EV that the light drifts. */
const DRIFT = 0.1;
/** Dark, middle and light pairs of a set of nine. */
const PAIRS = [-4, -1, 2] as const;
/** Pixels of a 1,024 px copy. */
const CLOSE = 0.2;

describe('a shift of the camera', () => {
  it.each(PAIRS.flatMap((pair) => [0, 0.5, 2, 8].map((shift) => [pair, shift] as const)))(
    'from %i EV on is measured within 0.2 px of the copy: %f px',
    async (pair, shift) => {
      for (const light of [0, DRIFT]) {
        const found = await besideDarker(pair, { right: shift * SCALE, light });
        expect(Math.abs(found.shift.right - shift)).toBeLessThan(CLOSE);
        expect(Math.abs(found.shift.down)).toBeLessThan(CLOSE);
        expect(codesOf(found)).toEqual(shift === 0 ? [] : ['camera-moved']);
      }
    },
  );

  it('is measured downwards, too', async () => {
    // Ripples near the horizon are finer than a pixel and come out otherwise at another height: here they are blown out.
    const found = await besideDarker(1, { right: -1.5 * SCALE, down: 4 * SCALE });
    expect(Math.abs(found.shift.right + 1.5)).toBeLessThan(CLOSE);
    expect(Math.abs(found.shift.down - 4)).toBeLessThan(CLOSE);
    expect(codesOf(found)).toEqual(['camera-moved']);
  });

  it('is the same whichever frame is the brighter one', async () => {
    const [one, other] = [await greyOf({ offset: 1 }), await greyOf({ offset: 0, right: 3 * SCALE })];
    const found = compared(cv, { first: one, second: other, firstIsDarker: false });
    expect(Math.abs((found?.shift.right ?? Number.NaN) - 3)).toBeLessThan(CLOSE);
  });

  it('is said in pixels of the picture', async () => {
    const found = await besideDarker(0, { right: 12 });
    const [mark] = marksOf(found, { number: 6, against: 5, scale: SCALE });
    expect(mark).toEqual({
      code: 'camera-moved',
      number: 6,
      sentence: 'The camera moved between frame 5 and this one: the picture is shifted by about 12 pixels.',
    });
  });
});

describe('what moves by itself', () => {
  it.each(PAIRS)('is found where it is, from %i EV on: the boat drifts, the camera stands', async (pair) => {
    for (const light of [0, DRIFT]) {
      const found = await besideDarker(pair, { drift: 0.05, light });
      expect(codesOf(found)).toEqual(['subject-moved']);
      expect(Math.hypot(found.shift.right, found.shift.down)).toBeLessThan(CLOSE);
      const { box, share } = found.moved;
      if (box === null) throw new Error('There is no box.');
      // The boat takes the lower middle of the picture; the doors begin at a quarter, and end at three quarters.
      expect(box.left).toBeGreaterThan(0.3);
      expect(box.right).toBeLessThan(0.7);
      expect(box.top).toBeGreaterThan(0.5);
      expect(share).toBeLessThan(0.2);
    }
  });

  it('is said to be where it is', async () => {
    const found = await besideDarker(0, { drift: 0.1 });
    const [mark] = marksOf(found, { number: 2, against: 1, scale: SCALE });
    expect(mark?.sentence).toMatch(
      /^Something moved between frame 1 and this one, at the bottom: \d+% of what can be compared\.$/,
    );
  });
});

describe('a lens that loses focus', () => {
  it.each(PAIRS)('is found from %i EV on, by a blur of a pixel', async (pair) => {
    for (const light of [0, DRIFT]) {
      const found = await besideDarker(pair, { defocus: SCALE, light });
      // A pixel of the copy; what the copy itself softens makes it look a little less.
      expect(found.blur).toBeGreaterThan(0.7);
      expect(found.blur).toBeLessThan(1.3);
      expect(codesOf(found)).toEqual(['less-sharp']);
    }
  });

  it('is the fault of the frame that is softer, even if it is the earlier one', async () => {
    const [soft, clear] = [await greyOf({ offset: 0, defocus: 2 }), await greyOf({ offset: 1 })];
    const found = compared(cv, { first: soft, second: clear, firstIsDarker: true });
    expect(found?.blur).toBeLessThan(-1);
    const marks = found === null ? [] : marksOf(found, { number: 6, against: 5, scale: SCALE });
    expect(marks.map(({ code, number }) => [code, number])).toEqual([['less-sharp', 5]]);
    expect(marks[0]?.sentence).toMatch(/^It is softer than frame 6, by a blur of about [\d.]+ pixels/);
  });
});

describe('frames with nothing wrong', () => {
  // Part of what `npm run bench -- light` does a thousand times.
  it('have no mark, whatever their noise: 12 pairs all over the set', async () => {
    for (let seed = 0; seed < 12; seed += 1) {
      const offset = (seed % 8) - 4;
      const first = await greyOf({ offset, seed: 2 * seed });
      const second = await greyOf({
        offset: offset + 1,
        seed: 2 * seed + 1,
        light: seed % 3 === 0 ? DRIFT : 0,
      });
      const found = compared(cv, { first, second, firstIsDarker: true });
      expect(found).not.toBeNull();
      if (found !== null) expect(codesOf(found)).toEqual([]);
    }
  });

  it('with a curve of the camera that is far from sRGB, too', async () => {
    // Contrast in the middle and a shoulder towards white: a curve of our own.
    const curve = Uint8Array.from({ length: 256 }, (_, level) => {
      const share = level / 255;
      return Math.round(255 * (0.6 * share ** 0.85 + 0.4 * share * share * (3 - 2 * share)));
    });
    const bent = (grey: Grey): Grey => ({
      ...grey,
      levels: grey.levels.map((level) => curve[level] as number),
    });
    for (const offset of PAIRS) {
      const first = bent(await greyOf({ offset, seed: 5 }));
      const second = bent(await greyOf({ offset: offset + 1, seed: 6, light: DRIFT }));
      const found = compared(cv, { first, second, firstIsDarker: true });
      expect(found === null ? null : codesOf(found)).toEqual([]);
    }
  });

  it('by day, by lamp light, in fog and with a lamp in the picture, too', async () => {
    for (const scene of ['day', 'lamp', 'flat', 'spot'] as const) {
      const first = await greyOf({ offset: 0, scene, seed: 3 });
      const second = await greyOf({ offset: 1, scene, seed: 4 });
      const found = compared(cv, { first, second, firstIsDarker: true });
      expect(found === null ? null : codesOf(found)).toEqual([]);
    }
  });
});

describe('frames that cannot be compared', () => {
  it('have nothing said of them: black, white, plain, of another shape', async () => {
    const first = await greyOf({ offset: 0 });
    const plain = (level: number): Grey => ({
      ...first,
      levels: new Uint8Array(first.levels.length).fill(level),
    });
    for (const second of [
      plain(0),
      plain(255),
      plain(120),
      { levels: new Uint8Array(64 * 64), width: 64, height: 64 },
    ])
      expect(compared(cv, { first, second, firstIsDarker: true })).toBeNull();
  });
});

describe('the tones of two frames', () => {
  it('are found in spite of a curve, and of a part that moved', () => {
    // A curve of our own: brighter by a power, and a third of the pixels of some levels gone elsewhere.
    const curve = (level: number) => 255 * (level / 255) ** 0.7;
    const count = 60_000;
    const darker = Uint8Array.from({ length: count }, (_, at) => 30 + ((at * 7919) % 180));
    const brighter = darker.map((level, at) =>
      level > 90 && level < 130 && at % 3 === 0 ? 40 : Math.round(curve(level)),
    );
    const tones = tonesBetween(darker, brighter, new Uint8Array(count).fill(255));
    for (let level = 40; level < 200; level += 10)
      expect(Math.abs((tones?.[level] ?? Number.NaN) - curve(level))).toBeLessThan(2);
  });

  it('are not told by a few levels', () => {
    expect(
      tonesBetween(
        new Uint8Array(500).fill(90),
        new Uint8Array(500).fill(120),
        new Uint8Array(500).fill(255),
      ),
    ).toBeNull();
  });
});
