// A run on a schedule: one set after another, each in its slot. It decides when a set is made, when one is passed over, and when
// the run is over; how a set is made, and with what body, is its maker's business. What it has to know after a crash it hands out
// as a memo, to be kept with each set that begins.
import { asEvenrungError, type EvenrungError } from '../../shared/errors.js';
import type {
  ForeseenSchedule,
  Happening,
  LineSet,
  ScheduleState,
  ScheduleView,
} from '../../shared/state.js';
import type { Watch } from '../../shared/watch.js';
import { tooLow } from '../bodies/index.js';
import { Hold, KEEP_AWAKE_MS } from '../set/index.js';
import type { Clock } from '../system/index.js';
import { hourAndMinute } from '../system/index.js';
import { type Sleep, type Slot, SlotClock } from './schedule/slots.js';
import type { SequenceMemo } from './sequence-memo.js';
import type { BegunSet, EndedSet, SetMaker } from './set-maker.js';
import { type SequenceEnd, Tally } from './tally.js';

/** So long before a slot the body is woken, and looked at. */
const WAKE_AHEAD_MS = 10_000;
/** Notes that a view carries. */
const MOST_NOTES = 50;

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

export class Sequence {
  private readonly options: SequenceOptions;
  private readonly slots: SlotClock;
  private readonly stopping = new AbortController();
  private readonly held = new Hold();
  private state: ScheduleState = 'waiting';
  private next: ScheduleView['next'] = null;
  private readonly tally: Tally;
  private inHand: BegunSet | null = null;
  private readonly notes: string[] = [];
  private end: (SequenceEnd & { readonly at: string }) | null = null;
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
    this.tally = new Tally(schedule.count, begun?.memo);
  }

  get view(): ScheduleView {
    const { run, foreseen } = this.options;
    const { begun, complete, passedOver } = this.tally.memo;
    return {
      ...foreseen,
      run,
      state: this.state,
      next: this.next,
      begun,
      complete,
      missed: this.missed + passedOver,
      notes: [...this.notes],
      sentence: this.end?.sentence ?? null,
      error: this.end?.error ?? null,
      endedAt: this.end?.at ?? null,
      early: this.end?.early ?? false,
    };
  }

  get memo(): SequenceMemo {
    return { slots: this.slots.progress(), ...this.tally.memo, held: this.held.isAsked };
  }

  /** Whether it has ended: nothing of it is told any more. */
  get isOver(): boolean {
    return this.end !== null;
  }

  private get isStopping(): boolean {
    return this.stopping.signal.aborted;
  }

  /** Asks it to end: nothing new is begun, and the set in hand is stopped. */
  stop(): void {
    this.stopping.abort();
    this.inHand?.stop();
  }

  /** Holds the set in hand, and lets slots pass until `letGo`. @returns false where nothing more is going to be fired */
  hold(): boolean {
    const isHeld = this.inHand?.hold() ?? false;
    if (this.isStopping || this.end !== null) return isHeld;
    this.held.ask();
    this.options.keepMemo?.(this.memo);
    return true;
  }

  /** Takes `hold` back: it goes on with the next slot. */
  letGo(): void {
    if (this.held.isAsked) {
      this.held.letGo();
      this.options.keepMemo?.(this.memo);
    }
    this.inHand?.letGo();
  }

  /** Goes through the slots. Never rejects. */
  async carryOut(): Promise<SequenceEnd> {
    this.tell();
    let end: SequenceEnd;
    try {
      end = await this.walk();
    } catch (cause) {
      const error = asEvenrungError(cause);
      end = this.tally.halted(error.code, error.message, this.missed);
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
      await this.carryOutSet(inHand, slot, this.tally.begun);
    }
    let wasHeld = false;
    for (;;) {
      if (this.isStopping) return this.tally.stopped(this.missed);
      if (this.tally.isHopeless) return this.tally.gaveUp(this.missed);
      if (this.held.isAsked) {
        wasHeld = true;
        await this.letSlotsPass();
      }
      // A slot that passed while it was held is not begun late.
      const next = wasHeld ? this.slots.next('skip') : this.slots.next();
      if (next.kind === 'over') {
        this.tally.slotsPassed(next.missed);
        return this.tally.over(this.missed);
      }
      const low = await this.waitFor(next.slot);
      if (low === 'again') continue;
      if (low.length > 0) return this.tally.ranLow(low, this.missed);
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
      this.tally.slotsPassed(1);
    }
    if (passed === 0) return;
    const span = `from ${hourAndMinute(new Date(since))} to ${hourAndMinute(new Date(this.slots.now()))}`;
    this.note(`Paused ${span}: ${passed} ${passed === 1 ? 'slot' : 'slots'} passed without a set.`);
  }

  private async makeSet(taken: Slot): Promise<void> {
    const { maker } = this.options;
    let slot = taken;
    const begunBefore = this.tally.begun;
    const ordinal = begunBefore + 1;
    let set: BegunSet | null;
    try {
      set = await maker.make({
        ordinal,
        slotNow: () => {
          const now = this.slots.asOfNow(slot);
          slot = now ?? slot;
          return now?.index ?? null;
        },
        keep: (journal) => {
          // The next one may have begun between the question and this.
          slot = this.slots.asOfNow(slot) ?? slot;
          this.slots.begin(slot);
          this.tally.setBegins(ordinal);
          journal(this.memo);
        },
      });
    } catch (cause) {
      this.notBegun(slot, begunBefore, asEvenrungError(cause));
      return;
    }
    if (set === null) return;
    this.tally.setIsUnderWay();
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
    const { state, verified, endedAt, sentence, error } = await this.whileInHand(set);
    this.tally.setEnded(state, error);
    tell({ type: 'line-set', run, set: { ...inLine, state, verified, endedAt, sentence } });
  }

  private async whileInHand(set: BegunSet): Promise<EndedSet> {
    this.inHand = set;
    const ended = set.carryOut();
    // Somebody may have asked for it while the set was being begun.
    if (this.isStopping) set.stop();
    if (this.held.isAsked) set.hold();
    try {
      return await ended;
    } finally {
      this.inHand = null;
    }
  }

  /** Its slot is over all the same. */
  private notBegun(slot: Slot, begunBefore: number, error: EvenrungError): void {
    if (this.slots.progress().nextIndex <= slot.index) this.slots.begin(slot);
    // Said once.
    if (this.tally.setNotBegun(begunBefore, error)) return;
    this.note(`No set was shot at ${hourAndMinute(new Date(slot.start))}: ${error.message}`);
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

  /** Slots that passed by the clock alone. */
  private get missed(): number {
    return this.slots.progress().missed;
  }

  private tell(): void {
    this.options.tell({ type: 'schedule', schedule: this.view });
  }
}

const nextOf = ({ index, start }: Slot): ScheduleView['next'] => ({
  index,
  at: new Date(start).toISOString(),
});
