// A camera on USB: the Link over libgphoto2, through the npm package gphoto2. It belongs in the camera
// process (one process, one object, one camera), because its native part can hang or crash. It knows nothing
// of dialects or plans.
//
// Writing the value that is already set (found in the sources of the binding 0.3.2 and of libgphoto2 2.5.30,
// and tried in tests/wire/both-ways.test.ts): the binding marks the setting as changed whatever its value is,
// and the library then writes it. So under the vendor extensions 0x0B and 0x0A and in plain PTP an equal
// write does reach the wire, and writing the bracket again is enough to arm it again. Exceptions:
// `capturetarget` under 0x0B is left alone if the body is already set to it, and the settings that bodies of
// 0x11 step through value by value are only moved if they differ.
//
// Reading back: in plain PTP the value is the body's own. Under 0x0B the library keeps the written value and
// corrects it only by what the body reports later: if a body silently ignores a write, reading does not show
// it, but only the records of the frames.
import { constants } from 'node:fs';
import { access, rm, stat, writeFile } from 'node:fs/promises';
import path from 'node:path';
import { asEvenrungError, EvenrungError } from '../../../shared/errors.js';
import { type Family, familyOf, isMoved, movesTarget } from '../library/families.js';
import { identityOf, theOne } from '../library/found.js';
import { FIRST_LOOK_AGAIN_MS, forgetsAt } from '../library/memory.js';
import { checkOffered, foundOtherwise, isTaken, noSuchSetting, shown } from '../library/offered.js';
import { bodyVanished, changingFailed, firingFailed, readingFailed } from '../library/result-codes.js';
import { flattenTree, type TreeSetting } from '../library/settings-tree.js';
import type {
  AttachedPort,
  BodyIdentity,
  ChangeOptions,
  FiredFrame,
  FireOptions,
  Link,
  LinkLimits,
  Setting,
  Settings,
} from '../link.js';
import { frameNotStored, nothingFired } from '../not-stored.js';
import { loadBinding, type NativeCamera, NativeFailure, promised } from './binding.js';

/**
 * The longest exposures whose file comes back, by the library's fixed wait that applies: 90 s under vendor
 * extension 0x0B, 70 s under 0x0A, 35 s under 0x11, or none at all (plain PTP, where the library waits for
 * the report without end). The rest of the wait is for release, storing and noise reduction, which may double
 * an exposure.
 */
const LONGEST_SECONDS: Readonly<Record<Family, number>> = { '0x0b': 60, '0x0a': 45, '0x11': 30, other: 30 };

/** A settings change on a body of 0x11 that reports it late, as the library remembers (tried over the virtual port). */
const SECONDS_PER_LATE_CHANGE = 2;
/** Time that such a body is given for a change that is not checked afterwards. From memory, no source. */
const LATE_CHANGE_MS = 350;
/** Bodies of 0x11 that are moved from setting to setting: a move and its report (tried over the virtual port). */
const SECONDS_PER_MOVE = 0.85;
/** From memory, no source: a settings change reads the tree three times and writes once. */
const SECONDS_PER_CHANGE = 0.4;
/** From memory, no source: release lag, the body's cycle, and some 25 MB over the cable, with the lens on manual focus. */
const SECONDS_PER_FRAME = 2;

// A camera object that was never opened crashes the process when it is collected, so these stay for good.
const keptForGood: NativeCamera[] = [];

/** Between two questions whether the body is still busy. */
const BUSY_LOOK_MS = 100;

/** A disk that takes no more than this is as good as full. */
const PROBE_BYTES = 64 * 1024;

const pause = (milliseconds: number) => new Promise<void>((resolve) => setTimeout(resolve, milliseconds));

async function listCameras(): Promise<readonly NativeCamera[]> {
  const { GPhoto2 } = await loadBinding();
  return new Promise((resolve) => new GPhoto2().list(resolve));
}

/**
 * @returns the attached bodies. The process that asked must not open any of them afterwards, and ends
 *   without letting go.
 * @throws EvenrungError usb-not-available
 */
export async function attachedOverBinding(): Promise<readonly AttachedPort[]> {
  const cameras = await listCameras();
  keptForGood.push(...cameras);
  return cameras.map(({ port, model }) => ({ port, model }));
}

/**
 * Finds the camera on USB. The first call opens it.
 * @param port where the camera is; if it is left out, it must be the only one
 * @throws EvenrungError usb-not-available, no-body, several-bodies (with the `ports` in its details)
 */
export async function openBindingLink(port?: string): Promise<Link> {
  const cameras = await listCameras();
  // Closes every camera that is not opened below; all of them if none is.
  let opened: NativeCamera | undefined;
  try {
    opened = theOne(cameras, port);
    return new BindingLink(opened);
  } finally {
    keptForGood.push(...cameras.filter((candidate) => candidate !== opened));
  }
}

class BindingLink implements Link {
  private camera: NativeCamera | undefined;
  private opened = false;
  /** The most settings that were ever read. */
  private mostSettings = 0;
  /**
   * Whether the library answers from memory after a write, so that the result is known only seconds later.
   */
  private tellsLate = false;

  constructor(camera: NativeCamera) {
    this.camera = camera;
  }

  async identify(): Promise<BodyIdentity> {
    return identityOf(await this.read(), this.native().model);
  }

  async readLimits(): Promise<LinkLimits> {
    const settings = await this.read();
    const family = familyOf(settings);
    this.tellsLate = family === '0x11';
    const moved = isMoved(settings);
    return {
      longestSeconds: LONGEST_SECONDS[family],
      secondsPerChange: family === '0x11' && !moved ? SECONDS_PER_LATE_CHANGE : SECONDS_PER_CHANGE,
      // Whether such a body leaps or walks is not on the wire: that it leaps is found by learning.
      secondsPerSetting: moved ? SECONDS_PER_MOVE : 0,
      secondsPerFrame: SECONDS_PER_FRAME,
      movesTarget: movesTarget(family),
      apart: null,
    };
  }

  async readSettings(): Promise<Settings> {
    const settings = await this.read();
    return new Map([...settings].map(([name, setting]) => [name, shown(setting)]));
  }

  /** Writes even a value that is set already, since arming a bracket again depends on it. */
  async changeSetting(
    name: string,
    value: string,
    { isProvedByFrames }: ChangeOptions = {},
  ): Promise<Setting> {
    // Read again each time. It costs little, and a write by label is safe only if it is checked against the
    // present choices: an unknown label may be taken for an index. Also, if the camera is gone, a read only
    // fails, while a write makes the binding free memory that it never had.
    const before = (await this.read()).get(name);
    if (before === undefined) throw noSuchSetting(name);
    checkOffered(before, value);
    await this.write(name, value);
    if (isProvedByFrames && this.tellsLate) {
      await pause(LATE_CHANGE_MS);
      return shown({ ...before, value });
    }
    const after = await this.readBack(before, value);
    if (isTaken(before, after.value, value)) return shown(after);
    throw foundOtherwise(name, value, after.value);
  }

  async fire({ into }: FireOptions): Promise<FiredFrame> {
    // The library makes the file only when the frame is there already: a bad folder must not cost a frame.
    await access(into, constants.W_OK).catch((cause: unknown) => {
      throw nothingFired(into, cause);
    });
    const started = performance.now();
    const targetPath = path.join(into, 'incoming.XXXXXX');
    let file: string;
    try {
      file = await this.ask<string>(firingFailed, (camera, callback) =>
        camera.takePicture({ download: true, keep: true, targetPath }, callback),
      );
    } catch (cause) {
      // The library tells a file that it could not write as a camera that it could not write to.
      await mustTakeMore(into);
      throw cause;
    }
    const seconds = (performance.now() - started) / 1000;
    // A file over 1 MB is fetched in pieces, and the library does not treat a piece that could not be written
    // as an error.
    await mustTakeMore(into);
    if ((await stat(file)).size === 0) {
      throw new EvenrungError(
        'frame-missing',
        'The camera sent an empty file. The frame may be on its card.',
        {
          released: true,
          file,
        },
      );
    }
    // The body tells the file's size over the wire, but the binding does not pass it on: here the size stays unknown.
    return { path: file, seconds };
  }

  /**
   * The binding has no close: the session is closed when the camera object is collected, which only a process that was
   * started with `--expose-gc` can bring about. The farewell runs over the wire within the collection, which blocks this
   * process until the body has answered or the library has given up (20 s a call): the caller needs a deadline.
   *
   * At the first answer that the body is busy the library gives the farewell up, and under 0x0B frames stay in the body's memory from
   * then on: connecting had moved their target, and only the farewell moves it back.
   */
  async letGo(busyMs = 0): Promise<void> {
    if (this.camera === undefined) return;
    if (!this.opened) keptForGood.push(this.camera);
    else await this.waitWhileBusy(busyMs);
    // No variable of this function may hold the camera: it would live through the collection.
    this.camera = undefined;
    if (this.opened && globalThis.gc !== undefined) await collectCameras(globalThis.gc);
  }

  private async waitWhileBusy(milliseconds: number): Promise<void> {
    const until = performance.now() + milliseconds;
    const isBusy = () =>
      this.read().then(
        () => false,
        (cause: unknown) => asEvenrungError(cause).code === 'body-busy',
      );
    while (performance.now() < until && (await isBusy())) await pause(BUSY_LOOK_MS);
  }

  private native(): NativeCamera {
    if (this.camera !== undefined) return this.camera;
    throw new EvenrungError('body-lost', 'The connection to the camera was closed.');
  }

  /** Calls the binding and gives its result codes their meaning. */
  private async ask<T>(
    meaning: (code: number) => EvenrungError,
    call: (camera: NativeCamera, callback: (code: number | undefined, value: T) => void) => void,
  ): Promise<T> {
    const camera = this.native();
    this.opened = true;
    try {
      return await promised<T>((callback) => call(camera, callback));
    } catch (cause) {
      throw cause instanceof NativeFailure ? meaning(cause.code) : cause;
    }
  }

  private async read(): Promise<Map<string, TreeSetting>> {
    const isFirst = this.mostSettings === 0;
    const tree = await this.ask<unknown>(
      (code) => readingFailed(code, isFirst),
      (camera, callback) => camera.getConfig(callback),
    );
    const settings = flattenTree(tree);
    // In plain PTP, settings that the body does not answer for are left out without an error. If the cable is
    // pulled, only those are left that the library remembers.
    if (settings.size * 2 < this.mostSettings) throw bodyVanished();
    this.mostSettings = Math.max(this.mostSettings, settings.size);
    return settings;
  }

  private async write(name: string, value: string): Promise<void> {
    try {
      await this.ask<undefined>(
        (code) => changingFailed(code, name, value),
        (camera, callback) => camera.setConfigValue(name, value, callback),
      );
    } catch (cause) {
      // A camera that is gone can look like one that refuses; but then it does not tell its settings either.
      if (asEvenrungError(cause).code === 'setting-not-taken') await this.read();
      throw cause;
    }
  }

  private async readBack(before: TreeSetting, value: string): Promise<TreeSetting> {
    const lookedAt = Date.now();
    const isThere = (setting: TreeSetting) => isTaken(before, setting.value, value);
    let found = await this.readOne(before.name);
    if (isThere(found)) return found;
    await pause(FIRST_LOOK_AGAIN_MS);
    found = await this.readOne(before.name);
    if (isThere(found)) return found;
    await pause(Math.max(0, forgetsAt(lookedAt) - Date.now()));
    return this.readOne(before.name);
  }

  /** A setting that was there a moment ago and is not any more: nobody answers for it. */
  private async readOne(name: string): Promise<TreeSetting> {
    const setting = (await this.read()).get(name);
    if (setting === undefined) throw bodyVanished();
    return setting;
  }
}

/**
 * Checks whether the frame that was just fetched can be relied on.
 * @throws EvenrungError storing-failed if the folder takes no more data
 */
async function mustTakeMore(into: string): Promise<void> {
  const probe = path.join(into, `.probe-${process.pid}`);
  try {
    await writeFile(probe, Buffer.alloc(PROBE_BYTES, 1));
  } catch (cause) {
    throw frameNotStored(into, cause);
  } finally {
    await rm(probe, { force: true }).catch(() => undefined);
  }
}

async function collectCameras(collect: () => unknown): Promise<void> {
  // The callbacks of the last call must have returned; finalisers run a turn after the collection.
  await pause(0);
  collect();
  await pause(0);
}
