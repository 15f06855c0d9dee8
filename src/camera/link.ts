// The one interface to a body. A link does what it is told and reports what happened; it knows nothing of
// plans, sets or dialects. The links (binding/, direct/, practice/) implement it inside the camera process,
// and the daemon's side of that process implements it again, so that whoever holds a Link cannot tell which
// of them it is.

/** Which kind of link reaches the body. */
export type LinkKind = 'practice' | 'usb';

/**
 * The way that a link takes to the same library: through the npm package gphoto2, or by calling the library
 * directly.
 */
export type LinkWay = 'binding' | 'direct';

/** Errors after which the body has to be looked for again. */
export const LOST: ReadonlySet<string> = new Set(['body-lost', 'no-body']);

/** Failures of the link: the next call will not get through either, unless the link is given a moment. */
export const LINK_FAILURES: ReadonlySet<string> = new Set([...LOST, 'body-busy', 'call-timed-out']);

/** What a body says of itself at run time. */
export interface BodyIdentity {
  readonly link: LinkKind;
  /** The model string that the body reports. */
  readonly model: string;
  /** The serial number that the body reports; null if it reports none. */
  readonly serial: string | null;
}

/** A body that a link could be opened to. */
export interface AttachedPort {
  /** Its place in the link's own notation; it changes each time the body is plugged in. */
  readonly port: string;
  /** The name that it has there, which may differ from the model that the body reports. */
  readonly model: string;
}

/** One entry of the settings tree. */
export interface Setting {
  /** The bare name, such as `shutterspeed`: settings are never asked for by path. */
  readonly name: string;
  readonly kind: 'choice' | 'text' | 'range' | 'toggle' | 'date';
  /** The value as its label; a number is written out, a toggle is `on` or `off`. */
  readonly value: string;
  /** The labels that can be chosen, in the body's order; only if kind is `choice`. */
  readonly choices?: readonly string[];
}

export type Settings = ReadonlyMap<string, Setting>;

/** Limits of the link itself, whatever the settings tree offers. */
export interface LinkLimits {
  /** The longest exposure in seconds whose file comes back over this link. */
  readonly longestSeconds: number;
  /** Seconds for one change of a setting, to whatever value. */
  readonly secondsPerChange: number;
  /** Additional seconds for every value on the way to the new one; 0 if the body jumps there. */
  readonly secondsPerSetting: number;
  /** Seconds that a frame takes in addition to its exposure. */
  readonly secondsPerFrame: number;
  /**
   * Whether the library moves the capture target by itself: into the body's memory when it connects, and onto
   * the card when it lets go. If it is left out, the library does not.
   */
  readonly movesTarget?: boolean;
  /** How this link takes release and fetch apart; null if it can only do both at once. */
  readonly apart: ApartLimits | null;
}

/** What a link that takes release and fetch apart reports of itself. */
export interface ApartLimits {
  /**
   * The library that it calls, with its version: what was learnt with another version has to be learnt anew.
   */
  readonly library: string;
  /** Bytes that one call of `bring` should ask for. */
  readonly pieceBytes: number;
  /** Bytes at the start of a file in which its Exif is looked for; 0 if files only come whole. */
  readonly headBytes: number;
  /** Bytes a second over the cable; an estimate until it is measured. */
  readonly bytesPerSecond: number;
}

/** One setting to write, as its label. */
export interface SettingChange {
  readonly name: string;
  readonly value: string;
}

export interface ChangeOptions {
  /**
   * The next frames will record whether the change took effect, so if the body confirms it late, that is not
   * waited for.
   */
  readonly isProvedByFrames?: boolean;
}

/**
 * How a button of the body is held over the wire: the settings that are written to press it, and those that
 * are written to let it go.
 */
export interface Button {
  readonly down: readonly SettingChange[];
  readonly up: readonly SettingChange[];
}

export interface PressOptions {
  /** null: the library's own release, which presses the button and lets it go. */
  readonly button: Button | null;
  /**
   * Seconds after which the link itself lets the button go, counted from when the body took the press; null
   * if `unpress` does that.
   */
  readonly holdSeconds: number | null;
  /** All the exposures of this release together, in seconds. It only sizes deadlines, and sets nothing. */
  readonly exposureSeconds: number;
  /**
   * Settings that let the button go after the library's own release, for a body that took the press and was
   * then too busy to be let go. Left out if nothing over the wire does that.
   */
  readonly lettingGo?: readonly SettingChange[] | undefined;
}

/**
 * A file that the body made, as the body tells of it. Folder and name are enough to find it again, even from
 * another process.
 */
export interface MadeFile {
  readonly folder: string;
  readonly name: string;
  /** Its size in bytes; null if the body does not tell. */
  readonly bytes: number | null;
}

/** What the body has told since it was last listened to. */
export interface Heard {
  /** In the order in which the body told of them. */
  readonly made: readonly MadeFile[];
  /** Whether the body said that the release is over, so that it takes another one. */
  readonly isOver: boolean;
}

/** A piece of a file, as somebody asks for it. */
export interface AskedPiece {
  readonly file: MadeFile;
  /** The file on this computer that takes it. It is created if `from` is 0, and appended to otherwise. */
  readonly to: string;
  /** Bytes that were brought before. */
  readonly from: number;
  /** At most so many bytes, unless the library only gives the file whole. */
  readonly most: number;
}

export interface BringOptions extends AskedPiece {
  /**
   * The piece that will be asked for next if nothing else comes between: the link may fetch it ahead, while
   * this piece is written and reported. Any other call has to wait for that, so it is left out if something
   * more urgent may come.
   */
  readonly next?: AskedPiece | undefined;
}

/**
 * A piece that was brought. The last piece of a file is on disk; an earlier one may still be on its way there
 * until the next is asked for.
 */
export interface Piece {
  readonly bytes: number;
  /** Whether it was the last piece of the file. */
  readonly isEnd: boolean;
}

/** A file on the card, as the card's listing shows it. */
export interface ListedFile extends MadeFile {
  /** When the body wrote it, by its own clock, ISO 8601 without a zone; null if the listing does not tell. */
  readonly writtenAt: string | null;
}

/** A frame that came back. */
export interface FiredFrame {
  /** The file, under a temporary name in the folder that was given. */
  readonly path: string;
  /** Seconds from the release until the file was here, as the link measured them. */
  readonly seconds: number;
  /** The size in bytes that the body gave for the file; left out if this link does not tell it. */
  readonly saidBytes?: number;
  /** When the file was here, ISO 8601; if it is left out, now. */
  readonly storedAt?: string;
  /**
   * Its name in the camera; left out if this link does not tell it. The files of one exposure have names that
   * differ in their extensions alone.
   */
  readonly cameraName?: string;
  /**
   * Another file of the same exposure, if the link knows that it is one. Either of the two may be the raw
   * file.
   */
  readonly partner?: FiredFrame;
}

export interface FireOptions {
  /** An existing folder that takes the file. */
  readonly into: string;
  /** The exposure that is about to be made, in seconds. It only sizes deadlines, and sets nothing. */
  readonly exposureSeconds: number;
}

export interface Link {
  /** @throws EvenrungError body-lost, body-busy */
  identify(): Promise<BodyIdentity>;
  readLimits(): Promise<LinkLimits>;
  /** @throws EvenrungError body-lost, body-busy */
  readSettings(): Promise<Settings>;
  /**
   * Changes one setting. The value is checked against the choices before it is written, and read back
   * afterwards. A date takes whole seconds since 1970, and is not read back, since clocks run on.
   * @returns the setting as it was read back
   * @throws EvenrungError unknown-setting, choice-not-offered, setting-not-taken, body-lost, body-busy
   */
  changeSetting(name: string, value: string, options?: ChangeOptions): Promise<Setting>;
  /**
   * Fires one frame with the settings as they are, and brings its file back. If there is a card, the copy on
   * it stays.
   * @throws EvenrungError frame-missing (released, no file), body-lost, body-busy, call-timed-out,
   *   storing-failed
   */
  fire(options: FireOptions): Promise<FiredFrame>;
  /**
   * Lets go of the body. Nothing else may be called afterwards.
   * @param busyMs milliseconds to wait for a busy body, which would otherwise not hear that it is let go; 0
   *   if it is left out
   */
  letGo(busyMs?: number): Promise<void>;
  /** Drops the connection at once; the next call makes another one. Only if the link can reconnect. */
  kill?(): void;
  /**
   * From the next call on, takes another way to the body, which releases and fetches at once. Only if the
   * link has one.
   * @returns false if there is none
   */
  fallBack?(): boolean;
  /**
   * If the link's process has grown too large, ends the connection gently and begins it anew. Only if the
   * link can reconnect.
   * @returns whether it did
   */
  recycleIfLarge?(): Promise<boolean>;

  // --- release and fetch as two things; only if `LinkLimits.apart` is not null

  /**
   * Releases the shutter with the settings as they are, and returns once the body has taken the release; some
   * libraries return only when the exposures are over. `listen` hears of the files that it makes.
   * @throws EvenrungError frame-missing (its details say whether the shutter was released), body-busy (it
   *   was not), body-lost, call-timed-out
   */
  press?(options: PressOptions): Promise<void>;
  /**
   * Lets go of the button that is held. Does nothing if none is.
   * @throws EvenrungError body-lost, body-busy
   */
  unpress?(): Promise<void>;
  /**
   * Listens to the body until it has told of a file or has said that the release is over, at most as long as
   * given. Nothing is told twice.
   * @param ms milliseconds; with 0 it only takes what the body has told already
   * @throws EvenrungError body-lost, body-busy
   */
  listen?(ms: number): Promise<Heard>;
  /**
   * Brings a piece of a file. The file in the camera stays.
   * @throws EvenrungError file-not-there (no such file in the camera), storing-failed, body-lost, body-busy
   */
  bring?(options: BringOptions): Promise<Piece>;
  /**
   * Lists the files on the card in the folder of the newest files and in the one before it. Files in the
   * body's memory are not listed.
   * @throws EvenrungError body-lost, body-busy
   */
  list?(): Promise<readonly ListedFile[]>;
}
