// A schedule before it begins: its moments, time, releases and storage, and what to be careful about.
import type { ScheduleRequest } from '../../../shared/schedule.js';
import type { ForeseenSchedule } from '../../../shared/state.js';
import { estimateSchedule, scheduleInWords } from './estimate.js';
import { resolveSchedule } from './resolve.js';
import { crossesSunrise } from './sunrise.js';

/** One set of the run, with the figures of its plan's estimate. */
export interface SetEstimate {
  readonly seconds: number;
  readonly actuations: number;
  readonly bytes: number | null;
}

export interface ForeseenFor {
  readonly now: Date;
  readonly timeZone: string;
  readonly cautions?: readonly string[];
  readonly counted?: string | null;
}

/**
 * @param timeZone IANA name
 * @param cautions about each of its sets, a sentence each
 * @param counted a sentence on the frames that its sets were counted with; null if all sets are as they
 *   were asked for
 * @throws EvenrungError as resolveSchedule
 */
export function foreseeSchedule(
  asked: ScheduleRequest,
  set: SetEstimate,
  { now, timeZone, cautions = [], counted = null }: ForeseenFor,
): ForeseenSchedule {
  const schedule = resolveSchedule(asked, { now, timeZone, setSeconds: set.seconds });
  const { sets, ends, actuations, bytes } = estimateSchedule(schedule, set);
  const caution = crossesSunrise(schedule, schedule.place, timeZone);
  return {
    schedule,
    words: [scheduleInWords(schedule, timeZone), ...(counted === null ? [] : [counted])].join(' '),
    estimate: { sets, ends: ends.toISOString(), actuations, bytes },
    cautions: [
      ...cautions.map((sentence) => ({ sentence, until: null })),
      ...(caution === null
        ? []
        : [
            {
              sentence: caution.sentence,
              until: caution.kind === 'crosses' ? caution.suggestedUntil : null,
            },
          ]),
    ],
  };
}

/** The time zone of this computer. */
export const zoneHere = (): string => Intl.DateTimeFormat().resolvedOptions().timeZone;
