// Two files of one exposure, as values: which is the frame's own, whether they agree, which files belong together, and what is said of a
// frame that has only one.
import { describe, expect, it } from 'vitest';
import {
  differsFrom,
  isSameExposure,
  kindInWords,
  namesOf,
  ownFirst,
  type RecordedExposure,
  shownFilesOf,
  shownFirst,
  sidecarsOf,
} from '../../src/frames/index.js';
import { type Arrival, isPartnerOf, pairUp } from '../../src/set/assign/arrival.js';
import { missingPartners } from '../../src/set/book/lacking.js';
import { Common } from '../../src/set/judge/common.js';
import { goneWords, loneMark } from '../../src/set/judge/marks.js';
import { frame } from '../journal/journal-sample.js';
import fc from '../seeded.js';

const RAW_KINDS = ['dng', 'cr3', 'nef', 'arw', 'raf', 'tif'];
const of = (kind: string | undefined) => ({ kind });

describe('the frame’s own file', () => {
  it.each(RAW_KINDS)('is the raw file, whichever comes first: %s', (kind) => {
    for (const finished of ['jpg', 'heic']) {
      expect(ownFirst(of(kind), of(finished))).toEqual([of(kind), of(finished)]);
      expect(ownFirst(of(finished), of(kind))).toEqual([of(kind), of(finished)]);
    }
  });

  it('is the HEIF picture beside a JPEG, and never what is no picture', () => {
    expect(ownFirst(of('jpg'), of('heic'))).toEqual([of('heic'), of('jpg')]);
    expect(ownFirst(of(undefined), of('jpg'))).toEqual([of('jpg'), of(undefined)]);
    expect(ownFirst(of('jpg'), of(undefined))).toEqual([of('jpg'), of(undefined)]);
  });

  it('stays the first of two alike', () => {
    const [one, other] = [{ kind: 'dng' }, { kind: 'nef' }];
    expect(ownFirst(one, other)[0]).toBe(one);
    expect(ownFirst(other, one)[0]).toBe(other);
  });
});

it('a JPEG is looked at before a HEIF picture, and that before a raw file', () => {
  expect(shownFirst([of('dng'), of('heic'), of('jpg')])).toEqual([of('jpg'), of('heic'), of('dng')]);
  const partner = { state: 'there', file: '03_0EV.JPG' } as const;
  expect(shownFilesOf({ file: '03_0EV.dng', partner })).toEqual([
    { file: '03_0EV.JPG', kind: 'jpg' },
    { file: '03_0EV.dng', kind: 'dng' },
  ]);
  expect(namesOf({ file: '03_0EV.dng', partner })).toEqual(['03_0EV.dng', '03_0EV.JPG']);
  expect(namesOf({ file: '03_0EV.dng', partner: { state: 'missing' } })).toEqual(['03_0EV.dng']);
  expect(namesOf({ file: null })).toEqual([]);
});

it('each has a sidecar that no other file can have', () => {
  expect(sidecarsOf({ file: '03_0EV.dng', isPartner: false })).toEqual(['03_0EV.xmp', '03_0EV.dng.xmp']);
  expect(sidecarsOf({ file: '03_0EV.jpg', isPartner: true })).toEqual(['03_0EV.jpg.xmp']);
});

it('is called what a photographer calls it', () => {
  expect(
    ['jpg', 'JPG', 'heic', 'avif', 'cr3', 'tif', undefined].map((kind) => kindInWords({ kind })),
  ).toEqual([
    ...['the JPEG', 'the JPEG', 'the HEIF picture', 'the HEIF picture'],
    ...['the raw file', 'the raw file', 'the file'],
  ]);
});

const RECORDED: RecordedExposure = {
  ...{ exposureTime: 1 / 60, fNumber: 8, iso: 100, bias: 0, focalLength: 24 },
  takenAt: '2026-11-25T16:42:10.250',
};
const other = (more: Partial<RecordedExposure>) => differsFrom(RECORDED, { ...RECORDED, ...more });

describe('whether both tell the same exposure', () => {
  it('they do if each value is the same, or is not told, or is rounded', () => {
    expect(other({})).toBeNull();
    expect(other({ fNumber: null, iso: null, bias: null, takenAt: null, focalLength: 70 })).toBeNull();
    expect(other({ exposureTime: 0.0167, fNumber: 8.1 })).toBeNull();
    expect(other({ takenAt: '2026-11-25T16:42:12.250' })).toBeNull();
    expect(differsFrom({ ...RECORDED, exposureTime: null }, RECORDED)).toBeNull();
    const untold = { ...RECORDED, fNumber: null, iso: null, bias: null, takenAt: null };
    expect(differsFrom(untold, { ...RECORDED, bias: 1 })).toBeNull();
    expect(differsFrom({ ...RECORDED, bias: 1 }, { ...RECORDED, bias: null })).toBeNull();
  });

  it.each([
    [{ exposureTime: 1 / 50 }, "It records 1/50 s, but the frame's own file records 1/60 s."],
    [{ exposureTime: null }, 'It does not record its exposure time.'],
    [{ fNumber: 9 }, "It records f/9, but the frame's own file records f/8."],
    [{ iso: 125 }, "It records ISO 125, but the frame's own file records ISO 100."],
    [{ bias: 1 / 3 }, "It records +1/3 EV, but the frame's own file records 0 EV."],
    [
      { takenAt: '2026-11-25T16:42:13' },
      "It records 2026-11-25 16:42:13, but the frame's own file records 2026-11-25 16:42:10.250.",
    ],
  ] satisfies [Partial<RecordedExposure>, string][])('%j: no', (more, sentence) => {
    expect(other(more)).toBe(sentence);
  });

  it('they do not if one bias is as far above 0 as the other is below', () => {
    expect(differsFrom({ ...RECORDED, bias: 1 }, { ...RECORDED, bias: -1 })).toBe(
      "It records −1 EV, but the frame's own file records +1 EV.",
    );
  });

  it('they can only be of one exposure if the moment is the same, to the last digit', () => {
    expect(isSameExposure(RECORDED, { ...RECORDED, focalLength: null })).toBe(true);
    // As written by somebody who leaves out zeros.
    expect(isSameExposure(RECORDED, { ...RECORDED, takenAt: '2026-11-25T16:42:10.25' })).toBe(true);
    for (const takenAt of ['2026-11-25T16:42:10.251', '2026-11-25T16:42:10', null])
      expect(isSameExposure(RECORDED, { ...RECORDED, takenAt })).toBe(false);
    expect(isSameExposure(RECORDED, { ...RECORDED, iso: 200 })).toBe(false);
    const untold = { ...RECORDED, takenAt: null };
    expect([isSameExposure(untold, RECORDED), isSameExposure(untold, untold)]).toEqual([false, false]);
  });
});

const came = (more: Partial<Arrival>): Arrival => ({
  ...{ path: '', kind: 'dng', saidBytes: null, cameraName: null, digest: null, partner: null, rest: null },
  ...{ storedAt: '2026-11-25T15:42:11.000Z', recorded: RECORDED, broken: null, ...more },
});
const raw = (cameraName: string | null, more: Partial<Arrival> = {}) => came({ cameraName, ...more });
const jpeg = (cameraName: string | null, more: Partial<Arrival> = {}) =>
  came({ cameraName, kind: 'jpg', ...more });
const pairsIn = (arrivals: readonly Arrival[], how: 'sure' | 'named') =>
  pairUp(arrivals, how).map(({ kind, cameraName, partner }) =>
    [kind, cameraName, partner?.kind, partner?.cameraName].filter(
      (part) => part !== undefined && part !== null,
    ),
  );

describe('which files belong together', () => {
  it('those of one name, whatever its case, and of two extensions', () => {
    expect(isPartnerOf(jpeg('EVRG0001.JPG'), raw('evrg0001.dng'), 'sure')).toBe(true);
    expect(isPartnerOf(jpeg('EVRG0001.JPG'), raw('EVRG0002.DNG', { recorded: null }), 'sure')).toBe(false);
    // The card has them in two folders.
    expect(isPartnerOf(raw('EVRG0001.DNG'), raw('EVRG0001.DNG'), 'named')).toBe(false);
  });

  it('those of one name and of two exposures only if nothing else is left', () => {
    const odd = jpeg('EVRG0001.JPG', { recorded: { ...RECORDED, iso: 400 } });
    expect(isPartnerOf(odd, raw('EVRG0001.DNG'), 'sure')).toBe(false);
    expect(isPartnerOf(odd, raw('EVRG0001.DNG'), 'named')).toBe(true);
    const broken = jpeg('EVRG0001.JPG', { recorded: null, broken: 'It is cut short.' });
    expect(isPartnerOf(broken, raw('EVRG0001.DNG'), 'sure')).toBe(true);
  });

  it('those of one exposure, where no name tells, or names count on', () => {
    expect(isPartnerOf(jpeg(null), raw(null), 'sure')).toBe(true);
    expect(isPartnerOf(jpeg('capt0002.jpg'), raw('capt0001.dng'), 'sure')).toBe(true);
    expect(isPartnerOf(jpeg(null), raw(null), 'named')).toBe(false);
    expect(isPartnerOf(jpeg(null, { recorded: { ...RECORDED, takenAt: null } }), raw(null), 'sure')).toBe(
      false,
    );
    expect(isPartnerOf(jpeg(null), jpeg(null), 'sure')).toBe(false);
  });

  it('of a burst, each with its own, in whatever order they come', () => {
    const at = (second: number) => ({ ...RECORDED, takenAt: `2026-11-25T16:42:1${second}.000` });
    const burst = [1, 2, 3].flatMap((turn) => [
      raw(`EVRG000${turn}.DNG`, { recorded: at(turn) }),
      jpeg(`EVRG000${turn}.JPG`, { recorded: at(turn) }),
    ]);
    const expected = [1, 2, 3].map((turn) => ['dng', `EVRG000${turn}.DNG`, 'jpg', `EVRG000${turn}.JPG`]);
    fc.assert(
      fc.property(fc.shuffledSubarray(burst, { minLength: 6 }), (files) => {
        expect(pairsIn(files, 'sure').sort()).toEqual(expected);
        const nameless = files.map((file) => ({ ...file, cameraName: null }));
        expect(pairsIn(nameless, 'sure')).toEqual(Array(3).fill(['dng', 'jpg']));
      }),
    );
  });

  it('a pair takes in no third file', () => {
    const files = [
      raw('EVRG0001.DNG'),
      jpeg('EVRG0001.JPG'),
      came({ kind: 'heic', cameraName: 'EVRG0001.HIF' }),
    ];
    expect(pairsIn(files, 'sure')).toEqual([
      ['dng', 'EVRG0001.DNG', 'jpg', 'EVRG0001.JPG'],
      ['heic', 'EVRG0001.HIF'],
    ]);
  });
});

it('what is missing is told with what it is beside, and only of frames that are in the set', () => {
  const missing = { state: 'missing', beside: 'EVRG0003.DNG' } as const;
  expect(
    missingPartners([
      frame(1, 'verified', { file: '01.dng' }),
      frame(2, 'rejected', { partner: missing }),
      frame(3, 'verified', { file: '03.dng', partner: missing }),
      frame(4, 'verified', { file: '04.jpg', partner: { ...missing, beside: null } }),
    ]),
  ).toEqual([
    { frame: 3, kind: 'dng', beside: 'EVRG0003.DNG' },
    { frame: 4, kind: 'jpg', beside: null },
  ]);
});

it('the words of a lone file name what is there', () => {
  expect(loneMark({ kind: 'heic', instead: null })).toEqual({
    code: 'partner-missing',
    sentence: "Only the HEIF picture of its two files has come. The other one may be on the camera's card.",
  });
});

it('the words of a second file that is gone say how it went', () => {
  expect(goneWords('jpg', 'was gone after a restart')).toBe('The JPEG was gone after a restart.');
});

describe('what all frames of a set share', () => {
  const [large, small] = [
    { width: 600, height: 400 },
    { width: 300, height: 200 },
  ];

  it('one size, where each frame is one file', () => {
    const common = new Common(null, () => undefined);
    common.measure(large, 'jpg');
    common.measure(small, 'dng');
    expect([common.pairs, common.sizeOf('jpg'), common.sizeOf('dng')]).toEqual([false, large, large]);
    expect(common.memo).toEqual({ meteredTv: null, lensAt: null, size: large });
  });

  it('one size a kind, where each frame is two; that is kept, and known after a restart', () => {
    let changes = 0;
    const common = new Common(null, () => {
      changes += 1;
    });
    common.measure(large, 'dng');
    common.seePairs();
    common.seePairs();
    common.measure(small, 'jpg');
    common.measure(large, 'jpg');
    expect([common.pairs, common.sizeOf('jpg'), common.sizeOf('dng')]).toEqual([true, small, large]);
    expect([common.sizeOf('heic'), common.sizeOf(undefined), changes]).toEqual([null, null, 3]);
    const { memo } = common;
    expect(memo).toEqual({ meteredTv: null, lensAt: null, size: large, sizes: { dng: large, jpg: small } });
    const after = new Common(memo, () => undefined);
    expect([after.pairs, after.sizeOf('jpg'), after.sizeOf('dng')]).toEqual([true, small, large]);
  });
});
