// The sidecar of a frame: an XMP file (ISO 16684-1) beside it that tells merging and raw programs which frame
// of which set it is. Frames themselves are never written to. Knows neither states nor pictures.
import { readdir, readFile } from 'node:fs/promises';
import path from 'node:path';
import { fromEv, type Sixths } from '../../../shared/ev.js';
import { putWhole } from '../../system/index.js';

/** Properties of our own live here. `.invalid` is reserved and never leads anywhere (RFC 2606). */
export const XMP_NAMESPACE = 'https://evenrung.invalid/ns/set/1.0/';

/** The facts in a sidecar. */
export interface SidecarFacts {
  /** The identifier of the set, the same in all of its sidecars. */
  readonly set: string;
  /** Its number: 1 is the darkest of those that were planned at first. */
  readonly frame: number;
  /** How many the set has. */
  readonly frames: number;
  /** EV from the base, a multiple of 1/6. */
  readonly offsetEv: number;
  /**
   * The base that the offset is counted from: nominal shutter, its exact seconds, aperture and ISO as the
   * body writes them.
   */
  readonly base: {
    readonly shutter: string;
    readonly exposureTime: number;
    readonly aperture: string | null;
    readonly iso: string | null;
  };
  /** When the frame was taken, by its own file, as XMP writes dates; null if the file does not say. */
  readonly createdAt: string | null;
  readonly name: string | null;
  readonly note: string | null;
  readonly viewpoint: string | null;
  /** True if nothing was photographed. */
  readonly practice: boolean;
}

/** @returns the text of the sidecar, UTF-8, well-formed whatever the texts in it hold */
export function sidecarText(facts: SidecarFacts): string {
  const { base } = facts;
  const lines = [
    // No exif:ExposureBiasValue: what compensation the body stood on is in the frame's own Exif, and is not the offset.
    simple('xmp:CreateDate', facts.createdAt),
    translated('dc:title', facts.name),
    translated('dc:description', facts.note),
    simple('evenrung:Set', facts.set),
    simple('evenrung:Frame', String(facts.frame)),
    simple('evenrung:Frames', String(facts.frames)),
    simple('evenrung:Offset', rational(fromEv(facts.offsetEv))),
    simple('evenrung:BaseShutter', base.shutter),
    simple('evenrung:BaseExposureTime', String(base.exposureTime)),
    simple('evenrung:BaseAperture', base.aperture),
    simple('evenrung:BaseISO', base.iso),
    simple('evenrung:Viewpoint', facts.viewpoint),
    simple('evenrung:Practice', facts.practice ? 'True' : 'False'),
  ].filter((line) => line !== null);
  return [
    '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>',
    '<x:xmpmeta xmlns:x="adobe:ns:meta/">',
    ' <rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">',
    '  <rdf:Description rdf:about=""',
    '    xmlns:dc="http://purl.org/dc/elements/1.1/"',
    '    xmlns:xmp="http://ns.adobe.com/xap/1.0/"',
    `    xmlns:evenrung="${XMP_NAMESPACE}">`,
    ...lines.map((line) => `   ${line}`),
    '  </rdf:Description>',
    ' </rdf:RDF>',
    '</x:xmpmeta>',
    '<?xpacket end="w"?>',
    '',
  ].join('\n');
}

/** The names that a person gave the set of a frame. */
export type SidecarLabels = Pick<SidecarFacts, 'name' | 'note' | 'viewpoint'>;

/**
 * @param text a sidecar that says `before`
 * @returns the same with other names for its set; null if it does not say `before` in the way that we write
 *   it: then somebody else has been at work, and it is to be left alone
 */
export function relabelledSidecar(text: string, before: SidecarLabels, after: SidecarLabels): string | null {
  return withLabels(text, before) === text ? withLabels(text, after) : null;
}

function withLabels(text: string, { name, note, viewpoint }: SidecarLabels): string {
  const bare = ['dc:title', 'dc:description', 'evenrung:Viewpoint'].reduce(
    (left, element) => left.replace(new RegExp(`^ {3}<${element}>[^]*?</${element}>\n`, 'm'), ''),
    text,
  );
  const put = (before: string, lines: readonly (string | null)[], into: string) =>
    into.replace(
      new RegExp(`^ {3}<${before}>`, 'm'),
      (place) => `${lines.map((line) => (line === null ? '' : `   ${line}\n`)).join('')}${place}`,
    );
  const titled = [translated('dc:title', name), translated('dc:description', note)];
  return put(
    'evenrung:Practice',
    [simple('evenrung:Viewpoint', viewpoint)],
    put('evenrung:Set', titled, bare),
  );
}

const simple = (name: string, value: string | null): string | null =>
  value === null ? null : `<${name}>${escaped(value)}</${name}>`;

/** A language alternative (ISO 16684-1, 8.2.2.4, from memory): nobody said which language it is. */
const translated = (name: string, value: string | null): string | null =>
  value === null || value === ''
    ? null
    : `<${name}><rdf:Alt><rdf:li xml:lang="x-default">${escaped(value)}</rdf:li></rdf:Alt></${name}>`;

const REFERENCES: Readonly<Record<string, string>> = {
  '&': '&amp;',
  '<': '&lt;',
  '>': '&gt;',
  '"': '&quot;',
  // Bare, a reader would take it for a line feed (XML 1.0, 2.11).
  '\r': '&#13;',
};

/** Characters that XML 1.0 has no way to write (2.2, Char) become the replacement character. */
const escaped = (text: string): string =>
  text
    // biome-ignore lint/suspicious/noControlCharactersInRegex: they are what is looked for
    .replace(/[\u0000-\u0008\u000b\u000c\u000e-\u001f\ufffe\uffff]|\p{Cs}/gu, '\ufffd')
    .replace(/[&<>"\r]/g, (char) => REFERENCES[char] as string);

/** @returns `-4/3`, `2/1`, `0/1`, in lowest terms */
function rational(sixths: Sixths): string {
  const common = divisor(Math.abs(sixths), 6);
  return `${sixths === 0 ? 0 : sixths / common}/${6 / common}`;
}

const divisor = (a: number, b: number): number => (a === 0 ? b : b === 0 ? a : divisor(b, a % b));

/**
 * The names that a sidecar of this frame can have, the first choice first. The XMP specification names the
 * sidecar of MyDocument.pdf MyDocument.xmp (part 3, "External storage of metadata", from memory), and raw
 * programs look for that. If that name is taken, for example by the sidecar of a JPEG beside its raw file,
 * some programs read the whole name followed by .xmp (common practice, no source).
 */
export function sidecarNames(frameFile: string): readonly [string, string] {
  const { dir, name } = path.posix.parse(frameFile);
  return [path.posix.join(dir, `${name}.xmp`), `${frameFile}.xmp`];
}

/** Paths of sidecars that are being written just now. */
const beingWritten = new Set<string>();

/**
 * Writes the sidecar of a frame beside it, whole or not at all; the caller syncs the folder once after
 * several. One that we wrote before is written anew. One of ours that somebody has edited stays as it is, and
 * so does one that somebody else wrote.
 * @param names those that it can have, the first choice first
 * @returns its name in the folder; null if all of its names are taken
 * @throws the error of the file system
 */
export async function writeSidecar(
  folder: string,
  frameFile: string,
  text: string,
  names: readonly string[] = sidecarNames(frameFile),
): Promise<string | null> {
  // File systems that know no case would take another frame's for it.
  const there = new Map((await readdir(folder)).map((name) => [name.toLowerCase(), name]));
  for (const name of names) {
    const file = path.join(folder, name);
    const found = there.get(name.toLowerCase());
    if (beingWritten.has(file.toLowerCase()) || (found !== undefined && found !== name)) continue;
    beingWritten.add(file.toLowerCase());
    try {
      const before = found === undefined ? null : await readFile(file, 'utf8');
      if (before === text || isEdited(before, text)) return name;
      if (before !== null && !isOurOwn(before, text)) continue;
      await putWhole(file, text);
      return name;
    } finally {
      beingWritten.delete(file.toLowerCase());
    }
  }
  return null;
}

/**
 * Fields that may differ after another attempt at the same frame, in aperture priority after another first
 * frame, or since the set was extended.
 */
const MAY_DIFFER =
  /^ {3}<(xmp:CreateDate|evenrung:Frames|evenrung:Base(?:Shutter|ExposureTime|Aperture|ISO))>[^<\n]*<\/\1>\n/gm;

/** @returns whether a sidecar is just as we write it, or once wrote it, for the frame that `text` is of: nobody has touched it since */
export function isOurOwn(sidecar: string, text: string): boolean {
  const bare = sidecar.replace(MAY_DIFFER, '');
  return [text, asOnceWritten(text)].some((ours) => bare === ours.replace(MAY_DIFFER, ''));
}

/** Earlier versions gave the offset for the compensation, too. */
function asOnceWritten(text: string): string {
  const [, offset] = /^ {3}<evenrung:Offset>([^<]*)</m.exec(text) ?? [];
  return text
    .replace('\n    xmlns:xmp=', '\n    xmlns:exif="http://ns.adobe.com/exif/1.0/"\n    xmlns:xmp=')
    .replace(/">\n {3}</, `">\n   <exif:ExposureBiasValue>${offset}</exif:ExposureBiasValue>\n   <`);
}

/** @returns whether it tells the same frame of the same set, and is not as we write it */
function isEdited(sidecar: string | null, text: string): boolean {
  const [before, after] = [sidecar === null ? null : readSidecar(sidecar), readSidecar(text)];
  if (sidecar === null || before === null || after === null) return false;
  return before.set === after.set && before.frame === after.frame && !isOurOwn(sidecar, text);
}

/** What a sidecar says of its frame; null for each thing that it does not say. */
export interface SidecarClaims {
  readonly set: string | null;
  readonly frame: number | null;
  readonly offsetEv: number | null;
}

/**
 * Reads our own properties, even if another program has written the file anew: it may have changed the
 * prefix, and made elements of attributes.
 * @returns null if the text has none of them
 */
export function readSidecar(text: string): SidecarClaims | null {
  const [, prefix] =
    new RegExp(`xmlns:([\\w.-]+)\\s*=\\s*["']${XMP_NAMESPACE.replaceAll('.', '\\.')}["']`).exec(text) ?? [];
  if (prefix === undefined) return null;
  const read = (name: string): string | null => {
    const full = `${prefix}:${name}`.replaceAll('.', '\\.');
    const [, element, attribute] =
      new RegExp(`<${full}(?:\\s[^>]*)?>([^<]*)</${full}>|\\s${full}\\s*=\\s*["']([^"']*)["']`).exec(text) ??
      [];
    const value = element ?? attribute;
    return value === undefined ? null : unescaped(value.trim());
  };
  return { set: read('Set'), frame: number(read('Frame')), offsetEv: number(read('Offset')) };
}

const unescaped = (text: string): string =>
  text.replace(/&(amp|lt|gt|quot|#13);/g, (whole) => BACK[whole] as string);

const BACK = Object.fromEntries(Object.entries(REFERENCES).map(([char, reference]) => [reference, char]));

/** @returns the value of `3`, `-4/3`, `0.5`; null if it is not a number */
function number(text: string | null): number | null {
  const [, top, bottom = '1'] = /^([+-]?\d+(?:\.\d+)?)(?:\/(\d+))?$/.exec(text ?? '') ?? [];
  const value = Number(top) / Number(bottom);
  return top === undefined || !Number.isFinite(value) ? null : value;
}
