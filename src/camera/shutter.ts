// Release and fetch as two things, over a link that takes them apart. A release is over when the body has told of what it made and the head
// of each file is here; the rest comes meanwhile, while the next frame is exposed. It knows neither brackets nor what a file should record.
import path from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import { type BroughtFile, BUSY_MS, BUSY_PAUSE_MS, Fetching } from './fetching.js';
import {
  type ApartLimits,
  type BringOptions,
  type Button,
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

/** How long the link listens at a time if nothing else is to be done. */
const LISTEN_MS = 100;
/** What a release may take beside twice its exposures: a body may double a long one by noise reduction. */
const RELEASE_MS = 20_000;
/** A bulb exposure that is through so soon is not cut short: it is a whole frame then. */
const SOON_MS = 10_000;
/** Clocks and messages are off by less: a file that comes sooner before the end of a bulb exposure is of another. */
const SURELY_OPEN_MS = 500;
/** Looking at a head takes a few milliseconds; if it took longer than this, the body is heard once more before the next release. */
const JUST_NOW_MS = 250;
/** Files may be told of a moment after the body has said that the release is over. */
const AFTER_OVER_MS = 2000;
/** So many are remembered: a card that is emptied may begin its names anew. */
const MOST_FETCHED = 32;
const MOST_TOLD = 100;

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
  private readonly fetching: Fetching;
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
  /** When the body began to be heard after a release that another one follows; null if nobody did, or the next release is there. */
  private meanwhile: { readonly since: number; readonly heard: Promise<void> } | null = null;
  /** What was told of since, and taken by no release. */
  private readonly untaken: MadeFile[] = [];
  private count = 0;

  constructor(link: ApartLink, limits: ApartLimits) {
    this.link = link;
    this.limits = limits;
    this.fetching = new Fetching((asked) => link.bring(asked), limits);
  }

  get library(): string {
    return this.limits.library;
  }

  /** Bytes that are asked for at a time. */
  get pieceBytes(): number {
    return this.fetching.pieceBytes;
  }

  set pieceBytes(bytes: number) {
    this.fetching.pieceBytes = bytes;
  }

  /** Never throws: what came and what went wrong are told together. */
  async release(options: ReleaseOptions): Promise<Released> {
    const files: BroughtFile[] = [];
    const startedAt = performance.now();
    const { fetching } = this;
    fetching.exposing = options.exposureSeconds;
    fetching.isUndisturbed = false;
    const { frames, filesPerFrame, isFollowed = false } = options;
    fetching.isInHaste = isFollowed && frames > 1;
    /** Files of an earlier release, told of after it was given up, do not count for this one. */
    const take = async ({ made }: Heard) => {
      if (isFollowed && made.length > 0 && files.length + made.length >= frames * filesPerFrame)
        fetching.expectPress();
      // What was made is told before any of it is fetched: a cable that is pulled now must not cost the knowledge of the second file.
      const told = made.map((file) => ({ file, to: this.nextPath(options.into, file) }));
      this.toldOf = [...this.toldOf, ...made.map(placeOf)].slice(-MOST_TOLD);
      for (const { file, to } of told) options.made?.(file, to);
      for (const { file, to } of told) {
        const brought = await fetching.head(file, to, startedAt);
        files.push(brought);
        if (brought.whole === undefined) options.here?.(brought);
      }
    };
    let failure: EvenrungError | null = null;
    try {
      const { holdSeconds } = options;
      this.hold = holdSeconds === null ? null : { seconds: holdSeconds, since: null, cutAt: null };
      await fetching.room();
      const isHeard = await this.heardJustNow();
      const late = this.untaken.splice(0).filter((file) => !this.toldOf.includes(placeOf(file)));
      await take({ made: late, isOver: false });
      if (!isHeard) await take(await this.link.listen(0));
      if (holdSeconds !== null) await fetching.nothingToBring();
      const before = new Set([...this.lastStems, ...this.fetchedStems, ...files.map(stemOf)]);
      await this.press(options).finally(() => fetching.pressed());
      await this.pressed();
      failure = await this.hear(options, () => files.filter((file) => !before.has(stemOf(file))), take);
    } catch (cause) {
      failure = asEvenrungError(cause);
    }
    fetching.isInHaste = false;
    failure = await this.afterwards(options, failure);
    if (failure === null && isFollowed) this.hearMeanwhile();
    fetching.isUndisturbed = failure === null && !isFollowed;
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
    const brought = await this.fetching.head(file, to, startedAt);
    this.fetching.pressed();
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

  /**
   * What the body tells of late is heard while what just came of a release is looked at: else the next release, and the rest of every file
   * after it, would wait for that.
   */
  private hearMeanwhile(): void {
    const heard = this.link.listen(0).then(({ made, isOver }) => {
      this.untaken.push(...made);
      if (isOver) this.mayGoOn = false;
    });
    // The next release hears of it.
    heard.catch(() => undefined);
    this.meanwhile = { since: performance.now(), heard };
  }

  /** @returns whether the body was heard so short a time ago that the next release need not hear it first @throws EvenrungError as Link.listen */
  private async heardJustNow(): Promise<boolean> {
    const { meanwhile } = this;
    this.meanwhile = null;
    if (meanwhile === null) return false;
    await meanwhile.heard;
    return performance.now() - meanwhile.since < JUST_NOW_MS;
  }

  /** What a burst makes after it was taken for over is on the card a moment later, and must not be fired again. */
  private async hearOut(): Promise<void> {
    await this.meanwhile?.heard;
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
      const heard = await this.fetching.hearFirst(async () => {
        const told = await this.link.listen(this.fetching.isUnderWay ? 0 : LISTEN_MS);
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
      ? 'The camera was fired, and no file came.'
      : `The camera was fired, and only ${came} of ${expected} frames came.`;
  return new EvenrungError('frame-missing', what, { released: true });
}
