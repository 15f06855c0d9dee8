// `serve --resume always`: a run that was cut off is resumed as soon as its camera is met. That may be long
// after the start: the camera may be switched off, or still be held by the camera process of the earlier
// program. It knows no camera.
import type { Logger } from 'pino';
import { asEvenrungError } from '../../shared/errors.js';
import type { EventLog, Station } from '../station/index.js';

/** @returns what ends it */
export function resumeWhenMet(
  station: Pick<Station, 'unfinished' | 'resume' | 'isRunning'>,
  events: Pick<EventLog, 'watch'>,
  log: Pick<Logger, 'warn'>,
): () => void {
  let said = '';
  let isTrying = false;
  const resume = async (): Promise<void> => {
    if (isTrying || station.isRunning) return;
    isTrying = true;
    try {
      if (station.unfinished() === null) unwatch();
      else await station.resume({ staysHeld: true });
    } catch (cause) {
      const { message } = asEvenrungError(cause);
      if (message !== said) log.warn(`The interrupted set is not resumed: ${message}`);
      said = message;
    } finally {
      isTrying = false;
    }
  };
  const unwatch = events.watch(({ happening }) => {
    // After the code that looked for the camera has finished.
    if (happening.type === 'body' && happening.body.state === 'ready') setImmediate(() => void resume());
  });
  return unwatch;
}
