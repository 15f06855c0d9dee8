// Frames that a set is extended by: at which end it lacks one, which leave it again, what they are called, and what is said of them.

import { describe, expect, it } from 'vitest';
import { lackingAtEnds } from '../../shared/clipping.js';
import type { FrameView } from '../../shared/state.js';
import { limitsFromStated, planWritten, STATED_DEFAULTS } from '../../src/plan/index.js';
import { addedNote, addedWords, reachesOnNote, unmadeAtEnds } from '../../src/set/again/added.js';
import { framesOf } from '../../src/set/set-frame.js';
import { parseFramed } from '../framed.js';

const frame = (number: number, more: Partial<FrameView> = {}): FrameView => ({
  ...{ number, pass: 1, offset: number - 2, exposureTime: 1, shutter: '1', state: 'verified', attempts: 1 },
  ...{ recorded: null, clipped: { dark: 0, light: 0 }, file: null, reason: null, baseMoved: null, marks: [] },
  ...more,
});
const views = (...states: FrameView['state'][]) =>
  states.map((state, index) => ({ view: { number: index + 1, state } }));

describe('an end that has lost something', () => {
  const lost = { dark: 0.1, light: 0.1 };
  it('lacks a frame beyond it; a frame in the middle does not', () => {
    expect(lackingAtEnds([frame(1, { clipped: lost }), frame(2), frame(3)])).toEqual({
      darker: 1,
      brighter: 0,
    });
    expect(lackingAtEnds([frame(1), frame(2, { clipped: lost }), frame(3)])).toEqual({
      darker: 0,
      brighter: 0,
    });
    expect(lackingAtEnds([frame(1), frame(2), frame(3, { clipped: lost })])).toEqual({
      darker: 0,
      brighter: 1,
    });
    expect(lackingAtEnds([frame(1, { clipped: lost })])).toEqual({ darker: 1, brighter: 1 });
  });

  it('tells nothing if it was not made', () => {
    expect(lackingAtEnds([frame(1, { state: 'rejected', clipped: lost }), frame(2)])).toEqual({
      ...{ darker: 0, brighter: 0 },
    });
  });
});

describe('frames that were to be added', () => {
  it('leave the set from its ends inwards if they were not made', () => {
    const numbers = (frames: { view: { number: number } }[]) => frames.map(({ view }) => view.number);
    const set = views('planned', 'verified', 'verified', 'verified', 'rejected', 'planned');
    expect(numbers(unmadeAtEnds(set, [1, 5, 6]))).toEqual([1, 5, 6]);
    // What was asked for when the set was begun is missing, and stays so.
    expect(numbers(unmadeAtEnds(set, [6]))).toEqual([6]);
    expect(numbers(unmadeAtEnds(set, []))).toEqual([]);
  });

  it('stay missing between two that are there', () => {
    expect(unmadeAtEnds(views('verified', 'planned', 'verified'), [1, 2])).toEqual([]);
  });
});

describe('numbers', () => {
  const planOf = (from: number, to: number) => {
    const { conditions: _, extend: __, ...wanted } = parseFramed({ from, to, step: 1, base: '1/60' });
    return planWritten(wanted, limitsFromStated(STATED_DEFAULTS));
  };
  const pairs = (frames: ReturnType<typeof framesOf>) =>
    frames.map(({ view: { number, offset } }) => [offset, number]);

  it('of a set that is begun go from dark to light', () => {
    expect(pairs(framesOf(planOf(-1, 1)))).toEqual([
      [-1, 1],
      [0, 2],
      [1, 3],
    ]);
  });

  it('that are there stay; what is added counts on, from the set outwards', () => {
    const known = framesOf(planOf(-1, 1)).map(({ view }) => view);
    expect(pairs(framesOf(planOf(-3, 2), { frames: known, strays: [] }))).toEqual([
      [-3, 5],
      [-2, 4],
      [-1, 1],
      [0, 2],
      [1, 3],
      [2, 6],
    ]);
  });

  it('that a release had are not given again', () => {
    const known = framesOf(planOf(-1, 1)).map(({ view }) => view);
    expect(pairs(framesOf(planOf(-2, 1), { frames: known, strays: [{ frame: 6 }] }))[0]).toEqual([-2, 7]);
  });
});

describe('what is said', () => {
  const ended = new Date('2026-11-30T16:00:00Z');
  const later = new Date('2026-11-30T16:12:00Z');
  const ratio = (darker: number, lighter: number, mark = false) => ({
    ...{ darker, lighter, expected: 1, ev: 1, mark },
  });

  it('of frames that came, and of those that did not', () => {
    expect(addedWords({ made: [10], unmade: 0 })).toBe('Frame 10 was added.');
    expect(addedWords({ made: [10, 11], unmade: 1 })).toBe(
      'Frames 10, 11 were added. One frame that was to be added is not in the set.',
    );
    expect(addedWords({ made: [], unmade: 2 })).toBe('Nothing was added: the set is as it was before.');
    expect(addedWords({ made: [], unmade: 0 })).toBeNull();
  });

  it('of the light: at each end, with the sign of the frame that was added', () => {
    const ratios = [ratio(10, 1), ratio(1, 2), ratio(2, 11)];
    expect(addedNote([10, 11], { ratios, suspects: [], off: [0.04, 0.3, -0.12] }, ended, later)).toBe(
      'Frames 10, 11 were added 12 min after the set. The light had hardly moved: frame 10 is 0 EV off frame 1, and frame 11 is −0.1 EV off frame 2.',
    );
    expect(
      addedNote(
        [10],
        { ratios: [ratio(10, 1, true), ratio(1, 2)], suspects: [10], off: [0.8, 0] },
        ended,
        later,
      ),
    ).toBe(
      'Frame 10 was added 12 min after the set. The light had moved: frame 10 is −0.8 EV off frame 1. Check the brightness marks before you merge.',
    );
    expect(addedNote([10], { ratios: [ratio(10, 1)], suspects: [], off: [null] }, ended, later)).toContain(
      'Frames 10 and 1 do not show whether the light had moved',
    );
    expect(addedNote([], { ratios, suspects: [], off: [0, 0, 0] }, ended, later)).toBeNull();
  });

  it('of why a set was extended by itself', () => {
    expect(
      reachesOnNote(
        [
          { side: 'blown', share: 0.031, stops: null },
          { side: 'black', share: 0.006, stops: null },
        ],
        [frame(10, { offset: -5 }), frame(11, { offset: 5 })],
      ),
    ).toBe(
      'The set was extended, because 3% of its darkest frame was blown out, and 0.6% of its brightest frame was black. Frames 10 (−5 EV), 11 (+5 EV) are added.',
    );
  });
});
