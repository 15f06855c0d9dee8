// PTP containers as they travel over USB (ISO 15740, annex D): length, type, code, transaction, then parameters or data.
import { u16, u32 } from './bytes.js';

const HEAD_LENGTH = 12;

export const CONTAINER = { command: 1, data: 2, response: 3, event: 4 } as const;

export interface Container {
  readonly type: number;
  readonly code: number;
  readonly transaction: number;
  readonly payload: Buffer;
}

export function packContainer({ type, code, transaction, payload }: Container): Buffer {
  return Buffer.concat([u32(HEAD_LENGTH + payload.length), u16(type), u16(code), u32(transaction), payload]);
}

/**
 * @param bytes what has arrived so far
 * @returns the first container and what follows it, or undefined where it is not complete yet
 */
export function unpackContainer(bytes: Buffer): { container: Container; rest: Buffer } | undefined {
  if (bytes.length < HEAD_LENGTH) return undefined;
  const length = bytes.readUInt32LE(0);
  if (length < HEAD_LENGTH) throw new Error(`A container cannot be ${length} bytes long.`);
  if (bytes.length < length) return undefined;
  const container = {
    type: bytes.readUInt16LE(4),
    code: bytes.readUInt16LE(6),
    transaction: bytes.readUInt32LE(8),
    payload: bytes.subarray(HEAD_LENGTH, length),
  };
  return { container, rest: bytes.subarray(length) };
}

export const packParameters = (parameters: readonly number[]): Buffer => Buffer.concat(parameters.map(u32));

export function unpackParameters(payload: Buffer): number[] {
  return Array.from({ length: Math.floor(payload.length / 4) }, (_, index) =>
    payload.readUInt32LE(index * 4),
  );
}
