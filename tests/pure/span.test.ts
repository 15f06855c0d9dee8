// From where to where a set reaches: evenly about the base, or farther at one end.
import { describe, expect, it } from 'vitest';
import { NO_EV, ONE_EV, sixths, toEv } from '../../shared/ev.js';

import { evenSpan, framesIn, inSteps, isEven, moved } from '../../web/src/span.js';
import { parseFramed } from '../framed.js';
import fc from '../seeded.js';

const EV = ONE_EV;
const STEPS = [2, 3, 4, 6, 12, 18].map(sixths);
const ev = (count: number) => sixths(count * EV);

describe('ends of a set', () => {
  it('of a number of frames lie where the daemon lays them', () => {
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 61 }), fc.constantFrom(...STEPS), (frames, step) => {
        const { offsets } = parseFramed({ frames, step: toEv(step) });
        const span = evenSpan(frames, step);
        expect(span).toEqual({ from: offsets[0], to: offsets.at(-1) });
        expect([framesIn(span, step), isEven(span, step)]).toEqual([frames, true]);
      }),
    );
  });

  it('are told from those of a set that reaches farther at one end', () => {
    expect(isEven({ from: ev(-6), to: ev(2) }, EV)).toBe(false);
    expect(isEven({ from: ev(-5), to: ev(4) }, EV)).toBe(false);
    expect(isEven({ from: ev(-4), to: ev(5) }, EV)).toBe(true);
    expect(isEven({ from: ev(-4), to: ev(4.5) }, EV)).toBe(false);
  });

  it('move one at a time: the other end, and the frames there, stay', () => {
    const span = { from: ev(-6), to: ev(2) };
    expect(moved(span, EV, 'darker', 1)).toEqual({ from: ev(-7), to: ev(2) });
    expect(moved(span, EV, 'darker', -1)).toEqual({ from: ev(-5), to: ev(2) });
    expect(moved(span, EV, 'brighter', 1)).toEqual({ from: ev(-6), to: ev(3) });
    expect(moved(span, EV, 'brighter', -1)).toEqual({ from: ev(-6), to: ev(1) });
  });

  it('leave one frame at least, and 61 at most', () => {
    expect(moved({ from: NO_EV, to: NO_EV }, EV, 'darker', -1)).toBeNull();
    expect(moved(evenSpan(61, sixths(2)), sixths(2), 'brighter', 1)).toBeNull();
    expect(moved(evenSpan(60, sixths(2)), sixths(2), 'brighter', 1)).not.toBeNull();
  });

  it('in another step reach as far as before, or farther', () => {
    expect(inSteps({ from: ev(-6), to: ev(2) }, sixths(4))).toEqual({ from: ev(-6), to: ev(2) });
    expect(inSteps({ from: ev(-6), to: ev(2) }, sixths(18))).toEqual({ from: ev(-6), to: ev(3) });
  });
});
