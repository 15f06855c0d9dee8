// A run on a schedule: one set after another, each in its slot. It decides when a set is made, when a slot is
// passed over, and when the run is over; how and with which body a set is made is left to its maker. What it
// has to know after a crash it hands out as a memo, which is kept with each set that begins.
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

/** How long before a slot the body is woken and checked. */
const WAKE_AHEAD_MS = 10_000;
/** How many notes a view has at most. */
const MOST_NOTES = 50;

export interface SequenceOptions {
  readonly run: string;
  readonly foreseen: ForeseenSchedule;
  readonly maySleep: boolean;
  readonly maker: SetMaker;
  readonly tell: (happening: Happening) => void;
  /** Keeps a note that belongs to no set. */
  readonly keepNote: (note: string) => void;
  /** Keeps the memo if it changes between two sets. */
  readonly keepMemo?: (memo: SequenceMemo) => void;
  readonly clock: Clock;
  readonly sleep?: Sleep | undefined;
  /** The state left by an earlier program, if the run is resumed; with the set that was under way. */
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
  /** What was last reported to be running low. */
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

  /** Whether the run has ended: nothing more is told of it then. */
  get isOver(): boolean {
    return this.end !== null;
  }

  private get isStopping(): boolean {
    return this.stopping.signal.aborted;
  }

  /** Asks the run to end: no new set is begun, and the current one is stopped. */
  stop(): void {
    this.stopping.abort();
    this.inHand?.stop();
  }

  /**
   * Holds the current set, and lets slots pass until `letGo`.
   * @returns false if nothing more is going to be fired
   */
  hold(): boolean {
    const isHeld = this.inHand?.hold() ?? false;
    if (this.isStopping || this.end !== null) return isHeld;
    this.held.ask();
    this.options.keepMemo?.(this.memo);
    return true;
  }

  /** Takes `hold` back: the run continues with the next slot. */
  letGo(): void {
    if (this.held.isAsked) {
      this.held.letGo();
      this.options.keepMemo?.(this.memo);
    }
    this.inHand?.letGo();
  }

  /** Works through the slots. Never rejects. */
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
      // A slot that passed while the run was held is not begun late.
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
   * Waits for the slot, keeps the body awake meanwhile, and checks the body shortly before.
   * @returns what will not last for another set; `again` if the slot has passed, or if nothing more is to
   *   be begun
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

  /** Aborts as soon as somebody stops the run, holds it, or lets it go. */
  private get disturbed(): AbortSignal {
    return AbortSignal.any([this.stopping.signal, this.held.change]);
  }

  /**
   * Waits until a given moment, and keeps the body awake meanwhile.
   * @returns false if the wait was disturbed
   */
  private async waitAwake(slot: Slot, until: number, disturbed: AbortSignal): Promise<boolean> {
    const { maker, maySleep } = this.options;
    for (;;) {
      const left = until - this.slots.now();
      if (left <= 0) return !disturbed.aborted;
      const isLast = maySleep || left <= KEEP_AWAKE_MS;
      // A moment on the way to the slot, waited for as if it were a slot itself.
      const start = isLast ? until : this.slots.now() + KEEP_AWAKE_MS;
      if ((await this.slots.waitUntil({ ...slot, start, atOnce: true }, disturbed)) === 'stopped')
        return false;
      if (!isLast) await maker.keepAwake();
    }
  }

  /**
   * While the run is held between two sets, slots pass and are counted, until somebody lets it go or the
   * schedule is over.
   */
  private async letSlotsPass(): Promise<void> {
    const since = this.slots.now();
    let passed = 0;
    this.state = 'held';
    while (this.held.isAsked && !this.isStopping) {
      const next = this.slots.next('skip');
      if (next.kind === 'over') break;
      this.next = nextOf(next.slot);
      this.tell();
      // A slot has not passed as long as a set could still be begun in it.
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
          // The next slot may have begun since the maker asked for the current one.
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
    // Somebody may have stopped or held the run while the set was being begun.
    if (this.isStopping) set.stop();
    if (this.held.isAsked) set.hold();
    try {
      return await ended;
    } finally {
      this.inHand = null;
    }
  }

  /** The slot is used up even though no set came of it. */
  private notBegun(slot: Slot, begunBefore: number, error: EvenrungError): void {
    if (this.slots.progress().nextIndex <= slot.index) this.slots.begin(slot);
    // The same error in a row is noted only once.
    if (this.tally.setNotBegun(begunBefore, error)) return;
    this.note(`No set was shot at ${hourAndMinute(new Date(slot.start))}: ${error.message}`);
  }

  private warnOf(watch: Watch | null): void {
    const items = watch === null ? [] : [watch.disk, watch.card, watch.battery];
    const low = items.filter((item) => item?.mark === 'low').map((item) => item?.sentence ?? '');
    // The figures fall with every set, so it is noted once which things are low, and not each time how low.
    const which = items.map((item) => item?.mark ?? '').join();
    if (low.length > 0 && which !== this.saidLow) this.note(low.join(' '));
    this.saidLow = which;
  }

  /** Adds a note about the run: everyone hears it, and the journal keeps it. */
  note(note: string): void {
    this.notes.push(note);
    if (this.notes.length > MOST_NOTES) this.notes.shift();
    this.options.keepNote(note);
    this.tell();
  }

  /** Slots that passed without a set because time ran out on them. */
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
