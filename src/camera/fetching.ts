// Files on their way from the camera, piece by piece, the oldest file first, behind anything more urgent. Of
// releases it knows only that one is expected, and that between two pieces the body is listened to for files
// that it tells of.
import { setTimeout as sleep } from 'node:timers/promises';
import { asEvenrungError, type EvenrungError } from '../../shared/errors.js';
import type { ApartLimits, AskedPiece, BringOptions, FiredFrame, MadeFile, Piece } from './link.js';

/** A file that is here, or whose head is here. */
export interface BroughtFile extends FiredFrame {
  /** Its place in the camera; left out if the link does not tell. */
  readonly made?: MadeFile;
  /**
   * Only if its head is here and the rest is not: settles when all of it is here, and rejects if it does not
   * come (EvenrungError). Left out if the file is whole.
   */
  readonly whole?: Promise<void>;
  readonly partner?: BroughtFile;
}

/** How long a body that answers busy is asked again: its buffer empties as fast as its card can write. */
export const BUSY_MS = 30_000;
export const BUSY_PAUSE_MS = 20;
/**
 * Bytes that are asked for at a time while somebody waits to hear of the next file: 30 to 40 ms over the
 * slowest of cables.
 */
const SMALL_PIECE_BYTES = 1024 * 1024;
/** How long fetching waits for a release that is expected. */
const NEXT_PRESS_MS = 1500;
/** How many files may wait in the camera while frames are fired. */
const MOST_WAITING = 16;

/** A file on its way. */
interface Coming {
  readonly file: MadeFile;
  readonly to: string;
  brought: number;
  readonly done: () => void;
  readonly failed: (why: EvenrungError) => void;
  /** Settles when it is here or has failed; never rejects. */
  readonly settled: Promise<void>;
}

/** Settles when the expected call has come, or is no longer waited for; never rejects. */
interface Expected {
  readonly over: Promise<void>;
  readonly end: () => void;
}

export class Fetching {
  private readonly bring: (options: BringOptions) => Promise<Piece>;
  private readonly headBytes: number;
  /** Bytes that are asked for at a time. */
  pieceBytes: number;
  /** All the exposures of the current release together, in seconds. */
  exposing = 0;
  /**
   * Whether a burst is under way and another release follows it: the sooner its last file is heard of, the
   * shorter the gap between the frames.
   */
  isInHaste = false;
  /**
   * Whether for a while the link will only be asked for the rest of files: then a piece may be fetched before
   * it is asked for.
   */
  isUndisturbed = false;
  /** Files whose rest is still to come, oldest first. */
  private readonly coming: Coming[] = [];
  private isFetching = false;
  /** A release that is about to be made. The rest of files comes after it, while the shutter is open. */
  private nextPress: Expected | null = null;
  /**
   * Settles when the body has been listened to, and the heads of the files that it told of are here; null if
   * nobody listens. Never rejects.
   */
  private hearing: Promise<void> | null = null;

  constructor(bring: (options: BringOptions) => Promise<Piece>, { headBytes, pieceBytes }: ApartLimits) {
    this.bring = bring;
    this.headBytes = headBytes;
    this.pieceBytes = pieceBytes;
  }

  /** Whether anything is on its way. */
  get isUnderWay(): boolean {
    return this.isFetching;
  }

  /**
   * Brings the head of a file; the rest is fetched as soon as there is nothing more urgent to do.
   * @throws EvenrungError as Link.bring
   */
  async head(file: MadeFile, to: string, startedAt: number): Promise<BroughtFile> {
    const isWholeOnly = this.headBytes === 0;
    const most = isWholeOnly ? Number.MAX_SAFE_INTEGER : this.headBytes;
    const { bytes, isEnd } = await this.patiently(() => this.bring({ file, to, from: 0, most }));
    const seconds = (performance.now() - startedAt) / 1000;
    const said = file.bytes === null ? {} : { saidBytes: file.bytes };
    const known = { made: file, cameraName: file.name, storedAt: new Date().toISOString() };
    const brought = { path: to, seconds, ...known, ...said };
    if (isEnd) return brought;
    const { promise: whole, resolve: done, reject: failed } = deferred();
    // A failure reaches whoever waits for `whole`.
    const settled = whole.catch(() => undefined);
    this.coming.push({ file, to, brought: bytes, done, failed, settled });
    if (!this.isFetching) void this.fetchAll();
    return { ...brought, whole };
  }

  /**
   * No piece is asked for while the body is being listened to: the head of a file that it tells of comes
   * before the next piece, and the next frame is fired that much sooner.
   */
  async hearFirst<T>(hear: () => Promise<T>): Promise<T> {
    const { promise, resolve } = deferred();
    this.hearing = promise;
    try {
      return await hear();
    } finally {
      this.hearing = null;
      resolve();
    }
  }

  /** Fetches nothing until `pressed`, or until the expected release has been waited for long enough. */
  expectPress(): void {
    this.nextPress?.end();
    const { promise: over, resolve } = deferred();
    const end = () => {
      clearTimeout(timer);
      this.nextPress = null;
      resolve();
    };
    const timer = setTimeout(end, NEXT_PRESS_MS);
    this.nextPress = { over, end };
  }

  /** The expected release has been made, or is no longer waited for. */
  pressed(): void {
    this.nextPress?.end();
  }

  /**
   * Waits until nothing is being fetched. While the shutter is held open, the body must not be asked anything
   * that it may answer late: letting go of the button must not wait behind that.
   */
  async nothingToBring(): Promise<void> {
    this.nextPress?.end();
    while (this.coming.length > 0) await this.coming[0]?.settled;
  }

  async room(): Promise<void> {
    if (this.coming.length >= MOST_WAITING) this.nextPress?.end();
    while (this.coming.length >= MOST_WAITING) await this.coming[0]?.settled;
  }

  /**
   * Brings piece after piece, the oldest file first. A failure is passed to whoever waits for the file, and
   * the next file is tried. Never rejects.
   */
  private async fetchAll(): Promise<void> {
    this.isFetching = true;
    for (let one = this.coming[0]; one !== undefined; one = this.coming[0]) {
      await this.hearing;
      await this.nextPress?.over;
      const asked = this.pieceOf(one, one.brought);
      const next = this.isUndisturbed ? this.after(asked) : undefined;
      try {
        const piece = await this.patiently(() => this.bring({ ...asked, next }));
        one.brought += piece.bytes;
        if (!piece.isEnd) continue;
        one.done();
      } catch (cause) {
        one.failed(asEvenrungError(cause));
      }
      this.coming.shift();
    }
    // Reset in the same step in which nothing was left: a file that is added one step later has to find that
    // nobody is fetching any more.
    this.isFetching = false;
  }

  private pieceOf({ file, to }: Coming, from: number): AskedPiece {
    const most = this.isInHaste ? Math.min(SMALL_PIECE_BYTES, this.pieceBytes) : this.pieceBytes;
    return { file, to, from, most };
  }

  /**
   * @returns the piece that comes after the given one of the oldest file; undefined if there is none, or if
   *   the end of that file is not known
   */
  private after({ file, from, most }: AskedPiece): AskedPiece | undefined {
    const [oldest, following] = this.coming;
    if (oldest === undefined || file.bytes === null) return undefined;
    if (from + most < file.bytes) return this.pieceOf(oldest, from + most);
    return following && this.pieceOf(following, following.brought);
  }

  /** Some bodies send nothing while they expose, and say that they are busy. */
  private async patiently<T>(call: () => Promise<T>): Promise<T> {
    const until = performance.now() + BUSY_MS + this.exposing * 2000;
    for (;;) {
      try {
        return await call();
      } catch (cause) {
        if (asEvenrungError(cause).code !== 'body-busy' || performance.now() > until) throw cause;
        await sleep(BUSY_PAUSE_MS);
      }
    }
  }
}

function deferred() {
  let resolve: () => void = () => undefined;
  let reject: (why: EvenrungError) => void = () => undefined;
  const promise = new Promise<void>((done, failed) => {
    resolve = done;
    reject = failed;
  });
  return { promise, resolve, reject };
}
