// Which file is the picture that was released for it, and which one had waited in the camera.
import { describe, expect, it } from 'vitest';
import { isFromBefore, type Release } from '../../src/run/from-before.js';

const at = (seconds: number): string =>
  new Date(Date.UTC(2026, 10, 25, 16, 42, 0) + seconds * 1000).toISOString();
/** As a camera writes it whose clock is right: the wall's time, here and in its file. */
const taken = (seconds: number, parts = true): string => {
  const date = new Date(at(seconds));
  const local = new Date(date.getTime() - date.getTimezoneOffset() * 60_000).toISOString();
  return local.slice(0, parts ? 23 : 19);
};
const RELEASE: Release = {
  firedAt: at(60),
  storedAt: at(61),
  setStartedAt: at(50),
  clockDifference: 0,
  last: null,
};
const last = (takenAt: string, exposureTime = 1 / 60) => ({ takenAt, exposureTime });

describe('a file that comes back', () => {
  it('is of its release where it was taken then', () => {
    for (const takenAt of [taken(60.2), taken(60, false), taken(58.5)])
      expect(isFromBefore({ takenAt, exposureTime: 1 / 60 }, RELEASE)).toBe(false);
  });

  it('is from before where it was taken before the set was begun; a few seconds are believed', () => {
    expect(isFromBefore({ takenAt: taken(40), exposureTime: 1 / 60 }, RELEASE)).toBe(true);
    expect(isFromBefore({ takenAt: taken(52), exposureTime: 1 / 60 }, RELEASE)).toBe(false);
    const early = { ...RELEASE, firedAt: at(51), storedAt: at(51.5) };
    expect(isFromBefore({ takenAt: taken(48.5), exposureTime: 1 / 60 }, early)).toBe(false);
  });

  it('is believed where the camera tells no time to compare with', () => {
    const silent = { ...RELEASE, clockDifference: null };
    expect(isFromBefore({ takenAt: taken(0), exposureTime: 1 / 60 }, silent)).toBe(false);
  });

  it('is from before where it is no newer than the last one', () => {
    const silent = { ...RELEASE, clockDifference: null, last: last(taken(59.5)) };
    expect(isFromBefore({ takenAt: taken(59.4), exposureTime: 1 / 60 }, silent)).toBe(true);
    expect(isFromBefore({ takenAt: taken(60.1), exposureTime: 1 / 60 }, silent)).toBe(false);
    // The same picture once more.
    expect(isFromBefore({ takenAt: taken(59.5), exposureTime: 1 / 60 }, silent)).toBe(true);
    // Parts of a second that are always the same.
    expect(isFromBefore({ takenAt: taken(59.5), exposureTime: 1 / 30 }, silent)).toBe(false);
  });

  it('whole seconds tell less', () => {
    const silent = { ...RELEASE, clockDifference: null, last: last(taken(59.9, false)) };
    expect(isFromBefore({ takenAt: taken(59.1), exposureTime: 1 / 30 }, silent)).toBe(false);
    expect(isFromBefore({ takenAt: taken(58.1), exposureTime: 1 / 30 }, silent)).toBe(true);
  });

  it('is believed where the clock was put back in between', () => {
    const winter = { ...RELEASE, clockDifference: null, last: last(taken(59)) };
    expect(isFromBefore({ takenAt: taken(60 - 3600), exposureTime: 1 / 60 }, winter)).toBe(false);
  });
});
