// A run on a schedule: one set after another, each in its slot. It decides when a set is made, when one is passed over, and when
// the run is over; how a set is made, and with what body, is its maker's business. What it has to know after a crash it hands out
// as a memo, to be kept with each set that begins.
import { asEvenrungError, type ErrorCode, type EvenrungError } from '../../shared/errors.js';
import type {
  ForeseenSchedule,
  Happening,
  LineSet,
  RunState,
  ScheduleState,
  ScheduleView,
} from '../../shared/state.js';
import type { Watch } from '../../shared/watch.js';
import { Hold, KEEP_AWAKE_MS } from '../set/index.js';
import type { Clock } from '../system/index.js';
import { hourAndMinute } from '../system/index.js';
import { type Sleep, type Slot, SlotClock, type SlotProgress } from './schedule/slots.js';
import { tooLow } from './watch.js';

/** So long before a slot the body is woken, and looked at. */
const WAKE_AHEAD_MS = 10_000;
/** What goes wrong as often in a row is not going to come right by itself. Common practice, no source. */
const MOST_HALTS_IN_A_ROW = 3;
/** Notes that a view carries. */
const MOST_NOTES = 50;

/** Plain JSON. */
export interface SequenceMemo {
  readonly slots: SlotProgress;
  /** Slots whose set could not even be begun. */
  readonly passedOver: number;
  readonly begun: number;
  readonly complete: number;
  readonly haltsInARow: number;
  /** Whether somebody held it. */
  readonly held?: boolean;
}

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
}

export interface EndedSet {
  readonly state: RunState;
  readonly verified: number;
  readonly endedAt: string;
  readonly sentence: string;
  readonly error: ErrorCode | null;
}

export interface MakeAsked {
  /** Counted from 0. */
  readonly slot: number;
  /** Counted from 1. */
  readonly ordinal: number;
  /** Keeps, in the same breath as the set begins, that its slot is taken. */
  readonly keep: (journal: (memo: SequenceMemo) => void) => void;
}

/** Makes the sets. */
export interface SetMaker {
  /** Looks at the body and the disk between two sets. @param setsToCome those that are still to be begun */
  look(setsToCome: number): Promise<Watch | null>;
  /** Only keeps the body from falling asleep. Never rejects. */
  keepAwake(): Promise<void>;
  /** @throws EvenrungError why it could not even be begun: no-body, folder-not-writable, ... */
  make(asked: MakeAsked): Promise<BegunSet>;
}

export interface SequenceOptions {
  readonly run: string;
  readonly foreseen: ForeseenSchedule;
  readonly maySleep: boolean;
  readonly maker: SetMaker;
  readonly tell: (happening: Happening) => void;
  /** Keeps a note that is about no set. */
  readonly keepNote: (note: string) => void;
  /** Keeps what has to be known after a crash, where that changes between two sets. */
  readonly keepMemo?: (memo: SequenceMemo) => void;
  readonly clock: Clock;
  readonly sleep?: Sleep | undefined;
  /** Of an earlier program, where the run is gone on with; with the set that was in hand. */
  readonly begun?: { readonly memo: SequenceMemo; readonly inHand: BegunSet | null };
}

export interface SequenceEnd {
  readonly state: Exclude<ScheduleState, 'waiting' | 'firing' | 'held'>;
  readonly sentence: string;
  readonly error: ErrorCode | null;
  /** Whether it ended before its time, and nobody had stopped it. */
  readonly early: boolean;
}

export class Sequence {
  private readonly options: SequenceOptions;
  private readonly slots: SlotClock;
  private readonly stopping = new AbortController();
  private readonly held = new Hold();
  private state: ScheduleState = 'waiting';
  private next: ScheduleView['next'] = null;
  private passedOver = 0;
  private begun = 0;
  private complete = 0;
  private haltsInARow = 0;
  private lastError: ErrorCode | null = null;
  private readonly notes: string[] = [];
  private end: (SequenceEnd & { readonly at: string }) | null = null;
  /** Why the last set was not even begun: said once. */
  private whyNot: string | null = null;
  /** What was said of something that runs low. */
  private saidLow = '';

  constructor(options: SequenceOptions) {
    this.options = options;
    const { begun, clock, sleep, foreseen } = options;
    const { schedule } = foreseen;
    this.slots =
      begun === undefined
        ? SlotClock.start(schedule, clock, sleep)
        : SlotClock.resume(schedule, begun.memo.slots, clock, sleep);
    if (begun === undefined) return;
    this.passedOver = begun.memo.passedOver;
    this.begun = begun.memo.begun;
    this.complete = begun.memo.complete;
    this.haltsInARow = begun.memo.haltsInARow;
  }

  get view(): ScheduleView {
    const { run, foreseen } = this.options;
    return {
      ...foreseen,
      run,
      state: this.state,
      next: this.next,
      begun: this.begun,
      complete: this.complete,
      missed: this.missed,
      notes: [...this.notes],
      sentence: this.end?.sentence ?? null,
      error: this.end?.error ?? null,
      endedAt: this.end?.at ?? null,
      early: this.end?.early ?? false,
    };
  }

  get memo(): SequenceMemo {
    return {
      slots: this.slots.progress(),
      passedOver: this.passedOver,
      begun: this.begun,
      complete: this.complete,
      haltsInARow: this.haltsInARow,
      held: this.held.isAsked,
    };
  }

  get isStopping(): boolean {
    return this.stopping.signal.aborted;
  }

  get isHeld(): boolean {
    return this.held.isAsked;
  }

  /** Asks it to end: nothing new is begun. A set in hand is stopped by whoever made it. */
  stop(): void {
    this.stopping.abort();
  }

  /** Lets slots pass until `letGo`. A set in hand is held by whoever made it. @returns false where nothing more is going to be begun */
  hold(): boolean {
    if (this.isStopping || this.end !== null) return false;
    this.held.ask();
    this.options.keepMemo?.(this.memo);
    return true;
  }

  /** Takes `hold` back: it goes on with the next slot. */
  letGo(): void {
    if (!this.isHeld) return;
    this.held.letGo();
    this.options.keepMemo?.(this.memo);
  }

  /** Goes through the slots. Never rejects. */
  async carryOut(): Promise<SequenceEnd> {
    this.tell();
    let end: SequenceEnd;
    try {
      end = await this.walk();
    } catch (cause) {
      const error = asEvenrungError(cause);
      end = this.halted(error.code, error.message);
    }
    this.state = end.state;
    this.next = null;
    this.end = { ...end, at: new Date().toISOString() };
    this.tell();
    return end;
  }

  private async walk(): Promise<SequenceEnd> {
    const inHand = this.options.begun?.inHand ?? null;
    if (inHand !== null) {
      const slot = Math.max(0, (this.options.begun?.memo.slots.nextIndex ?? 1) - 1);
      await this.carryOutSet(inHand, slot, this.begun);
    }
    let wasHeld = false;
    for (;;) {
      if (this.stopping.signal.aborted) return this.stopped();
      if (this.haltsInARow >= MOST_HALTS_IN_A_ROW) return this.gaveUp();
      if (this.held.isAsked) {
        wasHeld = true;
        await this.letSlotsPass();
      }
      // A slot that passed while it was held is not begun late.
      const next = wasHeld ? this.slots.next('skip') : this.slots.next();
      if (next.kind === 'over') {
        this.passedOver += next.missed;
        return this.over();
      }
      const low = await this.waitFor(next.slot);
      if (low === 'again') continue;
      if (low.length > 0) return this.ranLow(low);
      wasHeld = false;
      await this.makeSet(next.slot);
    }
  }

  /**
   * Waits for the slot, keeps the body awake meanwhile, and looks at it shortly before.
   * @returns what does not last for another set; `again` where the slot has passed, or nothing is to be begun any more
   */
  private async waitFor(slot: Slot): Promise<string[] | 'again'> {
    const { maker } = this.options;
    this.state = 'waiting';
    this.next = nextOf(slot);
    this.tell();
    const { disturbed } = this;
    if (!(await this.waitAwake(slot, slot.start - WAKE_AHEAD_MS, disturbed))) return 'again';
    const watch = await maker.look(this.options.foreseen.schedule.count - slot.index);
    this.warnOf(watch);
    const waited = await this.slots.waitUntil(slot, disturbed);
    if (waited !== 'due') return 'again';
    return watch === null ? [] : tooLow(watch);
  }

  /** Aborts as soon as somebody stops it, holds it, or lets it go on. */
  private get disturbed(): AbortSignal {
    return AbortSignal.any([this.stopping.signal, this.held.change]);
  }

  /** Waits for a moment about a slot, and keeps the body awake. @returns false where somebody wants something else meanwhile */
  private async waitAwake(slot: Slot, until: number, disturbed: AbortSignal): Promise<boolean> {
    const { maker, maySleep } = this.options;
    for (;;) {
      const left = until - this.slots.now();
      if (left <= 0) return !disturbed.aborted;
      const isLast = maySleep || left <= KEEP_AWAKE_MS;
      // A moment on the way to the slot, waited for like one.
      const start = isLast ? until : this.slots.now() + KEEP_AWAKE_MS;
      if ((await this.slots.waitUntil({ ...slot, start, atOnce: true }, disturbed)) === 'stopped')
        return false;
      if (!isLast) await maker.keepAwake();
    }
  }

  /** Held between two sets: slots pass, and are counted, until somebody lets it go on or the schedule is over. */
  private async letSlotsPass(): Promise<void> {
    const since = this.slots.now();
    let passed = 0;
    this.state = 'held';
    while (this.held.isAsked && !this.isStopping) {
      const next = this.slots.next('skip');
      if (next.kind === 'over') break;
      this.next = nextOf(next.slot);
      this.tell();
      // As long as a set could still be begun in it, it has not passed.
      const { slot } = next;
      if (!(await this.waitAwake(slot, slot.start + this.slots.graceMs, this.disturbed))) continue;
      passed += 1 + next.missed;
      this.slots.begin(slot);
      this.passedOver += 1;
    }
    if (passed === 0) return;
    const span = `from ${hourAndMinute(new Date(since))} to ${hourAndMinute(new Date(this.slots.now()))}`;
    this.note(`Held ${span}: ${passed} ${passed === 1 ? 'slot' : 'slots'} passed without a set.`);
  }

  private async makeSet(slot: Slot): Promise<void> {
    const { maker } = this.options;
    const ordinal = this.begun + 1;
    const before = this.memo;
    let set: BegunSet;
    try {
      set = await maker.make({
        slot: slot.index,
        ordinal,
        keep: (journal) => {
          this.slots.begin(slot);
          this.begun = ordinal;
          journal(this.memo);
        },
      });
    } catch (cause) {
      this.begun = before.begun;
      this.notBegun(slot, asEvenrungError(cause));
      return;
    }
    this.whyNot = null;
    await this.carryOutSet(set, slot.index, ordinal);
  }

  private async carryOutSet(set: BegunSet, slot: number, ordinal: number): Promise<void> {
    const { run, tell } = this.options;
    const { id, startedAt, frames, shutter, iso, shiftEv } = set;
    const inLine: LineSet = {
      ...{ set: id, ordinal, slot, startedAt, endedAt: null, state: 'preparing', verified: 0 },
      ...{ frames, shutter, iso, shift: shiftEv, sentence: null },
    };
    this.state = 'firing';
    this.next = null;
    this.tell();
    tell({ type: 'line-set', run, set: inLine });
    const { state, verified, endedAt, sentence, error } = await set.carryOut();
    if (state === 'complete') this.complete += 1;
    if (state === 'halted') this.lastError = error;
    this.haltsInARow = state === 'halted' ? this.haltsInARow + 1 : 0;
    tell({ type: 'line-set', run, set: { ...inLine, state, verified, endedAt, sentence } });
  }

  /** Its slot is over all the same. A body that is gone may come back all night; other reasons end the run when they stay. */
  private notBegun(slot: Slot, error: EvenrungError): void {
    if (this.slots.progress().nextIndex <= slot.index) this.slots.begin(slot);
    this.passedOver += 1;
    this.lastError = error.code;
    if (error.code !== 'no-body') this.haltsInARow += 1;
    if (this.whyNot === error.message) return;
    this.whyNot = error.message;
    this.note(`No set was made at ${hourAndMinute(new Date(slot.start))}: ${error.message}`);
  }

  private warnOf(watch: Watch | null): void {
    const items = watch === null ? [] : [watch.disk, watch.card, watch.battery];
    const low = items.filter((item) => item?.mark === 'low').map((item) => item?.sentence ?? '');
    // Numbers fall with every set: what is low is said once, not how low.
    const which = items.map((item) => item?.mark ?? '').join();
    if (low.length > 0 && which !== this.saidLow) this.note(low.join(' '));
    this.saidLow = which;
  }

  /** Tells everyone, and the journal, something about the run. */
  note(note: string): void {
    this.notes.push(note);
    if (this.notes.length > MOST_NOTES) this.notes.shift();
    this.options.keepNote(note);
    this.tell();
  }

  // --- the end

  private get missed(): number {
    return this.slots.progress().missed + this.passedOver;
  }

  private howFar(): string {
    const incomplete = this.begun - this.complete;
    const { count } = this.options.foreseen.schedule;
    return [
      `${this.complete} of ${count} sets ${this.complete === 1 ? 'is' : 'are'} complete.`,
      incomplete === 0 ? '' : `${incomplete} ${incomplete === 1 ? 'is' : 'are'} not.`,
      this.missed === 0 ? '' : `${this.missed} ${this.missed === 1 ? 'slot' : 'slots'} passed without a set.`,
    ]
      .filter((sentence) => sentence !== '')
      .join(' ');
  }

  private over(): SequenceEnd {
    const { count } = this.options.foreseen.schedule;
    const isWhole = this.complete === count;
    const all =
      count === 1 ? 'The set is complete.' : `${count === 2 ? 'Both' : `All ${count}`} sets are complete.`;
    const sentence = isWhole ? all : this.howFar();
    return { state: 'complete', sentence, error: isWhole ? null : (this.lastError ?? null), early: false };
  }

  private stopped(): SequenceEnd {
    return { state: 'stopped', sentence: `Stopped. ${this.howFar()}`, error: null, early: false };
  }

  private ranLow(low: readonly string[]): SequenceEnd {
    const sentence = `Ended before the next set, with the camera's settings as they were found. ${low.join(' ')} ${this.howFar()}`;
    return { state: 'stopped', sentence, error: null, early: true };
  }

  private gaveUp(): SequenceEnd {
    const why = this.whyNot === null ? '' : ` ${this.whyNot}`;
    return this.halted(
      this.lastError,
      `Halted, because ${MOST_HALTS_IN_A_ROW} sets in a row went wrong.${why}`,
    );
  }

  private halted(error: ErrorCode | null, why: string): SequenceEnd {
    return { state: 'halted', sentence: `${why} ${this.howFar()}`, error, early: true };
  }

  private tell(): void {
    this.options.tell({ type: 'schedule', schedule: this.view });
  }
}

const nextOf = ({ index, start }: Slot): ScheduleView['next'] => ({
  index,
  at: new Date(start).toISOString(),
});
