// How a body's frames are fired: release and fetch at once, as the link does it, or apart, through its shutter. What is held for a long
// exposure is let go here, too.
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import type { Centre, Dialect } from './dialects/index.js';
import type { BroughtFile } from './fetching.js';
import { type Button, type Link, type ListedFile, LOST, type MadeFile, type Settings } from './link.js';
import { makesTwoFiles } from './readiness/files.js';
import type { Released, ReleaseOptions, Shutter } from './shutter.js';

/** One release of the shutter. */
export interface ShutterRelease
  extends Pick<ReleaseOptions, 'into' | 'exposureSeconds' | 'isFollowed' | 'made' | 'here'> {
  /** How many frames it makes: more than one only if the bracket that is on is fired by one release. */
  readonly frames: number;
}

export interface FiringOptions {
  readonly link: Link;
  readonly dialect: Dialect;
  /** null if the link does both at once. */
  readonly shutter: Shutter | null;
  /** Whether the link tells of every file that the body makes. */
  readonly pairs: boolean;
}

export class Firing {
  private readonly link: Link;
  private readonly dialect: Dialect;
  private shutter: Shutter | null;
  private tellsAll: boolean;
  /** Seconds that the next frame is held open for, if it was armed for bulb. */
  private holdSeconds: number | null = null;
  /** Whether the shutter may still be open of a bulb exposure that nobody saw the end of. */
  private mayBeOpen = false;

  constructor({ link, dialect, shutter, pairs }: FiringOptions) {
    this.link = link;
    this.dialect = dialect;
    this.shutter = shutter;
    this.tellsAll = pairs;
  }

  /** Whether both files of a frame come here. */
  get pairs(): boolean {
    return this.tellsAll;
  }

  get isApart(): boolean {
    return this.shutter !== null;
  }

  /** The library that is called, with its version; null if the link does both at once. */
  get library(): string | null {
    return this.shutter?.library ?? null;
  }

  /** Bytes that are asked for at a time; 0 if files come with their release. */
  get pieceBytes(): number {
    return this.shutter?.pieceBytes ?? 0;
  }

  set pieceBytes(bytes: number) {
    if (this.shutter !== null) this.shutter.pieceBytes = bytes;
  }

  /** Does both at once from now on. @returns false if there is no such way */
  fallBack(): boolean {
    if (this.shutter === null || this.link.fallBack?.() !== true) return false;
    this.shutter = null;
    this.tellsAll = false;
    return true;
  }

  arm(centre: Centre): void {
    const isHeld = centre.by === 'shutter' && centre.shutter.bulb === true;
    this.holdSeconds = isHeld ? centre.shutter.seconds : null;
  }

  /**
   * One release with everything as it is. Never throws: what came and what went wrong are told together, so that two of three files and
   * then a failure are both known. Only if `isApart`.
   * @param isOneRelease whether the bracket that is on is fired by one release
   */
  async release(release: ShutterRelease, settings: Settings, isOneRelease: boolean): Promise<Released> {
    const { holdSeconds, shutter } = this;
    const button = this.buttonFor(settings, isOneRelease);
    if (shutter === null || (button === null && holdSeconds !== null))
      return { files: [], failure: noBulb() };
    const filesPerFrame = makesTwoFiles(settings) ? 2 : 1;
    const lettingGo = button === null ? this.dialect.oneRelease?.button(settings)?.up : undefined;
    const pressed = { button, holdSeconds, lettingGo };
    const released = await shutter.release({ ...release, ...pressed, filesPerFrame });
    this.mayBeOpen = holdSeconds !== null && released.failure !== null;
    return released;
  }

  /**
   * Ends a bulb exposure that would take longer to end by itself than anybody wants to wait: its file records what it became.
   * @returns whether it did; false if none is open, or if it is nearly through
   */
  async cutShort(): Promise<boolean> {
    return (await this.shutter?.cutShort()) ?? false;
  }

  /** A process that was lost in the middle of a bulb exposure cannot end it any more, and a shutter that is open takes no release. */
  async closeShutter(settings: Settings): Promise<void> {
    if (!this.mayBeOpen) return;
    for (const { name, value } of this.dialect.bulb?.(settings)?.button.up ?? [])
      await this.link.changeSetting(name, value).catch((cause: unknown) => {
        // If it is closed already, the body refuses that.
        if (LOST.has(asEvenrungError(cause).code)) throw cause;
      });
    this.mayBeOpen = false;
  }

  /** Files that lie on the card; none if the link cannot look. @throws EvenrungError body-lost, body-busy */
  async list(): Promise<readonly ListedFile[]> {
    return (await this.shutter?.list()) ?? [];
  }

  /** @param made called before anything of it is fetched @throws EvenrungError file-not-there; as Link.bring */
  async fetch(
    file: MadeFile,
    into: string,
    made: (file: MadeFile, to: string) => void,
  ): Promise<BroughtFile> {
    if (this.shutter !== null) return this.shutter.fetch(file, into, made);
    throw new EvenrungError(
      'file-not-there',
      'Over this connection, files of earlier releases cannot be fetched.',
    );
  }

  private buttonFor(settings: Settings, isOneRelease: boolean): Button | null {
    const { bulb, oneRelease, frameButton } = this.dialect;
    if (this.holdSeconds !== null) return bulb?.(settings)?.button ?? null;
    return (isOneRelease ? oneRelease?.button(settings) : frameButton?.(settings)) ?? null;
  }
}

const noBulb = (): EvenrungError =>
  new EvenrungError(
    'body-not-ready',
    'The camera does not offer bulb as it is set now: turn its mode dial to M (manual), then fire again.',
    { released: false },
  );
