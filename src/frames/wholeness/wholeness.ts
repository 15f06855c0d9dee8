// What the structure of a file says about whether the file is complete: the words for it, and how the parts
// that a file names lead to them. Must know nothing of exposures, and does not go by file names.
import type { Source } from './source.js';

/**
 * `whole`: everything that the file names is there, and the file ends where it says. `cut`: something that
 * the file names lies past its end, or the mark of its end is missing. `unproved`: nothing that it names is
 * missing, but that does not prove it complete.
 */
export type Wholeness =
  | {
      readonly state: 'whole';
      /** Whether it holds a maker's note, which may name further parts of the file in a way of its own. */
      readonly hasNote: boolean;
    }
  | { readonly state: 'unproved'; readonly doubt: Doubt; readonly why: string }
  | { readonly state: 'cut'; readonly why: string };

/**
 * `untold`: the file does not say where it ends. `followed`: more bytes follow its end. `zeros`: its pixels
 * end in zeros, as they do if space was reserved for data that never came. `warned`: something that the
 * pixels do not depend on points past the end, or a reader that knows more kinds of file complains about the
 * length.
 */
export type Doubt = 'untold' | 'followed' | 'zeros' | 'warned';

/** How a reader says that the file is cut short. `why` ends a sentence. */
export class CutShort extends Error {}

/**
 * So many zeros at the end of the pixels look like data that never came: compressed pixels contain no such
 * run, and black is not 0 on most sensors. Common practice, no source.
 */
const ZEROS_BYTES = 32 * 1024;
/** No camera makes a frame of fewer bytes. */
const FEWEST_PIXEL_BYTES = 4 * ZEROS_BYTES;
/** Some cameras pad their files with zeros to a whole block; blocks are taken to be no larger than this. Common practice, no source. */
const LARGEST_BLOCK = 1024 * 1024;

interface Named {
  readonly what: string;
  readonly from: number;
  readonly end: number;
}

/** The position of a part, in bytes from the beginning of the file. */
export interface Extent {
  readonly at: number;
  readonly bytes: number;
}

/** The parts that a file names. */
export class Parts {
  hasNote = false;
  private last: Named | null = null;
  private pixels: Named | null = null;
  /** A value past the end of the file. */
  private tooFar: Named | null = null;

  /** @param what a plural, for the sentence "its pixels reach to byte 12" */
  add(what: string, from: number, bytes: number): void {
    const named = { what, from, end: from + bytes };
    if (this.last === null || named.end > this.last.end) this.last = named;
  }

  addPixels(from: number, bytes: number): void {
    this.add('pixels', from, bytes);
    const largest = this.pixels === null ? 0 : this.pixels.end - this.pixels.from;
    if (bytes > largest) this.pixels = { what: 'pixels', from, end: from + bytes };
  }

  /** For a value that nothing depends on: some writers have them point nowhere, and a camera that does must remain usable. */
  addValue({ size }: Source, from: number, bytes: number): void {
    if (from + bytes <= size) this.add('values', from, bytes);
    else this.tooFar = { what: 'values', from, end: from + bytes };
  }

  get hasPixels(): boolean {
    return this.pixels !== null;
  }

  get end(): number {
    return this.last?.end ?? 0;
  }

  /** @throws CutShort if one of them reaches past the end of the file */
  mustLieIn({ size }: Source): void {
    if (this.last !== null && this.last.end > size)
      throw new CutShort(
        `its ${this.last.what} reach to byte ${this.last.end}, but it has only ${size} bytes`,
      );
  }

  /** @returns the doubt about a file of which all parts are there but for some value; null if all values are there */
  doubtOfValues({ size }: Source): Wholeness | null {
    if (this.tooFar === null) return null;
    return {
      ...{ state: 'unproved', doubt: 'warned' },
      why: `a value that it names reaches to byte ${this.tooFar.end}, but it has only ${size} bytes`,
    };
  }

  /** @returns what the parts prove, if all of them were added */
  async judge(source: Source): Promise<Wholeness> {
    this.mustLieIn(source);
    const doubt = this.doubtOfValues(source);
    if (doubt !== null) return doubt;
    if (this.pixels === null) return untold('it does not say where its pixels are');
    const tail = source.size - this.end;
    if (tail > 0 && !(await isPadding(source, this.end)))
      return {
        ...{ state: 'unproved', doubt: 'followed' },
        why: `${tail} ${tail === 1 ? 'byte follows' : 'bytes follow'} its own end`,
      };
    if (await endsInZeros(source, this.pixels)) return ZEROS;
    return { state: 'whole', hasNote: this.hasNote };
  }
}

export const untold = (why: string): Wholeness => ({ state: 'unproved', doubt: 'untold', why });

export const ZEROS: Wholeness = {
  ...{ state: 'unproved', doubt: 'zeros', why: 'its pixels end in nothing but zeros' },
};

/** Zeros up to the next whole block, and no further, are the camera's own padding. */
async function isPadding(source: Source, end: number): Promise<boolean> {
  const { size } = source;
  const tail = size - end;
  let block = 2;
  while (block < LARGEST_BLOCK && size % (block * 2) === 0) block *= 2;
  return size % block === 0 && tail < block && isZeros(await source.read(end, tail));
}

/** @returns whether these bytes of the file do; false if there are too few of them to tell */
export async function endsInZeros(
  source: Source,
  { from, end }: Pick<Named, 'from' | 'end'>,
): Promise<boolean> {
  if (end - from < FEWEST_PIXEL_BYTES) return false;
  return isZeros(await source.read(end - ZEROS_BYTES, ZEROS_BYTES));
}

const isZeros = (bytes: Buffer): boolean => bytes.every((byte) => byte === 0);
