// An invented clock: its time passes only while somebody waits.
import type { Sleep } from '../../src/series/index.js';
import type { Clock } from '../../src/system/index.js';

export class Hands implements Clock {
  at = Date.now();
  monotonic = (): number => this.at;
  wall = (): number => this.at;
  /** Called while somebody waits. */
  meanwhile: (() => void) | undefined;
  readonly sleep: Sleep = async (milliseconds, signal) => {
    if (signal?.aborted === true) return;
    this.meanwhile?.();
    this.at += milliseconds;
    // Code that waits for a set or a stop gets a turn.
    await new Promise<void>((resolve) => setImmediate(resolve));
  };
}
