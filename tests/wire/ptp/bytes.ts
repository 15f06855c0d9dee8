// Values as PTP writes them (ISO 15740, clause 5: little endian over USB, counted strings, counted arrays).

export function u8(value: number): Buffer {
  return Buffer.from([value & 0xff]);
}

export function u16(value: number): Buffer {
  const bytes = Buffer.alloc(2);
  bytes.writeUInt16LE(value & 0xffff);
  return bytes;
}

/** Also takes a negative value, in two's complement. */
export function u32(value: number): Buffer {
  const bytes = Buffer.alloc(4);
  bytes.writeUInt32LE(value >>> 0);
  return bytes;
}

export function u64(value: bigint): Buffer {
  const bytes = Buffer.alloc(8);
  bytes.writeBigUInt64LE(value);
  return bytes;
}

/** A string: the count of its UTF-16 units with the closing zero, then the units. The empty one is a single zero byte. */
export function text(value: string): Buffer {
  if (value === '') return u8(0);
  return Buffer.concat([u8(value.length + 1), Buffer.from(`${value}\0`, 'utf16le')]);
}

/** An array: its count, then its items. */
export function array(item: (value: number) => Buffer, values: readonly number[]): Buffer {
  return Buffer.concat([u32(values.length), ...values.map(item)]);
}

/** A moment: `20260102T030405`, local time without a zone. */
export function moment(date: Date): Buffer {
  const two = (value: number) => String(value).padStart(2, '0');
  const day = `${date.getFullYear()}${two(date.getMonth() + 1)}${two(date.getDate())}`;
  return text(`${day}T${two(date.getHours())}${two(date.getMinutes())}${two(date.getSeconds())}`);
}
