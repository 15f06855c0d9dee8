// A run on a schedule as marks in time order, one for each slot, and how far the base has moved. Pure.
import type { LineSet, ScheduleView } from '../../shared/state.js';

/** `not-made`: the schedule ended before its turn came. */
export type Went = 'complete' | 'incomplete' | 'missed' | 'in-hand' | 'to-come' | 'not-made';

export interface SlotMark {
  /** Counted from 0. */
  readonly slot: number;
  readonly went: Went;
  /** When the set began or should have begun, ms since 1970. */
  readonly at: number;
  readonly set: LineSet | null;
  /** From 0 for the base that lets in the least light of those shown to 1 for the most; null without a set. */
  readonly level: number | null;
}

export interface TimeLine {
  readonly marks: readonly SlotMark[];
  /** Slots before the first one shown, and behind the last. */
  readonly before: number;
  readonly behind: number;
  readonly counts: Readonly<Record<Went, number>>;
  /** EV by which the base has moved from the first set shown to the last; + lets in more light. */
  readonly moved: number;
}

/** More than can be told apart on a telephone; what lies farther off is counted. */
const MOST_MARKS = 500;
/** How many of those lie before the present. */
const MOST_BEFORE = 400;
/** If the base moves less than this, it is drawn as if the whole height were so many EV. */
const LEAST_SPAN_EV = 3;

export const isUnderWay = ({ state }: ScheduleView): boolean =>
  state === 'waiting' || state === 'firing' || state === 'held';

/** @param line the latest sets, the oldest first */
export function timeLineOf(view: ScheduleView, line: readonly LineSet[]): TimeLine {
  const { count } = view.schedule;
  const passed = passedIn(view);
  const known = new Map(line.map((set) => [set.slot, set]));
  // Slots before the beginning of the line were made or missed: nobody here can tell.
  const [oldest] = line;
  const reach = oldest !== undefined && oldest.ordinal > 1 ? oldest.slot : 0;
  const first = Math.max(reach, Math.min(passed - MOST_BEFORE, count - MOST_MARKS), 0);
  const levels = levelsOf(line);
  const length = Math.min(count - first, MOST_MARKS);
  const marks = Array.from({ length }, (_, index) => {
    const slot = first + index;
    const set = known.get(slot) ?? null;
    const at = Date.parse(view.schedule.start) + slot * view.schedule.everySeconds * 1000;
    return {
      slot,
      went: set === null ? withoutSet(view, slot < passed) : withSet(set),
      at: set === null ? at : Date.parse(set.startedAt),
      set,
      level: set === null ? null : (levels.get(set.set) ?? null),
    };
  });
  return {
    marks,
    before: first,
    behind: count - first - length,
    counts: countsOf(view, passed),
    moved: line.slice(1).reduce((sum, { shift }) => sum + shift, 0),
  };
}

/** @returns how many slots have had their turn */
function passedIn(view: ScheduleView): number {
  const { count } = view.schedule;
  if (view.state === 'complete') return count;
  return Math.min(count, Math.max(view.begun + view.missed, view.next?.index ?? 0));
}

function withSet({ state }: LineSet): Went {
  if (state === 'complete') return 'complete';
  return state === 'stopped' || state === 'halted' ? 'incomplete' : 'in-hand';
}

function withoutSet(view: ScheduleView, hasPassed: boolean): Went {
  if (hasPassed) return 'missed';
  return isUnderWay(view) ? 'to-come' : 'not-made';
}

function countsOf(view: ScheduleView, passed: number): Record<Went, number> {
  const inHand = view.state === 'firing' ? 1 : 0;
  const left = view.schedule.count - passed;
  return {
    complete: view.complete,
    incomplete: Math.max(0, view.begun - view.complete - inHand),
    missed: Math.max(0, passed - view.begun),
    'in-hand': inHand,
    'to-come': isUnderWay(view) ? left : 0,
    'not-made': isUnderWay(view) ? 0 : left,
  };
}

/** The level of every set, by its id. */
function levelsOf(line: readonly LineSet[]): ReadonlyMap<string, number> {
  let at = 0;
  const evs = line.map(({ shift }, index) => {
    if (index > 0) at += shift;
    return at;
  });
  const [least, most] = [Math.min(...evs), Math.max(...evs)];
  const span = Math.max(LEAST_SPAN_EV, most - least);
  const foot = (least + most - span) / 2;
  return new Map(line.map(({ set }, index) => [set, ((evs[index] ?? 0) - foot) / span]));
}

/** Marks in one row: as many as the narrowest screen has room for. */
const ROW = 25;

export function rowsOf(marks: readonly SlotMark[]): SlotMark[][] {
  const rows = Math.ceil(marks.length / ROW);
  return Array.from({ length: rows }, (_, row) => marks.slice(row * ROW, (row + 1) * ROW));
}
