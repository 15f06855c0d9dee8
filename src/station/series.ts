// A run on a schedule, put together and carried out: the sequence of its slots, and the sets made with the
// body that the daemon holds.
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import type { SetRequest } from '../../shared/request.js';
import type { RunView } from '../../shared/state.js';
import type { Body } from '../camera/index.js';
import {
  type Hands,
  type ScheduledMemo,
  type ScheduledOptions,
  ScheduledSets,
  Sequence,
  type SequenceEnd,
  type SequenceOptions,
} from '../series/index.js';
import { freeBytesIn } from '../system/index.js';
import type { Halt } from './alarm-notice.js';
import type { BegunRun } from './firing.js';
import type { Parts } from './parts.js';
import { whileAwake } from './while-awake.js';

export interface SeriesAsked {
  readonly run: string;
  readonly request: SetRequest;
  readonly kept: ScheduledOptions;
  readonly body: Body;
  readonly startedBy: string;
  /** The memo that an earlier program left of the run. */
  readonly memo?: ScheduledMemo;
}

type ForSets = Pick<Parts, 'bodies' | 'report' | 'planner' | 'folders' | 'firing' | 'events' | 'journal'>;

export function setsOf(parts: ForSets, asked: SeriesAsked): ScheduledSets {
  const { bodies, report, planner, folders, firing, events, journal } = parts;
  const { run, request, body, startedBy, memo } = asked;
  const { labels, light, span, foreseen } = asked.kept;
  const hands: Hands = {
    body: () => bodies.anew(body.identity),
    look: () => bodies.awake(body.identity),
    plan: (set) => planner.plan(set),
    conditionsOf: (set) => planner.conditionsOf(set, bodies.must()),
    limitsOf: (on) => planner.limitsOf(on),
    folder: (set) => folders.make(run, set),
    makeRun: (made) => firing.makeRun({ id: run, startedBy, limits: planner.limitsOf(made.body), ...made }),
    carryOut: (made, on) => firing.fire(made, on),
    freeBytes: () => freeBytesIn(folders.into),
    tellWatch: (watch) => events.tell({ type: 'watch', watch }),
  };
  if (memo !== undefined) report.restock(body.identity, memo.stock);
  const stock = report.stockOf(body.identity);
  return new ScheduledSets({
    ...{ run, request, labels, light, span, hands, stock, journal, memo },
    schedule: foreseen.schedule,
  });
}

export function sequenceOf(
  { events, journal, clock, sleep, log }: Pick<Parts, 'events' | 'journal' | 'clock' | 'sleep' | 'log'>,
  { run, kept: { foreseen, maySleep } }: SeriesAsked,
  sets: ScheduledSets,
  begun?: SequenceOptions['begun'],
): Sequence {
  const unlessRefused = (what: string, work: () => void) => {
    try {
      work();
    } catch (cause) {
      log(`${what} could not be written down: ${asEvenrungError(cause).message}`);
    }
  };
  return new Sequence({
    ...{ run, foreseen, maySleep, maker: sets, clock, sleep },
    tell: (happening) => events.tell(happening),
    keepNote: (note) => unlessRefused('A note on the schedule', () => journal?.addRunNote(run, note)),
    keepMemo: (memo) => unlessRefused('Whether the schedule is paused', () => sets.keep(memo)),
    ...(begun === undefined ? {} : { begun }),
  });
}

/** Works through the slots of the run; returns at once. */
export function carryOutSeries(
  { one, bodies, firing, events, alarm }: Pick<Parts, 'one' | 'bodies' | 'firing' | 'events' | 'alarm'>,
  { run: id, startedBy }: SeriesAsked,
  sequence: Sequence,
): BegunRun {
  const begun: { id: string; error: EvenrungError | null } = { id, error: null };
  one.fire(startedBy, { is: 'series', sequence }, async () => {
    const end = await whileAwake('Bracketed sets are being shot.', sequence, () => sequence.carryOut());
    if (end.error !== null) begun.error = new EvenrungError(end.error, end.sentence);
    firing.endInJournal(id, end);
    if (end.early) alarm?.raise(haltOf(id, end, events.state.run));
    // From now on, disk, card and battery are judged by single sets again.
    await bodies.tell();
  });
  return begun;
}

/** @param view of the set that was fired last */
const haltOf = (run: string, { state, error, sentence }: SequenceEnd, view: RunView | null): Halt => ({
  ...{ run, state: state === 'halted' ? 'halted' : 'stopped', error, sentence },
  folder: view?.folder ?? null,
  verified: view?.frames.filter((frame) => frame.state === 'verified').length ?? 0,
  frames: view?.frames.length ?? 0,
});
