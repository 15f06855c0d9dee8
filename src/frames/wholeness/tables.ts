// Raw kinds with a table of offsets and lengths of their own: in the header, or at the end of the file. Source for where
// things are: ExifTool, a general-purpose reader whose modules describe each of these files.
import type { Source } from './source.js';
import { CutShort, type Parts, type Wholeness } from './wholeness.js';

/** At byte 8 of the kind that has its table in the header. */
const HEADER_TABLE = 'CCD-RAW ';
const HEADER_BYTES = 0x88;
/** Pairs of offset and length, big-endian, of preview, directories and pixels. A pair that the preview lies over is not there. */
const PREVIEW_PAIR = 0x54;
const PIXEL_PAIRS: ReadonlySet<number> = new Set([0x64, 0x80]);
const PAIRS = [PREVIEW_PAIR, 0x48, 0x5c, 0x64, 0x78, 0x80] as const;

export async function headerTableWholeness(source: Source, parts: Parts): Promise<Wholeness | null> {
  const head = await source.read(0, HEADER_BYTES);
  if (head.toString('latin1', 8, 16) !== HEADER_TABLE) return null;
  if (head.length < HEADER_BYTES) throw new CutShort('its header is incomplete');
  const preview = head.readUInt32BE(PREVIEW_PAIR);
  for (const pair of PAIRS) {
    if (preview > 0 && pair >= preview) continue;
    const [from, bytes] = [head.readUInt32BE(pair), head.readUInt32BE(pair + 4)];
    if (from === 0 || bytes === 0) continue;
    if (PIXEL_PAIRS.has(pair)) parts.addPixels(from, bytes);
    else parts.add('parts', from, bytes);
  }
  return parts.judge(source);
}

/** A heap has its table at the end, and its last four bytes say where the table begins. */
const HEAP = /^HEAP(?:CCDR|JPGM)$/;
const HEAP_ENTRY_BYTES = 10;
/** A value of this kind lies in the table itself. */
const IN_TABLE = 0x4000;

export async function heapWholeness(source: Source, parts: Parts): Promise<Wholeness | null> {
  const head = await source.read(0, 14);
  if (!HEAP.test(head.toString('latin1', 6, 14)) || head.toString('latin1', 0, 2) !== 'II') return null;
  const base = head.readUInt32LE(2);
  const { tableAt, table } = await tableAtEnd(source, base);
  const count = table.length < 2 ? 0 : table.readUInt16LE(0);
  const end = 2 + count * HEAP_ENTRY_BYTES;
  if (count === 0 || end > table.length) throw noTable();
  for (let at = 2; at < end; at += HEAP_ENTRY_BYTES) {
    const [tag, bytes, offset] = [
      table.readUInt16LE(at),
      table.readUInt32LE(at + 2),
      table.readUInt32LE(at + 6),
    ];
    if ((tag & 0xc000) === IN_TABLE) continue;
    if (base + offset + bytes > tableAt) throw noTable();
    parts.addPixels(base + offset, bytes);
  }
  parts.add('table', tableAt, source.size - tableAt);
  return parts.judge(source);
}

/** Sections are laid out in the same way, with another table. */
const SECTIONS = 'FOVb';
const SECTION_TABLE = 'SECd';
const SECTION_ENTRY_BYTES = 12;

export async function sectionsWholeness(source: Source, parts: Parts): Promise<Wholeness | null> {
  if ((await source.read(0, 4)).toString('latin1') !== SECTIONS) return null;
  const { tableAt, table } = await tableAtEnd(source, 0);
  if (table.toString('latin1', 0, 4) !== SECTION_TABLE || table.length < 12) throw noTable();
  const end = 12 + table.readUInt32LE(8) * SECTION_ENTRY_BYTES;
  if (end > table.length) throw noTable();
  for (let at = 12; at < end; at += SECTION_ENTRY_BYTES) {
    const [offset, bytes] = [table.readUInt32LE(at), table.readUInt32LE(at + 4)];
    if (offset + bytes > tableAt) throw noTable();
    parts.addPixels(offset, bytes);
  }
  parts.add('table', tableAt, source.size - tableAt);
  return parts.judge(source);
}

/** Far larger than any such table. */
const LARGEST_TABLE = 1024 * 1024;

async function tableAtEnd(source: Source, base: number): Promise<{ tableAt: number; table: Buffer }> {
  const last = await source.read(source.size - 4, 4);
  const tableAt = last.length < 4 ? source.size : base + last.readUInt32LE(0);
  const bytes = source.size - 4 - tableAt;
  if (bytes <= 0 || bytes > LARGEST_TABLE) throw noTable();
  return { tableAt, table: await source.read(tableAt, bytes) };
}

const noTable = () => new CutShort('the table at its end is missing');
