// Lines on a run on a schedule, before it and while it lasts, for a person at a terminal or in the log. It
// takes what was told, and returns lines.
import type {
  ForeseenSchedule,
  Happening,
  LineSet,
  ScheduleState,
  ScheduleView,
} from '../../../shared/state.js';
import type { Watch, WatchMark } from '../../../shared/watch.js';
import { evInWords, fromEv } from '../../exposure/index.js';
import { counted } from '../options/options.js';
import { GOES_ON, wrapped } from '../process.js';
import { clockOf } from './clock-words.js';

/** @returns lines of at most 80 columns: when the sets are made, with one end, and what they take */
export function foreseenInWords({ words, estimate, cautions }: ForeseenSchedule): string[] {
  const { actuations, bytes } = estimate;
  const takes = [
    counted(actuations, 'shutter release', 'shutter releases'),
    ...(bytes === null ? [] : [`${Math.ceil(bytes / 1e6)} MB`]),
  ];
  return [
    ...wrapped(words, '  '),
    takes.join(', '),
    ...cautions.flatMap(({ sentence }) => wrapped(`caution: ${sentence}`, '  ')),
  ];
}

const ENDED_SCHEDULES: ReadonlySet<ScheduleState> = new Set(['complete', 'stopped', 'halted']);

/** Whether nothing of it is going to happen any more. */
export const isOver = (state: ScheduleState): boolean => ENDED_SCHEDULES.has(state);

export interface SaidLine {
  readonly level: 'info' | 'warn';
  readonly line: string;
}

/** A schedule is told again whenever something about it changes; only news is worth a line. */
export class ScheduleTeller {
  private readonly isForeseen: boolean;
  private run = '';
  private next: number | null = null;
  private count = 0;
  private isUnderWay = false;
  private isHeld = false;
  private notes: readonly string[] = [];
  private marks: Readonly<Record<keyof Watch, WatchMark | null>> = { disk: null, card: null, battery: null };

  /** @param isForeseen if its words and cautions were printed beforehand */
  constructor({ isForeseen }: { readonly isForeseen: boolean }) {
    this.isForeseen = isForeseen;
  }

  /** @returns nothing for a happening that is not about schedules, or is no news */
  linesOf(happening: Happening, now = new Date()): SaidLine[] {
    switch (happening.type) {
      case 'schedule':
        return happening.schedule === null ? this.noSchedule() : this.ofSchedule(happening.schedule, now);
      case 'line-set':
        return happening.set.endedAt === null ? [info(setInWords(happening.set, this.count))] : [];
      case 'watch':
        return this.ofWatch(happening.watch);
      default:
        return [];
    }
  }

  private noSchedule(): SaidLine[] {
    this.run = '';
    this.isUnderWay = false;
    return [];
  }

  private ofSchedule(schedule: ScheduleView, now: Date): SaidLine[] {
    const { run, state, next, notes, words, cautions, sentence } = schedule;
    const begins = run !== this.run;
    if (begins) {
      this.run = run;
      this.notes = [];
      this.next = null;
      this.count = schedule.schedule.count;
      this.isUnderWay = true;
      this.isHeld = false;
    }
    const lines: SaidLine[] =
      begins && !this.isForeseen ? [info(words), ...cautions.map((one) => warn(one.sentence))] : [];
    lines.push(...newAmong(this.notes, notes).map(warn));
    this.notes = notes;
    if (state === 'held' && !this.isHeld)
      lines.push(info('Paused between two sets: sets are skipped until you resume.'));
    if (state !== 'held' && this.isHeld && !isOver(state)) lines.push(info(GOES_ON));
    this.isHeld = state === 'held';
    // Nothing is made in a slot as long as it is held.
    if (next !== null && next.index !== this.next && !this.isHeld) {
      this.next = next.index;
      lines.push(info(`Next set at ${clockOf(next.at, now)} (${next.index + 1} of ${this.count})`));
    }
    if (isOver(state) && this.isUnderWay) {
      this.isUnderWay = false;
      lines.push({ level: state === 'complete' ? 'info' : 'warn', line: sentence ?? state });
    }
    return lines;
  }

  /** While a schedule goes on, its notes say so. */
  private ofWatch(watch: Watch | null): SaidLine[] {
    const lines: SaidLine[] = [];
    for (const what of ['disk', 'card', 'battery'] as const) {
      const item = watch?.[what] ?? null;
      const isNews = item !== null && item.mark !== 'fine' && item.mark !== this.marks[what];
      if (isNews && !this.isUnderWay) lines.push(warn(item.sentence));
      this.marks = { ...this.marks, [what]: item?.mark ?? null };
    }
    return lines;
  }
}

/** @returns `Set 3 of 60, base 1/60 s, ISO 100, moved +1/3 EV` */
function setInWords({ ordinal, slot, shutter, iso, shift }: LineSet, count: number): string {
  const which =
    ordinal === slot + 1 ? `Set ${ordinal} of ${count}` : `Set ${ordinal}, in slot ${slot + 1} of ${count}`;
  const moved = fromEv(shift);
  return [
    which,
    `base exposure ${shutter} s`,
    ...(iso === null ? [] : [`ISO ${iso}`]),
    ...(moved === 0 ? [] : [`moved ${evInWords(moved)} EV`]),
  ].join(', ');
}

/** @param after the newest last; it may have lost some of the oldest */
function newAmong(before: readonly string[], after: readonly string[]): readonly string[] {
  for (let lost = 0; lost <= before.length; lost += 1) {
    const kept = before.slice(lost);
    if (kept.every((note, index) => note === after[index])) return after.slice(kept.length);
  }
  return after;
}

const info = (line: string): SaidLine => ({ level: 'info', line });
const warn = (line: string): SaidLine => ({ level: 'warn', line });
