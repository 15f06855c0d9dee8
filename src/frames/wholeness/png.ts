// PNG: chunks up to IEND (PNG specification, third edition, 5.3: length, type, data, CRC).
import type { Source } from './source.js';
import { CutShort, type Parts, type Wholeness } from './wholeness.js';

const SIGNATURE = Buffer.from('\x89PNG\r\n\x1a\n', 'latin1');
const AROUND_BYTES = 12;

export async function pngWholeness(source: Source, parts: Parts): Promise<Wholeness | null> {
  if (!(await source.read(0, 8)).equals(SIGNATURE)) return null;
  for (let at = 8; ; ) {
    const head = await source.read(at, 8);
    const bytes = head.length < 8 ? 0 : head.readUInt32BE(0) + AROUND_BYTES;
    if (bytes === 0 || at + bytes > source.size)
      throw new CutShort(`its picture does not end within its ${source.size} bytes`);
    const type = head.toString('latin1', 4, 8);
    if (type === 'IDAT') parts.addPixels(at, bytes);
    parts.add('chunks', at, bytes);
    at += bytes;
    if (type === 'IEND') return parts.judge(source);
  }
}
