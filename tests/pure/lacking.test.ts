// What a set lacks that may lie in the camera, and what is said of it once it was looked for.
import { describe, expect, it } from 'vitest';
import type { FrameView } from '../../shared/state.js';
import { fetchedWords, filesToLookFor, type Lacking, lackingIn } from '../../src/set/book/lacking.js';
import { frame } from '../journal/journal-sample.js';

const verified = (number: number, more: Partial<FrameView> = {}) =>
  frame(number, 'verified', { file: `0${number}.dng`, attempts: 1, ...more });
const rejected = (number: number) => frame(number, 'rejected', { attempts: 1, reason: 'No file came.' });
const untouched = (number: number) => frame(number, 'planned', { attempts: 0 });
const lone = (number: number) => verified(number, { partner: { state: 'missing', beside: 'A0001.DNG' } });
const STRAY = {};
const told = { fetched: false };
const came = { fetched: true };

describe('what is lacking', () => {
  it.each([
    ['nothing', { frames: [verified(1), untouched(2)], strays: [], made: [came, came] }, 0],
    ['a release without a file', { frames: [verified(1), rejected(2)], strays: [STRAY], made: [came] }, 1],
    ['the same, told of by its name', { frames: [rejected(1)], strays: [STRAY], made: [told] }, 1],
    [
      'files told of that no release is missing',
      { frames: [verified(1)], strays: [], made: [told, told] },
      2,
    ],
    ['second files', { frames: [lone(1), lone(2), verified(3)], strays: [], made: [] }, 2],
    ['all of it', { frames: [lone(1), rejected(2)], strays: [STRAY, STRAY], made: [told] }, 3],
  ])('%s', (_, set, files) => {
    expect(filesToLookFor(lackingIn(set))).toBe(files);
  });

  it('frames that were never released are none of it', () => {
    const { frames } = lackingIn({ frames: [rejected(1), untouched(2)], strays: [STRAY], made: [] });
    expect(frames).toEqual([1]);
  });
});

describe('what is said', () => {
  const lack = (frames: number[], partners: number[] = [], files = frames.length): Lacking => ({
    frames,
    partners,
    files,
  });
  it.each([
    [lack([2]), lack([]), [verified(1), verified(2)], ['Frame 2 was fetched from the camera.']],
    [
      lack([1, 2, 3]),
      lack([3]),
      [verified(1), verified(2), rejected(3)],
      ['Frames 1, 2 were fetched from the camera.', 'The camera has no file of frame 3.'],
    ],
    [
      lack([], [1, 2]),
      lack([], [2]),
      [verified(1), lone(2)],
      [
        'The second file of frame 1 was fetched from the camera.',
        'The second file of frame 2 was not found there.',
      ],
    ],
    [
      lack([], [], 2),
      lack([], [], 0),
      [verified(1)],
      ['2 files that belong to none of the missing frames were fetched, too.'],
    ],
    [lack([], [], 1), lack([], [], 1), [verified(1)], ['The camera has no files of this set.']],
  ])('%j, then %j', (before, after, frames, words) => {
    expect(fetchedWords(before, after, frames)).toEqual(words);
  });
});
