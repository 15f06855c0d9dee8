// From where to where a set reaches: evenly about the base, or farther at one end.
import { describe, expect, it } from 'vitest';
import { parseSetRequest } from '../../shared/request.js';
import { evenSpan, framesIn, inSteps, isEven, moved } from '../../web/src/span.js';
import fc from '../seeded.js';

const EV = 6;

describe('ends of a set', () => {
  it('of a number of frames lie where the daemon lays them', () => {
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 61 }), fc.constantFrom(2, 3, 4, 6, 12, 18), (frames, step) => {
        const { offsets } = parseSetRequest({ frames, step: step / 6 });
        const span = evenSpan(frames, step);
        expect(span).toEqual({ from: offsets[0], to: offsets.at(-1) });
        expect([framesIn(span, step), isEven(span, step)]).toEqual([frames, true]);
      }),
    );
  });

  it('are told from those of a set that reaches farther at one end', () => {
    expect(isEven({ from: -6 * EV, to: 2 * EV }, EV)).toBe(false);
    expect(isEven({ from: -5 * EV, to: 4 * EV }, EV)).toBe(false);
    expect(isEven({ from: -4 * EV, to: 5 * EV }, EV)).toBe(true);
    expect(isEven({ from: -4 * EV, to: 4.5 * EV }, EV)).toBe(false);
  });

  it('move one at a time: the other end, and the frames there, stay', () => {
    const span = { from: -6 * EV, to: 2 * EV };
    expect(moved(span, EV, 'darker', 1)).toEqual({ from: -7 * EV, to: 2 * EV });
    expect(moved(span, EV, 'darker', -1)).toEqual({ from: -5 * EV, to: 2 * EV });
    expect(moved(span, EV, 'brighter', 1)).toEqual({ from: -6 * EV, to: 3 * EV });
    expect(moved(span, EV, 'brighter', -1)).toEqual({ from: -6 * EV, to: 1 * EV });
  });

  it('leave one frame at least, and 61 at most', () => {
    expect(moved({ from: 0, to: 0 }, EV, 'darker', -1)).toBeNull();
    expect(moved(evenSpan(61, 2), 2, 'brighter', 1)).toBeNull();
    expect(moved(evenSpan(60, 2), 2, 'brighter', 1)).not.toBeNull();
  });

  it('in another step reach as far as before, or farther', () => {
    expect(inSteps({ from: -6 * EV, to: 2 * EV }, 4)).toEqual({ from: -6 * EV, to: 2 * EV });
    expect(inSteps({ from: -6 * EV, to: 2 * EV }, 18)).toEqual({ from: -6 * EV, to: 3 * EV });
  });
});
