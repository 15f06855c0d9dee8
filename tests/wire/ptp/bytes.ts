// Values as PTP writes them (ISO 15740, clause 5: little endian over USB, counted strings, counted arrays), and the units
// of its own properties (clause 13.5).
import type { PracticeShutter } from '../../../src/camera/practice/model.js';
import { APERTURE_SCALES, SHUTTER_SCALES, type Sixths, toEv } from '../../../src/exposure/index.js';

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

/** @param bytes which begin with a string as `text` writes it */
export function readText(bytes: Buffer): string {
  const units = bytes.readUInt8(0);
  return bytes.toString('utf16le', 1, 1 + Math.max(0, units - 1) * 2);
}

const MOMENT = /^(\d{4})(\d\d)(\d\d)T(\d\d)(\d\d)(\d\d)/;

/**
 * @param bytes which begin with a moment as `moment` writes it
 * @returns undefined where they are none
 */
export function readMoment(bytes: Buffer): Date | undefined {
  const found = MOMENT.exec(readText(bytes));
  if (found === null) return undefined;
  const [year = 0, month = 1, day, hour, minute, second] = found.slice(1).map(Number);
  return new Date(year, month - 1, day, hour, minute, second);
}

/** Bulb, where an exposure time is 32 bits long. */
export const BULB = 0xffffffff;

/** The exposure time of a setting, in units of 0.1 ms. */
export function tenthsOfMilliseconds(tv: PracticeShutter): number {
  if (tv === 'bulb') return BULB;
  const setting = SHUTTER_SCALES.third.find((candidate) => candidate.tv === tv);
  return Math.round((setting?.nominalSeconds ?? 0) * 10_000);
}

/** The f-number times 100. */
export function hundredths(av: Sixths): number {
  const setting = APERTURE_SCALES.third.find((candidate) => candidate.av === av);
  return Math.round((setting?.nominalFNumber ?? 0) * 100);
}

/** The exposure bias in thousandths of EV, cut: 2/3 is 666. */
export const thousandths = (value: Sixths): number => Math.trunc(toEv(value) * 1000);
