import path from 'node:path';
import { describe, expect, it } from 'vitest';
import {
  DEFAULT_FRAME_TEMPLATE,
  DEFAULT_SET_TEMPLATE,
  frameStem,
  parseTemplate,
  type SetNaming,
  setFolderName,
} from '../../src/frames/index.js';
import fc from '../seeded.js';

const SET: SetNaming = {
  run: '4f1c0de2-97a1-4a53-8f0e-2f7f5f0a9d11',
  set: 7,
  startedAt: new Date(2026, 10, 25, 16, 42, 10),
  name: 'Boathouse at dusk',
  viewpoint: 'stern',
};
const FRAME = { number: 3, offsetEv: -4 / 3, shutter: '1/160' };

const frameName = (template: string, set: Partial<SetNaming> = {}, frame = FRAME) =>
  frameStem(parseTemplate(template, 'frame'), { ...SET, ...set }, frame);
const setName = (template: string, set: Partial<SetNaming> = {}) =>
  setFolderName(parseTemplate(template, 'set'), { ...SET, ...set });

describe('the names that templates give', () => {
  it('without a template they are as ever', () => {
    expect(frameName(DEFAULT_FRAME_TEMPLATE)).toBe('03_-1.33EV');
    expect(frameName(DEFAULT_FRAME_TEMPLATE, {}, { ...FRAME, number: 10, offsetEv: 2 })).toBe('10_+2EV');
    expect(frameName(DEFAULT_FRAME_TEMPLATE, {}, { ...FRAME, number: 5, offsetEv: -0 })).toBe('05_0EV');
    expect(setName(DEFAULT_SET_TEMPLATE)).toBe('set-20261125-164210');
  });

  it('every placeholder has its value', () => {
    expect(frameName('{name}, {viewpoint}, {set}, {date} {time}, {frame}_{shutter}s_{offset}EV')).toBe(
      'Boathouse at dusk, stern, 0007, 20261125 164210, 03_1-160s_-1.33EV',
    );
    expect(setName('{run}')).toBe(SET.run);
  });

  it('letters and accents that meet where two parts join are composed', () => {
    expect(setName('caf{name}', { name: 'e\u0301' })).toBe('caf\u00e9');
    expect(setName('cafe{name}', { name: '\u0301s' })).toBe('caf\u00e9s');
  });

  it('what has no name is said so', () => {
    expect(setName('{name}_{viewpoint}', { name: null, viewpoint: ' ../ ' })).toBe('no-name_no-viewpoint');
  });

  it.each([
    ['a/b\\c', 'a-b-c'],
    ['../../etc/passwd', 'etc-passwd'],
    ['  two\n lines\t', 'two lines'],
    ['nul\0l', 'nul l'],
    ['what? "why": <so>|*', 'what- -why-- -so'],
    ['-rf', 'rf'],
    ['.hidden.', 'hidden'],
    ['Cafe\u0301', 'Caf\u00e9'],
    ['\u202egnp.exe', 'gnp.exe'],
    ['half \ud83d', 'half'],
    ['👩‍🚀 am See', '👩‍🚀 am See'],
    ['湖の舟小屋', '湖の舟小屋'],
    ['مرآب القوارب', 'مرآب القوارب'],
    ['{frame}', 'frame'],
  ])('a name such as %j becomes %j', (name, safe) => {
    expect(setName('{name}', { name })).toBe(safe);
  });

  it.each(['con', 'NUL', 'com7.tar', 'LPT¹'])('%s is a device elsewhere: its name gets a mark', (name) => {
    expect(setName('{name}', { name })).toMatch(/^[^.]+_(\.tar)?$/);
    expect(frameName('{name}_{frame}', { name })).toMatch(/^(con|NUL|com7_\.tar|LPT¹)_03$/);
  });

  it('a device that only a frame makes gets one too', () => {
    expect(frameName('COM{offset}', {}, { ...FRAME, offsetEv: 0 })).toBe('COM0_');
  });

  it.each([
    ['湖', 300],
    ['é', 300],
    ['e\u0301\u0323', 300],
    ['👨‍👩‍👧‍👦', 300],
    ['م', 300],
    ['x', 5000],
  ])('300 of %s are cut between characters, and the frame is still told', (unit, count) => {
    const name = frameName('{name}_{frame}', { name: unit.repeat(count) });
    expect(name).toMatch(/_03$/);
    expect(Buffer.byteLength(name)).toBeGreaterThan(180);
    expect(Buffer.byteLength(`${name}_2.jpg.xmp`)).toBeLessThanOrEqual(255);
    const kept = name.slice(0, -3);
    expect(kept).toBe(unit.normalize('NFC').repeat(kept.length / unit.normalize('NFC').length));
  });

  it('two long texts share the room', () => {
    const name = frameName('{name}_{viewpoint}_{frame}', {
      name: 'n'.repeat(400),
      viewpoint: 'v'.repeat(400),
    });
    const [first = '', second = ''] = name.split('_');
    expect(first.length).toBe(second.length);
    expect(first.length).toBeGreaterThan(90);
  });
});

describe('a template is judged when it is given', () => {
  const TOO_LONG = `${'x'.repeat(230)}{frame}`;
  it.each([
    ['frame', '{frame}_{colour}', 'there is no {colour}', '{offset}'],
    ['frame', '{Frame}', 'there is no {Frame}', '{frame}'],
    ['set', 'set-{frame}', 'names the whole set', '{date}'],
    ['frame', '{name}', 'the same name', 'Put {frame} or {offset}'],
    ['frame', 'frame', 'the same name', 'Put {frame} or {offset}'],
    ['frame', '{shutter}', 'the same name', 'Put {frame} or {offset}'],
    ['frame', 'x{frame}{offset}', 'run into each other', 'Put a letter or a _'],
    ['frame', 'x{offset}1{shutter}', 'run into each other', 'Put a letter or a _'],
    ['frame', '{frame}{name}{offset}', 'run into each other', 'Put a letter or a _'],
    ['frame', 'day/{frame}', 'another folder', 'Take out every /'],
    ['frame', 'day\\{frame}', 'another folder', 'Take out every /'],
    ['set', '/{date}', 'another folder', 'Take out every /'],
    ['set', '..', 'begins with a dot', 'Begin with'],
    ['frame', '../{frame}', 'another folder', 'Take out every /'],
    ['frame', '.{frame}', 'begins with a dot', 'Begin with'],
    ['frame', ' {frame}', 'begins with a dot or a blank', 'Begin with'],
    ['frame', '-{frame}', 'begin with a dash', 'Put something before'],
    ['frame', '{offset}EV', 'begin with a dash', 'Put something before'],
    ['frame', '{frame}.', 'ends in a dot', 'Take it out'],
    ['frame', '{frame} ', 'ends in a dot', 'Take it out'],
    ['frame', '{frame}\0', 'an invisible character', 'Take it out'],
    ['frame', '{frame}\n', 'an invisible character', 'Take it out'],
    ['frame', '{frame}\ud83d', 'an invisible character', 'Take it out'],
    ['frame', 'a:{frame}', 'some systems do not allow : in a name', 'Use a letter'],
    ['frame', '{frame}?', 'some systems do not allow ? in a name', 'Use a letter'],
    ['set', 'CON', 'some systems reserve', 'Choose another'],
    ['set', 'aux.sets', 'some systems reserve', 'Choose another'],
    ['frame', '{frame', 'it has a stray brace', '{frame}'],
    ['frame', 'frame}', 'it has a stray brace', '{frame}'],
    ['frame', '{{frame}}', 'it has a stray brace', '{frame}'],
    ['frame', '', 'it is empty', '{frame}_{offset}EV'],
    ['frame', TOO_LONG, 'too long by 18 bytes', 'Make it shorter'],
    ['set', `${'湖'.repeat(80)}{name}`, 'too long', 'Make it shorter'],
  ] as const)('%s %j: %s', (kind, text, why, remedy) => {
    const wrong = () => parseTemplate(text, kind);
    expect(wrong).toThrow(expect.objectContaining({ code: 'template-unusable' }));
    expect(wrong).toThrow(why);
    expect(wrong).toThrow(remedy);
  });
});

describe('whatever template is taken, and whatever the set is called', () => {
  const placeholder = fc.constantFrom(
    'run',
    'set',
    'name',
    'viewpoint',
    'date',
    'time',
    'frame',
    'offset',
    'shutter',
  );
  const piece = fc.oneof(
    { weight: 3, arbitrary: placeholder.map((name) => `{${name}}`) },
    {
      weight: 2,
      arbitrary: fc.constantFrom('_', '-', ' ', 'EV', '1', '.', '+', 'com', 'é', 'e\u0301', '湖'),
    },
    { weight: 1, arbitrary: fc.string({ unit: 'grapheme', maxLength: 6 }) },
  );
  const template = fc.array(piece, { minLength: 1, maxLength: 8 }).map((pieces) => pieces.join(''));
  const nasty = fc.constantFrom(
    '..',
    '/',
    'C:\\x',
    'CON',
    'nul.',
    ' ',
    '\0',
    '1',
    '+1',
    '-0.3',
    '👩‍🚀'.repeat(99),
    'é'.repeat(300),
  );
  const free = fc.oneof(
    nasty,
    fc.string({ unit: 'binary', maxLength: 300 }),
    fc.string({ unit: 'grapheme', maxLength: 300 }),
  );
  const set = fc.record({
    run: fc.uuid(),
    set: fc.integer({ min: 1, max: 9_999_999 }),
    startedAt: fc.date({ min: new Date('2000-01-01'), max: new Date('2099-12-31'), noInvalidDate: true }),
    name: fc.option(free),
    viewpoint: fc.option(free),
  });
  const frames = fc
    .record({
      from: fc.integer({ min: -60, max: 0 }),
      step: fc.integer({ min: 1, max: 18 }),
      count: fc.integer({ min: 2, max: 61 }),
      shutters: fc.array(
        fc.constantFrom('30', '13', '3.2', '1', '0.3', '1/3', '1/60', '1/8000', '3', '1/1.3'),
        {
          minLength: 61,
          maxLength: 61,
        },
      ),
    })
    .map(({ from, step, count, shutters }) =>
      Array.from({ length: count }, (_, index) => ({
        number: index + 1,
        offsetEv: (from + index * step) / 6,
        shutter: shutters[index] as string,
      })),
    );

  const taken = (text: string, kind: 'frame' | 'set') => {
    try {
      return parseTemplate(text, kind);
    } catch {
      return null;
    }
  };

  /** What every file system in use takes, and what leads nowhere else. */
  const mustBeSafe = (name: string, behind: string) => {
    expect(name).not.toMatch(/[/\\<>:"|?*]/);
    // biome-ignore lint/suspicious/noControlCharactersInRegex: they are what is looked for
    expect(name).not.toMatch(/[\u0000-\u001f\u007f]/);
    expect(name.replace(/[\ud800-\udbff][\udc00-\udfff]/g, '')).not.toMatch(/[\ud800-\udfff]/);
    expect(name).not.toMatch(/^[\s.-]|[\s.]$/);
    expect(name).not.toMatch(/^(con|prn|aux|nul|com\d|lpt\d)\s*(\.|$)/i);
    expect(name).not.toBe('');
    expect(name).toBe(name.normalize('NFC'));
    expect(Buffer.byteLength(`${name}${behind}`)).toBeLessThanOrEqual(255);
    expect(path.dirname(path.resolve('/sets', name))).toBe('/sets');
  };

  it('frames stay in the folder and differ, on file systems that know no case too', () => {
    let used = 0;
    fc.assert(
      fc.property(template, set, frames, (text, naming, all) => {
        const parsed = taken(text, 'frame');
        if (parsed === null) return;
        used += 1;
        const names = all.map((frame) => frameStem(parsed, naming, frame));
        for (const name of names) mustBeSafe(name, '_2.jpg.xmp');
        expect(new Set(names.map((name) => name.toUpperCase().toLowerCase())).size).toBe(all.length);
      }),
      { numRuns: 1500 },
    );
    // Most of what is drawn is refused, rightly; that enough is taken is what makes the rest worth anything.
    expect(used).toBeGreaterThan(100);
  });

  it('set folders stay where they belong', () => {
    let used = 0;
    fc.assert(
      fc.property(template, set, (text, naming) => {
        const parsed = taken(text, 'set');
        if (parsed === null) return;
        used += 1;
        mustBeSafe(setFolderName(parsed, naming), '-99');
      }),
      { numRuns: 1500 },
    );
    expect(used).toBeGreaterThan(100);
  });
});
