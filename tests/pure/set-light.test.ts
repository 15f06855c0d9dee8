// What the light of a set comes to in the panel: whether a proof is still awaited, and why frames are worth firing again.
import { describe, expect, it } from 'vitest';
import type { LightView } from '../../shared/light.js';
import type { FrameView } from '../../shared/state.js';
import { awaitsProof, whyAgain } from '../../web/src/set-light.js';
import { text } from '../../web/src/text.js';

const JUDGED: LightView = { sentence: '', coverage: null, frames: [], again: [], map: 1, proof: null };
const PROVED = { ...JUDGED, proof: { sentence: '', isMade: true, madeAt: '2026-11-30T18:00:00.000Z' } };
const ENDED = '2026-11-30T18:00:00.000Z';
const later = (seconds: number) => Date.parse(ENDED) + seconds * 1000;

describe('a proof', () => {
  const frames = [{ state: 'verified' }, { state: 'rejected' }] as const;

  it('is awaited while the set is made, and for a while after its end', () => {
    expect(awaitsProof({ endedAt: null, frames, light: null }, later(0))).toBe(true);
    expect(awaitsProof({ endedAt: ENDED, frames, light: JUDGED }, later(60))).toBe(true);
    // The first pictures may still be looked at.
    expect(awaitsProof({ endedAt: ENDED, frames, light: null }, later(5))).toBe(true);
    expect(awaitsProof({ endedAt: ENDED, frames, light: JUDGED }, later(3600))).toBe(false);
  });

  it('is not awaited where it is there, or nothing could be merged', () => {
    expect(awaitsProof({ endedAt: ENDED, frames, light: PROVED }, later(5))).toBe(false);
    expect(awaitsProof({ endedAt: ENDED, frames, light: null }, later(60))).toBe(false);
    expect(awaitsProof({ endedAt: ENDED, frames: [{ state: 'rejected' }], light: JUDGED }, later(5))).toBe(
      false,
    );
  });
});

describe('frames that are worth firing again', () => {
  const frame = (number: number, ...codes: FrameView['marks'][number]['code'][]) => ({
    number,
    marks: codes.map((code) => ({ code, sentence: '' })),
  });
  // As they stand after the set was extended: by exposure, not by number.
  const frames = [
    frame(4, 'camera-moved'),
    frame(1, 'camera-moved', 'less-sharp'),
    frame(2, 'subject-moved', 'ratio'),
    frame(3, 'subject-moved'),
  ];

  it('are named with why, the camera first', () => {
    expect(whyAgain(frames, [1, 2, 4])).toBe(
      'The camera moved: frames 1 and 4 lie beside the others. Frame 1 is softer than the others. Something moved in frame 2.',
    );
  });

  it('are only those that the daemon names', () => {
    expect(whyAgain(frames, [2])).toBe('Something moved in frame 2.');
    expect(whyAgain(frames, [])).toBe('');
  });
});

describe('what a set lacks', () => {
  it('is said with the stops, where they are known', () => {
    expect(text.run.lost.blown(0.07, 1.8)).toBe('Even the darkest frame has 7% blown out, by about 2 stops.');
    expect(text.run.lost.black(0.07, 0.3)).toBe('Even the lightest frame has 7% black, by about 1 stop.');
    expect(text.run.lost.black(0.0002, null)).toBe('Even the lightest frame has less than 0.1% black.');
  });

  it('is added at one press', () => {
    expect([text.run.addLacking(1, 0), text.run.addLacking(0, 3), text.run.addLacking(1, 1)]).toEqual([
      'Add a darker frame',
      'Add 3 brighter frames',
      'Add a darker and a brighter frame',
    ]);
    expect(text.run.addLacking(2, 1)).toBe('Add 2 darker and 1 brighter frames');
  });
});
