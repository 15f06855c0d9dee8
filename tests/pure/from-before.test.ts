// Which file is the picture that was released for it, and which one had waited in the camera.
import { describe, expect, it } from 'vitest';
import { type Anchor, cameIn, originOf, type ReleaseTimes } from '../../src/set/assign/from-before.js';

const at = (seconds: number): string =>
  new Date(Date.UTC(2026, 10, 25, 16, 42, 0) + seconds * 1000).toISOString();
/** As a camera writes it whose clock is right: the wall's time, here and in its file. */
const taken = (seconds: number, parts = true): string => {
  const date = new Date(at(seconds));
  const local = new Date(date.getTime() - date.getTimezoneOffset() * 60_000).toISOString();
  return local.slice(0, parts ? 23 : 19);
};
const RELEASE: ReleaseTimes = {
  firedAt: at(60),
  storedAt: at(61),
  setStartedAt: at(50),
  owedSince: null,
  clockDifference: 0,
  last: null,
  anchor: null,
};
const file = (takenAt: string, digest = 'a picture') => ({ takenAt, digest });
const last = (takenAt: string) => ({ takenAt, digest: 'another picture' });
const origin = (takenAt: string, release: Partial<ReleaseTimes> = {}) =>
  originOf(file(takenAt), { ...RELEASE, ...release }).is;

describe('a file that comes back', () => {
  it('is of its release if it was taken then', () => {
    for (const takenAt of [taken(60.2), taken(60, false), taken(58.5)])
      expect(origin(takenAt)).toBe('its-own');
  });

  it('is from before if it was taken before the set was begun; a few seconds are believed', () => {
    expect(origin(taken(40))).toBe('from-before');
    expect(origin(taken(52))).toBe('its-own');
    expect(origin(taken(48.5), { firedAt: at(51), storedAt: at(51.5) })).toBe('its-own');
  });

  it('is believed if neither the camera nor an earlier file tells a time to compare with', () => {
    expect(origin(taken(0), { clockDifference: null })).toBe('its-own');
  });

  it('is from before if it is no newer than the last one', () => {
    const silent = { clockDifference: null, last: last(taken(59.5)) };
    expect(origin(taken(59.4), silent)).toBe('from-before');
    expect(origin(taken(60.1), silent)).toBe('its-own');
  });

  it('of one time with the last one, it is from before if it is the same file, and a new one if it is not', () => {
    for (const takenAt of [taken(59.5), taken(59, false)]) {
      const silent = { clockDifference: null, last: last(takenAt) };
      expect(originOf(file(takenAt, 'another picture'), { ...RELEASE, ...silent }).is).toBe('from-before');
      // A frame that is made again within the same second, or a camera whose parts of a second are always the same.
      expect(originOf(file(takenAt), { ...RELEASE, ...silent }).is).toBe('its-own');
    }
    const unread = { takenAt: taken(59), digest: null };
    expect(originOf(unread, { ...RELEASE, clockDifference: null, last: unread }).is).toBe('its-own');
  });

  it('whole seconds tell less', () => {
    const silent = { clockDifference: null, last: last(taken(59.9, false)) };
    expect(origin(taken(59.1), silent)).toBe('its-own');
    expect(origin(taken(58.1), silent)).toBe('from-before');
  });

  it('is believed if the clock was put back in between', () => {
    const winter = { clockDifference: null, last: last(taken(59)) };
    expect(origin(taken(60 - 3600), winter)).toBe('its-own');
  });
});

describe('the file of a camera whose clock nobody can read', () => {
  /** The last file: told to fire, taken a tenth of a second later, there after another second. */
  const anchor = (seconds: number, more: Partial<Anchor> = {}): Anchor => ({
    takenAt: taken(seconds + 0.1),
    exposureTime: 1 / 60,
    firedAt: at(seconds),
    storedAt: at(seconds + 1.1),
    ...more,
  });
  const counted = (seconds: number, of: Anchor, more: Partial<ReleaseTimes> = {}) =>
    originOf(file(taken(seconds)), {
      ...{ ...RELEASE, clockDifference: null, setStartedAt: at(59), anchor: of },
      last: { takenAt: of.takenAt, digest: 'another picture' },
      ...more,
    });

  it('is counted on from the one before: taken 4.5 s too early, it is no frame of this set', () => {
    expect(counted(60.1, anchor(30))).toEqual({ is: 'its-own' });
    expect(counted(55.6, anchor(30))).toEqual({ is: 'from-before' });
  });

  it('is so whatever that clock shows', () => {
    const hours = 7 * 3600 + 11 * 60;
    const odd = anchor(30, { takenAt: taken(30.1 + hours) });
    expect(counted(60.1 + hours, odd)).toEqual({ is: 'its-own' });
    expect(counted(55.6 + hours, odd)).toEqual({ is: 'from-before' });
  });

  it('is doubtful if only the slack of the clocks, or the time that the one before took, speaks for it', () => {
    expect(counted(57.5, anchor(30))).toEqual({ is: 'doubtful', earlyMs: expect.closeTo(2583, 0) });
    // The one before was on its way for 20 s: when in that time it was taken, nobody knows for certain.
    const slow = anchor(30, { storedAt: at(50) });
    expect(counted(50, slow)).toMatchObject({ is: 'doubtful' });
    expect(counted(60.1, slow)).toEqual({ is: 'its-own' });
  });

  it('is its own however long the one before was exposed, if that wrote the time at which its shutter closed', () => {
    const long = anchor(20, { exposureTime: 30, takenAt: taken(50.1), storedAt: at(51) });
    expect(counted(60.1, long)).toEqual({ is: 'its-own' });
  });

  it('is its own if whole seconds are all that it tells', () => {
    const whole = anchor(30.9, { takenAt: taken(31, false) });
    expect(originOf(file(taken(60, false)), { ...RELEASE, clockDifference: null, anchor: whole })).toEqual({
      is: 'its-own',
    });
  });

  it('may be of an earlier release of the set whose file has not come: then what it records decides', () => {
    expect(counted(52, anchor(30), { owedSince: at(51.9) })).toMatchObject({ is: 'doubtful' });
    expect(counted(45, anchor(30), { owedSince: at(51.9) })).toEqual({ is: 'from-before' });
  });

  it('is doubtful if its clock may have been set to another zone', () => {
    expect(counted(60.1 - 3600, anchor(30 - 7200))).toMatchObject({ is: 'doubtful' });
    expect(counted(60.1 - 3600 - 100, anchor(30 - 7200))).toEqual({ is: 'from-before' });
  });

  it('is counted on from its verified time alone after a restart', () => {
    const found = anchor(30, { firedAt: null });
    expect(counted(55.6, found)).toEqual({ is: 'from-before' });
    expect(counted(60.1, found)).toEqual({ is: 'its-own' });
  });
});

describe('what a file tells for those after it', () => {
  it('is its time, and what tells it from another; nothing where it does not tell its time', () => {
    expect(cameIn({ takenAt: '2026-11-25T16:42:10' }, 'a picture')).toEqual({
      ...{ takenAt: '2026-11-25T16:42:10', digest: 'a picture' },
    });
    expect(cameIn({ takenAt: '2026-11-25T16:42:10' }, null)?.digest).toBeNull();
    expect(cameIn({ takenAt: null }, 'a picture')).toBeNull();
    expect(cameIn(null, 'a picture')).toBeNull();
  });
});

describe('the edges', () => {
  const silent = (takenAt: string, more: Partial<ReleaseTimes> = {}) => ({
    ...{ clockDifference: null, last: last(takenAt) },
    ...more,
  });

  it('one file with parts of a second and one without: whole seconds are compared', () => {
    // 59.9 s against 59 s, and the other way round: the same second.
    expect(origin(taken(59, false), silent(taken(59.9)))).toBe('its-own');
    expect(origin(taken(59.1), silent(taken(59, false)))).toBe('its-own');
    expect(origin(taken(58.9), silent(taken(59, false)))).toBe('from-before');
  });

  it('ten minutes are the longest that a picture is waiting', () => {
    expect(origin(taken(60 - 600), silent(taken(60)))).toBe('from-before');
    expect(origin(taken(60 - 601), silent(taken(60)))).toBe('its-own');
  });

  it('nobody who knows no times is early', () => {
    expect(origin(taken(40), { setStartedAt: at(61) })).toBe('from-before');
    expect(origin(taken(57.5), { setStartedAt: at(61) })).toBe('its-own');
  });

  it('a quarter of an hour off may be another zone, and so may any number of them; half of one is a wait', () => {
    const anchor: Anchor = { takenAt: taken(-7200), exposureTime: null, firedAt: null, storedAt: at(-7200) };
    const early = (seconds: number) =>
      originOf(file(taken(60 - seconds)), { ...RELEASE, clockDifference: null, anchor }).is;
    expect([early(900), early(1800), early(897.5), early(902.5)]).toEqual(Array(4).fill('doubtful'));
    expect([early(450), early(440), early(1350), early(896), early(904)]).toEqual(
      Array(5).fill('from-before'),
    );
    expect([early(2), early(0.5)]).toEqual(['doubtful', 'its-own']);
  });

  it('after a restart only the time at which the file before was there is known', () => {
    const anchor: Anchor = { takenAt: taken(30), exposureTime: 20, firedAt: null, storedAt: at(30.5) };
    expect(originOf(file(taken(58)), { ...RELEASE, clockDifference: null, anchor })).toEqual({
      ...{ is: 'doubtful', earlyMs: 1500 },
    });
  });
});
