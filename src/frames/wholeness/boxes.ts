// Files of boxes: the ISO base media file format (ISO/IEC 14496-12, 4.2 boxes, 8.7 sample tables, 8.11.3 item locations), which movies, raw
// files of the movie-container kind, HEIF and AVIF share; and JPEG 2000 (ISO/IEC 15444-1, annexes A and I).
import type { Source } from './source.js';
import { CutShort, type Parts, untold, type Wholeness } from './wholeness.js';

interface Box {
  readonly type: string;
  /** Of its content, in bytes from the beginning of the file. */
  readonly from: number;
  readonly end: number;
}

/**
 * Types at the top of such files. If a box of one of these types reaches past the end, the file was cut;
 * anything else may not even be a box.
 */
const KNOWN: ReadonlySet<string> = new Set(
  'ftyp moov mdat meta free skip wide uuid pdin moof mfra sidx styp idat jp2h jp2c'.split(' ').concat('jP  '),
);
/** No table of a camera's file is larger. */
const LARGEST_TABLE = 64 * 1024 * 1024;
const MOST_DEPTH = 8;
const CONTAINERS: ReadonlySet<string> = new Set(['trak', 'mdia', 'minf', 'stbl']);

/** @returns null if the file is not made of boxes */
export async function boxesWholeness(source: Source, parts: Parts): Promise<Wholeness | null> {
  const head = await source.read(0, 12);
  const first = head.toString('latin1', 4, 8);
  if (first !== 'ftyp' && first !== 'jP  ') return null;
  const { boxes, end } = await topBoxes(source);
  parts.add('boxes', 0, end);
  for (const box of boxes) {
    if (box.type === 'moov') await addSamples(await contentOf(source, box), parts);
    if (box.type === 'meta') addItems((await contentOf(source, box)).subarray(4), parts);
    if (box.type === 'jp2c') await addCodeStream(source, box, parts);
  }
  parts.mustLieIn(source);
  if (parts.hasPixels) return parts.judge(source);
  if (boxes.some(({ type }) => /^jxl/.test(type)))
    return untold('it does not say whether more of its picture follows');
  throw new CutShort(`none of its ${source.size} bytes say where its pixels are`);
}

async function topBoxes(source: Source): Promise<{ boxes: Box[]; end: number }> {
  const boxes: Box[] = [];
  let at = 0;
  while (source.size - at >= 8) {
    const head = await source.read(at, 16);
    const type = head.toString('latin1', 4, 8);
    if (!/^[\x20-\x7e]{4}$/.test(type)) break;
    const told = head.readUInt32BE(0);
    if (told === 1 && head.length < 16) throw new CutShort(`its part ${type} is incomplete`);
    const headBytes = told === 1 ? 16 : 8;
    const bytes = told === 1 ? Number(head.readBigUInt64BE(8)) : told === 0 ? source.size - at : told;
    const end = at + bytes;
    if (bytes < headBytes) break;
    if (end > source.size) {
      // Rubbish behind a complete file may look like a box.
      if (!KNOWN.has(type)) break;
      throw new CutShort(`its part ${type} reaches to byte ${end}, but it has only ${source.size} bytes`);
    }
    boxes.push({ type, from: at + headBytes, end });
    // A box that reaches to the end, wherever that is, does not say where the end should be.
    if (told === 0) return { boxes, end: at + headBytes };
    at = end;
  }
  return { boxes, end: at };
}

async function contentOf(source: Source, { from, end }: Box): Promise<Buffer> {
  return end - from > LARGEST_TABLE ? Buffer.alloc(0) : source.read(from, end - from);
}

/** @returns the boxes inside of one, by their type; places are counted from the beginning of these bytes */
function inside(bytes: Buffer): Box[] {
  const boxes: Box[] = [];
  for (let at = 0; at + 8 <= bytes.length; ) {
    const told = bytes.readUInt32BE(at);
    const isLong = told === 1 && at + 16 <= bytes.length;
    const size = isLong ? Number(bytes.readBigUInt64BE(at + 8)) : told === 0 ? bytes.length - at : told;
    if (size < 8 || at + size > bytes.length) break;
    boxes.push({
      type: bytes.toString('latin1', at + 4, at + 8),
      from: at + (isLong ? 16 : 8),
      end: at + size,
    });
    at += size;
  }
  return boxes;
}

// --- movies: chunks of samples

function addSamples(bytes: Buffer, parts: Parts, depth = 0): void {
  if (depth > MOST_DEPTH) return;
  const boxes = inside(bytes);
  for (const { type, from, end } of boxes)
    if (CONTAINERS.has(type)) addSamples(bytes.subarray(from, end), parts, depth + 1);
  const content = (type: string): Buffer | null => {
    const box = boxes.find((one) => one.type === type);
    return box === undefined ? null : bytes.subarray(box.from, box.end);
  };
  const chunks = chunkOffsets(content('stco'), content('co64'));
  const runs = sampleRuns(content('stsc'));
  const sizeOf = sampleSizes(content('stsz'));
  if (sizeOf === null || runs.length === 0) return;
  let sample = 0;
  let run = 0;
  for (const [index, at] of chunks.entries()) {
    while ((runs[run + 1]?.first ?? Number.POSITIVE_INFINITY) <= index + 1) run += 1;
    let size = 0;
    for (let left = runs[run]?.samples ?? 0; left > 0 && sample < sizeOf.count; left -= 1) {
      size += sizeOf.size(sample);
      sample += 1;
    }
    if (size > 0) parts.addPixels(at, size);
  }
}

function chunkOffsets(short: Buffer | null, long: Buffer | null): number[] {
  const table = long ?? short;
  if (table === null || table.length < 8) return [];
  const width = long === null ? 4 : 8;
  const count = Math.min(table.readUInt32BE(4), Math.floor((table.length - 8) / width));
  return Array.from({ length: count }, (_, index) =>
    long === null ? table.readUInt32BE(8 + index * 4) : Number(table.readBigUInt64BE(8 + index * 8)),
  );
}

function sampleRuns(table: Buffer | null): { first: number; samples: number }[] {
  if (table === null || table.length < 8) return [];
  const count = Math.min(table.readUInt32BE(4), Math.floor((table.length - 8) / 12));
  return Array.from({ length: count }, (_, index) => ({
    first: table.readUInt32BE(8 + index * 12),
    samples: table.readUInt32BE(12 + index * 12),
  }));
}

function sampleSizes(table: Buffer | null): { count: number; size: (index: number) => number } | null {
  if (table === null || table.length < 12) return null;
  const all = table.readUInt32BE(4);
  const told = table.readUInt32BE(8);
  if (all !== 0) return { count: Math.min(told, LARGEST_TABLE), size: () => all };
  const count = Math.min(told, Math.floor((table.length - 12) / 4));
  return { count, size: (index) => table.readUInt32BE(12 + index * 4) };
}

// --- pictures: items

/** @param bytes the content of the box `meta` behind its version and flags */
function addItems(bytes: Buffer, parts: Parts): void {
  const box = inside(bytes).find(({ type }) => type === 'iloc');
  if (box === undefined) return;
  const table = bytes.subarray(box.from, box.end);
  try {
    for (const { at, size } of itemExtents(table)) if (size > 0) parts.addPixels(at, size);
  } catch (cause) {
    if (!(cause instanceof RangeError)) throw cause;
    throw new CutShort('its table of pictures is incomplete');
  }
}

function* itemExtents(table: Buffer): Generator<{ at: number; size: number }> {
  let at = 0;
  const next = (bytes: number): number => {
    if (bytes === 0) return 0;
    const value = bytes === 8 ? Number(table.readBigUInt64BE(at)) : table.readUIntBE(at, bytes);
    at += bytes;
    return value;
  };
  const version = next(1);
  next(3);
  const sizes = next(2);
  const [offsetBytes, lengthBytes] = [sizes >> 12, (sizes >> 8) & 15];
  const [baseBytes, indexBytes] = [(sizes >> 4) & 15, version === 0 ? 0 : sizes & 15];
  const items = next(version < 2 ? 2 : 4);
  for (let item = 0; item < items; item += 1) {
    next(version < 2 ? 2 : 4);
    const method = version === 0 ? 0 : next(2) & 15;
    const elsewhere = next(2);
    const base = next(baseBytes);
    const extents = next(2);
    for (let extent = 0; extent < extents; extent += 1) {
      next(indexBytes);
      const from = base + next(offsetBytes);
      const size = next(lengthBytes);
      // Others lie in the table itself, or in another file.
      if (method === 0 && elsewhere === 0) yield { at: from, size };
    }
  }
}

// --- JPEG 2000

async function addCodeStream(source: Source, { from, end }: Box, parts: Parts): Promise<void> {
  const last = await source.read(end - 2, 2);
  // EOC, the last marker. It is looked for because a box that reaches to the end of the file does not tell its length.
  if (last[0] !== 0xff || last[1] !== 0xd9) throw new CutShort('its picture does not end');
  parts.addPixels(from, end - from);
}
