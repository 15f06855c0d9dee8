// How a body's frames are fired: release and fetch at once, as the link does it, or apart, through `Shutter`.
// A shutter that a long exposure holds open is closed here, too.
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import type { Centre, Dialect } from './dialects/index.js';
import type { BroughtFile } from './fetching.js';
import { type Button, type Link, type ListedFile, LOST, type MadeFile, type Settings } from './link.js';
import { makesTwoFiles } from './readiness/files.js';
import type { Released, ReleaseOptions, Shutter } from './shutter.js';

/** One release of the shutter. */
export interface ShutterRelease
  extends Pick<ReleaseOptions, 'into' | 'exposureSeconds' | 'isFollowed' | 'made' | 'here'> {
  /** How many frames it makes; more than one only if one release fires the whole bracket that is on. */
  readonly frames: number;
}

export interface FiringOptions {
  readonly link: Link;
  readonly dialect: Dialect;
  /** Null if the link releases and fetches at once. */
  readonly shutter: Shutter | null;
  /** Whether the link tells of every file that the body makes. */
  readonly pairs: boolean;
}

export class Firing {
  private readonly link: Link;
  private readonly dialect: Dialect;
  private shutter: Shutter | null;
  private tellsAll: boolean;
  /** Seconds for which the next frame is held open, if it was armed for bulb; null if it was not. */
  private holdSeconds: number | null = null;
  /** Whether a bulb exposure whose end nobody saw may have left the shutter open. */
  private mayBeOpen = false;

  constructor({ link, dialect, shutter, pairs }: FiringOptions) {
    this.link = link;
    this.dialect = dialect;
    this.shutter = shutter;
    this.tellsAll = pairs;
  }

  /** Whether both files of a frame come over this link. */
  get pairs(): boolean {
    return this.tellsAll;
  }

  get isApart(): boolean {
    return this.shutter !== null;
  }

  /** The library that is called, with its version; null if the link releases and fetches at once. */
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

  /**
   * Releases and fetches at once from now on.
   * @returns false if the link cannot
   */
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
   * One release with all settings as they are; only if `isApart`. It never throws: files and failure are
   * returned together, so that after two of three files and then a failure both are known.
   * @param isOneRelease whether one release fires the whole bracket that is on
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
   * Ends a bulb exposure early if it would still take longer than anybody wants to wait; its file records the
   * time that it was open.
   * @returns whether it did; false if no such exposure is open, or if it is nearly over
   */
  async cutShort(): Promise<boolean> {
    return (await this.shutter?.cutShort()) ?? false;
  }

  /**
   * If the camera process was lost in the middle of a bulb exposure, the new one cannot know how to end it,
   * and a body whose shutter is open takes no release.
   */
  async closeShutter(settings: Settings): Promise<void> {
    if (!this.mayBeOpen) return;
    for (const { name, value } of this.dialect.bulb?.(settings)?.button.up ?? [])
      await this.link.changeSetting(name, value).catch((cause: unknown) => {
        // If the shutter is closed already, the body refuses this.
        if (LOST.has(asEvenrungError(cause).code)) throw cause;
      });
    this.mayBeOpen = false;
  }

  /**
   * Lists files on the card; none if the link cannot look.
   * @throws EvenrungError body-lost, body-busy
   */
  async list(): Promise<readonly ListedFile[]> {
    return (await this.shutter?.list()) ?? [];
  }

  /**
   * @param made called before any of it is fetched
   * @throws EvenrungError file-not-there; as Link.bring
   */
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
