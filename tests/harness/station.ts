// A station over a body in this process, with folders of its own below one root. It finds its body, owes
// settings and keeps things as the daemon does.
import path from 'node:path';
import { AsFoundStore } from '../../src/bodies/as-found.js';
import { ProfileStore } from '../../src/bodies/profiles.js';
import { Body, type Link } from '../../src/camera/index.js';
import type { BodyLimits } from '../../src/exposure/index.js';
import { EventLog, Station } from '../../src/station/index.js';

export type StationOptions = ConstructorParameters<typeof Station>[0];

export interface OpenOptions extends Partial<Omit<StationOptions, 'finder'>> {
  /** Replaces the body's limits by others. */
  readonly see?: (limits: BodyLimits) => BodyLimits;
}

export interface OpenStation {
  readonly station: Station;
  readonly events: EventLog;
  /** The lines that it wrote to the log. */
  readonly logged: readonly string[];
}

export const setsIn = (root: string): string => path.join(root, 'sets');
export const stateIn = (root: string): string => path.join(root, 'state');
export const configIn = (root: string): string => path.join(root, 'config');

/**
 * @param link the link by which the body is met each time that it is looked for
 * @returns a station that has not looked for its body yet
 */
export function stationOver(root: string, link: Link, options: OpenOptions = {}): OpenStation {
  const { see, events = new EventLog(), ...more } = options;
  const logged: string[] = [];
  const asFound = new AsFoundStore(path.join(stateIn(root), 'as-found'));
  const station = new Station({
    ...{ choice: 'practice', into: setsIn(root), stateFolder: stateIn(root), configFolder: configIn(root) },
    ...{ events, log: (line) => logged.push(line), patienceMs: 1000 },
    finder: {
      profiles: new ProfileStore(configIn(root), () => undefined),
      find: async () => {
        const body = await Body.meet(link, {
          owed: (identity) => asFound.read(identity),
          keepDebts: (identity, debts) => asFound.write(identity, debts),
        });
        if (see !== undefined) Object.defineProperty(body, 'limits', { value: see(body.limits) });
        return { notes: [], body };
      },
    },
    ...more,
  });
  return { station, events, logged };
}

/** As stationOver(), but it has already told of runs that were cut off, and has met its body. */
export async function openStation(root: string, link: Link, options: OpenOptions = {}): Promise<OpenStation> {
  const made = stationOver(root, link, options);
  made.station.tellUnfinished();
  await made.station.look();
  return made;
}
