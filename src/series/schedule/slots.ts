// The clock of a run on a schedule: which slot is next, and the wait for it.
//
// It is anchored once, at the start: this reading of the monotonic clock is that moment on the wall. From then on it keeps a time
// of its own, the schedule's time, by the monotonic clock alone; setting the computer's clock or changing to summer time moves
// nothing. A process that takes the run over from the journal anchors anew by the wall, since its monotonic clock began anew.
// By how much the wall was known to be wrong (it was set while the run went on) is in the journal and taken into account; what it
// is set by while no process runs, nobody can know, and the grid moves by that much.
//
// A slot is in time as long as it is late by no more than a tenth of the interval, 30 s at most. One that is later is missed,
// whatever the reason: a set that took too long, a computer that slept, a process that was gone. Missed slots are counted and
// never made up: the schedule ends when it would have ended. Only after 'follow' the slot that is running at the moment is begun
// at once, however late; later slots keep to the grid. A slot that was taken in time may be begun later if the camera takes its
// time, but never when the next one has begun: then its set is the one of that slot, so that no slot has two.
import { setTimeout as pause } from 'node:timers/promises';
import type { Overrun, Schedule } from '../../../shared/schedule.js';
import type { Clock } from '../../system/index.js';
import { slotStart } from './resolve.js';

export interface Slot {
  /** From 0. */
  readonly index: number;
  /** Where it stands on the grid, in ms since 1970 of the schedule's time. */
  readonly start: number;
  /** True where its start has passed and it is to begin all the same. */
  readonly atOnce: boolean;
}

export type NextSlot =
  /** `missed` are slots that have passed since the last one that was begun. */
  | { readonly kind: 'slot'; readonly slot: Slot; readonly missed: number }
  | { readonly kind: 'over'; readonly missed: number };

/** What the journal keeps with every slot that is begun, plain JSON. */
export interface SlotProgress {
  /** The first slot that was neither begun nor passed. */
  readonly nextIndex: number;
  /** Slots that were passed over so far. */
  readonly missed: number;
  /** The schedule's time when this was written, in ms since 1970. */
  readonly at: number;
  /** How far the computer's clock was ahead of the schedule's time then, in ms. */
  readonly wallAheadMs: number;
}

/** @returns after that many ms, or as soon as the signal aborts; never rejects */
export type Sleep = (milliseconds: number, signal: AbortSignal | undefined) => Promise<void>;

/** `late`: the slot passed while nobody looked (the computer slept): ask for the next one again. */
export type Waited = 'due' | 'late' | 'stopped';

/** The longest time without a look at the clock: timers stand still while the computer sleeps. */
const LOOK_AGAIN_MS = 10_000;
const LATE_AT_MOST_MS = 30_000;
const LATE_AT_MOST_SHARE = 0.1;

export class SlotClock {
  readonly schedule: Schedule;
  private readonly clock: Clock;
  private readonly sleep: Sleep;
  /** The schedule's time at the monotonic clock's zero. */
  private readonly zero: number;
  private nextIndex = 0;
  private missed = 0;

  private constructor(schedule: Schedule, clock: Clock, sleep: Sleep, now: number) {
    this.schedule = schedule;
    this.clock = clock;
    this.sleep = sleep;
    this.zero = now - clock.monotonic();
  }

  /** For a run that begins. */
  static start(schedule: Schedule, clock: Clock, sleep: Sleep = sleepFor): SlotClock {
    return new SlotClock(schedule, clock, sleep, clock.wall());
  }

  /**
   * For a run that another process began. Time does not run backwards: where the computer's clock does (it came up without its
   * time), the schedule goes on from when the journal was written.
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

  /** Changes nothing; `begin` does. @param afterOverrun the schedule's own way where it is left out */
  next(afterOverrun: Overrun = this.schedule.overrun): NextSlot {
    const now = this.now();
    const running = Math.floor((now - slotStart(this.schedule, 0)) / this.intervalMs());
    if (running < this.nextIndex) return this.slotOrOver(this.nextIndex, false);
    const late = now - slotStart(this.schedule, running);
    if (late <= this.graceMs) return this.slotOrOver(running, late > 0);
    if (afterOverrun === 'follow' && this.fitsFrom(now)) return this.slotOrOver(running, true);
    return this.slotOrOver(running + 1, false);
  }

  /** @returns the slot of a set that begins now: this one, or after it the one that is running; null where none may be begun now */
  asOfNow(slot: Slot): Slot | null {
    if (!this.hasPassed(slot)) return slot;
    const next = this.next();
    return next.kind === 'slot' && next.slot.start <= this.now() ? next.slot : null;
  }

  /** Whether it is too late for its set, however early it was taken: `next` would not give it any more. */
  private hasPassed({ index }: Slot): boolean {
    const now = this.now();
    if (now >= slotStart(this.schedule, index + 1)) return true;
    return now - slotStart(this.schedule, index) > this.graceMs && !this.fitsFrom(now);
  }

  /** The slot's set begins: it and what lies before it is over. @returns what the journal has to keep */
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

  /** Waits for a slot that `next` gave. Looks at the clock every 10 s and more often. Never rejects. */
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

  /** How late a slot may be begun. */
  get graceMs(): number {
    return Math.min(this.intervalMs() * LATE_AT_MOST_SHARE, LATE_AT_MOST_MS);
  }
}

const sleepFor: Sleep = (milliseconds, signal) =>
  pause(Math.ceil(milliseconds), undefined, signal === undefined ? {} : { signal }).catch(() => undefined);
