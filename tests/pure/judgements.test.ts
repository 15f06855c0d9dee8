// The table of judgements: when each rule is asked, what comes of it, and that what is rejected first is what is said.
import { describe, expect, it } from 'vitest';
import { NO_EV, sixths } from '../../shared/ev.js';
import { type BodyLimits, SHUTTER_SCALES, type ShutterSetting } from '../../src/exposure/index.js';
import {
  type AskedOfFrame,
  type AskedOfSet,
  endsOf,
  JUDGEMENTS,
  type Looked,
  leftOut,
  marksOf,
  marksOfSet,
  meteredBase,
  meteredVerdict,
  mismatch,
  rejected,
  type Seen,
  type SeenPartner,
} from '../../src/set/judge/judgements.js';

const setting = (label: string): ShutterSetting => {
  const found = SHUTTER_SCALES.third.find((one) => one.label === label);
  if (found === undefined) throw new Error(`There is no ${label}.`);
  return found;
};

const RECORDED = { exposureTime: 1 / 60, fNumber: 8, iso: 100, bias: null, focalLength: 24, takenAt: null };
const ASKED: AskedOfFrame & AskedOfSet = {
  ...{ mode: 'manual', step: sixths(6), fNumber: 8, iso: 100, longestTv: -5, shortestTv: 13 },
  ...{ offset: NO_EV, centre: NO_EV, shutter: setting('1/60') },
};
const LOOKED: Looked = {
  ...{ broken: null, doubt: null, clipped: { dark: 0, light: 0 } },
  size: { width: 300, height: 200 },
};
const SEEN: Seen = {
  ...{ place: 5, frames: 9, recorded: RECORDED, broken: null, asked: ASKED },
  ...{ baseTv: null, baseMoved: null, times: { firedAt: null, storedAt: null } },
  ...{ clockDifference: null, before: null, perhapsEarlyMs: null },
  ...{ looked: LOOKED, sizeOfSet: { width: 300, height: 200 } },
  ...{ kind: 'jpg', partner: undefined },
};
const recordedAs = ({ recorded, broken, asked, baseTv }: Seen) =>
  mismatch({ recorded, broken }, asked, baseTv);
const looked = (more: Partial<Looked>): Seen => ({ ...SEEN, looked: { ...LOOKED, ...more } });

it('the table: each rule once, with its time and what comes of it', () => {
  expect(JUDGEMENTS.map(({ name, when, comes }) => `${name}: ${when}, ${comes}`)).toEqual([
    'exposure: recorded, reject',
    'whole: picture, reject',
    'pixels: picture, reject',
    'partner: picture, leave-out',
    'proved: picture, mark',
    'clipping: picture, mark',
    'base: recorded, mark',
    'order: recorded, mark',
    'time: recorded, mark',
    'doubtful time: recorded, mark',
    'lone file: picture, mark',
    'odd partner: picture, mark',
    'file size: set, mark',
    'light: set, mark',
  ]);
});

describe('what rejects', () => {
  it('nothing, if all is well', () => {
    expect(recordedAs(SEEN)).toBeNull();
    expect(rejected(SEEN)).toBeNull();
  });

  it('a wrong exposure, as soon as it is read, and not once more with the picture', () => {
    const wrong = { ...SEEN, recorded: { ...RECORDED, iso: 400 } };
    expect(recordedAs(wrong)).toBe('The ISO is 400, but 100 was set.');
    expect(rejected(wrong)).toBeNull();
  });

  it('a file that can be no frame, for its own reason', () => {
    const broken = { ...SEEN, recorded: null, broken: 'The file that came back is not a picture.' };
    expect(recordedAs(broken)).toBe('The file that came back is not a picture.');
  });

  it('a picture that is cut short: what its file records is forgotten, too', () => {
    const cut = looked({ broken: 'It is cut short.', size: { width: 1, height: 1 } });
    expect(rejected(cut)).toEqual({ reason: 'It is cut short.', forgets: true });
    expect(recordedAs(cut)).toBeNull();
  });

  it('a picture of another size than the first one; one that nobody could measure is not judged by that', () => {
    const other = looked({ size: { width: 200, height: 300 } });
    expect(rejected(other)).toEqual({
      reason:
        "The picture has 200 x 300 pixels, and the other frames have 300 x 200: frames of two sizes cannot be merged. Set the camera's image size back.",
      forgets: false,
    });
    expect(rejected(looked({ size: null }))).toBeNull();
    expect(rejected({ ...other, sizeOfSet: null })).toBeNull();
    expect(rejected({ ...SEEN, looked: null })).toBeNull();
  });
});

describe('what marks', () => {
  const codes = (seen: Seen) => marksOf(seen).map(({ code }) => code);

  it('nothing, if all is well, or before the picture was looked at', () => {
    expect(codes(SEEN)).toEqual([]);
    expect(codes({ ...SEEN, looked: null })).toEqual([]);
  });

  it('no order, if the file tells no time, or records nothing at all', () => {
    const before = { number: 1, takenAt: '2026-11-25T16:42:12' as never };
    expect(codes({ ...SEEN, before })).toEqual([]);
    expect(codes({ ...SEEN, recorded: null, before })).toEqual([]);
    expect(codes({ ...SEEN, recorded: null, clockDifference: 0 })).toEqual([]);
  });

  it('all that is to be said of one frame, in the order of the table', () => {
    const at = '2026-11-25T16:42:10.000' as const;
    const local = (hour: number) => new Date(2026, 10, 25, hour, 50).toISOString();
    const odd: Seen = {
      ...looked({ doubt: 'Nothing proves it.', clipped: { dark: 0.5, light: 0.5 } }),
      ...{ place: 1, recorded: { ...RECORDED, takenAt: at as never }, baseMoved: 0.5, clockDifference: 0 },
      ...{ times: { firedAt: local(16), storedAt: local(16) }, perhapsEarlyMs: 4000 },
      before: { number: 2, takenAt: '2026-11-25T16:42:11.000' as never },
    };
    expect(codes(odd)).toEqual(['unproved', 'clipped-light', 'base-moved', 'order', 'time', 'time']);
    expect(marksOf(odd)[0]).toEqual({ code: 'unproved', sentence: 'Nothing proves it.' });
  });

  it('what only the set tells, frame by frame: both rules of one frame stand together', () => {
    const raw = (number: number, bytes: number) => ({ number, kind: 'dng', bytes });
    const marks = marksOfSet({
      sizes: [raw(1, 20e6), raw(2, 5e6), raw(3, 20e6)],
      comparison: {
        ratios: [
          { darker: 1, lighter: 2, expected: 1, ev: 3, mark: true },
          { darker: 2, lighter: 3, expected: 1, ev: -1, mark: true },
        ],
        suspects: [2],
      },
    });
    expect([...marks].map(([number, found]) => [number, found.map(({ code }) => code)])).toEqual([
      [2, ['size', 'ratio']],
    ]);
    expect(marksOfSet({ sizes: [], comparison: { ratios: [], suspects: [] } }).size).toBe(0);
  });
});

describe('the second file of a frame', () => {
  const PARTNER: SeenPartner = {
    ...{ kind: 'jpg', recorded: RECORDED, broken: null, looked: LOOKED },
    sizeOfKind: { width: 300, height: 200 },
  };
  const seen = (more: Partial<SeenPartner> | null | undefined, own: Partial<Seen> = {}): Seen => ({
    ...{ ...SEEN, kind: 'dng', ...own },
    partner: more ? { ...PARTNER, ...more } : more,
  });
  const codes = (one: Seen) => marksOf(one).map(({ code }) => code);

  it('is nothing to speak of if it is right, or if the body makes one', () => {
    for (const one of [seen({}), seen(undefined)]) expect([leftOut(one), codes(one)]).toEqual([null, []]);
  });

  it('is said to be missing, and nothing is left out', () => {
    expect([leftOut(seen(null)), codes(seen(null))]).toEqual([null, ['partner-missing']]);
    expect(marksOf(seen(null)).map(({ sentence }) => sentence)).toEqual([
      "Only the raw file of its two files has come. The other one may be on the camera's card.",
    ]);
  });

  it.each([
    ['cut short', { looked: { ...LOOKED, broken: 'It is cut short.' } }, 'It is cut short.'],
    ['unreadable', { recorded: null, broken: 'It is no picture.' }, 'It is no picture.'],
    ['of the same kind', { kind: 'dng' }, 'Both files of the frame are of the same kind.'],
    [
      'of another exposure',
      { recorded: { ...RECORDED, iso: 400 } },
      "It records ISO 400, but the frame's own file records ISO 100.",
    ],
  ] satisfies [string, Partial<SeenPartner>, string][])(
    '%s: it is left out, and the mark says why',
    (_, more, why) => {
      expect(leftOut(seen(more))).toBe(why);
      const [mark, ...others] = marksOf(seen(more));
      expect([mark?.code, others]).toEqual(['partner-missing', []]);
      const set = 'kind' in more ? 'The raw file' : 'The JPEG';
      expect(mark?.sentence).toBe(
        `Only the raw file of its two files is in the set. ${set} was set aside. ${why} The camera's card may still have it.`,
      );
      // The frame itself stands.
      expect(rejected(seen(more))).toBeNull();
    },
  );

  it('not proved to be complete, or of another size than the others: marked, and taken', () => {
    const odd = seen({
      looked: { ...LOOKED, doubt: 'Nothing proves it.', size: { width: 150, height: 100 } },
    });
    expect(leftOut(odd)).toBeNull();
    expect(marksOf(odd)).toEqual([
      { code: 'partner-odd', sentence: 'One of its two files, the JPEG, is odd: Nothing proves it.' },
      {
        code: 'partner-odd',
        sentence:
          'One of its two files, the JPEG, is odd: It has 150 x 100 pixels, and those of the other frames have 300 x 200.',
      },
    ]);
    expect(codes(seen({ sizeOfKind: null }))).toEqual([]);
    expect(codes(seen({ looked: { ...LOOKED, size: null } }))).toEqual([]);
    // What was left out is not called odd as well.
    expect(codes(seen({ kind: 'dng', looked: { ...LOOKED, doubt: 'Nothing proves it.' } }))).toEqual([
      'partner-missing',
    ]);
  });

  it('is held against what the frame’s own file records, if that records anything', () => {
    const other = { recorded: { ...RECORDED, iso: 400 } };
    expect(leftOut(seen(other, { recorded: null }))).toBeNull();
    expect(leftOut(seen(other))).not.toBeNull();
    expect(codes(seen({ looked: null }))).toEqual([]);
  });

  it('has a size among its own kind', () => {
    const sized = (number: number, bytes: number, isPartner: boolean) => ({
      ...{ number, bytes, isPartner, kind: isPartner ? 'jpg' : 'dng' },
    });
    const sizes = [1, 2, 3].flatMap((number) => [
      sized(number, number === 2 ? 5e6 : 20e6, false),
      sized(number, number === 2 ? 1e6 : 9e6, true),
    ]);
    const marks = marksOfSet({ sizes, comparison: { ratios: [], suspects: [] } });
    expect([...marks].map(([number, found]) => [number, found.map(({ sentence }) => sentence)])).toEqual([
      [
        2,
        [
          'Its file has 5.0 MB, and those of its neighbours have 20.0 and 20.0 MB: check that it is complete.',
          'Its second file has 1.0 MB, and those of its neighbours have 9.0 and 9.0 MB: check that it is complete.',
        ],
      ],
    ]);
  });
});

describe('which frame a file can be', () => {
  it('in manual mode by time, aperture and ISO', () => {
    const file = { recorded: RECORDED, broken: null };
    expect(mismatch(file, ASKED, null)).toBeNull();
    expect(mismatch(file, { ...ASKED, shutter: setting('1/30') }, null)).toBe(
      'The time is 1/60 s, but 1/30 s was set.',
    );
    expect(mismatch({ recorded: { ...RECORDED, fNumber: 5.6, iso: 200 }, broken: null }, ASKED, null)).toBe(
      'The aperture is f/5.6, but f/8 was set. The ISO is 200, but 100 was set.',
    );
    expect(mismatch({ recorded: null, broken: 'It is broken.' }, ASKED, null)).toBe('It is broken.');
  });

  it('in aperture priority by its bias, against the base so far', () => {
    const asked = { ...ASKED, mode: 'aperture', offset: sixths(6), centre: sixths(6) } as const;
    const file = { recorded: { ...RECORDED, exposureTime: 1 / 30, bias: 1 }, broken: null };
    expect(mismatch(file, asked, null)).toBeNull();
    expect(mismatch(file, { ...asked, offset: sixths(12), centre: NO_EV }, null)).toBe(
      'The file is not the frame at +2 EV (it records +1 EV).',
    );
    expect(meteredVerdict(file.recorded, asked, 6)).toMatchObject({ right: true, baseTv: 6, moved: null });
    expect(meteredVerdict(file.recorded, asked, 7)).toMatchObject({ right: true, moved: 1 });
    // Some bodies record the compensation alone: then the time tells, which may be half a step off at most.
    const alone = { ...file.recorded, bias: 0 };
    expect(mismatch({ ...file, recorded: alone }, { ...asked, centre: NO_EV }, 6)).toBeNull();
    expect(mismatch({ ...file, recorded: alone }, { ...asked, centre: NO_EV }, 7)).not.toBeNull();
  });
});

it('a base is metered in aperture priority alone; the first one stays', () => {
  const asked = { ...ASKED, mode: 'aperture', offset: sixths(6), centre: sixths(6) } as const;
  const recorded = { ...RECORDED, exposureTime: 1 / 30, bias: 1 };
  expect(meteredBase(recorded, asked, null)).toEqual({ baseTv: 6, moved: null });
  expect(meteredBase(recorded, asked, 7)).toEqual({ baseTv: 7, moved: 1 });
  expect(meteredBase(recorded, { ...asked, mode: 'manual' }, null)).toBeNull();
  expect(meteredBase(null, asked, null)).toBeNull();
  expect(meteredBase({ ...recorded, exposureTime: null }, asked, null)).toBeNull();
});

it("the ends of a list of times are the body's own, unless it is said that they need not be", () => {
  const limits = (openEnds?: BodyLimits['openEnds']) =>
    ({ shutters: ['30', '1/60', '1/8000'].map(setting), openEnds }) as unknown as BodyLimits;
  expect(endsOf(limits())).toEqual({ longestTv: -5, shortestTv: 13 });
  expect(endsOf(limits(['longest']))).toEqual({ longestTv: null, shortestTv: 13 });
  expect(endsOf(limits(['shortest']))).toEqual({ longestTv: -5, shortestTv: null });
});
