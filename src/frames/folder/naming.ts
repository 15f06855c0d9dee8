// How frames and set folders are named: templates with placeholders in braces. A template is judged when it is given, so that
// no frame can meet with a name that does not work. Pure: it knows neither files nor states.
import { EvenrungError } from '../../../shared/errors.js';
import { shortened } from '../../../shared/plain-words.js';
import { dayInNames, timeInNames } from '../../system/index.js';

/** The facts about a set that go into a name. Free text may be anything that a person writes. */
export interface SetNaming {
  /** Any text that tells runs apart. */
  readonly run: string;
  /** Which set of its run it is, counted from 1. */
  readonly set: number;
  readonly startedAt: Date;
  readonly name: string | null;
  readonly viewpoint: string | null;
}

export interface FrameNaming {
  /** 1 is the darkest of those that were planned at first; frames that were added later count on. */
  readonly number: number;
  readonly offsetEv: number;
  /** The nominal label, such as `1/60`. */
  readonly shutter: string;
}

/** A template that was judged and can be used. */
export interface Template {
  readonly kind: 'frame' | 'set';
  readonly text: string;
  readonly parts: readonly Part[];
}

/** The templates for a set folder and for the frames in it. */
export interface Naming {
  readonly frame: Template;
  readonly set: Template;
}

type Part = { readonly literal: string } | { readonly placeholder: Placeholder };

interface Facts extends SetNaming {
  readonly frame: FrameNaming | null;
}

interface Kind {
  /** Whether it differs from frame to frame of one set. */
  readonly ofFrame: boolean;
  /**
   * Free text is shortened if a name would be too long; a placeholder without any text says so in the name.
   */
  readonly free: boolean;
  /** The most bytes that it takes; free text gets the rest. */
  readonly most: number;
  readonly value: (facts: Facts) => string;
}

const KINDS = {
  run: { ofFrame: false, free: true, most: 36, value: ({ run }) => run },
  set: { ofFrame: false, free: false, most: 7, value: ({ set }) => padded(set, 4) },
  name: { ofFrame: false, free: true, most: 0, value: ({ name }) => name ?? '' },
  viewpoint: { ofFrame: false, free: true, most: 0, value: ({ viewpoint }) => viewpoint ?? '' },
  date: { ofFrame: false, free: false, most: 8, value: ({ startedAt }) => dayInNames(startedAt) },
  time: { ofFrame: false, free: false, most: 6, value: ({ startedAt }) => timeInNames(startedAt) },
  frame: { ofFrame: true, free: false, most: 3, value: ({ frame }) => padded(frame?.number ?? 0, 2) },
  offset: { ofFrame: true, free: false, most: 6, value: ({ frame }) => offsetText(frame?.offsetEv ?? 0) },
  shutter: { ofFrame: true, free: false, most: 16, value: ({ frame }) => shutterText(frame?.shutter ?? '') },
} satisfies Record<string, Kind>;

export type Placeholder = keyof typeof KINDS;

const kindOf = (placeholder: Placeholder): Kind => KINDS[placeholder];

export const DEFAULT_FRAME_TEMPLATE = '{frame}_{offset}EV';
export const DEFAULT_SET_TEMPLATE = 'set-{date}-{time}';

/** The longest name of a file on the file systems in use (255 bytes, or 255 UTF-16 units, which are never more). */
const LONGEST_NAME = 255;
/**
 * Room for what follows the name: a number if the name is taken, the extension, that of a sidecar, and the
 * ending of a part while it is written.
 */
const BEHIND = { frame: 40, set: 10 } as const;
/** At least so many bytes of a free text are kept; otherwise the template is too long. */
const LEAST_FREE = 24;

/** Names that are devices on some systems, whatever their extension (Microsoft, "Naming Files, Paths, and Namespaces"). */
const DEVICE = /^(?:con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³]|conin\$|conout\$)$/i;
const FORBIDDEN = /[<>:"|?*]/;
// biome-ignore lint/suspicious/noControlCharactersInRegex: they are what is looked for
const CONTROL = /[\u0000-\u001f\u007f]/;
/** Characters that values of a frame consist of: between two of them a template needs another one. */
const OF_VALUES = /^[0-9.+-]*$/;

/**
 * @param text the template: plain text and placeholders such as `{frame}`
 * @returns the template, ready for use
 * @throws EvenrungError template-unusable, with a sentence that says what to change
 */
export function parseTemplate(text: string, kind: Template['kind']): Template {
  const parts = partsOf(text, kind);
  const literals = parts.map((part) => ('literal' in part ? part.literal : '')).join('');
  refuseCharacters(text, literals);
  refuseEnds(text, parts, kind);
  if (kind === 'frame') refuseSameNames(text, parts);
  refuseLength(text, parts, kind);
  return { kind, text, parts };
}

/** The names if nobody asked for others. */
export const defaultNaming = (): Naming => ({
  frame: parseTemplate(DEFAULT_FRAME_TEMPLATE, 'frame'),
  set: parseTemplate(DEFAULT_SET_TEMPLATE, 'set'),
});

/** @returns the name of a set folder, without the number that follows a name that is taken */
export function setFolderName(template: Template, set: SetNaming): string {
  return nameOf(template, { ...set, frame: null });
}

/** @returns the name of a frame without extension: frames of one set that differ in number or offset have different ones */
export function frameStem(template: Template, set: SetNaming, frame: FrameNaming): string {
  return nameOf(template, { ...set, frame });
}

// --- judging a template

const unusable = (text: string, sentence: string): EvenrungError =>
  new EvenrungError(
    'template-unusable',
    `The name template '${shortened(text)}' cannot be used: ${sentence}`,
    {
      template: text,
    },
  );

function partsOf(text: string, kind: Template['kind']): Part[] {
  const parts: Part[] = [];
  const normal = text.normalize('NFC');
  for (const [piece] of normal.matchAll(/\{[^{}]*\}|[^{}]+|[{}]/gu)) {
    if (piece === '{' || piece === '}')
      throw unusable(text, 'it has a stray brace. Write placeholders as {frame}, and no other braces.');
    if (piece.startsWith('{')) parts.push({ placeholder: placeholderOf(text, piece.slice(1, -1), kind) });
    else parts.push({ literal: piece });
  }
  if (parts.length === 0) throw unusable(text, `it is empty. Write it like ${exampleOf(kind)}.`);
  return parts;
}

const exampleOf = (kind: Template['kind']): string =>
  kind === 'frame' ? DEFAULT_FRAME_TEMPLATE : DEFAULT_SET_TEMPLATE;

function placeholderOf(text: string, word: string, kind: Template['kind']): Placeholder {
  const known = Object.keys(KINDS).filter(
    (name) => kind === 'frame' || !kindOf(name as Placeholder).ofFrame,
  ) as Placeholder[];
  const placeholder = known.find((name) => name === word);
  if (placeholder !== undefined) return placeholder;
  const list = known.map((name) => `{${name}}`).join(' ');
  const why =
    word in KINDS
      ? `{${word}} differs from frame to frame, and this template names the whole set`
      : `there is no {${word.slice(0, 24)}}`;
  throw unusable(text, `${why}. There are ${list}.`);
}

function refuseCharacters(text: string, literals: string): void {
  if (/[/\\]/.test(literals))
    throw unusable(
      text,
      'it leads into another folder. Take out every / and \\: it must be a name, not a path.',
    );
  if (CONTROL.test(literals) || /\p{Cs}/u.test(literals))
    throw unusable(text, 'it holds an invisible character, such as a line end. Take it out.');
  const [found] = FORBIDDEN.exec(literals) ?? [];
  if (found !== undefined)
    throw unusable(text, `some systems do not allow ${found} in a name. Use a letter, - or _ instead.`);
}

function refuseEnds(text: string, parts: readonly Part[], kind: Template['kind']): void {
  const first = parts[0] as Part;
  const last = parts.at(-1) as Part;
  if ('literal' in first && /^[\s.]/u.test(first.literal))
    throw unusable(
      text,
      'it begins with a dot or a blank, and some systems hide or cut such names. Begin with a letter or a placeholder.',
    );
  if (
    ('literal' in first && first.literal.startsWith('-')) ||
    ('placeholder' in first && first.placeholder === 'offset')
  )
    throw unusable(
      text,
      'its names can begin with a dash, which many programs mistake for an option. Put something before it, such as {frame}_.',
    );
  if ('literal' in last && /[\s.]$/u.test(last.literal))
    throw unusable(text, 'it ends in a dot or a blank, which some systems cut off. Take it out.');
  if (kind === 'set' && parts.length === 1 && 'literal' in first && isDevice(first.literal))
    throw unusable(text, `some systems reserve the name ${first.literal}. Choose another name.`);
}

/**
 * Names of different frames must differ. The values of a frame are made of digits, dots and signs; where every stretch between
 * two other characters of the template's own text holds one such value at most, a name can be read back in one way only.
 */
function refuseSameNames(text: string, parts: readonly Part[]): void {
  const used = parts.flatMap((part) => ('placeholder' in part ? [part.placeholder] : []));
  if (!used.includes('frame') && !used.includes('offset'))
    throw unusable(text, 'every frame would have the same name. Put {frame} or {offset} into it.');
  let before: Placeholder | null = null;
  for (const part of parts) {
    if ('literal' in part) {
      if (!OF_VALUES.test(part.literal)) before = null;
      continue;
    }
    if (!kindOf(part.placeholder).ofFrame) continue;
    if (before !== null)
      throw unusable(
        text,
        `{${before}} and {${part.placeholder}} run into each other, so that two frames could have one name. Put a letter or a _ between them.`,
      );
    before = part.placeholder;
  }
}

function refuseLength(text: string, parts: readonly Part[], kind: Template['kind']): void {
  const free = freeParts(parts);
  const left = LONGEST_NAME - BEHIND[kind] - fixedBytes(parts);
  if (left >= free * LEAST_FREE && left >= 0) return;
  const over = free * LEAST_FREE - left;
  throw unusable(text, `its names would be too long by ${over} bytes or more. Make it shorter.`);
}

const freeParts = (parts: readonly Part[]): number =>
  parts.filter((part) => 'placeholder' in part && kindOf(part.placeholder).free).length;

/** The most bytes of everything but the free text. */
function fixedBytes(parts: readonly Part[]): number {
  const sizes = parts.map((part) => {
    if ('literal' in part) return bytesOf(part.literal);
    const { free, most } = kindOf(part.placeholder);
    return free ? 0 : most;
  });
  return sizes.reduce((sum, size) => sum + size, 0);
}

// --- making a name

function nameOf({ parts, kind }: Template, facts: Facts): string {
  const free = freeParts(parts);
  const share = free === 0 ? 0 : Math.floor((LONGEST_NAME - BEHIND[kind] - fixedBytes(parts)) / free);
  const name = parts
    .map((part) => {
      if ('literal' in part) return part.literal;
      const { free: isFree, value } = kindOf(part.placeholder);
      return isFree ? freeText(value(facts), part.placeholder, share) : value(facts);
    })
    .join('')
    .normalize('NFC');
  // A device's name counts up to its first dot.
  return isDevice(name) ? name.replace(/^[^.]*/, (stem) => `${stem}_`) : name;
}

const isDevice = (name: string): boolean => DEVICE.test((name.split('.')[0] ?? '').trimEnd());

/**
 * Makes any text a safe part of a name: composed (NFC), characters that systems refuse replaced by `-`, no
 * dots, blanks and dashes at the ends, cut between what a reader takes for characters.
 * @returns at most `most` bytes of UTF-8; `no-name` or the like if nothing is left
 */
function freeText(text: string, placeholder: Placeholder, most: number): string {
  const safe = trimmed(
    text
      .replace(/\p{Cs}/gu, '-')
      .normalize('NFC')
      .replace(/[\s\p{Cc}\p{Zl}\p{Zp}]+/gu, ' ')
      // Characters that cannot be seen, or that turn the reading direction of everything after them; joiners
      // inside words and emoji stay.
      .replace(/(?![\u200c\u200d])\p{Cf}/gu, '')
      .replace(/[/\\<>:"|?*{}\ufffd]/gu, '-'),
  );
  const kept = trimmed(cut(safe, most));
  return kept === '' ? `no-${placeholder}` : kept;
}

const trimmed = (text: string): string => text.replace(/^[\s.\-~]+|[\s.-]+$/gu, '');

const GRAPHEMES = new Intl.Segmenter('en', { granularity: 'grapheme' });

function cut(text: string, most: number): string {
  if (bytesOf(text) <= most) return text;
  const kept = upTo(
    Array.from(GRAPHEMES.segment(text), ({ segment }) => segment),
    most,
  );
  // A text that alone is longer than a name is not a word of any script.
  return kept === '' ? upTo(Array.from(text), most) : kept;
}

function upTo(pieces: readonly string[], most: number): string {
  let kept = '';
  for (const piece of pieces) {
    if (bytesOf(kept) + bytesOf(piece) > most) break;
    kept += piece;
  }
  return kept;
}

const bytesOf = (text: string): number => Buffer.byteLength(text, 'utf8');

const padded = (value: number, digits: number): string => String(value).padStart(digits, '0');

/** @returns `0`, `+2`, `-1.33` */
function offsetText(offsetEv: number): string {
  const rounded = Number(offsetEv.toFixed(2));
  return rounded === 0 ? '0' : `${rounded > 0 ? '+' : ''}${rounded}`;
}

/** @returns `1-60`, `0.3`, `30`: a name cannot contain a slash */
const shutterText = (label: string): string =>
  label
    .replaceAll('/', '-')
    .replace(/[^0-9.-]/g, '')
    .replace(/^[.-]+|[.-]+$/g, '')
    .slice(0, 16) || '0';
