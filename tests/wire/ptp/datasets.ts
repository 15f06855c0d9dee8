// The datasets of PTP that a body hands out (ISO 15740, clauses 5.5 and 13.3).
import { array, moment, text, u8, u16, u32, u64 } from './bytes.js';
import { ALL, OBJECT_FORMAT } from './codes.js';

export interface DeviceInfo {
  /** 0 where the body speaks plain PTP. */
  readonly vendorExtension: number;
  readonly operations: readonly number[];
  readonly events: readonly number[];
  readonly properties: readonly number[];
  readonly model: string;
  readonly serial: string;
}

const PTP_VERSION = 100;

export function packDeviceInfo(info: DeviceInfo): Buffer {
  return Buffer.concat([
    u16(PTP_VERSION),
    u32(info.vendorExtension),
    u16(PTP_VERSION),
    text(''),
    u16(0),
    array(u16, info.operations),
    array(u16, info.events),
    array(u16, info.properties),
    array(u16, [OBJECT_FORMAT.exifJpeg]),
    array(u16, [OBJECT_FORMAT.exifJpeg, OBJECT_FORMAT.association]),
    text('Evenrung'),
    text(info.model),
    text('1.0'),
    text(info.serial),
  ]);
}

const REMOVABLE_RAM = 4;
const DCF = 3;
const READ_AND_WRITE = 0;
const CARD_BYTES = 64n * 1024n ** 3n;

export function packStorageInfo(freeImages: number): Buffer {
  return Buffer.concat([
    u16(REMOVABLE_RAM),
    u16(DCF),
    u16(READ_AND_WRITE),
    u64(CARD_BYTES),
    u64(CARD_BYTES / 2n),
    u32(freeImages),
    text('card'),
    text(''),
  ]);
}

export interface ObjectInfo {
  readonly storage: number;
  readonly parent: number;
  readonly name: string;
  readonly format: number;
  readonly size: number;
  readonly takenAt: Date;
}

export function packObjectInfo(info: ObjectInfo): Buffer {
  const isFolder = info.format === OBJECT_FORMAT.association;
  const thumb = [u16(isFolder ? 0 : OBJECT_FORMAT.jfif), u32(0), u32(0), u32(0)];
  const picture = [u32(0), u32(0), u32(isFolder ? 0 : 24)];
  return Buffer.concat([
    u32(info.storage),
    u16(info.format),
    u16(0),
    u32(info.size),
    ...thumb,
    ...picture,
    u32(info.parent),
    u16(isFolder ? 1 : 0),
    u32(0),
    u32(0),
    text(info.name),
    moment(info.takenAt),
    moment(info.takenAt),
    text(''),
  ]);
}

/** The types of property values that the practice body has, by their number in PTP, with how a value is written. */
export const VALUE_TYPE = {
  i8: { number: 0x0001, write: u8, read: (bytes: Buffer) => bytes.readInt8(0) },
  u8: { number: 0x0002, write: u8, read: (bytes: Buffer) => bytes.readUInt8(0) },
  i16: { number: 0x0003, write: u16, read: (bytes: Buffer) => bytes.readInt16LE(0) },
  u16: { number: 0x0004, write: u16, read: (bytes: Buffer) => bytes.readUInt16LE(0) },
  u32: { number: 0x0006, write: u32, read: (bytes: Buffer) => bytes.readUInt32LE(0) },
} as const;

export interface PropertyDescription {
  readonly code: number;
  readonly type: (typeof VALUE_TYPE)[keyof typeof VALUE_TYPE];
  readonly settable: boolean;
  readonly value: number;
  /** A list of values, or a range with a step of 1; left out where the body says neither. */
  readonly form?: { readonly values: readonly number[] } | { readonly from: number; readonly to: number };
}

const FORM = { none: 0, range: 1, list: 2 };

export function packPropertyDescription({ code, type, settable, value, form }: PropertyDescription): Buffer {
  const { write } = type;
  const shape =
    form === undefined
      ? [u8(FORM.none)]
      : 'values' in form
        ? [u8(FORM.list), u16(form.values.length), ...form.values.map(write)]
        : [u8(FORM.range), write(form.from), write(form.to), write(1)];
  return Buffer.concat([
    u16(code),
    u16(type.number),
    u8(settable ? 1 : 0),
    write(value),
    write(value),
    ...shape,
  ]);
}

/**
 * As vendor extension 0x11 has it: one byte more, which says whether the property takes a value or is moved from where it stands.
 */
export function packMovedPropertyDescription(description: PropertyDescription, takesValue: boolean): Buffer {
  const plain = packPropertyDescription(description);
  return Buffer.concat([plain.subarray(0, 4), u8(takesValue ? 1 : 0), plain.subarray(4)]);
}

const TEXT_TYPE = 0xffff;

/** @param value as it is written, such as `moment` gives it */
export function packTextDescription(code: number, value: Buffer): Buffer {
  return Buffer.concat([u16(code), u16(TEXT_TYPE), u8(1), value, value, u8(FORM.none)]);
}

export const NO_PARENT = 0;
export const isAny = (id: number): boolean => id === ALL || id === 0;
