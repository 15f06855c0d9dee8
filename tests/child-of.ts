// The processes that a program of ours has started.
import { readFile } from 'node:fs/promises';
import type { Started } from './built.js';

/** @returns the numbers of the children that run this script, such as `picture-process.js`, the oldest first */
export async function childrenOf({ pid }: Pick<Started, 'pid'>, script: string): Promise<number[]> {
  const listed = await readFile(`/proc/${pid}/task/${pid}/children`, 'utf8');
  const pids = listed.trim().split(/\s+/).filter(Boolean).map(Number);
  const isIt = async (child: number) => {
    const line = await readFile(`/proc/${child}/cmdline`, 'utf8').catch(() => '');
    return line.split('\0').some((part) => part.endsWith(`/${script}`));
  };
  const are = await Promise.all(pids.map(isIt));
  return pids.filter((_, index) => are[index]);
}

/** @returns the number of the camera process; NaN if there is none */
export const childOf = async (program: Pick<Started, 'pid'>): Promise<number> =>
  (await childrenOf(program, 'camera-process.js'))[0] ?? Number.NaN;
