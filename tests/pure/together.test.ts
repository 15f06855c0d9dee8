// What comparisons of neighbours come to for a set: which frames lie beside the others, which are softer, which are worth firing again.
import { describe, expect, it } from 'vitest';
import { type ComparedFrame, together } from '../../src/light/steady/together.js';

type Found = Partial<{ right: number; down: number; blur: number; moved: boolean }>;

/** Frames in a row, each compared with the one before it. What is left out was not found. */
const row = (...found: readonly Found[]): ComparedFrame[] =>
  found.map(({ right = 0, down = 0, blur = 0, moved = false }, index) => {
    const number = index + 1;
    if (index === 0) return { number, steadiness: null, marks: [] };
    const mark = (code: 'camera-moved' | 'less-sharp' | 'subject-moved', of = number) => ({
      ...{ code, number: of, sentence: `${code} between ${index} and ${number}` },
    });
    return {
      number,
      steadiness: { against: index, shift: { right, down }, blur },
      marks: [
        ...(Math.hypot(right, down) > 1 ? [mark('camera-moved')] : []),
        ...(Math.abs(blur) > 1 ? [mark('less-sharp', blur > 0 ? number : index)] : []),
        ...(moved ? [mark('subject-moved')] : []),
      ],
    };
  });
const inTurn = (frames: readonly ComparedFrame[]): number[] => frames.map(({ number }) => number);
const marked = (frames: readonly ComparedFrame[], fired = inTurn(frames)) => {
  const { marks, again } = together(frames, fired);
  return { marks: marks.map(({ number, code }) => `${number} ${code}`), again };
};
const STILL: Found = {};

describe('a set as a whole', () => {
  it('has no mark if nothing was found, whatever measuring erred by', () => {
    const frames = row(...Array.from({ length: 61 }, () => ({ right: 0.4, blur: 0.9 })));
    expect(marked(frames)).toEqual({ marks: [], again: [] });
  });

  it('of a camera that moved and stays there marks the frames from before: a frame that is fired now lies on the later ones', () => {
    const frames = row(STILL, STILL, { right: 12, down: 5 }, STILL, STILL);
    expect(marked(frames)).toEqual({ marks: ['1 camera-moved', '2 camera-moved'], again: [1, 2] });
    expect(together(frames, inTurn(frames)).marks[0]?.sentence).toBe(
      'The camera moved: this picture is shifted by about 13 pixels against most of the others.',
    );
  });

  it('goes by the order in which frames were fired, not by their exposures', () => {
    // The two that are darkest were fired last.
    const frames = row(STILL, STILL, { right: 12 }, STILL, STILL);
    expect(marked(frames, [3, 4, 5, 1, 2]).again).toEqual([3, 4, 5]);
  });

  it('of a camera that moved for one frame marks that one alone, be it the last', () => {
    expect(marked(row(STILL, STILL, { right: 8 }, { right: -7.8 }, STILL)).again).toEqual([3]);
    expect(marked(row(STILL, STILL, STILL, STILL, { down: 8 })).again).toEqual([5]);
  });

  it('marks what is softer than the sharpest frames, and not what follows on it', () => {
    expect(marked(row(STILL, STILL, { blur: 3 }, { blur: -3.1 }, STILL))).toEqual({
      ...{ marks: ['3 less-sharp'], again: [3] },
    });
    expect(marked(row(STILL, STILL, { blur: 2 }, STILL)).again).toEqual([3, 4]);
    expect(marked(row(STILL, { blur: -2 }, STILL)).again).toEqual([1]);
  });

  it('offers to fire again what something passed through, but not if something moves in most frames', () => {
    const passing = row(STILL, STILL, { moved: true }, STILL, STILL);
    expect(marked(passing)).toEqual({ marks: ['3 subject-moved'], again: [3] });
    const water = row(...Array.from({ length: 5 }, () => ({ moved: true })));
    expect(marked(water)).toEqual({ marks: [2, 3, 4, 5].map((of) => `${of} subject-moved`), again: [] });
  });

  it('leaves out frames that nothing ties to the others', () => {
    const [first, second] = row(STILL, { right: 9 });
    const alone: ComparedFrame = { number: 3, steadiness: null, marks: [] };
    expect(marked([first, second, alone].filter((one) => one !== undefined)).again).toEqual([2]);
    expect(together([], []).marks).toEqual([]);
  });
});
