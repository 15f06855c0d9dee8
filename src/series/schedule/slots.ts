// The clock of a run on a schedule: which slot is next, and the wait for it.
//
// The clock is anchored once, at the start of the run: the current reading of the monotonic clock is equated
// with the time on the wall. From then on it keeps a time of its own, the schedule's time, by the monotonic
// clock alone, so that setting the computer's clock or changing to summer time moves nothing. A process that
// takes over the run from the journal has a new monotonic clock, and anchors anew by the wall. The journal
// holds by how much the wall was known to be wrong (because it was set while the run went on), and that is
// taken into account. If the wall is set while no process runs, nobody can know, and the grid of slots moves
// by as much.
//
// A slot is in time as long as it is late by no more than a tenth of the interval, 30 s at most. A slot that
// is later is missed, whatever the reason: a set that took too long, a computer that slept, a process that
// was gone. Missed slots are counted and never made up for: the schedule ends when it would have ended
// anyway. Only after 'follow' is the slot whose time is running begun at once, however late; later slots keep
// to the grid. A slot that was taken in time may be begun later if the camera is slow to come back, but never
// after the next one has begun: then its set belongs to that next slot, so that no slot has two sets.
import { setTimeout as pause } from 'node:timers/promises';
import type { Overrun, Schedule } from '../../../shared/schedule.js';
import type { Clock } from '../../system/index.js';
import { slotStart } from './resolve.js';

export interface Slot {
  /** Counted from 0. */
  readonly index: number;
  /** Its place on the grid, in ms since 1970 of the schedule's time. */
  readonly start: number;
  /** True if its start has passed and it is to begin all the same. */
  readonly atOnce: boolean;
}

export type NextSlot =
  /** `missed`: slots that have passed since the last one that was begun. */
  | { readonly kind: 'slot'; readonly slot: Slot; readonly missed: number }
  | { readonly kind: 'over'; readonly missed: number };

/** What the journal keeps with every slot that is begun. Plain JSON. */
export interface SlotProgress {
  /** The first slot that has been neither begun nor passed over. */
  readonly nextIndex: number;
  /** Slots that have been passed over so far. */
  readonly missed: number;
  /** The schedule's time when this was written, in ms since 1970. */
  readonly at: number;
  /** How far the computer's clock was ahead of the schedule's time then, in ms. */
  readonly wallAheadMs: number;
}

/** @returns after that many ms, or as soon as the signal aborts; never rejects */
export type Sleep = (milliseconds: number, signal: AbortSignal | undefined) => Promise<void>;

/**
 * `late`: the slot passed while the process stood still (the computer slept); the caller has to ask for the
 * next one.
 */
export type Waited = 'due' | 'late' | 'stopped';

/** The longest wait without reading the clock, since timers stand still while the computer sleeps. */
const LOOK_AGAIN_MS = 10_000;
const LATE_AT_MOST_MS = 30_000;
const LATE_AT_MOST_SHARE = 0.1;

export class SlotClock {
  readonly schedule: Schedule;
  private readonly clock: Clock;
  private readonly sleep: Sleep;
  /** The schedule's time when the monotonic clock reads zero. */
  private readonly zero: number;
  private nextIndex = 0;
  private missed = 0;

  private constructor(schedule: Schedule, clock: Clock, sleep: Sleep, now: number) {
    this.schedule = schedule;
    this.clock = clock;
    this.sleep = sleep;
    this.zero = now - clock.monotonic();
  }

  /** The clock of a run that begins. */
  static start(schedule: Schedule, clock: Clock, sleep: Sleep = sleepFor): SlotClock {
    return new SlotClock(schedule, clock, sleep, clock.wall());
  }

  /**
   * The clock of a run that another process began. Time must not run backwards: if the computer's clock does
   * (it came up without its time), the schedule continues from the moment at which the journal was written.
   */
  static resume(
    schedule: Schedule,
    { nextIndex, missed, at, wallAheadMs }: SlotProgress,
    clock: Clock,
    sleep: Sleep = sleepFor,
  ): SlotClock {
    const resumed = new SlotClock(schedule, clock, sleep, Math.max(clock.wall() - wallAheadMs, at));
    resumed.nextIndex = nextIndex;
    resumed.missed = missed;
    return resumed;
  }

  /** The schedule's time, in ms since 1970. */
  now(): number {
    return this.zero + this.clock.monotonic();
  }

  /**
   * Finds the next slot, and passes over those that are too late. Changes nothing; `begin` does.
   * @param afterOverrun what to do after a set that took too long; if it is left out, as the schedule says
   */
  next(afterOverrun: Overrun = this.schedule.overrun): NextSlot {
    const now = this.now();
    const running = Math.floor((now - slotStart(this.schedule, 0)) / this.intervalMs());
    if (running < this.nextIndex) return this.slotOrOver(this.nextIndex, false);
    const late = now - slotStart(this.schedule, running);
    if (late <= this.graceMs) return this.slotOrOver(running, late > 0);
    if (afterOverrun === 'follow' && this.fitsFrom(now)) return this.slotOrOver(running, true);
    return this.slotOrOver(running + 1, false);
  }

  /**
   * @returns the slot of a set that begins now: this one, or a later one whose time is running; null if
   *   none may be begun now
   */
  asOfNow(slot: Slot): Slot | null {
    if (!this.hasPassed(slot)) return slot;
    const next = this.next();
    return next.kind === 'slot' && next.slot.start <= this.now() ? next.slot : null;
  }

  /**
   * Whether it is too late for this slot's set, even if the slot was taken in time: `next` would not return
   * it any more.
   */
  private hasPassed({ index }: Slot): boolean {
    const now = this.now();
    if (now >= slotStart(this.schedule, index + 1)) return true;
    return now - slotStart(this.schedule, index) > this.graceMs && !this.fitsFrom(now);
  }

  /**
   * The slot's set begins: this slot and those before it are over.
   * @returns the progress that the journal has to keep
   */
  begin({ index }: Slot): SlotProgress {
    this.missed += Math.max(0, index - this.nextIndex);
    this.nextIndex = index + 1;
    return this.progress();
  }

  progress(): SlotProgress {
    const at = this.now();
    return {
      nextIndex: this.nextIndex,
      missed: this.missed,
      at,
      wallAheadMs: Math.round(this.clock.wall() - at),
    };
  }

  /** Waits for a slot that `next` returned. Reads the clock at least every 10 s. Never rejects. */
  async waitUntil(slot: Slot, signal?: AbortSignal): Promise<Waited> {
    for (;;) {
      if (signal?.aborted) return 'stopped';
      const left = slot.start - this.now();
      if (left <= 0) return slot.atOnce || -left <= this.graceMs ? 'due' : 'late';
      await this.sleep(Math.min(left, LOOK_AGAIN_MS), signal);
    }
  }

  private slotOrOver(index: number, atOnce: boolean): NextSlot {
    const { count } = this.schedule;
    if (index >= count) return { kind: 'over', missed: Math.max(0, count - this.nextIndex) };
    const slot = { index, start: slotStart(this.schedule, index), atOnce };
    return { kind: 'slot', slot, missed: index - this.nextIndex };
  }

  /** A set that begins late must not run beyond the end that was asked for. */
  private fitsFrom(now: number): boolean {
    const { end, setSeconds } = this.schedule;
    return end === null || now + setSeconds * 1000 <= Date.parse(end);
  }

  private intervalMs(): number {
    return this.schedule.everySeconds * 1000;
  }

  /** How late a slot may be begun, in ms. */
  get graceMs(): number {
    return Math.min(this.intervalMs() * LATE_AT_MOST_SHARE, LATE_AT_MOST_MS);
  }
}

const sleepFor: Sleep = (milliseconds, signal) =>
  pause(Math.ceil(milliseconds), undefined, signal === undefined ? {} : { signal }).catch(() => undefined);
