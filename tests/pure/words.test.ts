// Moments in the daemon's sentences, as the panel writes them.
import { describe, expect, it } from 'vitest';
import { sixths } from '../../shared/ev.js';
import { inOwnClock, stopsOf } from '../../web/src/words.js';

/** Newer ICU data has narrow spaces there. */
const plain = (sentence: string) => sentence.replace(/\s/g, ' ');

describe('a moment in a sentence of the daemon', () => {
  it.each([
    ['at 22:05.', 'en-US', 'at 10:05 PM.'],
    ['at 22:05.', 'en-GB', 'at 22:05.'],
    ['from 09:04 to 16:42:10', 'en-US', 'from 09:04 AM to 04:42:10 PM'],
    ['ends 2026-11-28 21:40: 12 sets', 'en-GB', 'ends 28 Nov, 21:40: 12 sets'],
    ['sunset on 2026-11-28, then', 'en-US', 'sunset on Nov 28, then'],
    ['since 2025-11-28 21:40', 'de-DE', 'since 28. Nov. 2025, 21:40'],
  ])('%s in %s: %s', (sentence, locale, words) => {
    expect(plain(inOwnClock(sentence, locale, new Date(2026, 10, 28)))).toBe(words);
  });

  it.each([
    'in /night/2026-11-28/set-20261128-214000',
    'in boathouse_2026-11-28_21:40',
    '127.0.0.1:4160 and localhost:16:42',
    'a ratio of 16:9, 24:00 and 12:60',
    'on 2026-13-45',
    'frames of 1/60 s, -1 1/2 EV',
  ])('is no other thing: %s', (sentence) => {
    expect(inOwnClock(sentence, 'en-US')).toBe(sentence);
  });
});

describe('stops in a sentence', () => {
  it.each([
    [6, '1 stop'],
    [4, '2/3 stop'],
    [8, '1 1/3 stops'],
    [48, '8 stops'],
    [0, '0 stops'],
  ])('%i sixths of an EV are %s', (value, words) => {
    expect(stopsOf(sixths(value))).toBe(words);
  });
});
