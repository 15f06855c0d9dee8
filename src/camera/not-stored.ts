// A frame that cannot be stored, as every link says it.
import { EvenrungError } from '../../shared/errors.js';
import { untilStored, whyRefused } from '../../shared/refused.js';

/** @returns the shutter was not touched */
export function nothingFired(into: string, cause: unknown): EvenrungError {
  return new EvenrungError(
    'storing-failed',
    `Nothing was fired, because the folder ${into} takes no files: ${whyRefused(cause)}. ${untilStored(cause)}`,
    { released: false },
  );
}

/** @returns the shutter was released, and the file of the frame is lost on its way */
export function frameNotStored(into: string, cause: unknown): EvenrungError {
  return new EvenrungError(
    'storing-failed',
    `The frame was taken, but could not be stored in ${into}: ${whyRefused(cause)}. It may still be on the card. ${untilStored(cause)}`,
    { released: true },
  );
}
