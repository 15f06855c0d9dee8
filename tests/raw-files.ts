// Raw files for tests, byte by byte: a DNG of the smallest kind (TIFF 6.0; tags from Exif 2.32 and DNG 1.4, from memory), and a JPEG
// 2000 file that carries its Exif in a UUID box. Nothing in them was photographed.
import {
  asciiEntry,
  type ByteOrder,
  type TiffEntry,
  TYPE,
  writer,
} from '../src/camera/practice/tiff-bytes.js';

export { type ByteOrder, writer };

export interface RawFacts {
  /** Numerator and denominator. */
  readonly exposureTime: readonly [number, number];
  readonly fNumber: readonly [number, number];
  readonly iso: number;
  /** Signed. */
  readonly bias: readonly [number, number];
  /** DateTimeOriginal and SubSecTimeOriginal. */
  readonly takenAt?: readonly [string, string];
  /** A JPEG that lies in the file as its preview. */
  readonly preview?: Buffer;
  /** How many bytes the sensor's picture has; a handful if it is left out. */
  readonly pixelBytes?: number;
}

/** Takes the place of compressed pixels: the same bytes every time, and no long run of one value. */
export function noise(bytes: number): Buffer {
  let state = 20261125;
  return Buffer.from(
    Array.from({ length: bytes }, () => {
      state = (state * 1103515245 + 12345) & 0x7fffffff;
      return (state >> 16) & 0xff;
    }),
  );
}

const { short: SHORT, long: LONG, rational: RATIONAL, signedRational: SIGNED_RATIONAL, byte: BYTE } = TYPE;

export const exifEntries = ({ entry }: ReturnType<typeof writer>, facts: RawFacts): TiffEntry[] => [
  entry(0x829a, RATIONAL, ...facts.exposureTime),
  entry(0x829d, RATIONAL, ...facts.fNumber),
  entry(0x8827, SHORT, facts.iso),
  entry(0x9204, SIGNED_RATIONAL, ...facts.bias),
  ...(facts.takenAt ?? []).map((words, index) => asciiEntry([0x9003, 0x9291][index] ?? 0, words)),
];

/**
 * @param gap bytes between the header and everything else: many writers put the directories at the file's
 *   end, behind the pixels
 */
export function makeDng(facts: RawFacts, order: ByteOrder, gap = 0): Buffer {
  return makeRaw(facts, { order, gap });
}

export interface RawShape {
  readonly order: ByteOrder;
  readonly gap?: number;
  /** The number after the byte order; 42 if it is left out. */
  readonly number?: number;
  /**
   * How the pixels are named: as a strip if it is left out; `beginning` names only where they begin, and no
   * length.
   */
  readonly pixelsTold?: 'strip' | 'tiles' | 'beginning';
  /** Whether the pixels are the last thing in the file; if not, the directories are. */
  readonly pixelsLast?: boolean;
}

/** As makeDng, in other shapes of the same family. */
export function makeRaw(
  facts: RawFacts,
  { order, gap = 0, number = 42, pixelsTold = 'strip', pixelsLast = false }: RawShape,
): Buffer {
  const bytes = writer(order);
  const { entry, directory, numbers } = bytes;
  const header = 8;
  const preview = facts.preview ?? Buffer.alloc(0);
  const previewAt = header + gap;
  const previewBytes = preview.length + (preview.length % 2);
  const pixels = facts.pixelBytes === undefined ? Buffer.alloc(16, 9) : noise(facts.pixelBytes);
  // The directories are equally long wherever the pixels are, so their length shows where the pixels begin.
  const exifAt = previewAt + previewBytes + (pixelsLast ? 0 : pixels.length);
  const directoryBytes = directoriesAt(exifAt, 0).all.length;
  const { all, mainAt } = directoriesAt(
    exifAt,
    pixelsLast ? exifAt + directoryBytes : previewAt + previewBytes,
  );
  return Buffer.concat([
    Buffer.from(order === 'little' ? 'II' : 'MM'),
    numbers(2, false, number),
    numbers(4, false, mainAt),
    Buffer.alloc(gap),
    preview,
    Buffer.alloc(preview.length % 2),
    ...(pixelsLast ? [all, pixels] : [pixels, all]),
  ]);

  function directoriesAt(exifAt: number, pixelsAt: number): { all: Buffer; mainAt: number } {
    const exif = directory(exifEntries(bytes, facts), exifAt);
    const rawAt = exifAt + exif.length;
    // The picture of the sensor: 4 by 2 samples of 16 bit in a colour pattern.
    const raw = directory(
      [
        entry(0x00fe, LONG, 0),
        entry(0x0100, LONG, 4),
        entry(0x0101, LONG, 2),
        entry(0x0102, SHORT, 16),
        entry(0x0103, SHORT, 1),
        entry(0x0106, SHORT, 32803),
        entry(0x0115, SHORT, 1),
        ...extents(entry, pixelsAt, pixels.length, pixelsTold),
      ],
      rawAt,
    );
    const mainAt = rawAt + raw.length;
    const main = directory(
      [
        entry(0x00fe, LONG, 1),
        entry(0x0100, LONG, 320),
        entry(0x0101, LONG, 200),
        entry(0x0102, SHORT, 8, 8, 8),
        entry(0x0103, SHORT, 7),
        entry(0x0106, SHORT, 6),
        ...(preview.length > 0 ? [entry(0x0111, LONG, previewAt), entry(0x0117, LONG, preview.length)] : []),
        entry(0x0112, SHORT, 1),
        entry(0x0115, SHORT, 3),
        entry(0x014a, LONG, rawAt),
        entry(0x8769, LONG, exifAt),
        entry(0xc612, BYTE, 1, 4, 0, 0),
      ],
      mainAt,
    );
    return { all: Buffer.concat([exif, raw, main]), mainAt };
  }
}

function extents(
  entry: ReturnType<typeof writer>['entry'],
  at: number,
  bytes: number,
  told: NonNullable<RawShape['pixelsTold']>,
): TiffEntry[] {
  if (told === 'beginning') return [entry(0x0118, LONG, at)];
  if (told === 'strip') return [entry(0x0111, LONG, at), entry(0x0117, LONG, bytes)];
  const half = Math.floor(bytes / 2);
  return [entry(0x0144, LONG, at, at + half), entry(0x0145, LONG, half, bytes - half)];
}

/**
 * A container that is not a TIFF inside: JPEG 2000 (ISO 15444-1) boxes, Exif in a UUID box, a code stream of
 * noise between SOC and EOC.
 */
export function makeJp2(facts: RawFacts): Buffer {
  const tiff = exifStructure(facts);
  return Buffer.concat([
    box('jP  ', Buffer.from([0x0d, 0x0a, 0x87, 0x0a])),
    box('ftyp', Buffer.from('jp2 \0\0\0\0jp2 ', 'latin1')),
    box('uuid', Buffer.from('JpgTiffExif->JP2', 'latin1'), tiff),
    box('jp2c', Buffer.from('ff4f', 'hex'), noise(facts.pixelBytes ?? 16), Buffer.from('ffd9', 'hex')),
  ]);
}

/** Exif as a TIFF structure of its own, as segments, boxes and chunks hold it. */
export function exifStructure(facts: RawFacts): Buffer {
  const bytes = writer('big');
  const exifAt = 8 + 2 + 12 + 4;
  return Buffer.concat([
    Buffer.from('MM'),
    bytes.numbers(2, false, 42),
    bytes.numbers(4, false, 8),
    bytes.directory([bytes.entry(0x8769, LONG, exifAt)], 8),
    bytes.directory(exifEntries(bytes, facts), exifAt),
  ]);
}

/** Length, type and content: ISO/IEC 14496-12, 4.2. */
export function box(type: string, ...parts: Buffer[]): Buffer {
  const body = Buffer.concat(parts);
  return Buffer.concat([uint32(body.length + 8), Buffer.from(type, 'latin1'), body]);
}

export const uint32 = (...values: number[]): Buffer => writer('big').numbers(4, false, ...values);
