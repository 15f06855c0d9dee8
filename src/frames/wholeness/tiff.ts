// TIFF and its kin: directories, what they contain, strips, tiles and embedded JPEG pictures (TIFF 6.0,
// sections 2 and 15 and "JPEG"; sub-directories: TIFF Tech Note 1 and the DNG specification; directories of
// Exif: Exif 2.32, 4.6.3; 64-bit offsets: the BigTIFF design). Some raw kinds have another number in place of
// 42, and are otherwise the same (source: ExifTool's tag tables).
import type { Source } from './source.js';
import { CutShort, type Parts, untold, type Wholeness } from './wholeness.js';

/** The number behind the byte order. */
const CLASSIC = 42;
const BIG = 43;
/** `RO`, `RS` and `OR` as numbers: otherwise classic TIFF. */
const OTHERWISE_CLASSIC: ReadonlySet<number> = new Set([0x4f52, 0x5352, 0x524f]);
/**
 * `U`: the beginning of its pixels is reliable, but not the number of their bytes (ExifTool, tags 0x117 and
 * 0x118).
 */
const LENGTH_UNTOLD = 0x55;

/** Bytes of one value, by its type: TIFF 6.0, section 2; 13 is IFD, 16 to 18 are those of BigTIFF. */
const TYPE_BYTES: Readonly<Record<number, number>> = {
  ...{ 1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8 },
  ...{ 13: 4, 16: 8, 17: 8, 18: 8 },
};
const NUMBERS: ReadonlySet<number> = new Set([3, 4, 13, 16, 18]);

const EXTENTS = [
  [0x0111, 0x0117],
  [0x0144, 0x0145],
  [0x0201, 0x0202],
] as const;
const EXIF_DIRECTORY = 0x8769;
/** Exif, GPS, interoperability: they have no next directory, whatever is in that field. */
const OF_EXIF: ReadonlySet<number> = new Set([EXIF_DIRECTORY, 0x8825, 0xa005]);
const SUB_DIRECTORIES: ReadonlySet<number> = new Set([0x014a, ...OF_EXIF]);
const RAW_DATA_AT = 0x0118;
const MAKER_NOTE = 0x927c;

/** No camera's file has more. */
const MOST_DIRECTORIES = 100;
const MOST_ENTRIES = 4096;
const MOST_VALUES = 1_000_000;
/** In place of an offset that is told elsewhere. */
const ELSEWHERE = 0xffffffff;

interface Header {
  readonly number: number;
  readonly first: number;
}

export interface Entry {
  readonly tag: number;
  readonly type: number;
  readonly count: number;
  /** The position of its values, from the beginning of the file. */
  readonly at: number;
  readonly bytes: number;
}

/** Reads one TIFF structure; all offsets in it are counted from `base`. */
export class TiffReader {
  readonly source: Source;
  private readonly base: number;
  private isLittle = true;
  private isBig = false;

  constructor(source: Source, base = 0) {
    this.source = source;
    this.base = base;
  }

  /** @returns null if this is not such a structure */
  async header(): Promise<Header | null> {
    const head = await this.source.read(this.base, 16);
    const order = head.toString('latin1', 0, 2);
    if (head.length < 8 || (order !== 'II' && order !== 'MM')) return null;
    this.isLittle = order === 'II';
    const number = this.number(head, 2, 2);
    this.isBig = number === BIG;
    if (this.isBig && head.length < 16) return null;
    return { number, first: this.isBig ? this.number(head, 8, 8) : this.number(head, 4, 4) };
  }

  /** @returns null if this cannot be a directory @throws CutShort if it reaches past the end of the file */
  async directory(offset: number): Promise<{ entries: Entry[]; next: number } | null> {
    const [countBytes, entryBytes, wordBytes] = this.isBig ? [8, 20, 8] : [2, 12, 4];
    const at = this.base + offset;
    const count = this.number(await this.whole(at, countBytes), 0, countBytes);
    if (count === 0 || count > MOST_ENTRIES) return null;
    const body = await this.whole(at + countBytes, count * entryBytes + wordBytes);
    const entries = Array.from({ length: count }, (_, index) =>
      this.entry(body, index * entryBytes, at + countBytes + index * entryBytes, wordBytes),
    );
    return { entries, next: this.number(body, count * entryBytes, wordBytes) };
  }

  /** @returns its values if they are whole numbers; none if there are too many */
  async numbers({ type, count, at, bytes }: Entry): Promise<number[]> {
    if (!NUMBERS.has(type) || count > MOST_VALUES) return [];
    const size = TYPE_BYTES[type] ?? 1;
    const data = await this.whole(at, bytes);
    return Array.from({ length: count }, (_, index) => this.number(data, index * size, size));
  }

  private entry(body: Buffer, from: number, fieldAt: number, wordBytes: number): Entry {
    const tag = this.number(body, from, 2);
    const type = this.number(body, from + 2, 2);
    const count = this.number(body, from + 4, wordBytes);
    const bytes = count * (TYPE_BYTES[type] ?? 0);
    const valueAt = 4 + wordBytes;
    const at =
      bytes <= wordBytes ? fieldAt + valueAt : this.base + this.number(body, from + valueAt, wordBytes);
    return { tag, type, count, at, bytes };
  }

  private async whole(at: number, bytes: number): Promise<Buffer> {
    const data = await this.source.read(at, bytes);
    if (data.length === bytes) return data;
    throw new CutShort(
      `its directories reach to byte ${at + bytes}, but it has only ${this.source.size} bytes`,
    );
  }

  private number(bytes: Buffer, at: number, size: number): number {
    if (size === 8) return Number(this.isLittle ? bytes.readBigUInt64LE(at) : bytes.readBigUInt64BE(at));
    return this.isLittle ? bytes.readUIntLE(at, size) : bytes.readUIntBE(at, size);
  }
}

/** @returns null if the file is neither TIFF nor its kin */
export async function tiffWholeness(source: Source, parts: Parts): Promise<Wholeness | null> {
  const reader = new TiffReader(source);
  const header = await reader.header();
  if (header === null) return null;
  const { number, first } = header;
  const isKnown =
    number === CLASSIC || number === BIG || number === LENGTH_UNTOLD || OTHERWISE_CLASSIC.has(number);
  if (!isKnown) return null;
  const isSound = await walk(reader, first, number === LENGTH_UNTOLD, parts);
  parts.mustLieIn(source);
  const doubt = parts.doubtOfValues(source);
  if (doubt !== null) return doubt;
  if (!isSound) return untold('its directories cannot be read');
  if (number === LENGTH_UNTOLD) return untold('this kind of file does not say how long it should be');
  return parts.judge(source);
}

/** @returns whether all directories could be followed */
async function walk(
  reader: TiffReader,
  first: number,
  isLengthUntold: boolean,
  parts: Parts,
): Promise<boolean> {
  const open = [{ at: first, isChain: true }];
  const seen = new Set<number>();
  for (let one = open.pop(); one !== undefined; one = open.pop()) {
    if (seen.has(one.at)) continue;
    seen.add(one.at);
    if (seen.size > MOST_DIRECTORIES) return false;
    const directory = await reader.directory(one.at);
    if (directory === null) return false;
    const { entries, next } = directory;
    if (one.isChain && next !== 0) open.push({ at: next, isChain: true });
    for (const entry of entries) {
      parts.addValue(reader.source, entry.at, entry.bytes);
      if (entry.tag === MAKER_NOTE) parts.hasNote = true;
      if (!SUB_DIRECTORIES.has(entry.tag)) continue;
      for (const at of await reader.numbers(entry))
        if (at !== 0) open.push({ at, isChain: !OF_EXIF.has(entry.tag) });
    }
    if (isLengthUntold) await addBeginning(reader, entries, parts);
    else await addPixels(reader, entries, parts);
  }
  return true;
}

async function addPixels(reader: TiffReader, entries: readonly Entry[], parts: Parts): Promise<void> {
  const of = async (tag: number): Promise<number[]> => {
    const entry = entries.find((one) => one.tag === tag);
    return entry === undefined ? [] : reader.numbers(entry);
  };
  for (const [offsets, lengths] of EXTENTS) {
    const bytes = await of(lengths);
    for (const [index, at] of (await of(offsets)).entries()) {
      const length = bytes[index] ?? 0;
      if (at !== 0 && at !== ELSEWHERE && length > 0) parts.addPixels(at, length);
    }
  }
}

async function addBeginning(reader: TiffReader, entries: readonly Entry[], parts: Parts): Promise<void> {
  const entry = entries.find(({ tag }) => tag === RAW_DATA_AT);
  for (const at of entry === undefined ? [] : await reader.numbers(entry)) parts.add('pixels', at, 1);
}

/**
 * @param base the beginning of an Exif structure
 * @returns whether it contains a maker's note
 */
export async function hasNote(source: Source, base: number): Promise<boolean> {
  const reader = new TiffReader(source, base);
  try {
    const header = await reader.header();
    const main = header === null ? null : await reader.directory(header.first);
    const exif = main?.entries.find(({ tag }) => tag === EXIF_DIRECTORY);
    const [at] = exif === undefined ? [] : await reader.numbers(exif);
    const inside = at === undefined ? null : await reader.directory(at);
    return inside?.entries.some(({ tag }) => tag === MAKER_NOTE) ?? false;
  } catch (cause) {
    // The segment that contains it is complete: damage inside it says nothing about the rest of the file.
    if (cause instanceof CutShort) return false;
    throw cause;
  }
}
