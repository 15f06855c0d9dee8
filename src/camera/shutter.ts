// Release and fetch as two things, over a link that takes them apart. A release is over when the body has
// told of the files that it made and the head of each is here; the rest comes later, while the next frame is
// exposed. It knows no brackets, and not what a file should record.
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
  /** How many files each frame becomes: two if the body writes two formats. */
  readonly filesPerFrame: number;
  /** All the exposures of the release together, in seconds. */
  readonly exposureSeconds: number;
  /** The button to hold until the files are told of; null for the library's own release. */
  readonly button: Button | null;
  /** As in PressOptions. */
  readonly lettingGo?: PressOptions['lettingGo'];
  /**
   * Seconds after which the link lets the button go by itself; null if it is held until the files are told
   * of.
   */
  readonly holdSeconds: number | null;
  /** Whether another release follows as soon as the heads of this one's files have been looked at. */
  readonly isFollowed?: boolean | undefined;
  /**
   * Called with each file that the body tells of, before any of it is fetched.
   * @param to the path of the file that takes it
   */
  readonly made?: ((file: MadeFile, to: string) => void) | undefined;
  /** Called with each file that is complete while the release still goes on. */
  readonly here?: ((file: BroughtFile) => void) | undefined;
}

/** What one release has brought. */
export interface Released {
  /** In the order in which the body told of them. */
  readonly files: readonly BroughtFile[];
  /** Why no more files came; null if nothing went wrong. */
  readonly failure: EvenrungError | null;
}

/** How long the link listens at a time if there is nothing else to do. */
const LISTEN_MS = 100;
/**
 * Time that a release may take in addition to twice its exposures: noise reduction may double a long
 * exposure.
 */
const RELEASE_MS = 20_000;
/** A bulb exposure that ends within this time is not cut short, since it will be a whole frame. */
const SOON_MS = 10_000;
/**
 * Clocks and messages are off by less than this: a file that comes even earlier before the end of a bulb
 * exposure belongs to another one.
 */
const SURELY_OPEN_MS = 500;
/**
 * Looking at a head takes a few milliseconds. If it took longer than this, the body is listened to once more
 * before the next release.
 */
const JUST_NOW_MS = 250;
/** How long the body may still tell of files after it has said that the release is over. */
const AFTER_OVER_MS = 2000;
/** How many names are remembered: a card that is emptied may start its names again. */
const MOST_FETCHED = 32;
const MOST_TOLD = 100;

/** A button that the link lets go by itself. All times are of performance.now(). */
interface Hold {
  readonly seconds: number;
  /** When it was pressed; null before that. */
  since: number | null;
  /** When it was let go early; null if it was not. */
  cutAt: number | null;
}

/** @returns the half of the link that takes release and fetch apart; null if it has none */
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
  /**
   * The button that is held for a time, from the press until its files are told of; null if there is none.
   */
  private hold: Hold | null = null;
  /**
   * Stems of the files of the last release: a file with such a stem that comes later is no file of the next
   * release.
   */
  private lastStems: ReadonlySet<string> = new Set();
  /**
   * Stems of files that were fetched by themselves: the body may still tell of them, and they are no files of
   * the release that follows.
   */
  private fetchedStems: readonly string[] = [];
  /**
   * Files that the body told of, for earlier sets as well: they are left out when somebody looks for files
   * that nobody was told of.
   */
  private toldOf: readonly string[] = [];
  /**
   * Whether the last release may still make files although the body told of as many as expected: one of those
   * may not have been of this release.
   */
  private mayGoOn = false;
  /**
   * The listening that began after a release, if another one follows it; null if there is none, or once the
   * next release has begun.
   */
  private meanwhile: { readonly since: number; readonly heard: Promise<void> } | null = null;
  /** Files that the body told of since then and that no release has taken. */
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

  /** One release. Never throws: files and failure are returned together. */
  async release(options: ReleaseOptions): Promise<Released> {
    const files: BroughtFile[] = [];
    const startedAt = performance.now();
    const { fetching } = this;
    fetching.exposing = options.exposureSeconds;
    fetching.isUndisturbed = false;
    const { frames, filesPerFrame, isFollowed = false } = options;
    fetching.isInHaste = isFollowed && frames > 1;
    /**
     * Files of an earlier release that the body tells of after that one was given up do not count for this
     * release.
     */
    const take = async ({ made }: Heard) => {
      if (isFollowed && made.length > 0 && files.length + made.length >= frames * filesPerFrame)
        fetching.expectPress();
      // All files are reported before any is fetched: if the cable is pulled now, the second file must still
      // be known.
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
   * Brings all of a file that is in the camera.
   * @param made called before any of it is fetched
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
   * Lets go of a button that is held for a time, if it would be held much longer. If it is only about to be
   * pressed, it will not be.
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

  /**
   * Lists the files on the card that the body has not told of lately.
   * @throws EvenrungError as Link.list
   */
  async list(): Promise<readonly ListedFile[]> {
    await this.hearOut();
    const known = new Set(this.toldOf);
    return (await this.link.list()).filter((file) => !known.has(placeOf(file)));
  }

  /**
   * Listens for what the body tells late, while the files of the release are being looked at. Otherwise the
   * next release, and the rest of every file after it, would have to wait for that.
   */
  private hearMeanwhile(): void {
    const heard = this.link.listen(0).then(({ made, isOver }) => {
      this.untaken.push(...made);
      if (isOver) this.mayGoOn = false;
    });
    // If listening fails, the next release meets the same failure.
    heard.catch(() => undefined);
    this.meanwhile = { since: performance.now(), heard };
  }

  /**
   * @returns whether the body was listened to so recently that the next release need not listen first
   * @throws EvenrungError as Link.listen
   */
  private async heardJustNow(): Promise<boolean> {
    const { meanwhile } = this;
    this.meanwhile = null;
    if (meanwhile === null) return false;
    await meanwhile.heard;
    return performance.now() - meanwhile.since < JUST_NOW_MS;
  }

  /**
   * A burst that was taken to be over may make another file, which is on the card a moment later. Its frame
   * must not be fired again.
   */
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
    // The camera's name for a file may contain anything.
    const safe = name.replace(/[^\w.-]/g, '_');
    return path.join(into, `coming.${process.pid}-${Date.now()}-${this.count}.${safe}`);
  }

  /**
   * A body whose buffer is full, or that is writing, says that it is busy. It has released nothing then, so
   * it is asked again.
   */
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

  /**
   * Lets go of the button after a release.
   * @returns the first thing that went wrong; null if nothing did
   */
  private async afterwards({ button }: ReleaseOptions, failure: EvenrungError | null) {
    const { hold } = this;
    this.hold = null;
    const isHeld = button !== null && button.up.length > 0;
    if (!isHeld || (failure !== null && LOST.has(failure.code))) return failure;
    try {
      await this.link.unpress();
      return failure;
    } catch (cause) {
      // If the files are here, the shutter has closed, whatever the body answers when its button is let go
      // (libgphoto2, issue 1259).
      return failure ?? (hold === null ? asEvenrungError(cause) : null);
    }
  }

  private async pressed(): Promise<void> {
    const { hold } = this;
    if (hold === null) return;
    hold.since = performance.now();
    // Somebody asked to cut it short while the button was being pressed.
    if (hold.cutAt !== null) await this.link.unpress();
  }

  /** Whether the shutter is surely still open, so that no file can be of this exposure yet. */
  private isStillHeld(): boolean {
    const { hold } = this;
    if (hold === null || hold.since === null || hold.cutAt !== null) return false;
    return performance.now() < hold.since + hold.seconds * 1000 - SURELY_OPEN_MS;
  }

  /** Milliseconds that the exposures take, with dark frames of the same length, as far as is known now. */
  private exposingMs(exposureSeconds: number): number {
    const { since = null, cutAt = null } = this.hold ?? {};
    return since === null || cutAt === null ? exposureSeconds * 2000 : (cutAt - since) * 2;
  }

  /** @returns why the body did not tell of all files; null if it did */
  private async hear(
    { frames, filesPerFrame, exposureSeconds }: ReleaseOptions,
    came: () => readonly BroughtFile[],
    take: (heard: Heard) => Promise<void>,
  ): Promise<EvenrungError | null> {
    const since = performance.now();
    this.mayGoOn = false;
    let overAt: number | null = null;
    const isEarly = () => overAt === null && this.isStillHeld();
    // Stems of files of an earlier release that was given up.
    let early: ReadonlySet<string> = new Set();
    const counted = () => came().filter((file) => !early.has(stemOf(file)));
    while (isEarly() || wholeFrames(counted(), filesPerFrame) < frames) {
      const before = came().length;
      // While files are being fetched, each call only takes what is there, so that the body is heard between
      // two pieces of a file.
      const heard = await this.fetching.hearFirst(async () => {
        const told = await this.link.listen(this.fetching.isUnderWay ? 0 : LISTEN_MS);
        await take(told);
        return told;
      });
      if (heard.isOver || (overAt !== null && came().length > before)) overAt = performance.now();
      if (overAt !== null) early = new Set();
      if (isEarly()) early = new Set(came().map(stemOf));
      const most = this.exposingMs(exposureSeconds);
      // A body may say that the release is over and only then take the dark frame of a bulb exposure.
      const isDark = this.hold !== null && counted().length === 0;
      const afterOver = AFTER_OVER_MS + (isDark ? most : 0);
      const until = overAt === null ? since + RELEASE_MS + most : overAt + afterOver;
      if (performance.now() > until) {
        // A frame of which one file is here counts as made; its other file is looked for later.
        const made = wholeFrames(counted(), 1);
        return made < frames ? tooFew(made, frames) : null;
      }
      // Lets the files that are on their way have their turn.
      await nextTurn();
    }
    this.mayGoOn = frames > 1 && overAt === null;
    return null;
  }
}

const placeOf = ({ folder, name }: MadeFile): string => `${folder}/${name}`;

/** The part of a name that the files of one frame have in common, with its folder. */
const stemOf = ({ made, path: to }: BroughtFile): string =>
  made === undefined ? to : `${made.folder}/${path.parse(made.name).name}`;

/** @returns of how many frames at least so many files are here */
function wholeFrames(files: readonly BroughtFile[], filesPerFrame: number): number {
  const counts = new Map<string, number>();
  for (const file of files) counts.set(stemOf(file), (counts.get(stemOf(file)) ?? 0) + 1);
  return [...counts.values()].filter((count) => count >= filesPerFrame).length;
}

/**
 * @returns one entry for each frame, in the order in which its first file was told of, with its second file
 *   as partner
 */
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
