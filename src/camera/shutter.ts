// Release and fetch as two things, over a link that takes them apart. A release is over when the body has told of what it made and the head
// of each file is here; the rest comes meanwhile, while the next frame is exposed. It knows neither brackets nor what a file should record.
import path from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import {
  type ApartLimits,
  type BringOptions,
  type Button,
  type FiredFrame,
  type Heard,
  type Link,
  type ListedFile,
  LOST,
  type MadeFile,
  type Piece,
  type PressOptions,
} from './link.js';

/** A link that takes release and fetch apart. */
export interface ApartLink {
  press(options: PressOptions): Promise<void>;
  unpress(): Promise<void>;
  listen(ms: number): Promise<Heard>;
  bring(options: BringOptions): Promise<Piece>;
  list(): Promise<readonly ListedFile[]>;
}

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

export interface ReleaseOptions {
  /** An existing folder that takes the files. */
  readonly into: string;
  /** How many frames it should make. */
  readonly frames: number;
  /** How many files each of them becomes: two if the body writes two formats. */
  readonly filesPerFrame: number;
  /** All the exposures that are about to be made, in seconds. */
  readonly exposureSeconds: number;
  /** What is held until the files are told of; null for the library's own release. */
  readonly button: Button | null;
  /** As in PressOptions. */
  readonly lettingGo?: PressOptions['lettingGo'];
  /** Seconds after which the link lets the button go by itself; null if it is held until the files are told of. */
  readonly holdSeconds: number | null;
  /** Whether another release is expected as soon as this one's heads have been looked at. */
  readonly isFollowed?: boolean | undefined;
  /**
   * Called with each file that the body tells of, before anything of it is fetched.
   * @param to the path that takes it
   */
  readonly made?: ((file: MadeFile, to: string) => void) | undefined;
  /** Called with each file that is whole while the release goes on. */
  readonly here?: ((file: BroughtFile) => void) | undefined;
}

/** What one release has brought. */
export interface Released {
  /** In the order in which the body told of them. */
  readonly files: readonly BroughtFile[];
  /** Why no more came; null if nothing went wrong. */
  readonly failure: EvenrungError | null;
}

/** How long a body that answers busy is asked again: its buffer empties at the pace of its card. */
const BUSY_MS = 30_000;
const BUSY_PAUSE_MS = 20;
/** How long the link listens at a time if nothing else is to be done. */
const LISTEN_MS = 100;
/** What a release may take beside twice its exposures: a body may double a long one by noise reduction. */
const RELEASE_MS = 20_000;
/** A bulb exposure that is through so soon is not cut short: it is a whole frame then. */
const SOON_MS = 10_000;
/** Clocks and messages are off by less: a file that comes sooner before the end of a bulb exposure is of another. */
const SURELY_OPEN_MS = 500;
/** Files may be told of a moment after the body has said that the release is over. */
const AFTER_OVER_MS = 2000;
/** What comes at a time while somebody waits for the next file to be told of: 30 to 40 ms over a cable as slow as they are. */
const SMALL_PIECE_BYTES = 1024 * 1024;
/** A release that is expected, and does not come within this, is waited for no longer. */
const NEXT_PRESS_MS = 1500;
/** So many files may wait in the camera while frames are fired. */
const MOST_WAITING = 16;
/** So many are remembered: a card that is emptied may begin its names anew. */
const MOST_FETCHED = 32;
const MOST_TOLD = 100;

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

/** A button that the link lets go by itself. All by performance.now(). */
interface Hold {
  readonly seconds: number;
  /** When it was pressed; null before that. */
  since: number | null;
  /** When it was let go before its time; null if it was not. */
  cutAt: number | null;
}

/** @returns the link's other half; null if it has none */
export function apartLink(link: Link): ApartLink | null {
  const { press, unpress, listen, bring, list } = link;
  if (!press || !unpress || !listen || !bring || !list) return null;
  return {
    press: press.bind(link),
    unpress: unpress.bind(link),
    listen: listen.bind(link),
    bring: bring.bind(link),
    list: list.bind(link),
  };
}

export class Shutter {
  private readonly link: ApartLink;
  private readonly limits: ApartLimits;
  /** Bytes that are asked for at a time. */
  pieceBytes: number;
  /** Files whose rest is still to come, oldest first. */
  private readonly coming: Coming[] = [];
  private isFetching = false;
  /** A release that is about to be pressed: the rest of files comes after it, while the shutter is open. */
  private nextPress: Expected | null = null;
  /** Settles when the body has been heard, and the heads of what it told of are here; null if nobody listens. Never rejects. */
  private hearing: Promise<void> | null = null;
  /** Whether a burst is under way that another release comes after: the sooner its last file is heard of, the closer the frames are. */
  private isInHaste = false;
  /** All the exposures of the release in hand, in seconds. */
  private exposing = 0;
  /** What is held for a time, from the press until its files are told of. */
  private hold: Hold | null = null;
  /** Of the files of the last release: what comes of it later is no file of the next. */
  private lastStems: ReadonlySet<string> = new Set();
  /** Of files that were fetched by themselves: a body may tell of them still, and they are no files of the release that follows. */
  private fetchedStems: readonly string[] = [];
  /** Files that the body told of, also for sets before: whoever looks for what nobody was told of does not look for them. */
  private toldOf: readonly string[] = [];
  /** Whether the last release may go on, although as many files were told of as it should make: one of them may be a file too many. */
  private mayGoOn = false;
  /** What was told of since, and taken by no release. */
  private readonly untaken: MadeFile[] = [];
  private count = 0;

  constructor(link: ApartLink, limits: ApartLimits) {
    this.link = link;
    this.limits = limits;
    this.pieceBytes = limits.pieceBytes;
  }

  get library(): string {
    return this.limits.library;
  }

  /** Never throws: what came and what went wrong are told together. */
  async release(options: ReleaseOptions): Promise<Released> {
    const files: BroughtFile[] = [];
    const startedAt = performance.now();
    this.exposing = options.exposureSeconds;
    const { frames, filesPerFrame, isFollowed = false } = options;
    this.isInHaste = isFollowed && frames > 1;
    /** Files of an earlier release, told of after it was given up, do not count for this one. */
    const take = async ({ made }: Heard) => {
      if (isFollowed && made.length > 0 && files.length + made.length >= frames * filesPerFrame)
        this.expectPress();
      // What was made is told before any of it is fetched: a cable that is pulled now must not cost the knowledge of the second file.
      const told = made.map((file) => ({ file, to: this.nextPath(options.into, file) }));
      this.toldOf = [...this.toldOf, ...made.map(placeOf)].slice(-MOST_TOLD);
      for (const { file, to } of told) options.made?.(file, to);
      for (const { file, to } of told) {
        const brought = await this.head(file, to, startedAt);
        files.push(brought);
        if (brought.whole === undefined) options.here?.(brought);
      }
    };
    let failure: EvenrungError | null = null;
    try {
      const { holdSeconds } = options;
      this.hold = holdSeconds === null ? null : { seconds: holdSeconds, since: null, cutAt: null };
      await this.room();
      const late = this.untaken.splice(0).filter((file) => !this.toldOf.includes(placeOf(file)));
      await take({ made: late, isOver: false });
      await take(await this.link.listen(0));
      if (holdSeconds !== null) await this.nothingToBring();
      const before = new Set([...this.lastStems, ...this.fetchedStems, ...files.map(stemOf)]);
      await this.press(options).finally(() => this.nextPress?.end());
      await this.pressed();
      failure = await this.hear(options, () => files.filter((file) => !before.has(stemOf(file))), take);
    } catch (cause) {
      failure = asEvenrungError(cause);
    }
    this.isInHaste = false;
    failure = await this.afterwards(options, failure);
    this.lastStems = new Set(files.map(stemOf));
    return { files: paired(files), failure };
  }

  /**
   * Brings a file whole that lies in the camera.
   * @param made called before anything of it is fetched
   * @throws EvenrungError as Link.bring
   */
  async fetch(
    file: MadeFile,
    into: string,
    made: (file: MadeFile, to: string) => void,
  ): Promise<BroughtFile> {
    const startedAt = performance.now();
    const to = this.nextPath(into, file);
    made(file, to);
    const brought = await this.head(file, to, startedAt);
    this.nextPress?.end();
    await brought.whole;
    this.toldOf = [...this.toldOf, placeOf(file)].slice(-MOST_TOLD);
    this.fetchedStems = [...this.fetchedStems, stemOf(brought)].slice(-MOST_FETCHED);
    const seconds = (performance.now() - startedAt) / 1000;
    const said = file.bytes === null ? {} : { saidBytes: file.bytes };
    return { path: to, seconds, made: file, cameraName: file.name, ...said };
  }

  /**
   * Lets go what is held for a time, if it would be held for long; what is about to be pressed so is not pressed.
   * @returns whether it let go
   * @throws EvenrungError body-lost, body-busy
   */
  async cutShort(): Promise<boolean> {
    const { hold } = this;
    if (hold === null || hold.cutAt !== null) return false;
    const now = performance.now();
    if ((hold.since ?? now) + hold.seconds * 1000 - now < SOON_MS) return false;
    hold.cutAt = now;
    if (hold.since === null) return false;
    await this.link.unpress();
    return true;
  }

  /** What lies on the card that the body has not told of lately. @throws EvenrungError as Link.list */
  async list(): Promise<readonly ListedFile[]> {
    await this.hearOut();
    const known = new Set(this.toldOf);
    return (await this.link.list()).filter((file) => !known.has(placeOf(file)));
  }

  /** What a burst makes after it was taken for over is on the card a moment later, and must not be fired again. */
  private async hearOut(): Promise<void> {
    const until = performance.now() + AFTER_OVER_MS;
    while (this.mayGoOn && performance.now() < until) {
      const { made, isOver } = await this.link.listen(LISTEN_MS);
      this.untaken.push(...made);
      if (isOver) break;
    }
    this.mayGoOn = false;
  }

  private nextPath(into: string, { name }: MadeFile): string {
    this.count += 1;
    // What a camera calls a file may be anything.
    const safe = name.replace(/[^\w.-]/g, '_');
    return path.join(into, `coming.${process.pid}-${Date.now()}-${this.count}.${safe}`);
  }

  /** A body whose buffer is full, or that writes, says that it is busy: nothing was released then, and it is asked again. */
  private async press({ button, holdSeconds, exposureSeconds, lettingGo }: ReleaseOptions): Promise<void> {
    const until = performance.now() + BUSY_MS;
    for (;;) {
      if (this.hold !== null && this.hold.cutAt !== null) throw notOpened();
      try {
        return await this.link.press({ button, holdSeconds, exposureSeconds, lettingGo });
      } catch (cause) {
        const { code } = asEvenrungError(cause);
        if (code !== 'body-busy' || performance.now() > until) throw cause;
        await sleep(BUSY_PAUSE_MS);
      }
    }
  }

  /** @returns what went wrong at all */
  private async afterwards({ button }: ReleaseOptions, failure: EvenrungError | null) {
    const { hold } = this;
    this.hold = null;
    const isHeld = button !== null && button.up.length > 0;
    if (!isHeld || (failure !== null && LOST.has(failure.code))) return failure;
    try {
      await this.link.unpress();
      return failure;
    } catch (cause) {
      // If its files are here the shutter has closed, whatever the body says to being let go (libgphoto2, issue 1259).
      return failure ?? (hold === null ? asEvenrungError(cause) : null);
    }
  }

  private async pressed(): Promise<void> {
    const { hold } = this;
    if (hold === null) return;
    hold.since = performance.now();
    // Somebody wanted it cut short while it was being pressed.
    if (hold.cutAt !== null) await this.link.unpress();
  }

  /** Whether no file can be of this exposure yet. */
  private isStillHeld(): boolean {
    const { hold } = this;
    if (hold === null || hold.since === null || hold.cutAt !== null) return false;
    return performance.now() < hold.since + hold.seconds * 1000 - SURELY_OPEN_MS;
  }

  /** Milliseconds that the exposures take, with dark frames as long as they are themselves, as far as is known by now. */
  private exposingMs(exposureSeconds: number): number {
    const { since = null, cutAt = null } = this.hold ?? {};
    return since === null || cutAt === null ? exposureSeconds * 2000 : (cutAt - since) * 2;
  }

  /** @returns why not all of the files were told of; null if they were */
  private async hear(
    { frames, filesPerFrame, exposureSeconds }: ReleaseOptions,
    came: () => readonly BroughtFile[],
    take: (heard: Heard) => Promise<void>,
  ): Promise<EvenrungError | null> {
    const since = performance.now();
    this.mayGoOn = false;
    let overAt: number | null = null;
    const isEarly = () => overAt === null && this.isStillHeld();
    // Of a release before that was given up.
    let early: ReadonlySet<string> = new Set();
    const counted = () => came().filter((file) => !early.has(stemOf(file)));
    while (isEarly() || wholeFrames(counted(), filesPerFrame) < frames) {
      const before = came().length;
      // While files are fetched, each call only looks: between two pieces of a file the body is heard.
      const heard = await this.hearFirst(async () => {
        const told = await this.link.listen(this.isFetching ? 0 : LISTEN_MS);
        await take(told);
        return told;
      });
      if (heard.isOver || (overAt !== null && came().length > before)) overAt = performance.now();
      if (overAt !== null) early = new Set();
      if (isEarly()) early = new Set(came().map(stemOf));
      const most = this.exposingMs(exposureSeconds);
      // A body may say that it is over, and take the dark frame of a bulb exposure then.
      const isDark = this.hold !== null && counted().length === 0;
      const afterOver = AFTER_OVER_MS + (isDark ? most : 0);
      const until = overAt === null ? since + RELEASE_MS + most : overAt + afterOver;
      if (performance.now() > until) {
        // A frame of which one file is here is made: what its other file is, is seen later.
        const made = wholeFrames(counted(), 1);
        return made < frames ? tooFew(made, frames) : null;
      }
      // The files on their way have their turn.
      await nextTurn();
    }
    this.mayGoOn = frames > 1 && overAt === null;
    return null;
  }

  /** The head of a file; the rest is fetched as soon as nothing more urgent is asked. */
  private async head(file: MadeFile, to: string, startedAt: number): Promise<BroughtFile> {
    const { headBytes } = this.limits;
    const isWholeOnly = headBytes === 0;
    const most = isWholeOnly ? Number.MAX_SAFE_INTEGER : headBytes;
    const { bytes, isEnd } = await this.patiently(() => this.link.bring({ file, to, from: 0, most }));
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
   * Brings piece after piece, the oldest file first. What fails is told to whoever waits for the file, and the next one is tried. Never
   * rejects.
   */
  private async fetchAll(): Promise<void> {
    this.isFetching = true;
    for (let one = this.coming[0]; one !== undefined; one = this.coming[0]) {
      await this.hearing;
      await this.nextPress?.over;
      const { file, to, brought } = one;
      const most = this.isInHaste ? Math.min(SMALL_PIECE_BYTES, this.pieceBytes) : this.pieceBytes;
      try {
        const piece = await this.patiently(() => this.link.bring({ file, to, from: brought, most }));
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

  /**
   * No piece is asked for while the body is being heard: the head of a file that it tells of comes before the next piece, and the next frame
   * is fired so much sooner.
   */
  private async hearFirst<T>(hear: () => Promise<T>): Promise<T> {
    const { promise, resolve } = deferred();
    this.hearing = promise;
    try {
      return await hear();
    } finally {
      this.hearing = null;
      resolve();
    }
  }

  private expectPress(): void {
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

  /** While the shutter is held open nothing is asked that a body may answer late: what lets it go must not wait behind that. */
  private async nothingToBring(): Promise<void> {
    this.nextPress?.end();
    while (this.coming.length > 0) await this.coming[0]?.settled;
  }

  private async room(): Promise<void> {
    if (this.coming.length >= MOST_WAITING) this.nextPress?.end();
    while (this.coming.length >= MOST_WAITING) await this.coming[0]?.settled;
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

const placeOf = ({ folder, name }: MadeFile): string => `${folder}/${name}`;

/** What the files of one frame have in common, in the body's words. */
const stemOf = ({ made, path: to }: BroughtFile): string =>
  made === undefined ? to : `${made.folder}/${path.parse(made.name).name}`;

/** @returns of how many frames so many files are here */
function wholeFrames(files: readonly BroughtFile[], filesPerFrame: number): number {
  const counts = new Map<string, number>();
  for (const file of files) counts.set(stemOf(file), (counts.get(stemOf(file)) ?? 0) + 1);
  return [...counts.values()].filter((count) => count >= filesPerFrame).length;
}

/** @returns one entry a frame, in the order in which its first file was told of; its second file beside it */
function paired(files: readonly BroughtFile[]): BroughtFile[] {
  const frames = new Map<string, BroughtFile>();
  const more: BroughtFile[] = [];
  for (const file of files) {
    const first = frames.get(stemOf(file));
    if (first === undefined) frames.set(stemOf(file), file);
    else if (first.partner === undefined) frames.set(stemOf(file), { ...first, partner: file });
    else more.push(file);
  }
  return [...frames.values(), ...more];
}

const nextTurn = () => new Promise<void>((resolve) => setImmediate(resolve));

const notOpened = (): EvenrungError =>
  new EvenrungError('frame-missing', 'The set was stopped before its shutter was opened.', {
    released: false,
  });

function tooFew(came: number, expected: number): EvenrungError {
  const what =
    came === 0
      ? 'The camera was released, and no file came of it.'
      : `The camera was released, and only ${came} of ${expected} frames came of it.`;
  return new EvenrungError('frame-missing', what, { released: true });
}
