// The process of this room as it is seen from outside. `epoch` shows a caller whether the process still knows
// what it was told.
import { fileURLToPath } from 'node:url';
import { SideProcess } from '../system/index.js';
import type { Answers, Asked } from './protocol.js';

const ENTRY = fileURLToPath(new URL('./light-process.js', import.meta.url));
const IDLE_MS = 20_000;
/** A picture takes a second; a machine that is busy with other things, or several that wait, take longer. */
const DEADLINE_MS = 300_000;
/** A picture may bring it down; if it always falls, beginning it again only takes time from what fires. */
const RESTS = { afterFalls: 4, withinMs: 60_000 };
/** Its heap, and the part of it for new objects, in MiB: pixels lie outside. */
const HEAP = ['--max-old-space-size=256', '--max-semi-space-size=2', '--expose-gc'];
/** Buffers from this size on are given back to the system as soon as they are let go of, and smaller ones share one place (mallopt(3), glibc). */
const MEMORY = { MALLOC_MMAP_THRESHOLD_: String(64 * 1024), MALLOC_ARENA_MAX: '1' };

export interface ProcessOptions {
  /** The compiled entry of the process, if it is not beside this module. */
  readonly entry?: string | undefined;
  /** Milliseconds without a question after which it is ended. */
  readonly idleMs?: number | undefined;
}

export class HeldProcess extends SideProcess<Asked, Answers> {
  constructor({ entry = ENTRY, idleMs = IDLE_MS }: ProcessOptions = {}) {
    super({
      ...{ entry, idleMs, deadlineMs: DEADLINE_MS, name: 'The process that looks at pictures' },
      ...{ givesWay: true, execArgv: HEAP, env: MEMORY, rests: RESTS },
    });
  }
}
