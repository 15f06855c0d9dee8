// Folders that are put together under a hidden name and renamed when they are whole. The name says which
// program on which computer makes the folder, so that one left by a killed program can be told from one that
// is still being worked on.
import { createHash } from 'node:crypto';
import { readdir, rm } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { isAlive } from '../../system/index.js';

export type Staged = 'set' | 'export';

/** This computer, in a form that fits into any name. */
export const hostMark = (): string => createHash('sha256').update(os.hostname()).digest('hex').slice(0, 8);

let made = 0;

/** @returns a name that nothing else has; short, whatever the final name of the folder is */
export function stagingName(what: Staged): string {
  made += 1;
  return `.evenrung-${what}-${hostMark()}-${process.pid}-${made}.part`;
}

/** Removes what programs of this computer left there that are not alive any more. Never throws. */
export async function sweepStaged(into: string, what: Staged): Promise<void> {
  const names = await readdir(into).catch(() => []);
  for (const name of names) {
    const [, kind, host, pid] = /^\.evenrung-(set|export)-([0-9a-f]{8})-(\d+)-\d+\.part$/.exec(name) ?? [];
    if (kind !== what || host !== hostMark() || isAlive(Number(pid))) continue;
    await rm(path.join(into, name), { recursive: true, force: true }).catch(() => undefined);
  }
}
