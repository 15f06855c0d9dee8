// What a file's own structure says of whether all of it is there: the words for it, and how they come about. Pure but for the
// bytes that it looks at. It knows no exposure, and believes no name.
import type { Source } from './source.js';

/**
 * `whole`: everything that the file names is there, and it ends where it says that it does. `cut`: something that it names lies past its
 * end, or its end is not there. `unproved`: nothing that it names is missing, and yet that proves nothing.
 */
export type Wholeness =
  | {
      readonly state: 'whole';
      /** It holds a note of the camera's maker, which may name parts of it in a way of its own. */
      readonly hasNote: boolean;
    }
  | { readonly state: 'unproved'; readonly doubt: Doubt; readonly why: string }
  | { readonly state: 'cut'; readonly why: string };

/**
 * `untold`: the file does not say where it ends. `followed`: there is more than it says. `zeros`: its pixels end in zeros, as they do
 * where room was kept for what never came. `warned`: a reader that knows more kinds of file complains of its length.
 */
export type Doubt = 'untold' | 'followed' | 'zeros' | 'warned';

/** How a reader says that the file is cut short. `why` ends a sentence. */
export class CutShort extends Error {}

/** Bytes of zeros at the end of the pixels from which on they are no picture: compressed ones hold no such run, and black is not 0 on most sensors. */
const ZEROS_BYTES = 32 * 1024;
/** Pixels of fewer bytes are no frame of a camera. */
const FEWEST_PIXEL_BYTES = 4 * ZEROS_BYTES;
/** Some cameras fill their files up with zeros to whole blocks, up to so many bytes. Common practice, no source. */
const LARGEST_BLOCK = 1024 * 1024;

interface Named {
  readonly what: string;
  readonly from: number;
  readonly end: number;
}

/** Where a part lies, in bytes from the beginning of the file. */
export interface Extent {
  readonly at: number;
  readonly bytes: number;
}

/** What a file names of itself. */
export class Parts {
  hasNote = false;
  private last: Named | null = null;
  private pixels: Named | null = null;

  /** @param what a plural, as in "its pixels reach to byte 12" */
  add(what: string, from: number, bytes: number): void {
    const named = { what, from, end: from + bytes };
    if (this.last === null || named.end > this.last.end) this.last = named;
  }

  addPixels(from: number, bytes: number): void {
    this.add('pixels', from, bytes);
    const largest = this.pixels === null ? 0 : this.pixels.end - this.pixels.from;
    if (bytes > largest) this.pixels = { what: 'pixels', from, end: from + bytes };
  }

  get hasPixels(): boolean {
    return this.pixels !== null;
  }

  get end(): number {
    return this.last?.end ?? 0;
  }

  /** @throws CutShort where one of them does not lie in the file as a whole */
  mustLieIn({ size }: Source): void {
    if (this.last !== null && this.last.end > size)
      throw new CutShort(`its ${this.last.what} reach to byte ${this.last.end}, and it has ${size}`);
  }

  /** @returns what they prove, where the reader knew the file's kind to its end */
  async judge(source: Source): Promise<Wholeness> {
    this.mustLieIn(source);
    if (this.pixels === null) return untold('it does not say where its pixels lie');
    const tail = source.size - this.end;
    if (tail > 0 && !(await isPadding(source, this.end)))
      return {
        ...{ state: 'unproved', doubt: 'followed' },
        why: `${tail} ${tail === 1 ? 'byte follows' : 'bytes follow'} the end that it tells of`,
      };
    if (await endsInZeros(source, this.pixels)) return ZEROS;
    return { state: 'whole', hasNote: this.hasNote };
  }
}

export const untold = (why: string): Wholeness => ({ state: 'unproved', doubt: 'untold', why });

export const ZEROS: Wholeness = {
  ...{ state: 'unproved', doubt: 'zeros', why: 'its pixels end in nothing but zeros' },
};

/** Zeros that fill a file up to a whole block, and no farther, are the camera's own. */
async function isPadding(source: Source, end: number): Promise<boolean> {
  const { size } = source;
  const tail = size - end;
  let block = 2;
  while (block < LARGEST_BLOCK && size % (block * 2) === 0) block *= 2;
  return size % block === 0 && tail < block && isZeros(await source.read(end, tail));
}

/** Whether these bytes of the file do, if there are enough of them to tell. */
export async function endsInZeros(
  source: Source,
  { from, end }: Pick<Named, 'from' | 'end'>,
): Promise<boolean> {
  if (end - from < FEWEST_PIXEL_BYTES) return false;
  return isZeros(await source.read(end - ZEROS_BYTES, ZEROS_BYTES));
}

const isZeros = (bytes: Buffer): boolean => bytes.every((byte) => byte === 0);
