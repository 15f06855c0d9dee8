// What a run on a schedule asks of whoever makes its sets, and what it hears of each set.
import type { ErrorCode } from '../../shared/error-codes.js';
import type { Watch } from '../../shared/watch.js';
import type { RunOutcome } from '../journal/index.js';
import type { SequenceMemo } from './sequence-memo.js';

/** A set that was begun. */
export interface BegunSet {
  readonly id: string;
  readonly startedAt: string;
  readonly frames: number;
  readonly shutter: string;
  readonly iso: string | null;
  /** EV by which the base moved from the set before. */
  readonly shiftEv: number;
  /** Fires the set, and returns when it has ended. Never rejects. */
  carryOut(): Promise<EndedSet>;
  /** `stop`, `hold` and `letGo` as in `Run`. */
  stop(): void;
  hold(): boolean;
  letGo(): void;
}

export interface EndedSet {
  readonly state: RunOutcome;
  readonly verified: number;
  readonly endedAt: string;
  readonly sentence: string;
  readonly error: ErrorCode | null;
}

export interface MakeAsked {
  /** Counted from 1. */
  readonly ordinal: number;
  /**
   * To be called last, just before the set is begun, since the camera may have taken long to come back.
   * @returns the slot of a set that begins now, counted from 0; null if none may begin
   */
  readonly slotNow: () => number | null;
  /** Keeps that the slot is taken, in the same step in which the set begins. */
  readonly keep: (journal: (memo: SequenceMemo) => void) => void;
}

/** Makes the sets. */
export interface SetMaker {
  /**
   * Checks the body and the disk between two sets.
   * @param setsToCome how many sets are still to be begun
   */
  look(setsToCome: number): Promise<Watch | null>;
  /** Only keeps the body from falling asleep. Never rejects. */
  keepAwake(): Promise<void>;
  /**
   * @returns null if no slot was left for the set, so that nothing was begun
   * @throws EvenrungError why the set could not even be begun: no-body, folder-not-writable, ...
   */
  make(asked: MakeAsked): Promise<BegunSet | null>;
}
