// Files of the kinds that a camera may write, other than classic TIFF, byte by byte. They are structurally
// honest: each names its parts as its kind does. Sources are given beside the readers in
// src/frames/wholeness. Nothing in them was photographed.
import { deflateSync } from 'node:zlib';
import sharp from 'sharp';
import { box, exifEntries, exifStructure, noise, type RawFacts, uint32, writer } from './raw-files.js';

const pixelsOf = (facts: RawFacts): Buffer => noise(facts.pixelBytes ?? 1000);
const uint16 = (...values: number[]): Buffer => writer('big').numbers(2, false, ...values);
const uint64 = (value: number): Buffer => Buffer.concat([uint32(0), uint32(value)]);

// --- JPEG

export function makeJpeg(facts: RawFacts): Promise<Buffer> {
  const side = Math.round(Math.sqrt(facts.pixelBytes ?? 1000));
  const fraction = ([top, bottom]: readonly [number, number]) => `${top}/${bottom}`;
  return sharp(noise(side * side), { raw: { width: side, height: side, channels: 1 } })
    .jpeg()
    .withExif({
      IFD2: {
        ExposureTime: fraction(facts.exposureTime),
        FNumber: fraction(facts.fNumber),
        ISOSpeedRatings: String(facts.iso),
      },
    })
    .toBuffer();
}

/** With a second picture behind the end of the first, and an index that names both (CIPA DC-007, 5.2). */
export async function makeJpegs(facts: RawFacts): Promise<Buffer> {
  const first = await makeJpeg(facts);
  const second = await makeJpeg({ ...facts, pixelBytes: Math.floor((facts.pixelBytes ?? 1000) / 2) });
  const { numbers, entry, directory } = writer('little');
  const index = (mainBytes: number, secondAt: number): Buffer => {
    const entries = Buffer.concat([
      numbers(4, false, 0x20030000, mainBytes, 0, 0),
      numbers(4, false, 0x00010001, second.length, secondAt, 0),
    ]);
    const body = Buffer.concat([
      Buffer.from('II'),
      numbers(2, false, 42),
      numbers(4, false, 8),
      directory(
        [
          { tag: 0xb000, type: 7, count: 4, value: Buffer.from('0100') },
          entry(0xb001, 4, 2),
          { tag: 0xb002, type: 7, count: entries.length, value: entries },
        ],
        8,
      ),
    ]);
    return Buffer.concat([Buffer.from([0xff, 0xe2]), uint16(body.length + 6), Buffer.from('MPF\0'), body]);
  };
  // Behind SOI, and before everything else.
  const mainBytes = first.length + index(0, 0).length;
  const headerAt = 2 + 4 + 4;
  const segment = index(mainBytes, mainBytes - headerAt);
  return Buffer.concat([first.subarray(0, 2), segment, first.subarray(2), second]);
}

// --- boxes

export interface MovieShape {
  /** How the length of the box of pixels is told. */
  readonly length?: 'short' | 'long' | 'to the end';
  /** Whether the tables stand behind the pixels. */
  readonly tablesLast?: boolean;
}

/** Raw of the movie-container kind: Exif in a box of the maker's, pixels as the samples of a track, one chunk after another. */
export function makeMovieRaw(
  facts: RawFacts,
  { length = 'short', tablesLast = false }: MovieShape = {},
): Buffer {
  const pixels = pixelsOf(facts);
  const third = Math.floor(pixels.length / 3);
  const sizes = [third, third, pixels.length - 2 * third];
  const big = writer('big');
  const exif = Buffer.concat([
    Buffer.from('MM'),
    uint16(42),
    uint32(8),
    big.directory(exifEntries(big, facts), 8),
  ]);
  const moov = (at: number): Buffer =>
    box(
      'moov',
      box('uuid', Buffer.from('85c0b687820f11e08111f4ce462b6a48', 'hex'), box('CMT2', exif)),
      box(
        'trak',
        box(
          'mdia',
          box(
            'minf',
            box(
              'stbl',
              box('stsc', uint32(0, 2), uint32(1, 1, 1), uint32(2, 2, 1)),
              box('stsz', uint32(0, 0, sizes.length, ...sizes)),
              box('co64', uint32(0, 2), uint64(at), uint64(at + third)),
            ),
          ),
        ),
      ),
    );
  const ftyp = box('ftyp', Buffer.from('crx ', 'latin1'), uint32(1), Buffer.from('crx isom', 'latin1'));
  const headBytes = length === 'long' ? 16 : 8;
  const tables = moov(0).length;
  const at = ftyp.length + (tablesLast ? 0 : tables) + headBytes;
  const name = Buffer.from('mdat', 'latin1');
  const head = {
    short: () => Buffer.concat([uint32(pixels.length + 8), name]),
    long: () => Buffer.concat([uint32(1), name, uint64(pixels.length + 16)]),
    'to the end': () => Buffer.concat([uint32(0), name]),
  }[length]();
  const mdat = Buffer.concat([head, pixels]);
  return Buffer.concat(tablesLast ? [ftyp, mdat, moov(at)] : [ftyp, moov(at), mdat]);
}

/** HEIF (ISO/IEC 23008-12): a picture and its Exif as items. @param brand `heic`, `avif` */
export function makeHeif(facts: RawFacts, brand: string): Buffer {
  const exif = Buffer.concat([uint32(6), Buffer.from('Exif\0\0', 'latin1'), exifStructure(facts)]);
  const pixels = pixelsOf(facts);
  const item = (id: number, type: string) =>
    box('infe', Buffer.from([2, 0, 0, 0]), uint16(id, 0), Buffer.from(`${type}\0`, 'latin1'));
  const location = (id: number, from: number, bytes: number) =>
    Buffer.concat([uint16(id, 0, 0, 1), uint32(from, bytes)]);
  const meta = (at: number): Buffer =>
    box(
      'meta',
      uint32(0),
      box('hdlr', uint32(0, 0), Buffer.from('pict', 'latin1'), Buffer.alloc(13)),
      box('pitm', uint32(0), uint16(1)),
      box('iinf', uint32(0), uint16(2), item(1, brand === 'avif' ? 'av01' : 'hvc1'), item(2, 'Exif')),
      box(
        'iloc',
        Buffer.from([1, 0, 0, 0, 0x44, 0]),
        uint16(2),
        location(1, at + exif.length, pixels.length),
        location(2, at, exif.length),
      ),
    );
  const ftyp = box('ftyp', Buffer.from(brand), uint32(0), Buffer.from(`mif1${brand}`));
  const at = ftyp.length + meta(0).length + 8;
  return Buffer.concat([ftyp, meta(at), box('mdat', exif, pixels)]);
}

// --- tables of their own

/** A header that has pairs of offset and length: the preview, the pixels. What stands before byte 8 is the maker's. */
export async function makeHeaderTable(facts: RawFacts): Promise<Buffer> {
  const head = Buffer.alloc(0x94);
  head.write('A-CAMERACCD-RAW ', 'latin1');
  const preview = await makeJpeg(facts);
  const pixels = pixelsOf(facts);
  for (const [pair, at, bytes] of [
    [0x54, head.length, preview.length],
    [0x5c, head.length + preview.length, 100],
    [0x64, head.length + preview.length + 100, pixels.length],
  ] as const)
    uint32(at, bytes).copy(head, pair);
  return Buffer.concat([head, preview, noise(100), pixels]);
}

/** A heap whose table is at its end, after one value of pixels; one more value is in the table itself. */
export function makeHeap(facts: RawFacts): Buffer {
  const { numbers } = writer('little');
  const head = Buffer.concat([Buffer.from('II'), numbers(4, false, 26), Buffer.from('HEAPCCDR')]);
  const pixels = pixelsOf(facts);
  const entry = (tag: number, bytes: number, at: number) =>
    Buffer.concat([numbers(2, false, tag), numbers(4, false, bytes, at)]);
  return Buffer.concat([
    head,
    Buffer.alloc(26 - head.length),
    pixels,
    numbers(2, false, 2),
    entry(0x2005, pixels.length, 0),
    entry(0x5029, 50, 0),
    numbers(4, false, pixels.length),
  ]);
}

/** Sections, with a table of them at the end. */
export function makeSections(facts: RawFacts): Buffer {
  const { numbers } = writer('little');
  const head = Buffer.concat([Buffer.from('FOVb'), Buffer.alloc(36)]);
  const pixels = pixelsOf(facts);
  return Buffer.concat([
    head,
    pixels,
    ...[Buffer.from('SECd'), numbers(4, false, 0x20000, 1)],
    ...[numbers(4, false, head.length, pixels.length), Buffer.from('IMA2')],
    numbers(4, false, head.length + pixels.length),
  ]);
}

/** 64-bit TIFF: one directory, one strip, Exif in a directory of its own. */
export function makeBigTiff(facts: RawFacts): Buffer {
  const { numbers } = writer('little');
  const long = (value: number) => numbers(4, false, value, 0);
  const entry = (tag: number, type: number, count: number, value: Buffer) =>
    Buffer.concat([numbers(2, false, tag, type), long(count), value, Buffer.alloc(8 - value.length)]);
  const directory = (entries: readonly Buffer[]) =>
    Buffer.concat([long(entries.length), ...entries, long(0)]);
  const exif = directory([
    entry(0x829a, 5, 1, numbers(4, false, ...facts.exposureTime)),
    entry(0x829d, 5, 1, numbers(4, false, ...facts.fNumber)),
    entry(0x8827, 3, 1, numbers(2, false, facts.iso)),
  ]);
  const pixels = pixelsOf(facts);
  const main = (pixelsAt: number, exifAt: number) =>
    directory([
      entry(0x0100, 4, 1, numbers(4, false, 4)),
      entry(0x0101, 4, 1, numbers(4, false, 2)),
      entry(0x0111, 16, 1, long(pixelsAt)),
      entry(0x0117, 16, 1, long(pixels.length)),
      entry(0x8769, 18, 1, long(exifAt)),
    ]);
  const exifAt = 16 + main(0, 0).length;
  return Buffer.concat([
    ...[Buffer.from('II'), numbers(2, false, 43, 8, 0), long(16)],
    ...[main(exifAt + exif.length, exifAt), exif, pixels],
  ]);
}

// --- PNG

/** Exif in a chunk `eXIf`, pixels in one `IDAT`. */
export function makePng(facts: RawFacts): Buffer {
  const side = Math.round(Math.sqrt(facts.pixelBytes ?? 1000));
  const rows = Array.from({ length: side }, () => Buffer.concat([Buffer.from([0]), noise(side)]));
  const header = Buffer.concat([uint32(side, side), Buffer.from([8, 0, 0, 0, 0])]);
  return Buffer.concat([
    Buffer.from('\x89PNG\r\n\x1a\n', 'latin1'),
    chunk('IHDR', header),
    chunk('eXIf', exifStructure(facts)),
    chunk('IDAT', deflateSync(Buffer.concat(rows), { level: 0 })),
    chunk('IEND', Buffer.alloc(0)),
  ]);
}

function chunk(type: string, content: Buffer): Buffer {
  const named = Buffer.concat([Buffer.from(type, 'latin1'), content]);
  return Buffer.concat([uint32(content.length), named, uint32(crc32(named))]);
}

/** PNG specification, third edition, annex D. */
function crc32(bytes: Buffer): number {
  let crc = 0xffffffff;
  for (const byte of bytes) {
    crc ^= byte;
    for (let bit = 0; bit < 8; bit += 1) crc = crc & 1 ? (crc >>> 1) ^ 0xedb88320 : crc >>> 1;
  }
  return (crc ^ 0xffffffff) >>> 0;
}
