// A station whose body lives in a camera process, as the daemon's does: the practice body, or a body at the
// virtual USB port.
import { EventLog, Station } from '../../src/station/index.js';
import { CAMERA_PROCESS } from '../built.js';
import { configIn, type StationOptions, setsIn, stateIn } from './station.js';

export type ProcessOptions = Partial<Omit<StationOptions, 'link' | 'finder' | 'log'>> &
  Pick<Partial<NonNullable<StationOptions['link']>>, 'deadlines'>;

/**
 * @param env the environment of the camera process
 * @returns a station that has not looked for its body yet
 */
export function stationOfProcess(
  root: string,
  env: Readonly<Record<string, string>>,
  { deadlines, events = new EventLog(), ...more }: ProcessOptions = {},
): { station: Station; events: EventLog } {
  const station = new Station({
    ...{ choice: 'usb', into: setsIn(root), stateFolder: stateIn(root), configFolder: configIn(root) },
    ...{ events, log: () => undefined },
    link: { entry: CAMERA_PROCESS, env: { ...env }, ...(deadlines === undefined ? {} : { deadlines }) },
    ...more,
  });
  return { station, events };
}
