// What the body tells: new files and the end of a release. The library hands over one event a call, and then
// forgets it; it is kept here until somebody listens.

import { readingFailed } from '../library/result-codes.js';
import type { Heard, MadeFile } from '../link.js';
import { CallFailure } from './calls.js';
import { EVENT, type FileInfo, type FilePath, INFO, type Out } from './gp.js';
import { ask, type Session } from './session.js';

/**
 * The library sleeps longer and longer while nothing comes, up to 200 ms, but not beyond the wait that it was asked for: many
 * short ones notice a file sooner.
 */
const TURN_MS = 10;
/** In plain PTP this becomes a wait for USB, where 0 would mean a wait without end. */
const LEAST_TURN_MS = 1;

/** Of a body that tells without end, and is not listened to. */
const MOST_KEPT = 1000;

/** The subject of one event. */
type Told = 'nothing' | 'file' | 'over' | 'else';

/**
 * The folder name for files that came whole with their event, and that only the library still has: the body
 * does not have them any more.
 */
const IN_MEMORY = '/';

/** Takes such a file out of the library's memory, which forgets it with the next one. */
export type Rescue = (path: FilePath) => Promise<MadeFile>;

/** So a size reads that does not fit into the 32 bits that it has over the wire. */
const TOO_LARGE_TO_TELL = 0xffffffff;

export class Ears {
  private readonly session: Session;
  private readonly rescue: Rescue;
  private made: MadeFile[] = [];
  private isOver = false;
  /** Whether the library makes the end of a release up: set as soon as the family of the body is known. */
  isEndMadeUp = false;
  /** Whether a release was made whose end has not been heard. */
  private mayTell = false;
  private closed = false;

  constructor(session: Session, rescue: Rescue) {
    this.session = session;
    this.rescue = rescue;
  }

  /** Whether nobody listens any more. */
  get isClosed(): boolean {
    return this.closed;
  }

  /** As Link.listen. @param isHeld whether the button is down */
  async listen(ms: number, isHeld: () => boolean): Promise<Heard> {
    const until = performance.now() + ms;
    for (;;) {
      const isOver = this.takeOver(isHeld());
      if (this.made.length > 0 || isOver) return { made: this.takeMade(), isOver };
      const left = until - performance.now();
      if ((await this.turn(Math.min(TURN_MS, left))) !== 'nothing') continue;
      if (left <= 0 || this.closed) return { made: [], isOver: false };
    }
  }

  /** Takes everything that the body has to tell by now; it is kept until somebody listens. */
  async catchUp(): Promise<void> {
    for (let turns = 0; turns < MOST_KEPT && (await this.turn(0)) !== 'nothing'; turns += 1);
  }

  /**
   * Before a release. Files that were told of meanwhile are kept for `listen`, since some releases begin with
   * the library dropping whatever is told. An end of a release that was told belongs to an earlier one, and
   * is not kept. If the release before was heard to its end, there is nothing of it to come, and each event
   * that is left would cost two transactions.
   */
  async beforeRelease(): Promise<void> {
    if (this.mayTell) await this.catchUp();
    this.isOver = false;
    this.mayTell = true;
  }

  /**
   * Under 0x11 the library says that a release is over whenever it has fetched the last file that the body had by then, also between
   * two frames of a burst. While the button is held that says nothing: it is kept until the button is up.
   */
  private takeOver(isHeld: boolean): boolean {
    if (!this.isOver || (this.isEndMadeUp && isHeld)) return false;
    this.isOver = false;
    return true;
  }

  /**
   * Sets aside the files that were told of so far.
   * @returns a function that puts them back, before those that have been told of since
   */
  setAside(): () => void {
    const before = this.takeMade();
    return () => {
      this.made.unshift(...before);
    };
  }

  /** Puts back files that were taken and are not needed. */
  tellAgain(made: readonly MadeFile[]): void {
    this.made.unshift(...made);
  }

  /** Nobody listens any more: what waits returns. */
  close(): void {
    this.closed = true;
  }

  /**
   * One call: waits for one event, not longer.
   * @throws EvenrungError body-lost, body-busy
   */
  async turn(ms: number): Promise<Told> {
    const { gp } = this.session;
    const type: Out<number> = [null];
    const data: Out<bigint> = [null];
    try {
      await ask(
        this.session,
        gp.gp_camera_wait_for_event,
        Math.max(LEAST_TURN_MS, Math.ceil(ms)),
        type,
        data,
      );
      switch (type[0]) {
        case EVENT.timeout:
          return 'nothing';
        case EVENT.captureComplete:
          this.isOver = true;
          this.mayTell = false;
          return 'over';
        case EVENT.fileAdded:
          // More came after what was taken to be the end.
          if (this.isEndMadeUp) this.isOver = false;
          if (!data[0]) return 'else';
          await this.keep(gp.koffi.decode(data[0], gp.types.path) as FilePath);
          return 'file';
        default:
          return 'else';
      }
    } catch (cause) {
      throw cause instanceof CallFailure ? readingFailed(cause.code) : cause;
    } finally {
      if (data[0]) gp.free(data[0]);
    }
  }

  private async keep(path: FilePath): Promise<void> {
    const made = path.folder === IN_MEMORY ? await this.rescue(path) : await this.onCard(path);
    if (this.made.length < MOST_KEPT) this.made.push(made);
  }

  /** Its size came with its name, so that asking for it costs nothing. */
  private async onCard({ folder, name }: FilePath): Promise<MadeFile> {
    const { gp } = this.session;
    const info: Partial<FileInfo> = {};
    await ask(this.session, gp.gp_camera_file_get_info, folder, name, info).catch((cause: unknown) => {
      if (!(cause instanceof CallFailure)) throw cause;
    });
    return { folder, name, bytes: sizeOf(info) };
  }

  private takeMade(): MadeFile[] {
    const { made } = this;
    this.made = [];
    return made;
  }
}

/** @returns bytes; null if the body does not tell them */
export function sizeOf({ file }: Partial<FileInfo>): number | null {
  if (file === undefined || (file.fields & INFO.size) === 0) return null;
  const size = Number(file.size);
  return size > 0 && size < TOO_LARGE_TO_TELL ? size : null;
}
