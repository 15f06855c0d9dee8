// A small disk of its own, in memory, and how it is filled to the last block.
import { spawnSync } from 'node:child_process';
import { closeSync, fstatSync, ftruncateSync, openSync, writeSync } from 'node:fs';
import path from 'node:path';

/** @returns whether it is mounted there; without the right to mount one it is not */
export const mountSmall = (folder: string, kilobytes = 16 * 1024): boolean =>
  spawnSync('mount', ['-t', 'tmpfs', '-o', `size=${kilobytes}k`, 'tmpfs', folder]).status === 0;

/** The file that takes all the room. */
export const fillerIn = (folder: string): string => path.join(folder, 'filler');

/** @param leaving bytes that the disk still takes */
export function fill(folder: string, leaving = 0): void {
  const file = openSync(fillerIn(folder), 'w');
  try {
    for (const piece of [65_536, 4096])
      try {
        for (;;) writeSync(file, Buffer.alloc(piece, 1));
      } catch {
        // Full.
      }
    if (leaving > 0) ftruncateSync(file, fstatSync(file).size - leaving);
  } finally {
    closeSync(file);
  }
}
