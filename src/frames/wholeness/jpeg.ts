// JPEG: from marker to marker up to the end of the main picture (ISO/IEC 10918-1, annex B), and the pictures behind it that a
// multi-picture index names (CIPA DC-007-2009, 5.2: offsets from the index's own header, that of the first is 0).
import type { Source } from './source.js';
import { hasNote, TiffReader } from './tiff.js';
import { CutShort, type Parts, type Wholeness } from './wholeness.js';

const END = 0xd9;
const SCAN = 0xda;
const APP1 = 0xe1;
const APP2 = 0xe2;
const CHUNK_BYTES = 256 * 1024;

const EXIF = Buffer.from('Exif\0\0', 'latin1');
const INDEX = Buffer.from('MPF\0', 'latin1');
const INDEX_ENTRIES = 0xb002;
const INDEX_ENTRY_BYTES = 16;

export async function jpegWholeness(source: Source, parts: Parts): Promise<Wholeness | null> {
  const head = await source.read(0, 3);
  if (head[0] !== 0xff || head[1] !== 0xd8 || head[2] !== 0xff) return null;
  let at = 2;
  for (;;) {
    const marker = await markerAt(source, at);
    at = marker.end;
    if (marker.code === END) break;
    if (isBare(marker.code)) continue;
    const segment = await source.read(at, 2);
    const bytes = segment.length < 2 ? 0 : segment.readUInt16BE();
    if (bytes < 2 || at + bytes > source.size) throw endless(source);
    if (marker.code === APP1 && (await source.read(at + 2, EXIF.length)).equals(EXIF))
      parts.hasNote ||= await hasNote(source, at + 2 + EXIF.length);
    if (marker.code === APP2) await addPictures(source, at + 2, parts);
    at += bytes;
    if (marker.code === SCAN) at = await scanEnd(source, at);
  }
  parts.addPixels(0, at);
  return parts.judge(source);
}

const endless = ({ size }: Source) => new CutShort(`its picture does not end within its ${size} bytes`);

/** Markers without a segment: TEM, restarts, SOI. */
const isBare = (code: number): boolean => code === 0x01 || (code >= 0xd0 && code <= 0xd8);

/** Any number of 0xff may stand before a marker. */
async function markerAt(source: Source, from: number): Promise<{ code: number; end: number }> {
  let at = from;
  let [byte] = await source.read(at, 1);
  if (byte !== 0xff) throw endless(source);
  while (byte === 0xff) {
    at += 1;
    [byte] = await source.read(at, 1);
  }
  if (byte === undefined) throw endless(source);
  return { code: byte, end: at + 1 };
}

/** @returns the position of the marker that ends this scan */
async function scanEnd(source: Source, from: number): Promise<number> {
  for (let at = from; ; ) {
    const chunk = await source.read(at, CHUNK_BYTES);
    if (chunk.length < 2) throw endless(source);
    let index = chunk.indexOf(0xff);
    while (index !== -1 && index + 1 < chunk.length) {
      const next = chunk[index + 1] as number;
      // A zero makes the 0xff data, restarts are part of the scan, and another 0xff is filling.
      const isOfScan = next === 0 || next === 0xff || (next >= 0xd0 && next <= 0xd7);
      if (!isOfScan) return at + index;
      index = chunk.indexOf(0xff, index + (next === 0xff ? 1 : 2));
    }
    at += index === -1 ? chunk.length : index;
    if (at + 1 >= source.size) throw endless(source);
  }
}

async function addPictures(source: Source, at: number, parts: Parts): Promise<void> {
  if (!(await source.read(at, INDEX.length)).equals(INDEX)) return;
  const base = at + INDEX.length;
  const reader = new TiffReader(source, base);
  const header = await reader.header();
  const directory = header === null ? null : await reader.directory(header.first);
  const entry = directory?.entries.find(({ tag }) => tag === INDEX_ENTRIES);
  if (entry === undefined) return;
  const isLittle = (await source.read(base, 2)).toString('latin1') === 'II';
  const table = await source.read(entry.at, entry.bytes);
  for (let from = 0; from + INDEX_ENTRY_BYTES <= table.length; from += INDEX_ENTRY_BYTES) {
    const word = (where: number) => (isLittle ? table.readUInt32LE(where) : table.readUInt32BE(where));
    const [bytes, offset] = [word(from + 4), word(from + 8)];
    if (bytes > 0) parts.add('further pictures', offset === 0 ? 0 : base + offset, bytes);
  }
}
