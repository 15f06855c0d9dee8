// The table of files that are cut short or padded: each kind that is read, at each place, and the result. A
// frame is judged as the run judges it, once by the file alone and once with the size that the camera gave.
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { mustBeWhole, readPicture, readRecorded } from '../src/frames/index.js';
import {
  makeBigTiff,
  makeHeaderTable,
  makeHeap,
  makeHeif,
  makeJpeg,
  makeJpegs,
  makeMovieRaw,
  makePng,
  makeSections,
} from './container-files.js';
import { makeJp2, makeRaw, noise, type RawFacts } from './raw-files.js';

/** Enough pixels for zeros at their end to count. */
const FACTS: RawFacts = {
  ...{ exposureTime: [1, 60], fNumber: [8, 1], iso: 100, bias: [0, 1], pixelBytes: 300_001 },
};

export interface Kind {
  readonly name: string;
  /** The extension by content; left out if the synthetic files of this kind hold no exposure that can be read. */
  readonly format?: string;
  readonly make: () => Buffer | Promise<Buffer>;
  /** The result for the whole file. */
  readonly whole: 'verified' | 'marked';
}

const kind = (name: string, make: Kind['make'], more: Partial<Kind> = {}): Kind => ({
  ...{ name, make, whole: 'verified', ...more },
});

export const KINDS: readonly Kind[] = [
  kind('jpeg', () => makeJpeg(FACTS), { format: 'jpg' }),
  kind('jpeg-with-further-pictures', () => makeJpegs(FACTS), { format: 'jpg' }),
  kind('tiff-little-endian', () => makeRaw(FACTS, { order: 'little' }), { format: 'dng' }),
  kind('tiff-big-endian', () => makeRaw(FACTS, { order: 'big' }), { format: 'dng' }),
  kind('tiff-pixels-last', () => makeRaw(FACTS, { order: 'little', pixelsLast: true }), { format: 'dng' }),
  kind('tiff-tiles', () => makeRaw(FACTS, { order: 'big', pixelsLast: true, pixelsTold: 'tiles' }), {
    format: 'dng',
  }),
  kind('tiff-64-bit', () => makeBigTiff(FACTS)),
  kind('tiff-other-number', () => makeRaw(FACTS, { order: 'little', number: 0x4f52, pixelsLast: true })),
  kind(
    'tiff-without-length',
    () => makeRaw(FACTS, { order: 'little', number: 0x55, pixelsLast: true, pixelsTold: 'beginning' }),
    { whole: 'marked' },
  ),
  kind('movie-raw', () => makeMovieRaw(FACTS), { format: 'cr3' }),
  kind('movie-raw-long-box', () => makeMovieRaw(FACTS, { length: 'long' }), { format: 'cr3' }),
  kind('movie-raw-to-the-end', () => makeMovieRaw(FACTS, { length: 'to the end' }), { format: 'cr3' }),
  kind('movie-raw-tables-last', () => makeMovieRaw(FACTS, { tablesLast: true }), { format: 'cr3' }),
  kind('heif', () => makeHeif(FACTS, 'heic'), { format: 'heic' }),
  kind('avif', () => makeHeif(FACTS, 'avif'), { format: 'avif' }),
  kind('jpeg-2000', () => makeJp2(FACTS), { format: 'jp2' }),
  kind('png', () => makePng(FACTS), { format: 'png' }),
  kind('header-with-offset-table', () => makeHeaderTable(FACTS)),
  kind('heap-with-table-at-end', () => makeHeap(FACTS)),
  kind('sections-with-table-at-end', () => makeSections(FACTS)),
  kind('unknown', () => noise(FACTS.pixelBytes ?? 0), { whole: 'marked' }),
];

/** Bytes that are added. */
const RUBBISH_BYTES = 1001;
const BLOCK_BYTES = 4096;

const share = (part: number) => (whole: Buffer) => whole.subarray(0, Math.floor(whole.length * part));
/** Not the bytes that the pixels end in. */
const rubbish = noise(5000).subarray(-RUBBISH_BYTES);

export const PLACES: Readonly<Record<string, (whole: Buffer) => Buffer>> = {
  '10%': share(0.1),
  '50%': share(0.5),
  '90%': share(0.9),
  '99%': share(0.99),
  '-1-byte': (whole) => whole.subarray(0, -1),
  // As if space was reserved for the file, and half of it never came.
  '50%-then-zeros': (whole) => Buffer.concat([share(0.5)(whole), Buffer.alloc(Math.ceil(whole.length / 2))]),
  '+zeros': (whole) => Buffer.concat([whole, Buffer.alloc(RUBBISH_BYTES + (whole.length % 2))]),
  '+zeros-to-block': (whole) =>
    Buffer.concat([whole, Buffer.alloc(BLOCK_BYTES - (whole.length % BLOCK_BYTES))]),
  '+rubbish': (whole) => Buffer.concat([whole, rubbish]),
};

export type Outcome = 'rejected' | 'marked' | 'undetectable' | 'verified';

export interface Cell {
  readonly kind: string;
  readonly at: string;
  readonly outcome: Outcome;
  /** Why the file alone cannot tell; null if it can. */
  readonly reason: string | null;
}

/** Damage that a file cannot show by itself. */
const UNDETECTABLE: Readonly<Record<string, string>> = {
  '+zeros-to-block':
    'some cameras fill their files up with zeros to a whole block, and nothing of the picture is missing',
};

/** @param work gets the name of a file in a folder that is removed afterwards */
export async function inFolder<T>(work: (file: string) => Promise<T>): Promise<T> {
  const folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-cut-'));
  try {
    return await work(path.join(folder, 'incoming.1'));
  } finally {
    await rm(folder, { recursive: true, force: true });
  }
}

/** @returns how a frame that came with these bytes would be judged */
export async function judged(
  file: string,
  bytes: Buffer,
  { format }: Pick<Kind, 'format'>,
  saidBytes: number | null,
): Promise<Exclude<Outcome, 'undetectable'>> {
  await writeFile(file, bytes);
  try {
    if (format !== undefined && (await readRecorded(file)).exposureTime === null) return 'rejected';
    const doubt = await mustBeWhole(file, { saidBytes });
    if (format !== undefined) await readPicture(file, format);
    return doubt === null ? 'verified' : 'marked';
  } catch {
    return 'rejected';
  }
}

/**
 * @returns the cells of one kind, by the file alone and, under its name with `+said-size`, with the size
 *   that the camera gave
 */
export async function cellsOf(kind: Kind): Promise<Cell[]> {
  const whole = await kind.make();
  return inFolder(async (file) => {
    const cells: Cell[] = [];
    for (const said of [null, whole.length]) {
      const name = said === null ? kind.name : `${kind.name}+said-size`;
      for (const [at, change] of Object.entries(PLACES)) {
        const outcome = await judged(file, change(whole), kind, said);
        const reason = said === null ? (UNDETECTABLE[at] ?? null) : null;
        cells.push(
          outcome === 'verified' && reason !== null
            ? { kind: name, at, outcome: 'undetectable', reason }
            : { kind: name, at, outcome, reason: null },
        );
      }
    }
    return cells;
  });
}

export const lineOf = ({ kind: name, at, outcome, reason }: Cell): string =>
  `cut ${name} ${at} ${outcome}${reason === null ? '' : ` (${reason})`}`;
