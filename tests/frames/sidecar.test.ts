import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { createdAtOf, xmpDateOf } from '../../src/frames/hand-over/created-at.js';
import { isOurOwn } from '../../src/frames/hand-over/sidecar.js';
import {
  exifTool,
  readSidecar,
  type SidecarFacts,
  sidecarNames,
  sidecarText,
  writeSidecar,
} from '../../src/frames/index.js';
import fc from '../seeded.js';

let folder = '';
beforeAll(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterAll(async () => {
  await exifTool.end();
  await rm(folder, { recursive: true, force: true });
});

const FACTS: SidecarFacts = {
  set: '4f1c0de2-97a1-4a53-8f0e-2f7f5f0a9d11',
  frame: 3,
  frames: 9,
  offsetEv: -4 / 3,
  base: { shutter: '1/60', exposureTime: 1 / 64, aperture: 'f/8', iso: '100' },
  createdAt: '2026-11-25T16:42:10.25+01:00',
  name: 'Boathouse "at dusk" <doors & lake>',
  note: 'First line\nsecond: 湖の舟小屋, مرآب القوارب, 👩‍🚀',
  viewpoint: "stern's end",
  practice: true,
};

/** A strict reader of what well-formed XML is (XML 1.0, 2.1): tags nest, attributes are quoted once each, no stray & or <. */
function mustBeWellFormed(text: string): void {
  const open: string[] = [];
  let rest = text;
  const NAME = '[A-Za-z_][\\w.:-]*';
  const VALUE = `(?:"(?:[^<&"]|&[^;\\s]+;)*"|'(?:[^<&']|&[^;\\s]+;)*')`;
  const token = new RegExp(
    `^(?:<\\?[^]*?\\?>|</(${NAME})\\s*>|<(${NAME})((?:\\s+${NAME}\\s*=\\s*${VALUE})*)\\s*(/?)>|((?:[^<&]|&(?:amp|lt|gt|quot|apos|#\\d+|#x[\\da-fA-F]+);)+))`,
  );
  while (rest !== '') {
    const [whole, closed, opened, attributes = '', empty, words] = token.exec(rest) ?? [];
    if (whole === undefined) throw new Error(`Not well-formed at: ${rest.slice(0, 60)}`);
    if (closed !== undefined && open.pop() !== closed) throw new Error(`${closed} closes nothing.`);
    if (opened !== undefined) {
      const names = [...attributes.matchAll(new RegExp(`(${NAME})\\s*=\\s*${VALUE}`, 'g'))].map(
        ([, name]) => name,
      );
      if (new Set(names).size !== names.length) throw new Error(`${opened} has an attribute twice.`);
      if (empty === '') open.push(opened);
    }
    if (words !== undefined && open.length === 0 && words.trim() !== '') throw new Error('Text outside.');
    // biome-ignore lint/suspicious/noControlCharactersInRegex: they are what is looked for
    if (/[\u0000-\u0008\u000b\u000c\u000e-\u001f\ufffe\uffff]/.test(whole))
      throw new Error('A forbidden character.');
    rest = rest.slice(whole.length);
  }
  if (open.length > 0) throw new Error(`${open.join(', ')} is not closed.`);
}

describe('a sidecar', () => {
  it('is read by ExifTool, every field of it', async () => {
    const file = path.join(folder, 'whole.xmp');
    await writeFile(file, sidecarText(FACTS));
    const tags = await exifTool.read(file, ['-n', '-G1', '-XMP:all', '-FileType', '-Error', '-Warning']);
    expect(tags).toMatchObject({
      'File:FileType': 'XMP',
      'XMP-xmp:CreateDate': '2026:11:25 16:42:10.25+01:00',
      'XMP-dc:Title': FACTS.name,
      'XMP-dc:Description': FACTS.note,
      'XMP-evenrung:Set': FACTS.set,
      'XMP-evenrung:Frame': 3,
      'XMP-evenrung:Frames': 9,
      'XMP-evenrung:Offset': expect.closeTo(-4 / 3, 12),
      'XMP-evenrung:BaseShutter': expect.closeTo(1 / 60, 12),
      'XMP-evenrung:BaseExposureTime': 1 / 64,
      'XMP-evenrung:BaseAperture': 'f/8',
      'XMP-evenrung:BaseISO': 100,
      'XMP-evenrung:Viewpoint': "stern's end",
      'XMP-evenrung:Practice': true,
    });
    expect(Object.keys(tags).filter((name) => /Error|Warning/.test(name))).toEqual([]);
    expect(tags.warnings).toEqual([]);
    // ExifTool tells a fraction as a number (-n); what stands there is the fraction.
    expect(sidecarText(FACTS)).toContain('<evenrung:Offset>-4/3</evenrung:Offset>');
    // The offset is no compensation: what the body stood on is in the frame's own Exif.
    expect(sidecarText(FACTS)).not.toContain('exif');
    expect(sidecarText(FACTS)).toContain('<evenrung:BaseShutter>1/60</evenrung:BaseShutter>');
  });

  it.each([
    [0, '0/1'],
    [2, '2/1'],
    [-1 / 3, '-1/3'],
    [0.5, '1/2'],
    [1 / 6, '1/6'],
  ])('%s EV is %s', (offsetEv, text) => {
    expect(sidecarText({ ...FACTS, offsetEv })).toContain(`<evenrung:Offset>${text}<`);
    expect(readSidecar(sidecarText({ ...FACTS, offsetEv }))?.offsetEv).toBeCloseTo(offsetEv, 9);
  });

  it('of an earlier version, which gave the offset for the compensation, is ours as long as nobody touched it', () => {
    const text = sidecarText(FACTS);
    const once = text
      .replace('    xmlns:xmp=', '    xmlns:exif="http://ns.adobe.com/exif/1.0/"\n    xmlns:xmp=')
      .replace(
        '   <xmp:CreateDate>',
        '   <exif:ExposureBiasValue>-4/3</exif:ExposureBiasValue>\n   <xmp:CreateDate>',
      )
      .replace(FACTS.createdAt ?? '', '2026-11-25T15:42:10.250Z');
    expect(once).not.toBe(text);
    expect(isOurOwn(once, text)).toBe(true);
    expect(isOurOwn(once, sidecarText({ ...FACTS, createdAt: null }))).toBe(true);
    expect(isOurOwn(once.replace('>-4/3</exif', '>0/1</exif'), text)).toBe(false);
    expect(isOurOwn(once.replace('</rdf:Description>', '<crs:Look/></rdf:Description>'), text)).toBe(false);
    expect(isOurOwn(text, text)).toBe(true);
  });

  it.each([
    ['2026:11:25 16:42:10', '25', '+01:00', '2026-11-25T16:42:10.25+01:00'],
    ['2026:11:25 16:42:10', 250, undefined, '2026-11-25T16:42:10.250'],
    [['2026:11:25 16:42:10'], undefined, ['-09:30'], '2026-11-25T16:42:10-09:30'],
    ['2026:11:25 16:42:10', '', '   :  ', '2026-11-25T16:42:10'],
    ['2026:11:25 16:42:10', '', '+25:00', '2026-11-25T16:42:10'],
    ['0000:00:00 00:00:00', '00', '+00:00', null],
    [undefined, '12', '+01:00', null],
  ])('%o, %o, %o is the date %o', (time, parts, offset, date) => {
    expect(xmpDateOf(time, parts, offset)).toBe(date);
  });

  it('has the date of the file itself, by the quick reader and by the thorough one; none of what is no picture', async () => {
    const file = path.join(folder, 'dated.jpg');
    await sharp({ create: { width: 8, height: 8, channels: 3, background: '#888' } })
      .withExif({
        IFD2: {
          DateTimeOriginal: '2026:11:25 16:42:10',
          SubSecTimeOriginal: '07',
          OffsetTimeOriginal: '+13:00',
        },
      })
      .jpeg()
      .toFile(file);
    expect(await createdAtOf(file)).toBe('2026-11-25T16:42:10.07+13:00');
    await writeFile(path.join(folder, 'none.jpg'), 'no picture');
    expect(await createdAtOf(path.join(folder, 'none.jpg'))).toBeNull();
    expect(await createdAtOf(path.join(folder, 'nowhere.jpg'))).toBeNull();
  });

  it('leaves out what nobody knows', () => {
    const text = sidecarText({ ...FACTS, name: null, note: '', viewpoint: null, createdAt: null });
    mustBeWellFormed(text);
    expect(text).not.toMatch(/dc:title|dc:description|Viewpoint|CreateDate/);
  });

  it('what XML has no way to write is seen to be missing', () => {
    expect(sidecarText({ ...FACTS, name: 'a\0b\ud83dc' })).toContain('>a\ufffdb\ufffdc<');
  });

  it('is well-formed whatever the texts hold, and reads back', () => {
    const text = fc.oneof(fc.string({ unit: 'binary' }), fc.stringMatching(/^[<>&"'\r\n\0\ud83d]{0,5}$/));
    fc.assert(
      fc.property(text, text, text, text, (name, note, viewpoint, aperture) => {
        const facts = { ...FACTS, name, note, viewpoint, base: { ...FACTS.base, aperture } };
        const written = sidecarText(facts);
        mustBeWellFormed(written);
        expect(readSidecar(written)).toEqual({ set: FACTS.set, frame: 3, offsetEv: -4 / 3 });
      }),
    );
    expect(() => mustBeWellFormed('<a><b></a></b>')).toThrow();
    expect(() => mustBeWellFormed('<a>&</a>')).toThrow();
    expect(() => mustBeWellFormed('<a x="1" x="2"/>')).toThrow();
  });

  it('is read back after another program wrote it anew', () => {
    const rewritten = `<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
      <rdf:Description xmlns:ns1='https://evenrung.invalid/ns/set/1.0/' ns1:Set="a&amp;b" ns1:Frame='4'
      ns1:Offset = "2/3"/></rdf:RDF></x:xmpmeta>`;
    expect(readSidecar(rewritten)).toEqual({ set: 'a&b', frame: 4, offsetEv: 2 / 3 });
    expect(readSidecar('<x:xmpmeta xmlns:x="adobe:ns:meta/"/>')).toBeNull();
    expect(readSidecar(rewritten.replace('4', 'four'))?.frame).toBeNull();
  });
});

describe('the file of a sidecar', () => {
  it('is named after the frame, and never takes the place of another', async () => {
    expect(sidecarNames('03_-1.33EV.dng')).toEqual(['03_-1.33EV.xmp', '03_-1.33EV.dng.xmp']);
    expect(await writeSidecar(folder, '03_-1.33EV.dng', 'one')).toBe('03_-1.33EV.xmp');
    expect(await writeSidecar(folder, '03_-1.33EV.jpg', 'two')).toBe('03_-1.33EV.jpg.xmp');
    expect(await writeSidecar(folder, '03_-1.33EV.jpg', 'three')).toBeNull();
    expect(await readFile(path.join(folder, '03_-1.33EV.xmp'), 'utf8')).toBe('one');
    expect(await readFile(path.join(folder, '03_-1.33EV.jpg.xmp'), 'utf8')).toBe('two');
  });

  it('two at once do not take each other’s name', async () => {
    const names = await Promise.all(
      ['05_+1EV.dng', '05_+1EV.jpg'].map((file) => writeSidecar(folder, file, file)),
    );
    expect(new Set(names).size).toBe(2);
    for (const name of names)
      expect(await readFile(path.join(folder, name as string), 'utf8')).toMatch(/^05_\+1EV\.(dng|jpg)$/);
  });

  it('somebody else, on a disk that knows no case, counts as well', async () => {
    await writeFile(path.join(folder, '04_0ev.XMP'), 'theirs');
    expect(await writeSidecar(folder, '04_0EV.jpg', 'ours')).toBe('04_0EV.jpg.xmp');
  });
});
