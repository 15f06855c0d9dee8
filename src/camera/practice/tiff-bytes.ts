// Directories of TIFF 6.0 (section 2), as raw files and Exif have them: entries, and the places of their
// values. Knows no tag.

export type ByteOrder = 'little' | 'big';

/** Types of values: TIFF 6.0, section 2. */
export const TYPE = {
  byte: 1,
  ascii: 2,
  short: 3,
  long: 4,
  rational: 5,
  undefined: 7,
  signedRational: 10,
} as const;

export interface TiffEntry {
  readonly tag: number;
  readonly type: number;
  readonly count: number;
  readonly value: Buffer;
}

/** Writes numbers in one byte order. */
export function writer(order: ByteOrder) {
  const little = order === 'little';
  const numbers = (size: 2 | 4, signed: boolean, ...values: number[]): Buffer => {
    const bytes = Buffer.alloc(values.length * size);
    for (const [index, value] of values.entries()) {
      const at = index * size;
      if (size === 2) little ? bytes.writeUInt16LE(value, at) : bytes.writeUInt16BE(value, at);
      else if (signed) little ? bytes.writeInt32LE(value, at) : bytes.writeInt32BE(value, at);
      else little ? bytes.writeUInt32LE(value, at) : bytes.writeUInt32BE(value, at);
    }
    return bytes;
  };
  /** @param values of a rational, its numerator and its denominator */
  const entry = (tag: number, type: number, ...values: number[]): TiffEntry => {
    const size = type === TYPE.short ? 2 : 4;
    const value =
      type === TYPE.byte ? Buffer.from(values) : numbers(size, type === TYPE.signedRational, ...values);
    const isRational = type === TYPE.rational || type === TYPE.signedRational;
    return { tag, type, count: isRational ? values.length / 2 : values.length, value };
  };
  /** @returns the directory as it is written at `at`, followed by the values that do not fit into it */
  const directory = (entries: readonly TiffEntry[], at: number): Buffer => {
    const sorted = entries.toSorted((a, b) => a.tag - b.tag);
    const head = 2 + sorted.length * 12 + 4;
    const fields: Buffer[] = [numbers(2, false, sorted.length)];
    const behind: Buffer[] = [];
    let free = at + head;
    for (const { tag, type, count, value } of sorted) {
      fields.push(numbers(2, false, tag, type), numbers(4, false, count));
      if (value.length <= 4) {
        fields.push(Buffer.concat([value, Buffer.alloc(4 - value.length)]));
      } else {
        fields.push(numbers(4, false, free));
        const padded = value.length % 2 === 0 ? value : Buffer.concat([value, Buffer.alloc(1)]);
        behind.push(padded);
        free += padded.length;
      }
    }
    return Buffer.concat([...fields, numbers(4, false, 0), ...behind]);
  };
  return { numbers, entry, directory };
}

export function asciiEntry(tag: number, words: string): TiffEntry {
  const value = Buffer.from(`${words}\0`, 'latin1');
  return { tag, type: TYPE.ascii, count: value.length, value };
}
