// The readiness of a body: every rule in all its marks, on settings as libgphoto2 2.5.30 gives them (names, labels and kinds
// from its camlibs/ptp2/config.c), and on whatever else a body may say.

import { describe, expect, test } from 'vitest';
import {
  type Mark,
  type ReadinessCode,
  readinessCodeSchema,
  readinessItemSchema,
} from '../../shared/readiness.js';
import type { Setting, Settings } from '../../src/camera/link.js';
import { PracticeBody } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';
import { filesOf, makesTwoFiles } from '../../src/camera/readiness/files.js';
import {
  clockCorrection,
  clockDifference,
  clockSetting,
  type ReadinessQuestion,
  readiness,
} from '../../src/camera/readiness.js';
import { PACED, pace } from '../pace.js';
import fc from '../seeded.js';

const NOW = new Date('2026-03-01T17:00:00.400Z');

const choice = (name: string, value: string, choices: readonly string[] = [value]): Setting => ({
  name,
  kind: 'choice',
  value,
  choices,
});
const text = (name: string, value: string): Setting => ({ name, kind: 'text', value });
const date = (name: string, value: string): Setting => ({ name, kind: 'date', value });

const treeOf = (settings: readonly Setting[]): Settings =>
  new Map(settings.map((setting) => [setting.name, setting]));

const ask = (settings: Settings, asked: Partial<ReadinessQuestion> = {}) =>
  readiness({
    link: 'usb',
    pairs: false,
    dialect: 'none',
    mode: 'manual',
    now: NOW,
    freeBytes: null,
    frames: null,
    fileBytes: null,
    ticked: new Set(),
    ...asked,
    settings,
  });

const itemOf = (code: ReadinessCode, settings: readonly Setting[], asked: Partial<ReadinessQuestion> = {}) =>
  ask(treeOf(settings), asked).find((item) => item.code === code);

type Row = readonly [Mark, readonly Setting[], Partial<ReadinessQuestion>?];

/** Items that the wire tells: no tick. */
function expectMarks(code: ReadinessCode, rows: readonly Row[]): void {
  for (const [mark, settings, asked] of rows) {
    expect(itemOf(code, settings, asked), JSON.stringify(settings)).toMatchObject({ mark, ticked: null });
  }
}

/** Items that want attention until they are ticked. */
function expectTick(
  code: ReadinessCode,
  settings: readonly Setting[],
  asked: Partial<ReadinessQuestion> = {},
): void {
  const open = itemOf(code, settings, asked);
  expect(open, JSON.stringify(settings)).toMatchObject({ mark: 'attention', ticked: false });
  const ticked = itemOf(code, settings, { ...asked, ticked: new Set([code]) });
  expect(ticked).toMatchObject({ mark: 'fine', ticked: true, message: expect.stringContaining('as ticked') });
}

const expectNothing = (
  code: ReadinessCode,
  settings: readonly Setting[] = [],
  asked: Partial<ReadinessQuestion> = {},
) => expect(itemOf(code, settings, asked)).toBeUndefined();

describe('mode', () => {
  const other = (name: string, value: string) => choice(name, value, ['Manual', 'M', 'AV', 'A', value]);

  test('manual, by whichever name it is told', () => {
    expectMarks('mode', [
      ['fine', [choice('autoexposuremode', 'Manual')]],
      ['fine', [choice('autoexposuremodedial', 'Manual')]],
      ['fine', [choice('expprogram', 'M')]],
      ['fine', [choice('expprogram2', 'M')]],
      ['fine', [choice('shootingmode', 'Manual')]],
      ['fine', [choice('expmode', 'M')]],
      ['stops', [other('autoexposuremode', 'AV')]],
      ['stops', [choice('autoexposuremode', 'Bulb')]],
      ['stops', [other('expprogram', 'P')]],
      ['stops', [choice('expprogram', 'Night Landscape')]],
      // A mode that this program has never heard of, on a body that offers the wanted one.
      ['stops', [other('expprogram', 'Moonrise')]],
    ]);
    expect(itemOf('mode', [choice('expprogram', 'P')])?.message).toBe(
      'The camera is in mode P, in which Evenrung cannot set the shutter. Turn its mode dial to M (manual), then fire again.',
    );
  });

  test('aperture priority, where compensation moves the centre', () => {
    const mode = 'aperture';
    expectMarks('mode', [
      ['fine', [choice('autoexposuremode', 'AV')], { mode }],
      ['fine', [choice('expprogram', 'A')], { mode }],
      ['fine', [choice('expprogram', 'Av')], { mode }],
      ['stops', [choice('autoexposuremode', 'Manual')], { mode }],
      ['stops', [choice('expprogram', 'M')], { mode }],
      ['stops', [choice('expprogram', 'S')], { mode }],
      ['stops', [choice('expprogram', 'Auto')], { mode }],
    ]);
    expect(itemOf('mode', [choice('expprogram', 'M')], { mode })?.message).toContain(
      'Turn its mode dial to A or Av (aperture priority), then fire again.',
    );
  });

  test('places on the dial that stand for a stored set of settings', () => {
    expectMarks('mode', [
      ['fine', [choice('autoexposuremode', 'Manual'), choice('autoexposuremodedial', 'C2')]],
      ['fine', [choice('autoexposuremode', 'Custom'), choice('autoexposuremodedial', 'Manual')]],
      ['fine', [choice('expprogram', 'U1'), choice('usermode', 'M')]],
      ['stops', [choice('expprogram', 'U2'), choice('usermode', 'P')]],
      // What lies behind a stored set counts only where one is chosen.
      ['stops', [choice('expprogram', 'P'), choice('usermode', 'M')]],
    ]);
    expectTick('mode', [other('autoexposuremode', 'C3')]);
    expectTick('mode', [choice('expprogram', 'U3'), choice('usermode', 'Unknown value 0007')]);
  });

  test('not told, or in no known words', () => {
    expectTick('mode', []);
    expectTick('mode', [choice('expprogram', '')]);
    expectTick('mode', [choice('expprogram', 'Unknown value 8099')]);
    expectTick('mode', [choice('expprogram', 'Manuell', ['Manuell', 'Zeitautomatik'])]);
    expectTick('mode', [choice('expprogram', 'Manuell')], { mode: 'aperture' });
  });
});

describe('drive', () => {
  test('single, or set to single for the run', () => {
    expectMarks('drive', [
      ['fine', [choice('drivemode', 'Single')]],
      ['fine', [choice('drivemode', 'Single silent')]],
      ['fine', [choice('capturemode', 'Single Shot')]],
      ['fine', [choice('capturemode', 'Single frame')]],
      ['fine', [choice('capturemode', 'Quiet Release')]],
      ['fine', [choice('drivemode', 'Continuous', ['Single', 'Continuous'])]],
      ['fine', [choice('capturemode', 'Unknown value 8099', ['Single Shot', 'Burst'])]],
      ['stops', [choice('drivemode', 'Continuous')]],
      ['stops', [choice('capturemode', 'Burst', ['Burst', 'Timer'])]],
      ['stops', [text('capturemode', 'Timer')]],
      ['stops', [choice('capturemode', 'Bracketing S 1.0 Steps 3 Pictures')], { dialect: 'drive-entry' }],
    ]);
    expect(itemOf('drive', [choice('drivemode', 'Continuous', ['Single', 'Continuous'])])?.message).toBe(
      'The drive is at Continuous; Evenrung sets it to single for the set.',
    );
    expect(itemOf('drive', [choice('drivemode', 'Continuous')])?.message).toMatch(
      /Continuous.*Set it to single on the camera, then fire again\.$/,
    );
  });

  test('a self-timer that stands apart', () => {
    const single = choice('drivemode', 'Single');
    expectMarks('drive', [
      ['fine', [single, choice('selftimer', 'Not used')]],
      ['attention', [single, choice('selftimer', '10 seconds')]],
      ['stops', [choice('drivemode', 'Continuous'), choice('selftimer', '10 seconds')]],
    ]);
  });

  test('not told', () => {
    expectTick('drive', []);
    expectTick('drive', [choice('capturemode', 'Unknown value 8099')]);
  });
});

describe('bracket', () => {
  test('dialect A', () => {
    const dialect = 'amount';
    expectMarks('bracket', [
      ['fine', [choice('aeb', 'off', ['off', '+/- 1'])], { dialect }],
      ['fine', [choice('aeb', '+/- 1', ['off', '+/- 1'])], { dialect }],
      ['fine', [choice('aeb', 'Unknown value 00ff', ['off', '+/- 1'])], { dialect }],
      ['attention', [choice('aeb', '+/- 1')], { dialect }],
      [
        'attention',
        [choice('aeb', 'off', ['off', '+/- 1']), choice('bracketmode', 'WB bracket')],
        { dialect },
      ],
      ['fine', [choice('aeb', 'off', ['off', '+/- 1']), choice('bracketmode', 'AE bracket')], { dialect }],
    ]);
    expect(itemOf('bracket', [choice('aeb', '+/- 1', ['off', '+/- 1'])], { dialect })?.message).toContain(
      'The auto-bracket is at +/- 1; Evenrung sets it for the set.',
    );
  });

  test('dialect B', () => {
    const dialect = 'pattern';
    const off = choice('bracketing', 'Off', ['On', 'Off']);
    expectMarks('bracket', [
      ['fine', [off, choice('bracketset', 'AE only')], { dialect }],
      ['fine', [choice('bracketing', 'On', ['On', 'Off']), choice('bracketset', 'AE only')], { dialect }],
      ['fine', [off, choice('bracketset', 'WB bracketing', ['AE only', 'WB bracketing'])], { dialect }],
      ['attention', [off, choice('bracketset', 'WB bracketing')], { dialect }],
      ['attention', [choice('bracketing', 'On')], { dialect }],
    ]);
    expect(
      itemOf('bracket', [off, choice('bracketset', 'Flash only', ['AE only', 'Flash only'])], { dialect })
        ?.message,
    ).toBe('The auto-bracket is off; Evenrung sets it for the set.');
  });

  test('dialect C, and a bracket that the run does not speak', () => {
    expectMarks('bracket', [
      ['fine', [], { dialect: 'drive-entry' }],
      ['fine', [choice('aeb', 'off')]],
      ['attention', [choice('aeb', '+/- 1', ['off', '+/- 1'])]],
      ['attention', [choice('bracketing', 'On', ['On', 'Off'])]],
    ]);
    expectNothing('bracket');
  });
});

describe('focus', () => {
  test('on manual by any of its names', () => {
    expectMarks('focus', [
      ['fine', [choice('focusmode', 'Manual')]],
      ['fine', [choice('focusmode', 'AF-S'), choice('focusmode2', 'MF (fixed)')]],
      ['fine', [choice('focusmode2', 'MF (selection)')]],
      ['fine', [choice('afmode', 'MF')]],
      ['attention', [choice('focusmode', 'One Shot')]],
      ['attention', [choice('focusmode', 'DMF')]],
      ['attention', [choice('focusmode', 'S-AF+MF')]],
      ['attention', [choice('focusmode', 'Undefined'), choice('focusmode2', 'AF-C')]],
    ]);
    const oneShot = [choice('focusmode', 'One Shot')];
    expect(itemOf('focus', oneShot, { dialect: 'amount' })?.message).toContain('2 s longer');
    expect(itemOf('focus', oneShot, { dialect: 'pattern' })?.message).not.toContain('2 s');
    expectTick('focus', []);
    expectTick('focus', [choice('focusmode', 'Undefined')]);
  });
});

describe('format', () => {
  test('one file a frame', () => {
    expectMarks('format', [
      ['fine', [choice('imageformat', 'RAW')]],
      ['fine', [choice('imageformat', 'Large Fine JPEG')]],
      ['fine', [choice('imagequality', 'NEF (Raw)')]],
      ['fine', [choice('imagequality', 'JPEG Basic*'), choice('rawcompression', 'Lossless')]],
      [
        'fine',
        [choice('imageformat', 'cRAW'), choice('imageformatcf', 'RAW'), choice('imageformatsd', 'RAW')],
      ],
      ['stops', [choice('imageformat', 'RAW + Large Fine JPEG')]],
      ['stops', [choice('imagequality', 'NEF+Fine*')]],
      ['stops', [choice('imagequality', 'RAW+JPEG (Std)')]],
      ['stops', [choice('imagequality', 'RAW+HEIF (X.Fine)')]],
      ['stops', [choice('imageformat', 'Large Fine JPEG+RAW')]],
      ['stops', [choice('imagequality2', 'NEF+Fine')]],
      ['stops', [choice('imageformatcf', 'RAW + Tiny JPEG')]],
      ['attention', [choice('imageformat', 'RAW'), choice('imageformatsd', 'RAW + Tiny JPEG')]],
      [
        'attention',
        [
          choice('imageformat', 'RAW'),
          choice('imageformatcf', 'RAW'),
          choice('imageformatsd', 'Small Fine JPEG'),
        ],
      ],
      // A slot without a card.
      [
        'fine',
        [
          choice('imageformat', 'RAW'),
          choice('imageformatcf', 'RAW'),
          choice('imageformatsd', 'Unknown value 0000'),
        ],
      ],
    ]);
    expect(itemOf('format', [choice('imagequality', 'NEF+Fine')])?.message).toBe(
      'The camera writes two files a frame (NEF+Fine), and over this connection the second is lost or mistaken for the next frame. Set it to raw only or JPEG only, then fire again.',
    );
  });

  test.each([
    // Labels as above; of two files the raw one is merged.
    ['raw', [choice('imageformat', 'cRAW')]],
    ['raw', [choice('imagequality', 'NEF (Raw)')]],
    ['raw', [choice('imagequality', 'NEF+Fine*')]],
    ['raw', [choice('imageformatcf', 'RAW'), choice('imageformatsd', 'RAW')]],
    ['jpeg', [choice('imageformat', 'Large Fine JPEG')]],
    ['jpeg', [choice('imagequality', 'JPEG Basic*')]],
    // Which of the cards is read is not known.
    [null, [choice('imageformatcf', 'RAW'), choice('imageformatsd', 'Small Fine JPEG')]],
    [null, [choice('imageformat', '2', ['0', '1', '2'])]],
    [null, []],
  ] as const)('what becomes of the frames: %s', (files, settings) => {
    expect(filesOf(treeOf(settings))).toBe(files);
  });

  test('two files a frame, where the link tells of every one', () => {
    const pairs = { pairs: true };
    const twofold = 'RAW + Large Fine JPEG';
    expectMarks('format', [
      ['fine', [choice('imageformat', twofold)], pairs],
      ['fine', [choice('imagequality', 'RAW+HEIF (X.Fine)')], pairs],
      ['fine', [choice('imageformat', 'RAW'), choice('imageformatsd', 'RAW + Tiny JPEG')], pairs],
      ['fine', [choice('imageformat', 'RAW')], pairs],
      ['fine', [choice('imageformat', '2', ['0', '1', '2'])], pairs],
      ['fine', [], pairs],
      ['stops', [choice('imageformat', twofold)], { pairs: false }],
    ]);
    expect(itemOf('format', [choice('imageformat', twofold)], pairs)?.message).toBe(
      'Each frame is two files, and both come to this computer (RAW + Large Fine JPEG).',
    );
    expect(itemOf('format', [choice('imageformat', 'RAW')], pairs)?.message).toBe(
      'All files of a frame come to this computer (RAW).',
    );
    expect(itemOf('format', [], pairs)?.message).toBe('All files of a frame come to this computer.');
  });

  test('whether it makes two, as far as it tells', () => {
    const told = (...settings: Setting[]) => makesTwoFiles(treeOf(settings));
    expect(told(choice('imageformat', 'RAW + Large Fine JPEG'))).toBe(true);
    expect(told(choice('imageformatcf', 'RAW + Tiny JPEG'))).toBe(true);
    expect(told(choice('imageformat', 'RAW'), choice('imageformatsd', 'RAW + Tiny JPEG'))).toBe(false);
    expect(told(choice('imageformat', 'RAW'))).toBe(false);
    expect(told(choice('imageformat', '2', ['0', '1', '2']))).toBe(false);
    expect(told()).toBe(false);
  });

  test('not told, or as a bare number', () => {
    expectTick('format', []);
    expectTick('format', [choice('imagequality', 'Unknown value 0002')]);
    expectTick('format', [choice('imagequality', 'JP\u{fffd}G')]);
    expectTick('format', [choice('imageformat', '2', ['0', '1', '2'])]);
  });
});

describe('iso', () => {
  test('fixed', () => {
    expectMarks('iso', [
      ['fine', [choice('iso', '100')]],
      ['fine', [text('iso', '64')]],
      ['fine', [{ name: 'iso', kind: 'range', value: '12800' }]],
      ['fine', [choice('iso', '100'), choice('isoauto', 'Off'), choice('autoiso', 'Off')]],
      ['stops', [choice('iso', 'Auto')]],
      ['stops', [choice('iso', 'Auto ISO')]],
      ['stops', [choice('iso', 'ISO Auto 3200')]],
      ['stops', [choice('iso', 'A800 (160-800)')]],
      ['stops', [choice('iso', 'Factory Default')]],
      ['stops', [text('iso', '65535')]],
      ['stops', [choice('iso', '100'), choice('isoauto', 'On')]],
      ['stops', [choice('iso', '100'), choice('autoiso', 'On')]],
      ['stops', [choice('iso', '400 Multi Frame Noise Reduction')]],
    ]);
    expect(itemOf('iso', [choice('iso', 'Auto ISO Multi Frame Noise Reduction+')])?.message).toContain(
      'The camera merges several exposures into each frame (ISO Auto ISO Multi Frame Noise Reduction+). Set a plain, fixed ISO, then fire again.',
    );
    expectTick('iso', []);
    expectTick('iso', [choice('iso', 'Low')]);
    expectTick('iso', [choice('iso', '0')]);
    expectTick('iso', [choice('iso', 'Unknown value 1234')]);
  });
});

test('white balance', () => {
  expectMarks('white-balance', [
    ['fine', [choice('whitebalance', 'Daylight')]],
    ['fine', [choice('whitebalance', 'Manual')]],
    ['fine', [choice('whitebalance', 'Color Temperature')]],
    ['attention', [choice('whitebalance', 'Auto')]],
    ['attention', [choice('whitebalance', 'Automatic')]],
    ['attention', [choice('whitebalance', 'Natural light auto')]],
    ['attention', [choice('whitebalance', 'AWB White')]],
    ['attention', [choice('whitebalance', 'Underwater: Auto')]],
    ['attention', [choice('whitebalance', 'Unknown value 8099')]],
  ]);
  expectNothing('white-balance');
});

test('target', () => {
  const both = ['Internal RAM', 'Memory card'];
  expectMarks('target', [
    ['fine', [choice('capturetarget', 'Memory card', both)]],
    ['fine', [choice('capturetarget', 'Internal RAM', both)]],
    ['fine', [choice('capturetarget', 'card+sdram')]],
    ['fine', [choice('capturetarget', 'card', ['sdram', 'card', 'card+sdram'])]],
    ['attention', [choice('capturetarget', 'Internal RAM')]],
    ['attention', [choice('capturetarget', 'sdram')]],
    ['attention', [choice('capturetarget', 'card')]],
    ['attention', [choice('capturetarget', 'Unknown value 0020')]],
  ]);
  expect(itemOf('target', [choice('capturetarget', 'Internal RAM')])?.message).toContain('the only ones');
  expectNothing('target');
});

describe('room', () => {
  const card = choice('capturetarget', 'Memory card', ['Internal RAM', 'Memory card']);
  const memory = choice('capturetarget', 'Internal RAM', ['Internal RAM', 'Memory card']);
  const left = (frames: number | string) => text('availableshots', String(frames));

  test('on the card', () => {
    expectMarks('room', [
      ['fine', [left(9)], { frames: 9 }],
      ['fine', [card, left(9)], { frames: 9 }],
      ['fine', [card, left(1)]],
      ['fine', [{ name: 'availableshots', kind: 'range', value: '27' }], { frames: 9 }],
      ['stops', [card, left(8)], { frames: 9 }],
      ['stops', [card, left(0)]],
      ['stops', [card, left(0)], { frames: 9 }],
    ]);
    expect(itemOf('room', [left(1)], { frames: 9 })?.message).toBe(
      'The camera has room for 1 more frame, and the set takes 9. Free some space on the card, or change it, then fire again.',
    );
    expectNothing('room', [card]);
    expectTick('room', [card], { frames: 9 });
    expectTick('room', [card, left('-1')], { frames: 9 });
    expectTick('room', [card, left(4294967295)], { frames: 9 });
  });

  test('a body that is set to its memory does not count its card', () => {
    expectTick('room', [memory, left(9999)], { frames: 9 });
    expectTick('room', [memory, left(0)], { frames: 9 });
    expectNothing('room', [memory, left(0)]);
    // Where it has no card, there is none to be full.
    expectNothing('room', [choice('capturetarget', 'Internal RAM'), left(0)], { frames: 9 });
  });

  test('on this computer', () => {
    const asked = { frames: 10, fileBytes: 30e6 };
    expectMarks('room', [
      ['fine', [left(99)], { ...asked, freeBytes: 300e6 }],
      ['stops', [left(99)], { ...asked, freeBytes: 299e6 }],
      ['stops', [], { ...asked, freeBytes: 0 }],
      ['fine', [left(99)], { frames: 10, freeBytes: 600e6 }],
      ['attention', [left(99)], { frames: 10, freeBytes: 500e6 }],
      // The card is the nearer end.
      ['stops', [left(3)], { ...asked, freeBytes: 300e9 }],
    ]);
    // A raw file and a JPEG are more than a raw file.
    const two = [choice('imageformat', 'RAW + Large Fine JPEG'), left(999)];
    const forRaw = { freeBytes: 7e9, frames: 100 };
    expect(itemOf('room', two, { ...forRaw, pairs: true })?.message).toBe(
      'Only 7.0 GB are free where the sets go, and a set of 100 frames takes up to 9.0 GB in two files each. Free some space, or choose another folder.',
    );
    expect(itemOf('room', two, forRaw)?.mark).toBe('fine');
    expectTick('room', [], { ...asked, freeBytes: 300e9 });
    expectNothing('room', [], { freeBytes: 0 });
    const short = { frames: 100, fileBytes: 30e6, freeBytes: 2.99e9 };
    expect(itemOf('room', [left(100)], short)?.message).toBe(
      'Only 2.9 GB are free where the sets go, and a set of 100 frames takes 3.0 GB. Free some space, or choose another folder, then fire again.',
    );
  });
});

test('battery', () => {
  const at = (value: string) => text('batterylevel', value);
  expectMarks('battery', [
    ['fine', [at('100%')]],
    ['fine', [at('30%')]],
    ['attention', [at('29%')]],
    ['attention', [at('10%')]],
    ['stops', [at('9%')]],
    ['stops', [at('1%')]],
    // A battery-shaped mains adapter.
    ['attention', [at('0%')]],
    ['attention', [at('Low')]],
    ['attention', [at('255%')]],
    ['attention', [at('three bars')]],
    ['fine', [at('5%'), choice('acpower', 'On')]],
    ['stops', [at('5%'), choice('acpower', 'Off')]],
  ]);
  for (const unknown of ['Unknown', 'Unknown value', 'broken', '']) expectNothing('battery', [at(unknown)]);
  expectNothing('battery');
});

describe('clock', () => {
  const moment = (value: string) => date('datetimeutc', value);
  const shown = (value: string) => date('datetime', value);
  const right = '2026-03-01T17:00:00.000Z';

  test('difference: whole seconds, the moment before the time that is shown', () => {
    const difference = (...settings: Setting[]) => clockDifference(treeOf(settings), NOW);
    expect(difference()).toBeNull();
    expect(difference(shown(''))).toBeNull();
    expect(difference(text('datetime', right))).toBeNull();
    expect(difference(shown(right))).toBe(0);
    expect(Object.is(difference(shown(right)), 0)).toBe(true);
    expect(difference(shown('2026-03-01T17:00:05.000Z'))).toBe(5);
    expect(difference(shown('2026-03-01T16:59:50.000Z'))).toBe(-10);
    expect(difference(shown('2026-03-01T18:00:00.000Z'), moment(right))).toBe(0);
    expect(difference(shown(right), moment(''))).toBe(0);
    expect(clockDifference(treeOf([shown(right)]), new Date(Number.NaN))).toBeNull();
  });

  test('a right clock is 0 ahead at any moment of the second', () => {
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 4e12 }), fc.integer({ min: -1e6, max: 1e6 }), (now, ahead) => {
        const told = Math.floor(now / 1000) + ahead;
        const settings = treeOf([shown(new Date(told * 1000).toISOString())]);
        expect(clockDifference(settings, new Date(now))).toBe(ahead);
      }),
    );
  });

  test('setting: seconds as digits, by the setting that the library can write', () => {
    const setting = (...settings: Setting[]) => clockSetting(treeOf(settings), NOW);
    const value = String(Date.parse(right) / 1000 + 1);
    expect(setting()).toBeNull();
    expect(setting({ name: 'syncdatetime', kind: 'toggle', value: 'off' })).toBeNull();
    expect(setting(text('datetime', right))).toBeNull();
    expect(setting(shown(''))).toEqual({ name: 'datetime', value });
    expect(setting(shown(right), moment(right))).toEqual({ name: 'datetimeutc', value });
    expect(clockSetting(treeOf([shown(right)]), new Date(Number.NaN))).toBeNull();
  });

  test('correction: an hour lost or won by summer time, and nothing else', () => {
    const correction = (told: string) => clockCorrection(treeOf([shown(told)]), NOW);
    expect(correction(right)).toBeNull();
    expect(correction('2026-03-01T16:59:58.000Z')).toBeNull();
    expect(correction('2026-03-01T16:30:00.000Z')).toBeNull();
    expect(correction('2026-03-01T15:00:00.000Z')).toBeNull();
    expect(clockCorrection(treeOf([]), NOW)).toBeNull();
    expect(correction('2026-03-01T15:59:59.000Z')).toEqual({
      name: 'datetime',
      value: String(Date.parse('2026-03-01T18:00:01.000Z') / 1000),
    });
    expect(correction('2026-03-01T18:00:00.000Z')).toEqual({
      name: 'datetime',
      value: String(Date.parse('2026-03-01T16:00:01.000Z') / 1000),
    });
  });

  test('marks', () => {
    expectMarks('clock', [
      ['fine', [shown(right)]],
      ['fine', [shown('2026-03-01T17:00:02.000Z')]],
      ['attention', [shown('2026-03-01T17:00:03.000Z')]],
      ['attention', [moment('1970-01-01T00:00:09.000Z')]],
      ['fine', [moment(right), shown('2026-03-01T17:00:01.000Z')]],
      ['attention', [moment(right), shown('2026-03-01T18:00:00.000Z')]],
    ]);
    const message = (...settings: Setting[]) => itemOf('clock', settings)?.message;
    expect(message(shown('2026-03-01T18:00:00.000Z'))).toContain(
      "The camera's clock is 1 h ahead of this computer's, most likely by its time zone or summer time, so files and records would not agree. Evenrung can set it.",
    );
    expect(message(shown('2026-03-01T16:50:00.000Z'))).toContain(
      "The camera's clock is 10 min behind this computer's, so files and records would not agree. Evenrung can set it.",
    );
    expect(message(shown('2026-03-01T16:50:00.000Z'))).not.toContain('zone');
    expect(message(moment('2026-03-01T18:00:00.000Z'))).not.toContain('zone');
    expect(message(shown('2026-02-27T14:59:59.000Z'))).toContain('is 2 days 2 h behind');
    expect(message(moment(right), shown('2026-03-01T18:00:00.000Z'))).toContain('another zone');
    expectNothing('clock');
    expectNothing('clock', [shown('')]);
  });
});

test('flash', () => {
  const mode = (value: string) => choice('flashmode', value);
  const raised = (value: string) => choice('flashopen', value);
  const attached = (value: string) => choice('externalflash', value);
  expectMarks('flash', [
    ['fine', [mode('Flash off')]],
    ['fine', [mode('off')]],
    ['fine', [mode('Fill flash'), raised('Off'), attached('Off')]],
    ['fine', [raised('Off')]],
    ['fine', [mode('Fill flash'), attached('Off')]],
    ['attention', [mode('Fill flash')]],
    ['attention', [mode('Fill flash'), raised('On'), attached('Off')]],
    ['attention', [mode('Fill flash'), raised('Off'), attached('On')]],
    ['attention', [mode('Automatic Flash')]],
  ]);
  expectNothing('flash');
  expectNothing('flash', [mode('Unknown value 8099')]);
});

test('tone', () => {
  expectMarks('tone', [
    ['fine', [choice('alomode', 'Off')]],
    ['fine', [choice('alomode', 'Off (disabled in manual exposure)')], { mode: 'aperture' }],
    ['fine', [choice('alomode', 'x3')]],
    ['fine', [choice('alomode', 'High (disabled in manual exposure)')]],
    ['attention', [choice('alomode', 'High (disabled in manual exposure)')], { mode: 'aperture' }],
    ['attention', [choice('alomode', 'Standard')]],
    ['attention', [choice('alomode', 'Unknown value 0009')]],
    ['fine', [choice('dlighting', 'Off')]],
    ['attention', [choice('dlighting', 'Auto')]],
    ['attention', [choice('dlighting', 'Extra high')]],
    ['fine', [choice('hdrmode', 'Off')]],
    ['stops', [choice('hdrmode', 'On')]],
    ['stops', [choice('hdrmode', 'On'), choice('dlighting', 'Auto')]],
    ['attention', [choice('picturestyle', 'Auto')]],
    ['attention', [choice('tonecompensation', 'Auto')]],
  ]);
  expectNothing('tone');
  expectNothing('tone', [choice('picturestyle', 'Neutral'), choice('tonecompensation', 'Normal')]);
});

describe('mirror', () => {
  test('lock-up stops, a delay is named', () => {
    expectMarks('mirror', [
      ['stops', [choice('mirrorlock', '1')]],
      ['fine', [choice('mirrorlock', '0')]],
      ['stops', [choice('capturemode', 'Mirror Up')]],
      ['stops', [choice('capturemode', 'Mup Mirror up')]],
      ['fine', [choice('capturemode', 'Mirror Up', ['Single Shot', 'Mirror Up'])]],
      ['attention', [choice('mirrorupstatus', 'On')]],
      ['fine', [choice('exposuredelaymode', 'On')]],
      ['fine', [choice('capturedelay', '2.000s')]],
    ]);
    expect(itemOf('mirror', [choice('mirrorlock', '1')])?.message).toBe(
      "The camera's mirror lock-up is on: the first release only raises the mirror, and brings no file. Turn it off, then fire again.",
    );
    expect(itemOf('mirror', [choice('capturedelay', '2.000s')])?.message).toContain('waits 2 s');
    expect(itemOf('mirror', [choice('exposuredelaymode', 'On')])?.message).toContain('a second or so');
    expectNothing('mirror');
    expectNothing('mirror', [choice('exposuredelaymode', 'Off'), choice('capturedelay', '0.000s')]);
  });

  // The lists are those of libgphoto2 2.5.30, the table of custom functions in camlibs/ptp2, group 3 and group 4 of one body.
  test('custom function 60f of 0x0B', () => {
    const off = '84,1,3,78,8,505,1,0,506,1,0,50f,1,0,510,1,0,50e,1,0,60f,1,0,508,1,0,507,5,0,ff,0,ff,0,';
    const on = off.replace('60f,1,0', '60f,1,1');
    const apart = '68,1,4,5c,7,701,1,0,702,1,0,704,1,0,706,1,0,80b,1,0,80f,1,0,70b,1,0,';
    // 60f as a value, not as a function.
    const asValue = '28,1,1,1c,2,101,3,0,60f,1,102,1,0,';
    const two = `a4,2,1,14,1,101,1,1,${on.slice('84,1,'.length)}`;
    expectMarks('mirror', [
      ['fine', [text('customfuncex', off)]],
      ['stops', [text('customfuncex', on)]],
      ['stops', [text('customfuncex', two)]],
    ]);
    for (const value of [
      apart,
      asValue,
      '',
      ',',
      'bad length',
      '60f',
      '20,1,3,14,1,60f',
      '20,ffffffff,3,14,ffffffff,60f,0',
    ]) {
      expectNothing('mirror', [text('customfuncex', value)]);
    }
  });
});

test('noise reduction', () => {
  expectMarks('noise-reduction', [
    ['fine', [choice('longexpnr', 'Off')]],
    ['attention', [choice('longexpnr', 'On')]],
    ['attention', [choice('longexpnr', 'Auto')]],
    ['stops', [choice('highisonr', 'Multi-Shot')]],
    ['stops', [choice('highisonr', 'Multi-Shot'), choice('longexpnr', 'Off')]],
    ['fine', [choice('highisonr', 'High'), choice('longexpnr', 'Off')]],
  ]);
  expectNothing('noise-reduction');
  expectNothing('noise-reduction', [choice('highisonr', 'High')]);
});

test('power-off', () => {
  expectMarks('power-off', [
    ['fine', [text('autopoweroff', '0')]],
    ['fine', [text('autopoweroff', '4294967295')]],
    ['attention', [text('autopoweroff', '60')]],
    ['attention', [choice('meterofftime', '30 minutes')]],
  ]);
  expectNothing('power-off');
  expectNothing('power-off', [text('autopoweroff', '')]);
});

describe('by hand', () => {
  const SWITCHES: readonly (readonly [ReadinessCode, string])[] = [
    ['stabiliser', 'vibrationreduction'],
    ['assist-lamp', 'assistlight'],
    ['electronic-shutter', 'silentphotography'],
  ];

  test('wants attention until it is ticked, whatever else is', () => {
    for (const code of ['stabiliser', 'assist-lamp', 'eyepiece-cover', 'electronic-shutter'] as const) {
      expectTick(code, []);
      expect(itemOf(code, [], { ticked: new Set(['mode', 'room']) })).toMatchObject({ ticked: false });
    }
  });

  test('where the wire tells, it counts, and a tick does not', () => {
    for (const [code, name] of SWITCHES) {
      const ticked = new Set([code]);
      expectMarks(code, [
        ['fine', [choice(name, 'Off')]],
        ['attention', [choice(name, 'On')], { ticked }],
      ]);
      expectTick(code, [choice(name, 'Normal')]);
      expectTick(code, [choice(name, '')]);
    }
  });

  test('the menu of dialect B, in manual mode', () => {
    const dialect = 'pattern';
    expectMarks('bracket-menu', [
      ['fine', [choice('bracketmode', 'Flash/speed')], { dialect }],
      ['stops', [choice('bracketmode', 'Flash/speed/aperture')], { dialect }],
      ['stops', [choice('bracketmode', 'Flash/aperture')], { dialect }],
      ['stops', [choice('bracketmode', 'Flash only')], { dialect }],
    ]);
    expectTick('bracket-menu', [], { dialect });
    expectTick('bracket-menu', [choice('bracketmode', 'Unknown value 0009')], { dialect });
    expectNothing('bracket-menu', [choice('bracketmode', 'Flash only')], { dialect, mode: 'aperture' });
    expectNothing('bracket-menu', [choice('bracketmode', 'Flash only')], { dialect: 'amount' });
  });
});

// ---- Labels of one vendor extension under the names of another

/** For each name and extension, what its labels are marked with; for a dash the item is left out. */
type Known = Readonly<
  Record<string, Readonly<Record<string, Readonly<Partial<Record<Mark | '-' | 'tick', readonly string[]>>>>>>
>;

const CODES_OF_NAMES: Readonly<Record<string, ReadinessCode>> = {
  autoexposuremode: 'mode',
  expprogram: 'mode',
  drivemode: 'drive',
  capturemode: 'drive',
  focusmode: 'focus',
  imageformat: 'format',
  imagequality: 'format',
  iso: 'iso',
  whitebalance: 'white-balance',
  capturetarget: 'target',
  batterylevel: 'battery',
  flashmode: 'flash',
  alomode: 'tone',
  dlighting: 'tone',
  highisonr: 'noise-reduction',
  bracketmode: 'bracket',
};

const lines = (list: string): readonly string[] => list.split('|').map((label) => label.trim());

const BALANCES = 'Daylight|Fluorescent|Tungsten|Flash|Cloudy|Shade|Manual|Preset|Off|Color Temperature';
const KNOWN: Known = {
  autoexposuremode: {
    '0x0B': {
      fine: ['Manual'],
      stops: lines(
        `P|TV|AV|Bulb|A_DEP|DEP|Lock|Green|Night Portrait|Sports|Portrait|Landscape|Closeup|Flash Off|Creative Auto|Movie|Auto|
        Handheld Night Scene|HDR Backlight Control|SCN|Food|Grainy B/W|Soft focus|Toy camera effect|Fish-eye effect|
        Water painting effect|Miniature effect|HDR art standard|HDR art vivid|HDR art bold|HDR art embossed|Panning|HDR|
        Self Portrait|Hybrid Auto|Smooth skin|Fv`,
      ),
      tick: ['Custom', 'C2', 'C3'],
    },
  },
  expprogram: {
    plain: { fine: ['M'], stops: ['P', 'A', 'S', 'Creative', 'Action', 'Portrait'] },
    '0x0A': {
      fine: ['M'],
      stops: lines(
        `Auto|Portrait|Landscape|Macro|Sports|Night Portrait|Night Landscape|Children|Automatic (No Flash)|No Flash|Scene|Effects|
        Back Light|Panorama|Smoothing|Tilt-Shift|Select Color`,
      ),
      tick: ['U1', 'U2', 'U3'],
    },
    '0x11': {
      fine: ['M'],
      stops: lines(
        `Intelligent Auto|Superior Auto|Movie (P)|Movie (A)|Movie (S)|Movie (M)|Movie (Scene)|Tele-zoom Cont. Priority AE|
        Sweep Panorama|Intelligent Auto Flash Off|Sports Action|Macro|Landscape|Sunset|Night Scene|Hand-held Twilight|
        Night Portrait|Anti Motion Blur|Picture Effect|S&Q`,
      ),
    },
  },
  drivemode: {
    '0x0B': {
      fine: ['Single', 'Single: Silent shooting', 'Single silent'],
      stops: lines(
        `Continuous|Video|Continuous high speed|Continuous low speed|Continuous timer|Timer 10 sec|Timer 2 sec|
        Super high speed continuous shooting|Continuous silent|Silent HS continuous|Silent LS continuous`,
      ),
    },
  },
  capturemode: {
    plain: { fine: ['Single Shot'], stops: ['Burst', 'Timelapse'] },
    '0x0A': {
      fine: ['Single Shot', 'Quiet Release'],
      stops: lines(
        'Continuous Low Speed|Timer|Mirror Up|Remote|Quick Response Remote|Delayed Remote|Continuous Quiet Release',
      ),
    },
    '0x11': {
      stops: lines(
        `Selftimer 2s|Selftimer 10s 3 Pictures|Continuous Hi+ Speed|Bracketing C 1.0 Steps 3 Pictures|
        Bracketing S 0.3 Steps 9 Pictures|Bracketing WB Lo|Bracketing DRO Hi|Single Bracket 1.0 EV 5 Img.`,
      ),
    },
    '0x0E': { fine: ['Single frame'], stops: ['Continuous high speed', 'Self-timer', 'Mup Mirror up'] },
  },
  focusmode: {
    plain: { fine: ['Manual'], attention: ['Automatic', 'Automatic Macro'], tick: ['Undefined'] },
    '0x0B': { fine: ['Manual'], attention: ['One Shot', 'AI Servo', 'AI Focus'] },
    '0x0A': { attention: ['AF-S', 'AF-C', 'AF-A'] },
    '0x11': { attention: ['DMF', 'AF-C'] },
  },
  imageformat: {
    '0x0B': {
      fine: lines(
        'RAW|mRAW|sRAW|cRAW|Large Fine JPEG|Medium Normal JPEG|Small Fine JPEG|Smaller JPEG|Tiny JPEG|JPEG|CRW',
      ),
      stops: lines('RAW + Large Fine JPEG|mRAW + Small Normal JPEG|cRAW + Smaller JPEG|sRAW + Tiny JPEG'),
    },
    '0x0E': { fine: ['RAW', 'JPEG Fine'], stops: ['RAW + JPEG Fine', 'RAW + JPEG Normal'] },
  },
  imagequality: {
    '0x0A': {
      fine: lines('JPEG Basic|JPEG Basic*|JPEG Normal|JPEG Fine*|TIFF|TIFF (RGB)|NEF (Raw)'),
      stops: lines('NEF+Basic|NEF+Basic*|NEF+Normal|NEF+Fine|NEF+Fine*'),
    },
    '0x11': {
      fine: lines('Light|Standard|Fine|Extra Fine|RAW|HEIF (Light)|HEIF (X.Fine)'),
      stops: lines('RAW+JPEG|RAW+JPEG (Light)|RAW+JPEG (X.Fine)|RAW+HEIF (Std)'),
    },
    '0x0B': { fine: ['economy', 'normal', 'fine', 'lossless', 'superfine'], tick: ['undefined'] },
  },
  iso: {
    '0x0B': { fine: ['6', '100', '819200'], stops: ['Auto', 'Factory Default'] },
    '0x11': { fine: ['50'], stops: ['Auto ISO', '800 Multi Frame Noise Reduction+'] },
    '0x0A': { fine: ['100'], stops: ['ISO Auto 800', 'A6400 (160-6400)'] },
    plain: { fine: ['100'], stops: ['65535'] },
  },
  whitebalance: {
    plain: { fine: lines(BALANCES), attention: ['Automatic', 'One-push Automatic'] },
    '0x0B': {
      fine: lines(
        'Daylight|Cloudy|Tungsten|Fluorescent|Flash|Manual|Shadow|Color Temperature|Custom Whitebalance: PC-1|Manual 5|Custom',
      ),
      attention: ['Auto', 'AWB White', 'Unknown 7'],
    },
    '0x0A': { fine: ['Preset', 'Shade'], attention: ['Natural light auto'] },
    '0x11': { fine: ['Fluorescent: Day White', 'Choose Color Temperature'], attention: ['Underwater: Auto'] },
  },
  capturetarget: {
    '0x0B': { fine: ['Memory card'], attention: ['Internal RAM'] },
    '0x0A': { fine: ['Memory card'], attention: ['Internal RAM'] },
    '0x11': { fine: ['card+sdram'], attention: ['sdram', 'card'] },
  },
  batterylevel: {
    plain: { fine: ['100%', '30%'], attention: ['29%', '0%'], stops: ['9%'], '-': ['broken'] },
    '0x0B': { fine: ['100%', '75%', '50%'], attention: ['25%', 'Low'], '-': ['Unknown value'] },
    '0x11': { fine: ['80%'], '-': ['Unknown'] },
  },
  flashmode: {
    plain: { fine: ['Flash off'], attention: lines('Automatic Flash|Fill flash|Red-eye fill|External sync') },
    '0x0B': {
      fine: ['off'],
      attention: lines('auto|on|red eye suppression|fill in|on + red eye suppression'),
    },
    '0x0A': { attention: ['Auto', 'Rear Curtain Sync + Slow Sync'] },
    '0x11': { attention: ['Rear Curtain Sync', 'Wireless Sync'] },
  },
  alomode: {
    '0x0B': {
      fine: ['Off', 'Off (disabled in manual exposure)', 'Low (disabled in manual exposure)', 'x3'],
      attention: ['Standard', 'Low', 'High', 'x1', 'x2'],
    },
  },
  dlighting: { '0x0A': { fine: ['Off'], attention: ['Extra high', 'High', 'Normal', 'Low', 'Auto'] } },
  highisonr: {
    '0x0B': { '-': ['Off', 'Low', 'Normal', 'High'], stops: ['Multi-Shot'] },
    '0x0A': { '-': ['On', 'Off', 'Low', 'Normal', 'High'] },
  },
  bracketmode: {
    '0x0B': { '-': ['AE bracket', 'Bracket off'], attention: ['ISO bracket', 'WB bracket', 'FE bracket'] },
    '0x0A': { '-': ['Flash/speed', 'Flash/speed/aperture', 'Flash/aperture', 'Flash only'] },
  },
};

interface Label {
  readonly name: string;
  readonly label: string;
  readonly mark: Mark | '-' | 'tick';
}

const LABELS: readonly Label[] = Object.entries(KNOWN).flatMap(([name, extensions]) =>
  Object.values(extensions).flatMap((marks) =>
    Object.entries(marks).flatMap(([mark, labels]) =>
      labels.map((label) => ({ name, label, mark: mark as Label['mark'] })),
    ),
  ),
);

/** Bodies on which nothing is to be done, as each extension gives them. */
const READY: Readonly<Record<string, readonly Setting[]>> = {
  '0x0B': [
    choice('autoexposuremode', 'Manual'),
    choice('drivemode', 'Single'),
    choice('aeb', 'off'),
    choice('focusmode', 'Manual'),
    choice('imageformat', 'RAW'),
    choice('iso', '100'),
    choice('whitebalance', 'Daylight'),
    choice('capturetarget', 'Memory card'),
    text('availableshots', '500'),
    text('batterylevel', '100%'),
    choice('alomode', 'Off'),
    choice('bracketmode', 'Bracket off'),
  ],
  '0x0A': [
    choice('expprogram', 'M'),
    choice('capturemode', 'Single Shot'),
    choice('bracketing', 'Off'),
    choice('bracketset', 'AE only'),
    choice('bracketmode', 'Flash/speed'),
    choice('focusmode', 'Manual'),
    choice('imagequality', 'NEF (Raw)'),
    choice('iso', '100'),
    choice('isoauto', 'Off'),
    choice('whitebalance', 'Daylight'),
    choice('capturetarget', 'Memory card'),
    choice('dlighting', 'Off'),
    choice('flashmode', 'Flash off'),
    choice('longexpnr', 'Off'),
    choice('assistlight', 'Off'),
  ],
  '0x11': [
    choice('expprogram', 'M'),
    choice('capturemode', 'Single Shot'),
    choice('focusmode', 'Manual'),
    choice('imagequality', 'RAW'),
    choice('iso', '100'),
    choice('whitebalance', 'Daylight'),
    choice('capturetarget', 'card+sdram'),
    text('batterylevel', '80%'),
    choice('flashmode', 'Flash off'),
  ],
  plain: [
    choice('expprogram', 'M'),
    choice('capturemode', 'Single Shot'),
    choice('focusmode', 'Manual'),
    choice('imagequality', 'Fine'),
    choice('iso', '100'),
    choice('whitebalance', 'Daylight'),
    text('batterylevel', '90%'),
    choice('flashmode', 'Flash off'),
  ],
};
const DIALECTS = { '0x0B': 'amount', '0x0A': 'pattern', '0x11': 'drive-entry', plain: 'none' } as const;
const ALL_TICKED: ReadonlySet<string> = new Set(readinessCodeSchema.options);

test('a body that is ready is fine throughout, under every extension', () => {
  for (const [extension, settings] of Object.entries(READY)) {
    const items = ask(treeOf(settings), {
      dialect: DIALECTS[extension as keyof typeof DIALECTS],
      ticked: ALL_TICKED,
    });
    expect(items.filter(({ mark }) => mark !== 'fine')).toEqual([]);
    expect(items.length).toBeGreaterThan(10);
  }
});

test('every known label has its mark, among settings of any extension, and trips no other rule', () => {
  const about = (name: string): ReadinessCode => {
    const code = CODES_OF_NAMES[name];
    if (code === undefined) throw new Error(`Nobody knows whose ${name} is.`);
    return code;
  };
  /** Names of the same item, which must not answer in the place of this one. */
  const others = (name: string) =>
    Object.keys(CODES_OF_NAMES).filter((other) => about(other) === about(name));
  expect(LABELS.length).toBeGreaterThan(200);
  for (const [extension, ready] of Object.entries(READY)) {
    const dialect = DIALECTS[extension as keyof typeof DIALECTS];
    for (const { name, label, mark } of LABELS) {
      const code = about(name);
      const rest = ready.filter((setting) => !others(name).includes(setting.name) && setting.name !== name);
      const without = ask(treeOf(rest), { dialect });
      const items = ask(treeOf([...rest, choice(name, label)]), { dialect });
      const where = `${name} ${label} among ${extension}`;
      const found = items.find((item) => item.code === code);
      const before = without.find((item) => item.code === code);
      if (mark === '-') expect(found, where).toEqual(before);
      else if (mark === 'tick') expect(found, where).toMatchObject({ mark: 'attention', ticked: false });
      else expect(found, where).toMatchObject({ mark, ticked: null });
      // Items that share a name: the drive may raise the mirror, `bracketmode` is the menu of dialect B, and the target decides
      // whose room is counted.
      const apart = new Set([code, 'mirror', 'bracket-menu', 'room']);
      const elsewhere = (list: typeof items) => list.filter((item) => !apart.has(item.code));
      expect(elsewhere(items), where).toEqual(elsewhere(without));
    }
  }
});

// ---- Whatever a body says

/** What no body should say. */
const oddText = fc.oneof(
  fc.string({ unit: 'binary', maxLength: 60 }),
  fc.constantFrom(
    '',
    ' ',
    '\u{fffd}\u{fffd}',
    'Unknown value 1234',
    '\u0000',
    '-0',
    '1e999',
    'NaN',
    'On',
    'Off',
    '1',
    '0',
    '%',
  ),
  fc.constantFrom(...LABELS.map(({ label }) => label)),
);
const NAMES = [
  ...Object.keys(CODES_OF_NAMES),
  ...[
    'autoexposuremodedial',
    'usermode',
    'selftimer',
    'aeb',
    'bracketing',
    'bracketset',
    'focusmode2',
    'imageformatsd',
  ],
  ...[
    'isoauto',
    'availableshots',
    'acpower',
    'datetime',
    'datetimeutc',
    'flashopen',
    'externalflash',
    'hdrmode',
  ],
  ...[
    'picturestyle',
    'mirrorlock',
    'customfuncex',
    'capturedelay',
    'exposuredelaymode',
    'longexpnr',
    'autopoweroff',
  ],
  ...['assistlight', 'vibrationreduction', 'silentphotography', 'mirrorupstatus', 'tonecompensation'],
];
const oddSetting: fc.Arbitrary<Setting> = fc
  .record({
    name: fc.constantFrom(...NAMES),
    kind: fc.constantFrom('choice', 'text', 'range', 'toggle', 'date'),
    value: oddText,
    choices: fc.option(fc.array(oddText, { maxLength: 5 }), { nil: undefined }),
  })
  .map(({ choices, ...setting }) => (choices === undefined ? setting : { ...setting, choices }));
const oddQuestion: fc.Arbitrary<Omit<ReadinessQuestion, 'settings'>> = fc.record({
  link: fc.constantFrom('usb', 'practice'),
  pairs: fc.boolean(),
  dialect: fc.constantFrom('amount', 'pattern', 'drive-entry', 'none'),
  mode: fc.constantFrom('manual', 'aperture'),
  now: fc.date(),
  freeBytes: fc.option(fc.nat({ max: 2e9 })),
  frames: fc.option(fc.nat({ max: 500 })),
  fileBytes: fc.option(fc.nat({ max: 2e8 })),
  ticked: fc.array(fc.constantFrom(...readinessCodeSchema.options)).map((codes) => new Set(codes)),
});

const LONGEST_MESSAGE = 400;
const UNPRINTABLE = /[\p{C}\u{fffd}]/u;

test('whatever a body says, the items are sound: known codes, each once, in one order, readable', () => {
  fc.assert(
    fc.property(fc.array(oddSetting, { maxLength: 30 }), oddQuestion, (settings, asked) => {
      const items = ask(treeOf(settings), asked);
      const codes = items.map(({ code }) => code);
      const order = readinessCodeSchema.options.filter((code) => codes.includes(code));
      expect(codes).toEqual(order);
      for (const item of items) {
        readinessItemSchema.parse(item);
        expect(item.message.length).toBeLessThan(LONGEST_MESSAGE);
        expect(item.message).toMatch(/^[A-Z].*\.$/);
        expect(item.message).not.toMatch(UNPRINTABLE);
        // Whoever reads it as an error has to know what to do.
        if (item.mark === 'stops') expect(item.message).toMatch(/, then fire again\.$/);
        if (item.ticked !== null) expect(item.mark).toBe(item.ticked ? 'fine' : 'attention');
      }
      clockSetting(treeOf(settings), asked.now);
      clockCorrection(treeOf(settings), asked.now);
    }),
    { numRuns: 2000 },
  );
});

test('a tick changes no other item', () => {
  fc.assert(
    fc.property(
      fc.array(oddSetting, { maxLength: 20 }),
      fc.constantFrom(...readinessCodeSchema.options),
      (settings, code) => {
        const without = ask(treeOf(settings));
        const ticked = ask(treeOf(settings), { ticked: new Set([code]) });
        expect(ticked.filter((item) => item.code !== code)).toEqual(
          without.filter((item) => item.code !== code),
        );
        const item = ticked.find((candidate) => candidate.code === code);
        const before = without.find((candidate) => candidate.code === code);
        if (before?.ticked === null) expect(item).toEqual(before);
      },
    ),
  );
});

test('enormous values and lists of choices are looked at in no time', PACED, () => {
  const many = Array.from({ length: 10_000 }, (_, index) => `Choice ${index}`);
  const huge = '\u{fffd}\u{1f6b6}+,0'.repeat(200_000);
  const settings = NAMES.map((name, index) => choice(name, index % 2 === 0 ? huge : 'Choice 7', many));
  const started = performance.now();
  const items = ask(treeOf(settings), { dialect: 'pattern', frames: 9 });
  pace('readiness of enormous values', performance.now() - started, 'ms', 300);
  expect(items.length).toBeGreaterThan(10);
  for (const { message } of items) expect(message.length).toBeLessThan(LONGEST_MESSAGE);
});

// ---- The invented body

test('the practice body never stops a run in manual mode, and does not pass for a camera', async () => {
  for (const shape of ['amount', 'pattern', 'drive-entry', 'none'] as const) {
    const settings = await new PracticeLink(new PracticeBody({ shape })).readSettings();
    const items = ask(settings, { link: 'practice', dialect: shape, frames: 9 });
    expect(items.filter(({ mark }) => mark === 'stops')).toEqual([]);
    expect(items.map(({ code }) => code)).toEqual(
      expect.arrayContaining(['mode', 'drive', 'focus', 'iso', 'room']),
    );
    for (const { message } of items) expect(message).not.toMatch(/^The camera/);
    expect(items.find(({ code }) => code === 'stabiliser')?.message).toMatch(/^On a camera: /);
  }
});

test('the practice body in another mode has no dial to turn', () => {
  const item = itemOf('mode', [choice('autoexposuremode', 'AV')], { link: 'practice' });
  expect(item?.message).toBe(
    'The practice camera is in mode AV, in which Evenrung cannot set the shutter. Start Evenrung with EVENRUNG_PRACTICE_MODE=manual, then fire again.',
  );
});
