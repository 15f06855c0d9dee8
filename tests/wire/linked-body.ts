// A practice body on the virtual USB port and a link to it through everything real: camera process, binding or direct calls, libgphoto2.
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';
import type { LinkWay } from '../../src/camera/link.js';
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

/** The ways to libgphoto2, as tests that take each go through them. */
export const WAYS = ['binding', 'direct'] as const satisfies readonly LinkWay[];

/** Plugs a body in, gives the test a link to it, and ends both whatever happens. Options as of plugIn. */
export async function withLinkedBody(
  name: FaceName,
  during: (linked: LinkedBody) => Promise<void>,
  options: Partial<PracticeOptions> & { readonly way?: LinkWay } = {},
): Promise<void> {
  const { way = 'binding', ...practice } = options;
  const plugged = await plugIn(name, practice);
  const folder = await mkdtemp(path.join(tmpdir(), 'evenrung-link-'));
  const printed: string[] = [];
  const link = new SupervisedLink({
    kind: 'usb',
    way,
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
