// A run on a schedule through dusk, as a daemon would tell of it.
import type { DaemonState, LineSet, ScheduleView } from '../../shared/state.js';

const SHUTTERS = ['1/60', '1/50', '1/40', '1/30', '1/25', '1/20', '1/15', '1/13', '1/10', '1/8'];
const EVERY_SECONDS = 240;

export interface Scene {
  readonly count: number;
  /** Slots that have had their turn. */
  readonly passed: number;
  readonly missed?: readonly number[];
  readonly incomplete?: readonly number[];
  readonly firing?: boolean;
}

/** A dusk: the base moves by a third of an EV each time that a tenth of the slots has passed. */
export function dusk({
  count,
  passed,
  missed = [],
  incomplete = [],
  firing = false,
}: Scene): Pick<DaemonState, 'schedule' | 'line'> {
  const start = Date.now() - (passed - 0.5) * EVERY_SECONDS * 1000;
  const at = (slot: number) => new Date(start + slot * EVERY_SECONDS * 1000).toISOString();
  const stepOf = (slot: number) => Math.floor((slot * SHUTTERS.length) / count);
  const line = Array.from({ length: passed }, (_, slot) => slot)
    .filter((slot) => !missed.includes(slot))
    .map((slot, index, slots): LineSet => {
      const state = incomplete.includes(slot)
        ? 'halted'
        : firing && slot === passed - 1
          ? 'firing'
          : 'complete';
      const before = slots[index - 1];
      return {
        ...{ set: `set-${slot}`, ordinal: index + 1, slot, startedAt: at(slot), endedAt: null, state },
        ...{ verified: state === 'complete' ? 9 : 4, frames: 9, iso: '100', sentence: null },
        shutter: SHUTTERS[stepOf(slot)] ?? '',
        shift: before === undefined ? 0 : (stepOf(slot) - stepOf(before)) / 3,
      };
    });
  const schedule: ScheduleView = {
    schedule: {
      ...{ start: at(0), everySeconds: EVERY_SECONDS, count, end: null, overrun: 'skip' },
      ...{ setSeconds: 9, place: null },
    },
    words: '',
    estimate: { sets: count, ends: at(count), actuations: 9 * count, bytes: null },
    cautions: [],
    run: 'run-of-dusk',
    state: firing ? 'firing' : 'waiting',
    next: firing ? null : { index: passed, at: at(passed) },
    begun: line.length,
    complete: line.filter(({ state }) => state === 'complete').length,
    missed: missed.length,
    ...{ notes: [], sentence: null, error: null, endedAt: null, early: false },
  };
  return { schedule, line };
}

export const withDusk = (scene: Scene) => (state: DaemonState) => ({ ...state, ...dusk(scene), run: null });
