// `fire --at ADDRESS`: a daemon that runs there fires, and its events go by here as if it were fired here.
import { ERRORS } from '../../shared/error-codes.js';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import { ENDED } from '../../shared/fold.js';
import type { WrittenRunRequest } from '../../shared/run-request.js';
import type {
  DaemonState,
  ForeseenSchedule,
  Happening,
  NumberedEvent,
  ScheduleView,
} from '../../shared/state.js';
import { type Connection, DaemonClient } from './elsewhere/daemon-client.js';
import { sessionFor } from './elsewhere/daemon-session.js';
import { onStopSignal, STOPPED } from './process.js';
import { printJson, wordsPrinter } from './words/fire-words.js';
import { isOver } from './words/schedule-words.js';

const NOT_STOPPED =
  'The laptop does not answer, so it could not be told to stop. If it still runs, the set goes on there.';

/** Of the connection to the laptop, while a run is followed. */
const connectionInWords = ({ origin }: URL, say: (line: string) => void): Connection => ({
  lost: (seconds) => say(`Lost the laptop at ${origin}: trying again, for at most ${seconds} s.`),
  back: () => say('Connected to the laptop again.'),
});

const STOPPING_THERE =
  'Stopping there: the current frame is finished (a long bulb exposure is cut short), then the settings are put back.';

export interface FireAt {
  readonly address: string;
  readonly json: boolean;
  /** @returns the request to begin, once its schedule has been foreseen */
  readonly foreseen: (
    foresee: (asked: WrittenRunRequest) => Promise<ForeseenSchedule>,
  ) => Promise<WrittenRunRequest>;
  /** @returns the exit code of a schedule that has ended */
  readonly endOfSchedule: (schedule: ScheduleView, stopped: boolean) => number;
}

/**
 * @returns the exit code
 * @throws EvenrungError the daemon's own; daemon-unreachable
 */
export async function fireAt({ address, json, foreseen, endOfSchedule }: FireAt): Promise<number> {
  const at = DaemonClient.addressIn(address);
  const daemon = new DaemonClient(at, await sessionFor(at));
  const request = await foreseen(
    async (asked) => (await daemon.press('/api/schedule', asked)) as ForeseenSchedule,
  );
  const words = json ? null : wordsPrinter();
  const print = words ?? printJson;
  // With --json, standard output has only events.
  const say = words?.say ?? ((line: string) => void process.stderr.write(`${line}\n`));
  let run: string | null = null;
  let stopped = false;
  let begun: Promise<string> | null = null;
  const forget = onStopSignal(() => {
    stopped = true;
    if (!json) process.stderr.write(`${STOPPING_THERE}\n`);
    // The run may have ended already when this is sent.
    void begun
      ?.then(() => daemon.press('/api/run/stop'))
      .catch((cause: unknown) => {
        if (asEvenrungError(cause).code === 'daemon-unreachable') say(NOT_STOPPED);
      });
  });
  /** Told before it was known which run is ours. */
  const early: NumberedEvent[] = [];
  let end: DaemonState | null = null;
  let isSeen = false;
  const tell = (event: NumberedEvent) => {
    if (run !== null && isOf(event.happening, run)) print(event);
  };
  try {
    await daemon.follow(
      async ({ state, event }) => {
        if (begun === null) {
          // The stream comes first: nothing of the run is missed.
          begun = daemon.press('/api/run', request).then((answer) => (answer as { run: string }).run);
          run = await begun;
          return false;
        }
        if (event !== null) early.push(event);
        for (const one of early.splice(0)) tell(one);
        if (run === null) return false;
        const isThere = state.run?.id === run || state.schedule?.run === run;
        if (isSeen && !isThere) throw lostSight();
        isSeen ||= isThere;
        if (!hasEnded(state, run, request.schedule !== undefined)) return false;
        end = state;
        return true;
      },
      connectionInWords(at, say),
    );
  } finally {
    forget();
  }
  return codeOf(end, { scheduled: request.schedule !== undefined, stopped, json, endOfSchedule });
}

function hasEnded({ run, schedule }: DaemonState, id: string, isScheduled: boolean): boolean {
  if (isScheduled) return schedule?.run === id && isOver(schedule.state);
  return run?.id === id && ENDED.has(run.state);
}

function codeOf(
  end: DaemonState | null,
  {
    scheduled,
    stopped,
    json,
    endOfSchedule,
  }: Pick<FireAt, 'json' | 'endOfSchedule'> & { scheduled: boolean; stopped: boolean },
): number {
  const { run = null, schedule = null } = end ?? {};
  if (scheduled) return schedule === null ? 1 : endOfSchedule(schedule, stopped);
  if (run?.state === 'stopped') return STOPPED;
  if (run === null || run.error === null) return 0;
  if (json)
    process.stdout.write(
      `${JSON.stringify(new EvenrungError(run.error, run.sentence ?? run.state).toWire())}\n`,
    );
  return ERRORS[run.error].exit;
}

const lostSight = () =>
  new EvenrungError(
    'daemon-unreachable',
    'The set ended, or was interrupted, while the laptop could not be reached: look in the panel.',
  );

function isOf(happening: Happening, id: string): boolean {
  switch (happening.type) {
    case 'body':
    case 'unfinished':
    case 'asked':
    case 'watch':
    case 'sounding':
      return false;
    case 'run':
      return happening.run.id === id;
    case 'schedule':
      return happening.schedule?.run === id;
    case 'line-set':
    case 'run-state':
    case 'pass':
    case 'frame':
    case 'trouble':
    case 'note':
    case 'light':
      return happening.run === id;
  }
}
