// Finds the camera processes of a program under test from outside, by the kernel's list of each process's
// children.
import { readdirSync, readFileSync } from 'node:fs';
import { isAlive } from './built.js';

/**
 * @param home HOME of the camera process
 * @param parent the program that started them; this process if it is left out
 * @returns those that are alive
 */
export function cameraProcesses(home: string, parent: number | 'self' = 'self'): number[] {
  return childrenOf(parent).filter((pid) => {
    if (pid === 0 || !isAlive(pid)) return false;
    try {
      return readFileSync(`/proc/${pid}/environ`, 'utf8').split('\0').includes(`HOME=${home}`);
    } catch {
      return false;
    }
  });
}

function childrenOf(parent: number | 'self'): number[] {
  try {
    return readdirSync(`/proc/${parent}/task`).flatMap((task) => {
      try {
        return readFileSync(`/proc/${parent}/task/${task}/children`, 'utf8').trim().split(/\s+/).map(Number);
      } catch {
        return [];
      }
    });
  } catch {
    // It is gone, and with it whatever it started.
    return [];
  }
}
