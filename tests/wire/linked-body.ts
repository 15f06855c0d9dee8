// A practice body on the virtual USB port and a link to it through everything real: camera process, binding, libgphoto2.
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';
import type { PracticeOptions } from '../../src/camera/practice/model.js';
import { SupervisedLink } from '../../src/camera/process/supervised-link.js';
import { CAMERA_PROCESS } from '../built.js';
import { type FaceName, type PluggedBody, plugIn } from './ptp/plugged-body.js';

export interface LinkedBody extends PluggedBody {
  readonly link: SupervisedLink;
  /** A folder for frames, empty at first. */
  readonly into: string;
  /** What the camera process printed. */
  readonly printed: readonly string[];
}

/** Plugs a body in, gives the test a link to it, and ends both whatever happens. Options as of plugIn. */
export async function withLinkedBody(
  name: FaceName,
  during: (linked: LinkedBody) => Promise<void>,
  options: Partial<PracticeOptions> = {},
): Promise<void> {
  const plugged = await plugIn(name, options);
  const folder = await mkdtemp(path.join(tmpdir(), 'evenrung-link-'));
  const printed: string[] = [];
  const link = new SupervisedLink({
    kind: 'usb',
    home: path.join(folder, 'home'),
    log: (line) => printed.push(line),
    // As compiled: the binding wants Node itself, not a test runner.
    entry: CAMERA_PROCESS,
    env: plugged.environment,
  });
  try {
    const into = await mkdtemp(path.join(folder, 'frames-'));
    await during({ ...plugged, link, into, printed });
  } finally {
    await link.letGo();
    await plugged.remove();
    await rm(folder, { recursive: true, force: true });
  }
}
