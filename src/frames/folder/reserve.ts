// The room that a set folder keeps for the files at its end: a set that ends on a full disk must still be
// able to say what it holds. The file says whose it is, so that an abandoned folder without frames can be
// told from one that somebody else keeps.
import { randomFillSync } from 'node:crypto';
import { open, rm, stat, truncate, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { isAlive } from '../../system/index.js';

export const RESERVE = '.reserve';

/** Several times the record of a set of 61 frames with a sentence for each. */
const FOR_THE_RECORD = 256 * 1024;
/**
 * For the files beside the frames. Measured with 61 frames, the most that a set has: the contact sheet 3.2 MB
 * if all small copies are noise (with 55 of the practice body's 0.8 MB); 122 sidecars of 1.3 KB, in blocks of
 * 4 KB; table and checksums 40 KB.
 */
const FOR_THE_REST = 4096 * 1024;
const BYTES = FOR_THE_RECORD + FOR_THE_REST;

/** Whose room it is. */
interface Holder {
  readonly evenrung: 'room for the record of this set';
  readonly host: string;
  readonly pid: number;
  /** The place that keeps account of the sets, such as the state folder; null if there is none. */
  readonly keeper: string | null;
}

const HEAD_BYTES = 4096;

/** @throws the error of the file system, if the disk has no such room */
export async function reserve(folder: string, keeper: string | null): Promise<void> {
  const holder: Holder = {
    evenrung: 'room for the record of this set',
    host: os.hostname(),
    pid: process.pid,
    keeper,
  };
  const head = Buffer.from(`${JSON.stringify(holder)}\n`);
  // Random, since some file systems take no room for bytes that are all the same.
  const room = randomFillSync(Buffer.alloc(BYTES));
  head.copy(room);
  await writeFile(path.join(folder, RESERVE), room);
}

/**
 * Makes room again in a folder that was left behind. If the disk has none any more, the folder is used
 * without it.
 */
export async function reserveAgain(folder: string): Promise<void> {
  const there = await stat(path.join(folder, RESERVE)).catch(() => null);
  if ((there?.size ?? 0) >= BYTES) return;
  await reserve(folder, null).catch(() => undefined);
}

/** Gives up the room of all but the record. Never throws: there may be enough without. */
export async function releaseRest(folder: string): Promise<void> {
  const file = path.join(folder, RESERVE);
  const there = await stat(file).catch(() => null);
  if ((there?.size ?? 0) > FOR_THE_RECORD) await truncate(file, FOR_THE_RECORD).catch(() => undefined);
}

/** @throws the error of the file system */
export const releaseAll = (folder: string): Promise<void> => rm(path.join(folder, RESERVE), { force: true });

/** @returns whether a program of this computer that is not alive any more made that room, for a set that this keeper accounts for */
export async function isForsaken(folder: string, keeper: string): Promise<boolean> {
  const holder = await holderOf(folder);
  return holder !== null && holder.keeper === keeper && holder.host === os.hostname() && !isAlive(holder.pid);
}

async function holderOf(folder: string): Promise<Holder | null> {
  try {
    const handle = await open(path.join(folder, RESERVE), 'r');
    try {
      const { buffer, bytesRead } = await handle.read(Buffer.alloc(HEAD_BYTES), 0, HEAD_BYTES, 0);
      const [line = ''] = buffer.subarray(0, bytesRead).toString('utf8').split('\n');
      const holder = JSON.parse(line) as Partial<Holder>;
      const isOurs = holder.evenrung === 'room for the record of this set' && Number.isInteger(holder.pid);
      return isOurs ? (holder as Holder) : null;
    } finally {
      await handle.close();
    }
  } catch {
    return null;
  }
}
