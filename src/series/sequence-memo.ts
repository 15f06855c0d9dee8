// What a run on a schedule has to know after a crash, as it is kept with each set that begins.
import type { SlotProgress } from './schedule/slots.js';
import type { TallyMemo } from './tally.js';

/** Plain JSON. */
export interface SequenceMemo extends TallyMemo {
  readonly slots: SlotProgress;
  /** Whether somebody held it. */
  readonly held?: boolean;
}
