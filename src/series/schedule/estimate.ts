// What a schedule takes: sets, time, shutter releases, storage.
import { formatDuration } from '../../../shared/duration.js';
import type { Schedule } from '../../../shared/schedule.js';
import { lastSetEnds } from './resolve.js';
import { inWords } from './zone.js';

/** What one set of the run takes. */
export interface SetTakes {
  /** Frames that are fired, including those that nobody asked for. */
  readonly actuations: number;
  /** Bytes of one set; null if the size of a file is not known. */
  readonly bytes: number | null;
}

export interface ScheduleEstimate {
  readonly sets: number;
  /** When the last set is expected to be done. */
  readonly ends: Date;
  readonly actuations: number;
  readonly bytes: number | null;
}

/** @param set the figures of its plan's estimate */
export function estimateSchedule(schedule: Schedule, { actuations, bytes }: SetTakes): ScheduleEstimate {
  return {
    sets: schedule.count,
    ends: new Date(lastSetEnds(schedule)),
    actuations: actuations * schedule.count,
    bytes: bytes === null ? null : bytes * schedule.count,
  };
}

/** @returns `60 sets, one every 4 min, from 2026-06-21 21:36 to about 2026-06-22 01:33.` */
export function scheduleInWords(schedule: Schedule, timeZone: string): string {
  const from = inWords(Date.parse(schedule.start), timeZone);
  const to = inWords(lastSetEnds(schedule), timeZone);
  if (schedule.count === 1) return `1 set, from ${from} to about ${to}.`;
  return `${schedule.count} sets, one every ${formatDuration(schedule.everySeconds)}, from ${from} to about ${to}.`;
}
