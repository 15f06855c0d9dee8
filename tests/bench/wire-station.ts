// A Station as the daemon has it, watched, and one set at a time, for the bench `wire`.
import { readdir, rm } from 'node:fs/promises';
import path from 'node:path';
import type { WrittenSetRequest } from '../../shared/request.js';
import { EventLog, Station } from '../../src/run/index.js';
import type { LinkWatch } from './wire-watch.js';

export interface StationAt {
  /** The compiled entry of the camera process. */
  readonly cameraProcess: string;
  /** That the camera process finds the body by. */
  readonly environment: Readonly<Record<string, string>>;
  /** An existing folder that takes the sets, and everything else that a daemon keeps. */
  readonly into: string;
}

export function stationOn(
  watch: LinkWatch,
  { cameraProcess, environment, into }: StationAt,
): { station: Station; events: EventLog } {
  const events = new EventLog();
  events.watch(({ happening }) => watch.told(happening));
  const station = new Station({
    choice: 'usb',
    into,
    stateFolder: path.join(into, 'state'),
    configFolder: path.join(into, 'config'),
    events,
    log: () => undefined,
    link: { entry: cameraProcess, env: environment },
  });
  return { station, events };
}

/** When a set was asked for, and when its run had ended, with the settings put back and the record written; milliseconds. */
export interface Fired {
  readonly began: number;
  readonly ended: number;
}

/** @throws where the set is not complete */
export async function fireSet(
  station: Station,
  events: EventLog,
  request: WrittenSetRequest,
): Promise<Fired> {
  const began = performance.now();
  let ended = 0;
  const stop = events.watch(({ happening }) => {
    if (happening.type === 'run-state' && happening.endedAt !== null) ended = performance.now();
  });
  await station.start(request);
  await station.settled();
  stop();
  const { run } = events.state;
  if (run?.state !== 'complete') throw new Error(`A set was not completed: ${run?.sentence}`);
  return { began, ended };
}

/** The set folders of finished sets are of no use any more. */
export async function removeSets(into: string): Promise<void> {
  for (const name of await readdir(into))
    if (name.startsWith('set-')) await rm(path.join(into, name), { recursive: true });
}
