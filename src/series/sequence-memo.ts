// What a run on a schedule has to know after a crash; kept with each set that begins.
import type { SlotProgress } from './schedule/slots.js';
import type { TallyMemo } from './tally.js';

/** Plain JSON. */
export interface SequenceMemo extends TallyMemo {
  readonly slots: SlotProgress;
  /** Whether somebody was holding the run. */
  readonly held?: boolean;
}
