// Counts how the sets of a run on a schedule have gone so far, and says how the run ends by that. It knows
// neither clocks nor bodies.
import type { ErrorCode } from '../../shared/error-codes.js';
import type { EvenrungError } from '../../shared/errors.js';
import type { RunState, ScheduleState } from '../../shared/state.js';

/**
 * How many sets in a row may halt: something that goes wrong this often is not going to come right by itself.
 * Common practice, no source.
 */
const MOST_HALTS_IN_A_ROW = 3;

/** Plain JSON. */
export interface TallyMemo {
  /** Slots whose set could not even be begun. */
  readonly passedOver: number;
  readonly begun: number;
  readonly complete: number;
  readonly haltsInARow: number;
}

export interface SequenceEnd {
  readonly state: Exclude<ScheduleState, 'waiting' | 'firing' | 'held'>;
  readonly sentence: string;
  readonly error: ErrorCode | null;
  /** Whether the run ended early without anybody having stopped it. */
  readonly early: boolean;
}

export class Tally {
  /** How many sets the schedule asks for. */
  private readonly count: number;
  private counts: TallyMemo;
  private lastError: ErrorCode | null = null;
  /** Why the last set could not even be begun; null if it could. */
  private whyNot: string | null = null;

  constructor(count: number, { passedOver, begun, complete, haltsInARow }: TallyMemo = NOTHING_YET) {
    this.count = count;
    this.counts = { passedOver, begun, complete, haltsInARow };
  }

  get memo(): TallyMemo {
    return this.counts;
  }

  get begun(): number {
    return this.counts.begun;
  }

  get isHopeless(): boolean {
    return this.counts.haltsInARow >= MOST_HALTS_IN_A_ROW;
  }

  slotsPassed(slots: number): void {
    this.add({ passedOver: this.counts.passedOver + slots });
  }

  /** @param begun sets so far, including this one */
  setBegins(begun: number): void {
    this.add({ begun });
  }

  setIsUnderWay(): void {
    this.whyNot = null;
  }

  setEnded(state: RunState, error: ErrorCode | null): void {
    const { complete, haltsInARow } = this.counts;
    if (state === 'halted') this.lastError = error;
    this.add({
      complete: state === 'complete' ? complete + 1 : complete,
      haltsInARow: state === 'halted' ? haltsInARow + 1 : 0,
    });
  }

  /**
   * A body that is gone may come back any time during the night; other reasons end the run if they persist.
   * @param begun sets before this one
   * @returns whether the set before was not begun for the same reason
   */
  setNotBegun(begun: number, { code, message }: EvenrungError): boolean {
    const { passedOver, haltsInARow } = this.counts;
    this.lastError = code;
    this.add({
      ...{ begun, passedOver: passedOver + 1 },
      haltsInARow: code === 'no-body' ? haltsInARow : haltsInARow + 1,
    });
    const isSame = this.whyNot === message;
    this.whyNot = message;
    return isSame;
  }

  private add(counts: Partial<TallyMemo>): void {
    this.counts = { ...this.counts, ...counts };
  }

  // --- how it ends

  /** @param missed slots that passed because time ran out on them */
  over(missed: number): SequenceEnd {
    const { count } = this;
    const isWhole = this.counts.complete === count;
    const all =
      count === 1 ? 'The set is complete.' : `${count === 2 ? 'Both' : `All ${count}`} sets are complete.`;
    const sentence = isWhole ? all : this.howFar(missed);
    return { state: 'complete', sentence, error: isWhole ? null : this.lastError, early: false };
  }

  stopped(missed: number): SequenceEnd {
    const sentence = `Stopped. ${this.howFar(missed)}`;
    return { state: 'stopped', sentence, error: null, early: false };
  }

  ranLow(low: readonly string[], missed: number): SequenceEnd {
    const sentence = `Ended before the next set; the camera's settings are as they were found. ${low.join(' ')} ${this.howFar(missed)}`;
    return { state: 'stopped', sentence, error: null, early: true };
  }

  gaveUp(missed: number): SequenceEnd {
    const why = this.whyNot === null ? '' : ` ${this.whyNot}`;
    const sentence = `Stopped, because ${MOST_HALTS_IN_A_ROW} sets in a row failed.${why}`;
    return this.halted(this.lastError, sentence, missed);
  }

  halted(error: ErrorCode | null, why: string, missed: number): SequenceEnd {
    return { state: 'halted', sentence: `${why} ${this.howFar(missed)}`, error, early: true };
  }

  private howFar(missed: number): string {
    const { count } = this;
    const { begun, complete, passedOver } = this.counts;
    const incomplete = begun - complete;
    const passed = missed + passedOver;
    return [
      `${complete} of ${count} sets ${complete === 1 ? 'is' : 'are'} complete.`,
      incomplete === 0 ? '' : `${incomplete} ${incomplete === 1 ? 'is' : 'are'} not.`,
      passed === 0 ? '' : `${passed} ${passed === 1 ? 'slot' : 'slots'} passed without a set.`,
    ]
      .filter((sentence) => sentence !== '')
      .join(' ');
  }
}

const NOTHING_YET: TallyMemo = { passedOver: 0, begun: 0, complete: 0, haltsInARow: 0 };
