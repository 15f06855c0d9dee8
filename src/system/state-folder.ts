// The state folder is made ready before anything is opened in it, with the file system's own word on why it is not.
import path from 'node:path';
import { EvenrungError } from '../../shared/errors.js';
import { whyRefused } from '../../shared/refused.js';
import { ELSEWHERE } from './refused.js';
import { writeWhole } from './whole-file.js';

const ABOUT = `Evenrung keeps here what has to outlive it.

journal/      what every run did, frame by frame: a database. Its files belong together.
as-found/     settings of cameras that have still to be put back.
camera-home/  what the camera's library remembers.
owner.lock    held by the Evenrung that runs here. owner.json says which one that is.

Nothing in here is a picture. While Evenrung does not run, the folder may be moved as a whole.
`;

/**
 * Makes the folder if it is missing, and proves that it can be written, by writing into it a file that says
 * what the folder is for.
 * @throws EvenrungError state-not-writable
 */
export async function makeReady(stateFolder: string): Promise<void> {
  try {
    await writeWhole(path.join(stateFolder, 'about.txt'), ABOUT);
  } catch (cause) {
    throw new EvenrungError(
      'state-not-writable',
      `The state folder ${stateFolder} cannot be written: ${whyRefused(cause)}. ${ELSEWHERE}`,
    );
  }
}
