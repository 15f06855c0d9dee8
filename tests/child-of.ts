// The processes that a program of ours has started.
import { readFile } from 'node:fs/promises';
import type { Started } from './built.js';

/** @returns the number of the camera process, which is the only child */
export async function childOf({ pid }: Pick<Started, 'pid'>): Promise<number> {
  const children = await readFile(`/proc/${pid}/task/${pid}/children`, 'utf8');
  return Number(children.trim().split(/\s+/)[0]);
}
