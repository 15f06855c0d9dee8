// A body that is open, or that the first call will open: its camera object, and the only way in which the
// rest of this folder calls the library for it. The callers turn result codes into errors, since their
// meaning depends on what was asked for.
import type { KoffiFunc } from 'koffi';
import { readingFailed } from '../library/result-codes.js';
import type { AttachedPort } from '../link.js';
import { CallFailure, Calls } from './calls.js';
import { search } from './found.js';
import type { Camera, Context, Out } from './gp.js';
import { type Gp, loadGphoto2 } from './load.js';

/** How many of the files that came whole the library keeps in memory: one is kept whatever is asked for. */
const FILES_IN_MEMORY = '0';

export interface Session {
  readonly gp: Gp;
  readonly calls: Calls;
  readonly context: Context;
  readonly camera: Camera;
  /**
   * @returns how many error texts the library has issued so far; those of a call are counted when it
   *   returns
   */
  textsTold(): number;
  /** @returns the last of them, in English whatever the system speaks; empty if there was none */
  lastText(): string;
  /** The port at which it was found, and its name there. */
  readonly port: AttachedPort;
  /** Whether it was opened. */
  isOpen(): boolean;
  /** Opens the body, unless it is open. @throws EvenrungError body-lost, body-busy */
  open(): Promise<void>;
  /** Closes the body if it was opened. Nothing may be called afterwards. */
  close(): Promise<void>;
}

/** A call's arguments between the camera and the context, which are the first and the last of them. */
type Between<Args extends unknown[]> = KoffiFunc<(...args: [Camera, ...Args, Context]) => number>;

/**
 * Calls the library for the body, which is opened before if it is not.
 * @throws CallFailure for a result code below 0
 */
export async function ask<Args extends unknown[]>(
  { calls, camera, context, open }: Session,
  call: Between<Args>,
  ...args: Args
): Promise<number> {
  await open();
  return calls.must<[Camera, ...Args, Context]>(call, camera, ...args, context);
}

/**
 * Asks for the storages, which reaches the body in any case: of a card the library only knows what it
 * remembers, and a body that is gone can look like one that has no such file.
 * @throws CallFailure if the body does not answer
 */
export async function mustBeThere(session: Session): Promise<void> {
  const { gp } = session;
  const storages: Out<bigint> = [null];
  try {
    await ask(session, gp.gp_camera_get_storageinfo, storages, [null]);
  } finally {
    if (storages[0]) gp.free(storages[0]);
  }
}

/**
 * @returns a context whose error texts go to standard error, marked as those that come back as result codes besides. They are
 *   one line each, whatever the body put into them.
 */
function newContext(gp: Gp): Pick<Session, 'context' | 'textsTold' | 'lastText'> {
  const context = gp.gp_context_new();
  let told = 0;
  let last = '';
  const tell = gp.koffi.register((_context: unknown, text: unknown) => {
    told += 1;
    last = oneLine(String(text));
    process.stderr.write(`### ${last}\n`);
  }, 'GPContextErrorFunc');
  gp.gp_context_set_error_func(context, tell, null);
  return { context, textsTold: () => told, lastText: () => last };
}

/** Longer texts say no more. */
const MOST_OF_A_TEXT = 500;

const oneLine = (text: string): string =>
  text
    .replace(/\p{C}+/gu, ' ')
    .slice(0, MOST_OF_A_TEXT)
    .trim();

/**
 * @param choose picks one of those that were found, or throws
 * @throws EvenrungError usb-not-available, and what `choose` throws
 */
export async function openSession(
  choose: (found: readonly AttachedPort[]) => AttachedPort,
): Promise<Session> {
  const gp = await loadGphoto2();
  const calls = new Calls();
  const { context, textsTold, lastText } = newContext(gp);
  gp.gp_setting_set('libgphoto', 'cached-images', FILES_IN_MEMORY);
  const searched = await search(gp, calls, context);
  try {
    const port = choose(searched.found);
    const camera = searched.camera(port);
    let isOpen = false;
    const open = async () => {
      if (isOpen) return;
      try {
        await calls.must(gp.gp_camera_init, camera, context);
      } catch (cause) {
        throw cause instanceof CallFailure ? readingFailed(cause.code, true) : cause;
      }
      isOpen = true;
    };
    const close = async () => {
      if (isOpen) await calls.run(gp.gp_camera_exit, camera, context);
      gp.gp_camera_unref(camera);
      gp.gp_context_unref(context);
    };
    return { gp, calls, context, camera, textsTold, lastText, port, isOpen: () => isOpen, open, close };
  } finally {
    searched.free();
  }
}

/**
 * @returns the attached bodies; none of them is opened
 * @throws EvenrungError usb-not-available
 */
export async function attachedDirectly(): Promise<readonly AttachedPort[]> {
  const gp = await loadGphoto2();
  const calls = new Calls();
  const { context } = newContext(gp);
  const searched = await search(gp, calls, context);
  searched.free();
  gp.gp_context_unref(context);
  return searched.found;
}
