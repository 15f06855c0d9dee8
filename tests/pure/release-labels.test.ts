// What a dialect presses over the direct way, for the labels of libgphoto2 2.5.30 and for those of 2.5.34: chosen from what is offered, and
// judged by the operations that the library sends for a label (tests/label-tables, read off camlibs/ptp2/config.c of both).
import { describe, expect, it } from 'vitest';
import { recogniseDialect } from '../../src/camera/dialects/index.js';
import type { Setting, Settings } from '../../src/camera/link.js';
import { type BracketShape, sixths } from '../../src/exposure/index.js';
import amountTables from '../label-tables/amount.json' with { type: 'json' };
import driveEntryTables from '../label-tables/drive-entry.json' with { type: 'json' };
import patternTables from '../label-tables/pattern.json' with { type: 'json' };

type Table = readonly (readonly unknown[])[];
const labelsOf = (table: Table): string[] => table.map(([label]) => String(label));

const choice = (name: string, choices: readonly string[]): Setting => ({
  name,
  kind: 'choice',
  value: choices[0] ?? '',
  choices,
});
const other = (name: string, kind: string): Setting => ({
  name,
  kind: kind as Setting['kind'],
  value: 'off',
});
const body = (...settings: readonly Setting[]): Settings =>
  new Map(settings.map((setting) => [setting.name, setting]));

/** What a dialect writes, in order. */
async function written(settings: Settings, shape: BracketShape | null): Promise<Record<string, string>> {
  const changes: Record<string, string> = {};
  const changeSetting = async (name: string, value: string) => {
    const offered = settings.get(name)?.choices;
    if (offered !== undefined) expect(offered, name).toContain(value);
    changes[name] = value;
  };
  await recogniseDialect(settings).setBracket({ changeSetting }, shape, settings);
  return changes;
}

const THREE: BracketShape = { step: sixths(6), pattern: [0, -1, 1], isOneRelease: true };

describe('dialect A', () => {
  /** 1: half of the way, 2: the other half. The second number of a press: without focusing. */
  const PRESSED_WITHOUT_FOCUS = ['on', 3, 1];
  const LET_GO_OF_BOTH = ['off', 3];
  const versions: Record<string, Table> = {
    '2.5.30': amountTables.eosremoterelease,
    '2.5.34': amountTables.instead.eosremoterelease,
  };
  const withButton = (button: readonly string[], drives = labelsOf(amountTables.drivemode)) =>
    body(
      choice('shutterspeed', ['1/60']),
      choice('aeb', labelsOf(amountTables.aeb)),
      choice('drivemode', drives),
      ...(button.length === 0 ? [] : [choice('eosremoterelease', button)]),
    );
  const oneRelease = (settings: Settings) => recogniseDialect(settings).oneRelease;

  it.each(Object.entries(versions))(
    'the labels of %s: the whole way down without focusing, both halves let go',
    (_, table) => {
      const settings = withButton(labelsOf(table));
      const sends = (value: string | undefined): unknown[] =>
        table.find(([label]) => label === value)?.slice(1) ?? [];
      expect(oneRelease(settings)?.fires(settings, THREE)).toBe(true);
      const button = oneRelease(settings)?.button(settings);
      expect(button?.down.map(({ name }) => name)).toEqual(['eosremoterelease']);
      expect(button?.up.map(({ name }) => name)).toEqual(['eosremoterelease']);
      const down = sends(button?.down[0]?.value);
      expect(down.at(-1)).toEqual(PRESSED_WITHOUT_FOCUS);
      // Nothing before it focuses either.
      for (const press of down) expect(press).toEqual(['on', expect.any(Number), 1]);
      expect(sends(button?.up[0]?.value)).toEqual([LET_GO_OF_BOTH]);
    },
  );

  it('Release Full alone is no sign: it lets both halves go in one of them, and one half in the other', () => {
    const sent = Object.values(versions).map((table) => table.find(([label]) => label === 'Release Full'));
    expect(sent).toEqual([
      ['Release Full', ['off', 3]],
      ['Release Full', ['off', 2]],
    ]);
  });

  it.each([
    ['no such setting', []],
    ['labels of neither', ['None', 'Press', 'Let go']],
    ['a press of one and a release of neither', ['Press Full MF', 'Release Full']],
    ['only what lets go', ['Release Full', 'Release']],
  ])('%s: no bracket from one release', (_, labels) => {
    const settings = withButton(labels);
    expect(oneRelease(settings)?.fires(settings, THREE)).toBe(false);
    expect(oneRelease(settings)?.button(settings)).toBeNull();
  });

  it.each([
    ['all of them', labelsOf(amountTables.drivemode), 'Continuous high speed'],
    ['one speed', ['Single', 'Continuous', 'Timer 10 sec'], 'Continuous'],
    ['the low one', ['Single', 'Continuous low speed'], 'Continuous low speed'],
  ])('drives, %s: the quickest that is neither silent nor a timer', async (_, drives, expected) => {
    const settings = withButton(labelsOf(amountTables.instead.eosremoterelease), drives);
    expect(await written(settings, THREE)).toEqual({ drivemode: expected, aeb: '+/- 1' });
    // The drive is left alone if each frame has a release of its own, and if the bracket goes off.
    expect(await written(settings, { ...THREE, isOneRelease: false })).toEqual({ aeb: '+/- 1' });
    expect(await written(settings, null)).toEqual({ aeb: 'off' });
  });

  it('silent drives alone: no bracket from one release', () => {
    const silent = ['Single silent', 'Continuous silent', 'Silent HS continuous', 'Continuous timer'];
    const settings = withButton(labelsOf(amountTables.eosremoterelease), silent);
    expect(oneRelease(settings)?.fires(settings, THREE)).toBe(false);
  });
});

describe('dialect B, the same in both', () => {
  const all = [
    choice('shutterspeed2', ['1/60']),
    choice('bracketing', ['Off', 'On']),
    choice('bracketset', labelsOf(patternTables.bracketset)),
    choice('aebracketingstep', labelsOf(patternTables.aebracketingstep)),
    choice('aebracketingpattern', labelsOf(patternTables.aebracketingpattern)),
    choice('bracketorder', labelsOf(patternTables.bracketorder)),
    choice('capturemode', labelsOf(patternTables.capturemode)),
    other('burstnumber', patternTables.burstnumber[0] ?? ''),
    other('opcode', patternTables.opcode[0] ?? ''),
  ];

  it('a burst of as many frames as the bracket has, pressed by the bare operation', async () => {
    const settings = body(...all);
    const { oneRelease } = recogniseDialect(settings);
    expect(oneRelease?.fires(settings, THREE)).toBe(true);
    expect(await written(settings, THREE)).toMatchObject({
      capturemode: 'Burst',
      burstnumber: '3',
      bracketing: 'On',
    });
    // 0x9207: ptp.h of both, the release onto the card, which has two parameters.
    expect(oneRelease?.button(settings)).toEqual({
      down: [{ name: 'opcode', value: expect.stringMatching(/^0x9207,/) }],
      up: [],
    });
  });

  it.each(['burstnumber', 'capturemode'])('without %s: no bracket from one release', (name) => {
    const settings = body(...all.filter((setting) => setting.name !== name));
    expect(recogniseDialect(settings).oneRelease?.fires(settings, THREE)).toBe(false);
  });

  it('no other drive of the table is taken for a burst', () => {
    const drives = labelsOf(patternTables.capturemode).filter((label) => label !== 'Burst');
    const settings = body(...all, choice('capturemode', drives));
    expect(recogniseDialect(settings).oneRelease?.fires(settings, THREE)).toBe(false);
  });
});

describe('dialect C', () => {
  interface Entry {
    readonly step: number;
    readonly positions: readonly number[];
    readonly press: string;
  }
  const versions: Record<string, Table> = {
    'the spelling of both': driveEntryTables.capturemode,
    'the newer one of 2.5.34': driveEntryTables.newerCapturemode,
  };
  const withDrives = (drives: readonly string[]) =>
    body(
      choice('shutterspeed', ['1/60']),
      choice('capturemode', drives),
      other('autofocus', String(driveEntryTables.autofocus[0])),
      other('capture', String(driveEntryTables.capture[0])),
    );

  it.each(Object.entries(versions))(
    '%s: each entry that fires all of a bracket is chosen for it, and none that fires one a press',
    async (_, table) => {
      const settings = withDrives(labelsOf(table));
      const { oneRelease } = recogniseDialect(settings);
      const entries = table.flatMap(([label, entry]) =>
        entry !== null && typeof entry === 'object' ? [{ label, entry: entry as Entry }] : [],
      );
      const ofOne = entries.filter(({ entry }) => entry.press === 'all');
      expect(ofOne.length).toBeGreaterThan(5);
      for (const { label, entry } of ofOne) {
        const shape = { step: sixths(entry.step), pattern: entry.positions, isOneRelease: true };
        expect(oneRelease?.fires(settings, shape), String(label)).toBe(true);
        expect(await written(settings, shape)).toEqual({ capturemode: label });
      }
      const without = withDrives(
        labelsOf(table).filter((label) => !ofOne.some((entry) => entry.label === label)),
      );
      expect(oneRelease?.fires(without, THREE)).toBe(false);
    },
  );

  it.each(['autofocus', 'capture'])('without the switch %s: no bracket from one release', (name) => {
    const settings = new Map(withDrives(labelsOf(driveEntryTables.capturemode)));
    const { oneRelease } = recogniseDialect(settings);
    expect(oneRelease?.fires(settings, THREE)).toBe(true);
    expect(oneRelease?.button(settings)).toEqual({
      down: ['autofocus', 'capture'].map((on) => ({ name: on, value: 'on' })),
      up: ['capture', 'autofocus'].map((off) => ({ name: off, value: 'off' })),
    });
    settings.delete(name);
    expect(oneRelease?.fires(settings, THREE)).toBe(false);
  });
});
