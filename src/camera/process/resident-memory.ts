// How much memory a process has resident. In kilobytes of /proc/PID/status, not in pages of statm: how long a page is differs
// from machine to machine, and Node does not say.
import { readFile } from 'node:fs/promises';

/**
 * @param proc the folder in which the kernel shows processes
 * @returns bytes, or undefined if the kernel does not show it
 */
export async function residentMemory(pid: number, proc = '/proc'): Promise<number | undefined> {
  const status = await readFile(`${proc}/${pid}/status`, 'utf8').catch(() => '');
  const kilobytes = /^VmRSS:\s+(\d+) kB$/m.exec(status)?.[1];
  return kilobytes === undefined ? undefined : Number(kilobytes) * 1024;
}
