// Which files of a set are in its folder right now, by names and sizes: cheap enough for every set of a list.
// Whether the bytes are the same, only a whole check tells (check.ts). Reads no file, and knows neither plan
// nor run.
import { lstat, stat } from 'node:fs/promises';
import path from 'node:path';
import type { OnDisk } from '../../../shared/kept.js';
import { whyRefused } from '../../../shared/refused.js';
import { isPlainName } from './inside.js';

/** A file that was taken into a set folder as a frame. */
export interface KeptName {
  /** Of the frame, counted from 1. */
  readonly number: number;
  /** Its name in the set folder. */
  readonly file: string;
  /** Null if nobody kept its size: then any will do. */
  readonly bytes: number | null;
  /** Whether it is the second file of the frame; left out, it is the frame's own. */
  readonly isPartner?: boolean;
}

/** @returns which of these files are there; nothing in the folder makes it throw */
export async function lookOnDisk(folder: string, kept: readonly KeptName[]): Promise<OnDisk> {
  const why = await whyNoFolder(folder);
  if (why !== null) {
    const sentence = `The set folder ${path.basename(folder)} ${why}`;
    return { state: 'gone', missing: numbersOf(kept), changed: [], sentence };
  }
  const found = await Promise.all(kept.map((one) => lookAt(folder, one)));
  const these = (what: 'missing' | 'changed') => kept.filter((_, index) => found[index] === what);
  const [missing, changed] = [numbersOf(these('missing')), numbersOf(these('changed'))];
  const sentences = [
    ...sentencesOf(these('missing'), missingSentence, PARTNER_MISSING),
    ...sentencesOf(these('changed'), changedSentence, PARTNER_CHANGED),
  ];
  return sentences.length === 0
    ? { state: 'whole', missing, changed, sentence: null }
    : { state: 'lacking', missing, changed, sentence: sentences.join(' ') };
}

const numbersOf = (kept: readonly KeptName[]): number[] => [...new Set(kept.map(({ number }) => number))];

/** Frames that lack only their second file get a sentence of their own. */
function sentencesOf(
  these: readonly KeptName[],
  ofOwn: (numbers: readonly number[]) => string,
  ofPartner: string,
): string[] {
  const own = numbersOf(these.filter(({ isPartner = false }) => !isPartner));
  const partners = numbersOf(these).filter((number) => !own.includes(number));
  return [
    ...(own.length === 0 ? [] : [ofOwn(own)]),
    ...(partners.length === 0 ? [] : [`Of ${frames(partners)}, ${ofPartner}`]),
  ];
}

/** @returns how the sentence goes on that begins with the folder's name; null if the folder is there */
async function whyNoFolder(folder: string): Promise<string | null> {
  try {
    return (await stat(folder)).isDirectory() ? null : 'is missing: a file has its name.';
  } catch (cause) {
    const isMissing = ['ENOENT', 'ENOTDIR'].includes((cause as NodeJS.ErrnoException).code ?? '');
    return isMissing
      ? 'is missing: it was moved or deleted, or its disk is not connected. Put it back, and the set is whole again.'
      : `cannot be read: ${whyRefused(cause)}.`;
  }
}

async function lookAt(folder: string, { file, bytes }: KeptName): Promise<'there' | 'missing' | 'changed'> {
  const found = isPlainName(file) ? await lstat(path.join(folder, file)).catch(() => null) : null;
  if (!found?.isFile()) return 'missing';
  return bytes === null || found.size === bytes ? 'there' : 'changed';
}

const frames = (numbers: readonly number[]): string =>
  `${numbers.length === 1 ? 'frame' : 'frames'} ${numbers.join(', ')}`;

const missingSentence = (numbers: readonly number[]): string =>
  numbers.length === 1
    ? `The file of ${frames(numbers)} is missing from the set folder. Put a copy back, or reshoot the frame.`
    : `The files of ${frames(numbers)} are missing from the set folder. Put copies back, or reshoot these frames.`;

const changedSentence = (numbers: readonly number[]): string =>
  numbers.length === 1
    ? `The file of ${frames(numbers)} has changed its size since it came from the camera. Put a copy in its place, or move it away and reshoot the frame.`
    : `The files of ${frames(numbers)} have changed their sizes since they came from the camera. Put copies in their place, or move them away and reshoot these frames.`;

const PARTNER_MISSING = 'one of two files is missing from the set folder. Put a copy back.';
const PARTNER_CHANGED =
  'one of two files has changed its size since it came from the camera. Put a copy in its place.';
