// Files on their way from the camera: piece after piece, the oldest file first, behind whatever is more urgent. Of a release it knows only
// that one is expected, and that what the body tells of it is heard between two pieces.
import { setTimeout as sleep } from 'node:timers/promises';
import { asEvenrungError, type EvenrungError } from '../../shared/errors.js';
import type { ApartLimits, AskedPiece, BringOptions, FiredFrame, MadeFile, Piece } from './link.js';

/** A file that is here, or whose head is. */
export interface BroughtFile extends FiredFrame {
  /** Where it is in the camera; left out if the link does not tell. */
  readonly made?: MadeFile;
  /**
   * Only its head is there so far: settles when all of it is, and rejects if it does not come (EvenrungError). Left out if it is whole.
   */
  readonly whole?: Promise<void>;
  readonly partner?: BroughtFile;
}

/** How long a body that answers busy is asked again: its buffer empties at the pace of its card. */
export const BUSY_MS = 30_000;
export const BUSY_PAUSE_MS = 20;
/** What comes at a time while somebody waits for the next file to be told of: 30 to 40 ms over a cable as slow as they are. */
const SMALL_PIECE_BYTES = 1024 * 1024;
/** A release that is expected, and does not come within this, is waited for no longer. */
const NEXT_PRESS_MS = 1500;
/** So many files may wait in the camera while frames are fired. */
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

/** Settles when it has come, or is waited for no longer; never rejects. */
interface Expected {
  readonly over: Promise<void>;
  readonly end: () => void;
}

export class Fetching {
  private readonly bring: (options: BringOptions) => Promise<Piece>;
  private readonly headBytes: number;
  /** Bytes that are asked for at a time. */
  pieceBytes: number;
  /** All the exposures of the release in hand, in seconds. */
  exposing = 0;
  /** Whether a burst is under way that another release comes after: the sooner its last file is heard of, the closer the frames are. */
  isInHaste = false;
  /** Whether nothing is going to be asked of the link for a while but the rest of files: then a piece may be fetched before it is asked for. */
  isUndisturbed = false;
  /** Files whose rest is still to come, oldest first. */
  private readonly coming: Coming[] = [];
  private isFetching = false;
  /** A release that is about to be pressed: the rest of files comes after it, while the shutter is open. */
  private nextPress: Expected | null = null;
  /** Settles when the body has been heard, and the heads of what it told of are here; null if nobody listens. Never rejects. */
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

  /** The head of a file; the rest is fetched as soon as nothing more urgent is asked. @throws EvenrungError as Link.bring */
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
    // Whoever waits for it hears of it.
    const settled = whole.catch(() => undefined);
    this.coming.push({ file, to, brought: bytes, done, failed, settled });
    if (!this.isFetching) void this.fetchAll();
    return { ...brought, whole };
  }

  /**
   * No piece is asked for while the body is being heard: the head of a file that it tells of comes before the next piece, and the next frame
   * is fired so much sooner.
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

  /** Nothing is fetched until `pressed`, or until nobody believes in that release any more. */
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

  /** The release that was expected came, or is waited for no longer. */
  pressed(): void {
    this.nextPress?.end();
  }

  /** While the shutter is held open nothing is asked that a body may answer late: what lets it go must not wait behind that. */
  async nothingToBring(): Promise<void> {
    this.nextPress?.end();
    while (this.coming.length > 0) await this.coming[0]?.settled;
  }

  async room(): Promise<void> {
    if (this.coming.length >= MOST_WAITING) this.nextPress?.end();
    while (this.coming.length >= MOST_WAITING) await this.coming[0]?.settled;
  }

  /**
   * Brings piece after piece, the oldest file first. What fails is told to whoever waits for the file, and the next one is tried. Never
   * rejects.
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
    // In the same step in which nothing was left: a file that comes a step later has to find that nobody fetches any more.
    this.isFetching = false;
  }

  private pieceOf({ file, to }: Coming, from: number): AskedPiece {
    const most = this.isInHaste ? Math.min(SMALL_PIECE_BYTES, this.pieceBytes) : this.pieceBytes;
    return { file, to, from, most };
  }

  /** @returns the piece that comes after one of the oldest file; undefined if there is none, or if nobody knows where that file ends */
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
