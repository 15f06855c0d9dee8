// Puts the station together from its parts.
import { isDeepStrictEqual } from 'node:util';
import { BodyInHand, BodyReport, type Finder, type FinderOptions, type ToldOfBody } from '../bodies/index.js';
import type { BodyLimits } from '../exposure/index.js';
import type { Naming } from '../frames/index.js';
import type { Journal } from '../journal/index.js';
import type { Judge, ProcessOptions } from '../light/index.js';
import type { Sleep } from '../series/index.js';
import { type Clock, systemClock } from '../system/index.js';
import type { Alarm } from './alarm.js';
import type { EventLog } from './event-log.js';
import { Firing } from './firing.js';
import { SetFolders } from './folders.js';
import { Idle } from './idle.js';
import { LateProofs } from './late-proofs.js';
import { OneAtATime } from './one-at-a-time.js';
import type { Parts } from './parts.js';
import { Planner } from './planner.js';
import { Sounder } from './sounder.js';

export interface StationOptions extends FinderOptions {
  /** The folder in which set folders are made. */
  readonly into: string;
  readonly events: EventLog;
  /** Serial number or model of the camera, if several may be attached. */
  readonly camera?: string | undefined;
  /** Narrows the body's limits to what the command line allows. */
  readonly narrow?: (limits: BodyLimits) => BodyLimits;
  /**
   * Milliseconds between two looks for a camera that is not there; if it is left out, nobody looks until told
   * to.
   */
  readonly lookAgainMs?: number;
  /** Finds the body, in place of a Finder with these options. */
  readonly finder?: Pick<Finder, 'find' | 'profiles'> & Partial<Pick<Finder, 'findDirectly'>>;
  /** Keeps what runs do; whoever provides it owns the state folder. If it is left out, nothing is kept. */
  readonly journal?: Journal | undefined;
  /** As RunOptions.patienceMs. */
  readonly patienceMs?: number;
  /** How set folders and frame files are named; the usual way if it is left out. */
  readonly naming?: Naming | undefined;
  /** Calls for somebody when a run ends early. */
  readonly alarm?: Pick<Alarm, 'raise'> | undefined;
  /** Opens a judge that looks at the light of a set's pictures. If it is left out, nothing judges them. */
  readonly openJudge?: (() => Judge) | undefined;
  /** The clocks that schedules go by; the computer's if they are left out. */
  readonly clock?: Clock;
  readonly sleep?: Sleep;
  /** Where to find the process that looks at pictures, if it is not beside the program. */
  readonly light?: ProcessOptions;
}

export function partsOf(
  options: StationOptions,
  finder: Pick<Finder, 'find'> & Partial<Pick<Finder, 'findDirectly'>>,
): Parts {
  const { into, events, journal, naming, patienceMs, alarm, log, stateFolder, narrow, sleep, openJudge } =
    options;
  const { clock = systemClock(), camera = null, lookAgainMs } = options;
  const one = new OneAtATime(log);
  const report = new BodyReport({ into, tell: (told) => tellOfBody(events, one, told) });
  const bodies = new BodyInHand({ finder, report, camera, lookAgainMs });
  const planner = new Planner({ bodies, report, one, clock, narrow });
  const folders = new SetFolders({ into, stateFolder, journal, naming, log });
  const idle = new Idle();
  const firing = new Firing({
    one,
    idle,
    bodies,
    report,
    events,
    journal,
    naming,
    patienceMs,
    alarm,
    log,
    openJudge,
  });
  const sounder = new Sounder(
    { stateFolder, light: options.light },
    { one, bodies, report, planner, events, idle },
  );
  const lateProofs = new LateProofs({
    ...{ journal, openJudge, events, idle, log },
    ownProofs: () => firing.proved(),
    swept: () => folders.swept(),
  });
  return {
    one,
    bodies,
    report,
    planner,
    folders,
    firing,
    sounder,
    idle,
    lateProofs,
    events,
    journal,
    alarm,
    clock,
    sleep,
    log,
  };
}

/**
 * How long disk, card and battery last is told only if it has changed. A series knows how many sets are to
 * come, and tells it itself.
 */
function tellOfBody(events: EventLog, one: OneAtATime, told: ToldOfBody): void {
  if (told.type === 'watch' && (one.isInSeries || isDeepStrictEqual(told.watch, events.state.watch))) return;
  events.tell(told);
}
