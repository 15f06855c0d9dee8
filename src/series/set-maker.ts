// What a run on a schedule asks of whoever makes its sets, and what it is told of them.
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
  /** Fires it, and comes back when it has ended. Never rejects. */
  carryOut(): Promise<EndedSet>;
  /** As those of a set that is made by itself. */
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
   * To be asked last, since the camera may take its time to come back.
   * @returns the slot of a set that begins now, counted from 0; null where none may begin
   */
  readonly slotNow: () => number | null;
  /** Keeps, in the same breath as the set begins, that its slot is taken. */
  readonly keep: (journal: (memo: SequenceMemo) => void) => void;
}

/** Makes the sets. */
export interface SetMaker {
  /** Looks at the body and the disk between two sets. @param setsToCome those that are still to be begun */
  look(setsToCome: number): Promise<Watch | null>;
  /** Only keeps the body from falling asleep. Never rejects. */
  keepAwake(): Promise<void>;
  /**
   * @returns null where no slot was there for it any more, and nothing was begun
   * @throws EvenrungError why it could not even be begun: no-body, folder-not-writable, ...
   */
  make(asked: MakeAsked): Promise<BegunSet | null>;
}
