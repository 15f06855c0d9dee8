// Every label that libgphoto2 has for the settings of an exposure, against the numbers that it stands for. The tables in
// tests/label-tables are ours, read off the library's; where the library makes labels by a formula, the formula is
// written anew here and run over the whole range of codes.
import { describe, expect, it } from 'vitest';
import { bracketStep, shutterLabel, shutterSettings } from '../../src/camera/dialects/amount/labels.js';
import { compensation } from '../../src/camera/dialects/compensation.js';
import {
  driveEntry,
  driveEntryShutters,
  isSingleDrive,
} from '../../src/camera/dialects/drive-entry/labels.js';
import {
  anyShutters,
  isStandardLabel,
  standardShutterSettings,
} from '../../src/camera/dialects/none/labels.js';
import {
  BRACKETING_OFF,
  BRACKETING_ON,
  EXPOSURE_ONLY,
  inFiringOrder,
  patternOrder,
  patternPositions,
  patternShapes,
  patternShutters,
  patternStep,
  patternSteps,
} from '../../src/camera/dialects/pattern/labels.js';
import {
  parseAperture,
  parseIso,
  parseShutter,
  SHUTTER_SCALES,
  type ShutterSetting,
} from '../../src/exposure/index.js';
import amountTables from '../label-tables/amount.json' with { type: 'json' };
import driveEntryTables from '../label-tables/drive-entry.json' with { type: 'json' };
import patternTables from '../label-tables/pattern.json' with { type: 'json' };
import plainTables from '../label-tables/plain.json' with { type: 'json' };
import { PACED, pace } from '../pace.js';

/** A label and the number that its code stands for; null where it stands for none. */
type Row = readonly [label: string, meant: number | null];

// JSON has no tuples: what is read from it is checked to be rows before it is used as rows.
function rows(...tables: readonly (readonly unknown[])[]): Row[] {
  return tables.flat().map((entry) => {
    if (!Array.isArray(entry) || entry.length !== 2) throw new Error(`No row: ${JSON.stringify(entry)}`);
    const [label, meant]: unknown[] = entry;
    if (typeof label !== 'string' || !(meant === null || typeof meant === 'number')) {
      throw new Error(`No row: ${JSON.stringify(entry)}`);
    }
    return [label, meant];
  });
}

const tvs = (settings: readonly ShutterSetting[]): Record<string, number> =>
  Object.fromEntries(settings.map(({ wire, tv }) => [wire, tv]));
const meant = (table: readonly Row[]): Record<string, number> =>
  Object.fromEntries(table.flatMap(([label, tv]) => (tv === null ? [] : [[label, tv]])));
const unsettable = (settings: readonly ShutterSetting[]): string[] =>
  settings.filter(({ settable }) => !settable).map(({ wire }) => wire);

// The library's formulas, written anew. Times in units of 0.1 ms; fractions as 16 bits over 16; codes above 0xFFFFFFF0 are bulb
// and the like, which dialect B names and a code that is not in its list shows as a fraction.
const fourDecimals = (units: number): string => `${(units / 10_000).toFixed(4)}s`;
const fraction = (top: number, bottom: number): string => (bottom === 1 ? `${top}` : `${top}/${bottom}`);
/** Dialect C takes tenths that are whole seconds for seconds. */
const tenths = (top: number, bottom: number): string =>
  bottom === 10 && top % 10 === 0 ? fraction(top / 10, 1) : fraction(top, bottom);
const bulbNames: Readonly<Record<number, string>> = {
  4294967295: 'Bulb',
  4294967294: 'x 200',
  4294967293: 'Time',
};
/** C's %g: six significant digits, no zeros at the end. */
const shortest = (value: number): string => String(Number(value.toPrecision(6)));

const pair = (entry: readonly number[]): [number, number] => [entry[0] ?? 0, entry[1] ?? 0];
const isTime = ([top]: readonly number[]): boolean => (top ?? 0) < 0x8000;

describe('dialect A: shutter labels', () => {
  const table = rows(amountTables.shutterspeed, amountTables.later.shutterspeed);
  const onThirds = table.filter(([, tv]) => tv === null || tv % 2 === 0);
  const onHalves = table.filter(([, tv]) => tv === null || tv % 3 === 0);
  const labels = (some: readonly Row[]): string[] => some.map(([label]) => label);

  it.each([
    ['thirds', onThirds],
    ['halves', onHalves],
  ] as const)('a body set to %s: every label is the setting of its code', (_, some) => {
    const settings = shutterSettings(labels(some));
    expect(tvs(settings)).toEqual(meant(some));
    // Where a body offers one of two codes, the library writes that one (tried over the virtual port).
    expect(unsettable(settings)).toEqual([]);
  });

  it('thirds and halves at once: every label that has two codes is marked, and no other', () => {
    const settings = shutterSettings(labels(table));
    const twice = table.filter(([label], index) => table.findIndex(([other]) => other === label) !== index);
    expect(unsettable(settings).sort()).toEqual(
      labels(twice)
        .filter((label) => label !== 'bulb')
        .sort(),
    );
    for (const { wire, tv } of settings) expect(table).toContainEqual([wire, tv]);
  });

  it('the label of a setting is one that the library has for it', () => {
    for (const setting of [...SHUTTER_SCALES.third, ...SHUTTER_SCALES.half]) {
      const listed = table.some(([, tv]) => tv === setting.tv);
      if (listed) expect(table).toContainEqual([shutterLabel(setting), setting.tv]);
    }
  });

  it('mislead, as the wire facts tell: by their codes 10 is 11.3 s, 10.3 10.1 s, 6 5.7 s, 20.3 22.6 s', () => {
    const seconds = (label: string) => shutterSettings([label])[0]?.seconds;
    expect(seconds('10')).toBeCloseTo(11.3, 1);
    expect(seconds('10.3')).toBeCloseTo(10.1, 1);
    expect(seconds('6')).toBeCloseTo(5.7, 1);
    expect(seconds('20.3')).toBeCloseTo(22.6, 1);
  });
});

describe('dialect A: brackets and drive', () => {
  it.each(rows(amountTables.aeb))('aeb %s', (label, step) => {
    expect(bracketStep(label)).toBe(step ?? undefined);
  });

  it.each(amountTables.drivemode)('drivemode %s', (label, single) => {
    expect(isSingleDrive(String(label))).toBe(single);
  });

  it.each(rows(amountTables.bracketmode))('bracketmode %s names no step and no drive', (label) => {
    expect(bracketStep(label)).toBeUndefined();
    expect(driveEntry(label)).toBeUndefined();
  });
});

describe('dialect B: shutter labels', () => {
  it('of the small table: every label is the setting of its code, and can be set', () => {
    const table = rows(patternTables.shutterspeed2);
    const settings = patternShutters(table.map(([label]) => label));
    expect(tvs(settings)).toEqual(meant(table));
    expect(unsettable(settings)).toEqual([]);
  });

  it.each(patternTables.offered)('exact fractions of a body, $of', ({ fractions, firstTv, step }) => {
    const codes = fractions.map(pair);
    const labels = codes.map(([top, bottom]) => bulbNames[top * 0x10000 + bottom] ?? fraction(top, bottom));
    const times = codes.filter(isTime);
    const settings = patternShutters(labels);
    expect(tvs(settings)).toEqual(
      Object.fromEntries(
        times.map(([top, bottom], index) => [fraction(top, bottom), firstTv - index * step]),
      ),
    );
    expect(unsettable(settings)).toEqual([]);
    // A code that its list does not name is shown as a fraction: 65535/65533 is not one second.
    expect(tvs(patternShutters(codes.map(([top, bottom]) => fraction(top, bottom))))).toEqual(tvs(settings));
  });

  it.each(patternTables.offered)(
    'four decimals of the same body, $of: the same settings, as far as they are told apart',
    ({ units, fractions, step }) => {
      const labels = units.map((code) => bulbNames[code] ?? fourDecimals(code));
      const times = units.filter((code) => code < 0x8000_0000);
      const settings = patternShutters(labels);
      expect(unsettable(settings)).toEqual([]);
      // Both lists run to the same longest time; at the short end the units collapse.
      const longestTv = tvs(patternShutters(fractions.filter(isTime).map((code) => fraction(...pair(code)))))[
        '30'
      ];
      const expected = times.map((code, index) => [
        fourDecimals(code),
        (longestTv ?? Number.NaN) + (times.length - 1 - index) * step,
      ]);
      const told = Object.fromEntries(
        expected.filter(([label]) => Number.parseFloat(String(label)) > 1 / 1500),
      );
      expect(tvs(settings)).toEqual(told);
    },
  );

  it('on a body that offers thirds and halves at once, what may be either is marked', () => {
    const settings = patternShutters(patternTables.mixed.map((code) => fraction(...pair(code))));
    expect(unsettable(settings)).toEqual(['20', '10', '6', '3', '1/3', '1/6', '1/10', '1/20', '1/13000']);
    for (const setting of settings) {
      const said = parseShutter(setting.wire);
      if (said?.kind !== 'time') throw new Error(`${setting.wire} is no time.`);
      expect(Math.abs(Math.log2(said.seconds / setting.seconds))).toBeLessThan(0.18);
    }
  });

  it('bulb, time, x-sync and the like are left out', () => {
    expect(patternShutters(['Bulb', 'Time', 'x 200', 'Unknown value 0000', '0/0', '0', '0.0000s'])).toEqual(
      [],
    );
    expect(patternShutters(['0.0000s', 'Bulb', 'Time', '0.0100s'])).toHaveLength(1);
  });
});

describe('dialect B: bracket settings', () => {
  it.each(rows(patternTables.aebracketingstep))('step %s', (label, step) => {
    expect(patternStep(label)).toBe(step);
  });

  const positionRows = patternTables.aebracketingpattern.map(([label, positions]) => ({ label, positions }));
  it.each(positionRows)('pattern $label', ({ label, positions }) => {
    expect(patternPositions(String(label)) ?? null).toEqual(positions);
  });

  it.each(patternTables.bracketorder)('order %s', (label, order) => {
    expect(patternOrder(String(label))).toBe(order);
  });

  it('bracketset and bracketing', () => {
    const only = patternTables.bracketset.filter(([, exposureOnly]) => exposureOnly === true);
    expect(only.map(([label]) => label)).toEqual([EXPOSURE_ONLY]);
    expect([BRACKETING_ON, BRACKETING_OFF]).toEqual(['On', 'Off']);
  });

  it.each(patternTables.capturemode)('capturemode %s', (label, single) => {
    expect(isSingleDrive(String(label))).toBe(single);
    expect(driveEntry(String(label))).toBeUndefined();
  });

  it('firing order: the metered frame first, or dark to light', () => {
    expect(inFiringOrder([-1, 0, 1], 'centre-first')).toEqual([0, -1, 1]);
    expect(inFiringOrder([-1, 0, 1], 'dark-first')).toEqual([-1, 0, 1]);
    expect(inFiringOrder([2, 1, 0, -1, -2], 'centre-first')).toEqual([0, -2, -1, 1, 2]);
    expect(inFiringOrder([0, 1], 'dark-first')).toEqual([0, 1]);
    expect(inFiringOrder([-2, -1, 0], 'centre-first')).toEqual([0, -2, -1]);
    expect(inFiringOrder([], 'centre-first')).toEqual([]);
  });

  // The library's table has six codes, by which it names the codes of every body: a code that it lacks is shown in hex.
  const stepTable = rows(patternTables.aebracketingstep).map(([label]) => label);
  const stepLabel = (code: number): string =>
    stepTable[code] ?? `Unknown value ${code.toString(16).padStart(4, '0')}`;

  // The codes are those of bodies in the device descriptions that come with libgphoto2 2.5.34. What eight codes from 0 stand for
  // is from memory; codes of 2, 4, 6, 12, 18 for 1/3, 2/3, 1, 2 and 3 EV are concluded.
  it.each([
    ['four from 0', [0, 1, 2, 3], [2, 3, 4, 6]],
    ['six from 0', [0, 1, 2, 3, 4, 5], [2, 3, 4, 6, 12, 18]],
    ['eight from 0', [0, 1, 2, 3, 4, 5, 6, 7], [2, 3, 4, 6, 8, 9, 10, 12]],
    ['sixths of an EV', [2, 4, 6, 12, 18], [2, 4, 6, 12, 18]],
    ['sixths of an EV, halves', [3, 6, 12, 18], [3, 6, 12, 18]],
  ])('steps numbered by %s', (_, codes, steps) => {
    const labels = codes.map(stepLabel);
    expect(patternSteps(labels)).toEqual(labels.map((label, index) => ({ label, step: steps[index] })));
  });

  it('steps numbered in a way that nobody knows are left out', () => {
    expect(patternSteps(['1/3 EV', '1 EV', 'Unknown value 0008'])).toEqual([]);
    expect(patternSteps(['2/3 EV', 'Unknown value 0007', 'Unknown value 00ff'])).toEqual([
      { label: '2/3 EV', step: 2 },
    ]);
    expect(
      patternSteps(['', 'Unknown value', 'Unknown value 12345', '0 EV', 'EV', '-1 EV', '0.4 EV']),
    ).toEqual([]);
    expect(patternSteps([])).toEqual([]);
  });

  const patternTable = patternTables.aebracketingpattern.map(([label]) => String(label));
  const shapes = (codes: readonly number[]) =>
    patternShapes(codes.map((code) => patternTable[code] ?? '')).map(({ positions }) => positions);

  it('patterns: bodies with many are named as they are', () => {
    expect(shapes([0, 1, 2, 3, 4, 5, 6, 7])).toEqual(
      positionRows.flatMap(({ positions }) => (positions === null ? [] : [positions])),
    );
    expect(shapes([4])).toEqual([[-1, 0, 1]]);
    expect(shapes([8])).toEqual([]);
  });

  it('patterns: on bodies with three the last is both ways (from memory), and with four it is in doubt', () => {
    expect(shapes([0, 1, 2])).toEqual([
      [-1, 0],
      [0, 1],
      [-1, 0, 1],
    ]);
    expect(shapes([2])).toEqual([[-1, 0, 1]]);
    expect(shapes([0, 1, 2, 3])).toEqual([
      [-1, 0],
      [0, 1],
    ]);
  });
});

describe('dialect C: shutter labels', () => {
  it('of the table: tenths and all, every label is the setting at its place, and can be set', () => {
    const table = driveEntryTables.shutterspeed.map(
      ([code, tv]): Row => [
        fraction(...pair(Array.isArray(code) ? code : [])),
        typeof tv === 'number' ? tv : null,
      ],
    );
    const settings = driveEntryShutters([...table.map(([label]) => label), 'Bulb']);
    expect(tvs(settings)).toEqual(meant(table));
    expect(unsettable(settings)).toEqual([]);
  });

  it.each(driveEntryTables.offered)('that a body lists, $of', ({ fractions }) => {
    const labels = fractions.map((code) => tenths(...pair(code)));
    const settings = driveEntryShutters([...labels, 'Bulb', '0/0']);
    expect(tvs(settings)).toEqual(Object.fromEntries(labels.map((label, index) => [label, -30 + index * 2])));
    expect(unsettable(settings)).toEqual([]);
  });

  it('13/10 and 32/10, as the wire facts tell', () => {
    expect(tvs(driveEntryShutters(['13/10', '32/10', '1/125']))).toEqual({
      '13/10': -2,
      '32/10': -10,
      '1/125': 42,
    });
  });
});

describe('dialect C: drive entries', () => {
  const table = [
    ...driveEntryTables.capturemode,
    ...driveEntryTables.newerCapturemode,
    ...driveEntryTables.later.capturemode,
  ].map(([label, entry]) => ({ label: String(label), entry }));

  it.each(table)('$label', ({ label, entry }) => {
    expect(isSingleDrive(label)).toBe(entry === true);
    expect(driveEntry(label) ?? null).toEqual(entry === true ? null : entry);
  });

  it('the table has both spellings, both presses, one-sided pairs, and brackets of something else', () => {
    const labels = table.map(({ label }) => label);
    expect(labels).toContain('Bracketing S 1.0 Steps 5 Pictures');
    expect(labels).toContain('Single Bracket 1.0 EV 5 Img.');
    expect(table.filter(({ entry }) => entry !== null && entry !== true)).toHaveLength(32 + 120);
    const others = table.filter(({ label, entry }) => /bracket/i.test(label) && entry === null);
    expect(others.length).toBe(4 + 6);
  });

  it.each([
    'Bracketing S 0.4 Steps 3 Pictures',
    'Bracketing S 0.0 Steps 3 Pictures',
    'Bracketing S 1.0 Steps 2 Pictures',
    'Bracketing X 1.0 Steps 3 Pictures',
    'Single Bracket 1.0 EV 2 Img.',
    'Single Bracket 1.0 EV 3 Img. +',
    'Single Bracket 1.0 EV 1 Img.',
    'Single Bracket 1.0 EV 0 Img.',
    'Single Bracket 1.0 EV 99999999999 Img.',
    'Focus Bracket',
  ])('%s is none that is known', (label) => {
    expect(driveEntry(label)).toBeUndefined();
  });

  it('steps cut or rounded say the same', () => {
    for (const [amount, step] of [
      ['0.6', 4],
      ['0.7', 4],
      ['1.6', 10],
      ['1.7', 10],
      ['2.3', 14],
    ] as const) {
      expect(driveEntry(`Single Bracket ${amount} EV 3 Img.`)?.step).toBe(step);
    }
  });
});

describe('compensation, of every dialect', () => {
  it.each(rows(amountTables.exposurecompensation))('A: %s', (label, sixths) => {
    expect(compensation(label)).toBe(sixths ?? undefined);
  });

  // As bodies of B report: thirds cut (666) or rounded (667), halves; C rounds to tenths (300, 700).
  const parts: Readonly<Record<number, number>> = {
    0: 0,
    300: 2,
    333: 2,
    500: 3,
    600: 4,
    666: 4,
    667: 4,
    700: 4,
  };

  it('plain PTP, B and C: every thousandth from -32768 to 32767', () => {
    for (let code = -32_768; code <= 32_767; code += 1) {
      const size = Math.abs(code);
      const part = parts[size % 1000];
      const sixths = part === undefined ? undefined : Math.floor(size / 1000) * 6 + part;
      const signed = sixths === undefined || sixths === 0 || code > 0 ? sixths : -sixths;
      const read = compensation(shortest(code / 1000));
      if (read !== signed) expect.fail(`${shortest(code / 1000)} is read as ${read}, not as ${signed}`);
    }
  });

  it('C: what a body lists; 0.001 and 0.002 among it are no compensation', () => {
    const read = driveEntryTables.offeredCompensations.map((code) => compensation(shortest(code / 1000)));
    expect(read.filter((value) => value === undefined)).toHaveLength(2);
    const ascending = [...new Set(read.flatMap((value) => value ?? []))].sort((a, b) => a - b);
    const expected = Array.from({ length: 61 }, (_, index) => index - 30).filter(
      (n) => n % 2 === 0 || n % 3 === 0,
    );
    expect(ascending).toEqual(expected);
  });

  it('another vendor\u2019s thirds with six decimals, -5 to 5', () => {
    for (let thirds = -15; thirds <= 15; thirds += 1) {
      const label = (thirds / 3).toFixed(6);
      expect(compensation(label), label).toBe(thirds * 2);
    }
  });

  it.each([
    '99',
    '41',
    '999999999999',
    '+',
    '-',
    '.',
    '1.',
    '1.33',
    '1/0',
    '3/',
    '1 1',
    'Unknown value 0003',
  ])('%s is none', (label) => {
    expect(compensation(label)).toBeUndefined();
  });
});

describe('plain PTP and other vendors: shutter labels', () => {
  it.each([
    ['seconds with an s', rows(plainTables.secondsTable)],
    ['millionths', rows(plainTables.microsecondsTable)],
  ])('%s: every label within the scales is the setting of its code', (_, table) => {
    const settings = anyShutters(table.map(([label]) => label));
    expect(tvs(settings)).toEqual(meant(table));
    expect(unsettable(settings)).toEqual([]);
  });

  it('eighths, with one half among the thirds: no label is taken for a setting that it is not', () => {
    const table = rows(plainTables.eighthsTable);
    const settings = anyShutters(table.map(([label]) => label));
    const codes = new Map(table);
    // By its code 1/6000 is 1/6400, and 3 is a half.
    const settable = settings.filter((setting) => setting.settable && setting.wire !== '1/6000');
    expect(tvs(settable)).toEqual(Object.fromEntries(settable.map(({ wire }) => [wire, codes.get(wire)])));
    expect(settings.length).toBeGreaterThanOrEqual(table.length - 3);
  });

  it('dialect A without its bracket is read as A', () => {
    const labels = rows(amountTables.shutterspeed)
      .filter(([, tv]) => tv === null || tv % 2 === 0)
      .map(([label]) => label);
    expect(anyShutters(labels)).toEqual(shutterSettings(labels));
  });

  it('a body of another vendor that writes 10 means 10 s, not dialect A\u2019s 11.3 s', () => {
    expect(tvs(anyShutters(['13', '10', '8', '1/5', '1/6']))).toMatchObject({ '10': -20, '1/6': 16 });
  });

  it.each(
    SHUTTER_SCALES.third
      .filter(({ tv }) => tv <= 60)
      .map(({ label, nominalSeconds, tv }) => ({ label, nominalSeconds, tv })),
  )('$label in units of 0.1 ms, cut or rounded', ({ nominalSeconds, tv }) => {
    for (const units of [Math.floor(nominalSeconds * 10_000 + 1e-9), Math.round(nominalSeconds * 10_000)]) {
      const label = fourDecimals(units);
      expect(isStandardLabel(label)).toBe(true);
      // Beside clear thirds, as a body lists it.
      const beside = ['0.0200s', '0.0250s', '0.0400s', '0.0125s'].filter((other) => other !== label);
      expect(tvs(standardShutterSettings([...beside, label]))[label]).toBe(tv);
    }
  });

  it('every unit of 0.1 ms: a setting that lies near, or none; none where the decimals end', () => {
    for (let units = 0; units <= 400_000; units += units < 20_000 ? 1 : 37) {
      const [setting, ...more] = standardShutterSettings([fourDecimals(units)]);
      if (more.length > 0) expect.fail(`${fourDecimals(units)} stands for more than one`);
      if (setting === undefined) continue;
      const off = Math.abs(Math.log2(units / 10_000 / setting.seconds));
      if (off > 0.25 || units < 7) expect.fail(`${fourDecimals(units)} is taken for ${setting.label}`);
    }
  });

  it('every fraction of 16 bits with a top of 1 or a bottom of 10: a setting that lies near, or none', () => {
    const codes = [
      ...Array.from({ length: 65_536 }, (_, bottom): [number, number] => [1, bottom]),
      ...Array.from({ length: 65_536 }, (_, top): [number, number] => [top, 10]),
    ];
    for (const [top, bottom] of codes) {
      const [setting, ...more] = driveEntryShutters([fraction(top, bottom)]);
      if (more.length > 0) expect.fail(`${fraction(top, bottom)} stands for more than one`);
      if (setting === undefined) continue;
      const off = Math.abs(Math.log2(top / bottom / setting.seconds));
      if (off > 0.25) expect.fail(`${fraction(top, bottom)} is taken for ${setting.label}`);
    }
  });

  it('codes printed as fractions are no times', () => {
    for (let bottom = 0x8000; bottom <= 0xffff; bottom += 1) {
      if (parseShutter(`65535/${bottom}`) !== undefined) expect.fail(`65535/${bottom}`);
    }
  });

  it.each(plainTables.capturemode)('capturemode %s', (label, single) => {
    expect(isSingleDrive(String(label))).toBe(single);
  });
});

describe('apertures', () => {
  const within = (label: string, av: number): void => {
    const fNumber = parseAperture(label);
    if (fNumber === undefined) expect.fail(`${label} is read as none`);
    // Some labels stand for a half and a third alike: 1.8 is f/1.7 too, 0.196 EV off.
    expect(Math.abs(2 * Math.log2(fNumber) - av / 6), label).toBeLessThan(0.2);
  };

  it.each([
    ['A', rows(amountTables.aperture)],
    ['B', rows(patternTables.aperture)],
    ['others', rows(plainTables.aperture)],
    ['others, in eighths', rows(plainTables.apertureEighths)],
  ])('%s: every label is the f-number of its code', (_, table) => {
    for (const [label, av] of table) {
      if (av === null) expect(parseAperture(label), label).toBeUndefined();
      else within(label, av);
    }
  });

  it('plain PTP, B and C: hundredths, f/1 to f/91 and the codes beyond', () => {
    for (let code = 1; code <= 9100; code += 1) {
      const label = `f/${shortest(code / 100)}`;
      if (parseAperture(label) !== code / 100) expect.fail(label);
    }
    for (const code of driveEntryTables['f-number'])
      expect(parseAperture(`f/${shortest(code / 100)}`)).toBe(code / 100);
    // No lens, or none that talks.
    for (const code of [0, 65_534, 65_535])
      expect(parseAperture(`f/${shortest(code / 100)}`)).toBeUndefined();
  });

  it('others: tenths with a decimal', () => {
    for (let code = 10; code <= 320; code += 1) {
      expect(parseAperture((code * 0.1).toFixed(1))).toBe(Number((code * 0.1).toFixed(1)));
    }
  });
});

describe('ISO', () => {
  /** @param code sixths of a stop above ISO 100 */
  const near = (label: string, code: number): void => {
    const iso = parseIso(label);
    if (typeof iso !== 'number') expect.fail(`${label} is read as ${iso}`);
    expect(iso).toBe(Number(label));
    expect(Math.abs(Math.log2(iso / 100) - code / 6), label).toBeLessThan(0.1);
  };
  const isoTables = { A: [...amountTables.iso, ...amountTables.later.iso], B: patternTables.iso };

  it.each(Object.entries(isoTables))('%s: every label', (_, table) => {
    for (const [label, stands] of table) {
      if (typeof stands === 'number') near(String(label), stands);
      else expect(parseIso(String(label)), String(label)).toBe(stands ?? undefined);
    }
  });

  it('C: numbers, automatic, and several exposures in one', () => {
    for (const code of driveEntryTables.offeredIsos) {
      const base = code % 0x100_0000;
      const several = Math.floor(code / 0x100_0000);
      const suffix = several === 0 ? '' : ` Multi Frame Noise Reduction${several === 2 ? '+' : ''}`;
      const automatic = base === 0xff_ffff;
      const read = parseIso(`${automatic ? 'Auto ISO' : base}${suffix}`);
      expect(read).toBe(automatic ? 'automatic' : several === 0 ? base : undefined);
    }
  });

  it('plain PTP and B: 16 bits, all of them set for automatic', () => {
    for (let code = 1; code < 65_535; code += 1) if (parseIso(`${code}`) !== code) expect.fail(`${code}`);
    expect(parseIso('65535')).toBe('automatic');
    expect(parseIso('4294967295')).toBe('automatic');
    expect(parseIso('-1')).toBe('automatic');
  });

  it.each([
    '',
    '0',
    'Lo 1',
    'Hi 0.3',
    'Hi 2',
    'Low',
    'Factory Default',
    '1e3',
    '100.5',
    '99999999999999999999',
    'A',
    'autumn',
  ])('%s is none that is known', (label) => {
    expect(parseIso(label)).toBeUndefined();
  });
});

describe('whatever else a body may say', () => {
  const readers: Readonly<Record<string, (label: string) => unknown>> = {
    shutterSettings: (label) => shutterSettings([label, '1/60']),
    patternShutters: (label) => patternShutters([label, '1/60']),
    standardShutterSettings: (label) => standardShutterSettings([label, '0.0200s']),
    anyShutters: (label) => anyShutters([label, '1/60']),
    driveEntryShutters: (label) => driveEntryShutters([label, '1/60']),
    patternSteps: (label) => patternSteps([label, '1 EV']),
    patternShapes: (label) => patternShapes([label, '2 images (normal and over)']),
    bracketStep,
    compensation,
    patternStep,
    patternPositions,
    patternOrder,
    driveEntry,
    parseAperture,
    parseIso,
    parseShutter,
  };
  const long = 100_000;
  const labels = [
    '',
    ' ',
    '\u0000',
    '\ufffd\ufffd\ufffd',
    '\ufffd/\ufffd',
    '1/\ufffd60',
    '\ud800',
    '\u0661/\u0668',
    'NaN',
    'Infinity',
    '-Infinity',
    '1/0',
    '0/0',
    '__proto__',
    'constructor',
    'Unknown value ffff',
    '9'.repeat(long),
    `1/${'9'.repeat(long)}`,
    `${'9'.repeat(long)}/1`,
    `0.${'3'.repeat(long)}`,
    `f/${' '.repeat(long)}x`,
    `f${' '.repeat(long)}/${' '.repeat(long)}8x`,
    `1${' '.repeat(long)}x`,
    `+/- ${'1 '.repeat(long)}`,
    `${'9'.repeat(long)} EV`,
    `Single Bracket ${'1'.repeat(long)}.0 EV 3 Img.`,
    `${'9'.repeat(long)} images (normal)`,
    'A'.repeat(long),
  ];

  it.each(Object.entries(readers))('%s never throws, and is quick about it', PACED, (name, reader) => {
    const start = performance.now();
    for (const label of labels) expect(() => reader(label), label.slice(0, 40)).not.toThrow();
    pace(`long labels, ${name}`, performance.now() - start, 'ms', 1000);
  });

  it('and takes none of it for a setting, a step, a number', () => {
    for (const label of labels) {
      const said = label.slice(0, 40);
      expect(shutterSettings([label]), said).toEqual([]);
      expect(patternShutters([label]), said).toEqual([]);
      expect(anyShutters([label]), said).toEqual([]);
      expect(driveEntryShutters([label]), said).toEqual([]);
      expect(patternSteps([label]), said).toEqual([]);
      expect(patternShapes([label]), said).toEqual([]);
      expect(isSingleDrive(label), said).toBe(false);
      for (const reader of [
        bracketStep,
        compensation,
        patternStep,
        patternOrder,
        driveEntry,
        parseAperture,
        parseIso,
      ]) {
        expect(reader(label), `${reader.name} ${said}`).toBeUndefined();
      }
    }
  });
});
