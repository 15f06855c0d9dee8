// The one interface to a body. A link does what it is told and reports what happened; it knows nothing of plans, sets or
// dialects. Both links (usb/, practice/) implement it inside the camera process, and the daemon's side of that process
// implements it again, so that whoever holds a Link cannot tell which of the three it is.

/** Which kind of link reaches the body. */
export type LinkKind = 'practice' | 'usb';

/** Which way a link takes to the same library: through the npm package gphoto2, or by calling it directly. */
export type LinkWay = 'binding' | 'direct';

/** Errors after which the body has to be looked for anew. */
export const LOST: ReadonlySet<string> = new Set(['body-lost', 'no-body']);

/** Failures of the link: whatever is asked next will not get through either, until it has been given a moment. */
export const LINK_FAILURES: ReadonlySet<string> = new Set([...LOST, 'body-busy', 'call-timed-out']);

/** What a body says of itself at run time. */
export interface BodyIdentity {
  readonly link: LinkKind;
  /** The model string that the body reports. */
  readonly model: string;
  /** The serial number that the body reports, where it does. */
  readonly serial: string | null;
}

/** A body that a link could be opened to. */
export interface AttachedPort {
  /** Where it is, in the words of the link; another one each time it is plugged in. */
  readonly port: string;
  /** What it is called there, which need not be what it calls itself. */
  readonly model: string;
}

/** One entry of the settings tree. */
export interface Setting {
  /** The bare name, such as `shutterspeed`: settings are never asked for by path. */
  readonly name: string;
  readonly kind: 'choice' | 'text' | 'range' | 'toggle' | 'date';
  /** The value as its label; a number is written out, a toggle is `on` or `off`. */
  readonly value: string;
  /** The labels that can be chosen, in the body's order; only where kind is `choice`. */
  readonly choices?: readonly string[];
}

export type Settings = ReadonlyMap<string, Setting>;

/** What the link itself knows or cannot do, whatever the settings tree offers. */
export interface LinkLimits {
  /** The longest exposure in seconds whose file comes back over this link. */
  readonly longestSeconds: number;
  /** Seconds for one settings change to whatever value. */
  readonly secondsPerChange: number;
  /** Seconds more for every setting on the way; 0 where the body jumps. */
  readonly secondsPerSetting: number;
  /** Seconds a frame beside its exposure. */
  readonly secondsPerFrame: number;
  /**
   * Whether the library moves the capture target by itself: into the body's memory when it connects, and onto the card when it lets go. Left
   * out, it does not.
   */
  readonly movesTarget?: boolean;
  /** How this link takes a release and its files apart; null if it can only do both at once. */
  readonly apart: ApartLimits | null;
}

/** What a link that takes release and fetch apart says of itself. */
export interface ApartLimits {
  /** The library that it calls, and its version: what was learnt with another one is learnt anew. */
  readonly library: string;
  /** Bytes that one call of `bring` should ask for. */
  readonly pieceBytes: number;
  /** Bytes of a file in which its Exif is looked for; 0 if its files only come whole. */
  readonly headBytes: number;
  /** Bytes a second that come over the cable, estimated until it is measured. */
  readonly bytesPerSecond: number;
}

/** One setting to write, as its label. */
export interface SettingChange {
  readonly name: string;
  readonly value: string;
}

export interface ChangeOptions {
  /** The frames that are fired next record what came of it: where the body's own word comes late, it is not waited for. */
  readonly isProvedByFrames?: boolean;
}

/** How a button of the body is held over the wire: what is written to press it, and what is written to let it go. */
export interface Button {
  readonly down: readonly SettingChange[];
  readonly up: readonly SettingChange[];
}

export interface PressOptions {
  /** null: the library's own release, which presses and lets go. */
  readonly button: Button | null;
  /** Seconds after which the link itself lets the button go, counted from when the body took the press; null: `unpress` does. */
  readonly holdSeconds: number | null;
  /** All the exposures that are about to be made, in seconds, for sizing deadlines; it sets nothing. */
  readonly exposureSeconds: number;
  /**
   * What lets the button go after the library's own release, if the body took the press and was too busy to be let go; left out if nothing
   * over the wire does.
   */
  readonly lettingGo?: readonly SettingChange[] | undefined;
}

/** A file that the body made, as the body tells of it. Folder and name find it again, also in another process. */
export interface MadeFile {
  readonly folder: string;
  readonly name: string;
  /** Its size in bytes; null if the body does not tell. */
  readonly bytes: number | null;
}

/** What the body told since it was listened to last. */
export interface Heard {
  /** In the order in which it told of them. */
  readonly made: readonly MadeFile[];
  /** Whether it said that the release is over, and it takes another one. */
  readonly isOver: boolean;
}

/** A piece of a file, as it is asked for. */
export interface AskedPiece {
  readonly file: MadeFile;
  /** The file on this computer that takes it: made if `from` is 0, else carried on. */
  readonly to: string;
  /** Bytes that were brought before. */
  readonly from: number;
  /** No more bytes than this, unless the library only gives it whole. */
  readonly most: number;
}

export interface BringOptions extends AskedPiece {
  /**
   * What is going to be asked for after it, if nothing else comes between: the link may fetch it already while this piece is written and
   * told of. Whatever else is asked of the link waits for that. Left out if something more urgent may come.
   */
  readonly next?: AskedPiece | undefined;
}

/** A piece that is on disk; one from the middle of a file may be on its way there until the next one is asked for. */
export interface Piece {
  readonly bytes: number;
  /** Whether it was the last one. */
  readonly isEnd: boolean;
}

/** A file on the card, as a listing tells of it. */
export interface ListedFile extends MadeFile {
  /** When the body wrote it, by its own clock, ISO 8601 without a zone; null if the listing does not tell. */
  readonly writtenAt: string | null;
}

/** A frame that came back. */
export interface FiredFrame {
  /** The file, under a temporary name in the folder that was asked for. */
  readonly path: string;
  /** Seconds from release to file in hand, as the link saw it. */
  readonly seconds: number;
  /** The size that the body said the file has, in bytes; left out if this link does not tell it. */
  readonly saidBytes?: number;
  /** When it was here, ISO 8601; left out: now. */
  readonly storedAt?: string;
  /** Its name in the camera; left out if this link does not tell it. The files of one exposure differ in their extensions alone. */
  readonly cameraName?: string;
  /** Another file of the same exposure, where the link knows that it is one; which of the two is the raw file does not matter. */
  readonly partner?: FiredFrame;
}

export interface FireOptions {
  /** An existing folder that takes the file. */
  readonly into: string;
  /** The exposure that is about to be made, for sizing deadlines; it sets nothing. */
  readonly exposureSeconds: number;
}

export interface Link {
  /** @throws EvenrungError body-lost, body-busy */
  identify(): Promise<BodyIdentity>;
  readLimits(): Promise<LinkLimits>;
  /** @throws EvenrungError body-lost, body-busy */
  readSettings(): Promise<Settings>;
  /**
   * Changes one setting: the value is checked against the choices before, and read back after. A date takes whole seconds
   * since 1970, and is not read back, since clocks run.
   * @returns the setting as it was read back
   * @throws EvenrungError unknown-setting, choice-not-offered, setting-not-taken, body-lost, body-busy
   */
  changeSetting(name: string, value: string, options?: ChangeOptions): Promise<Setting>;
  /**
   * Fires one frame with the settings as they are and brings its file back. The copy on the card, where there is a
   * card, stays.
   * @throws EvenrungError frame-missing (released, no file), body-lost, body-busy, call-timed-out, storing-failed
   */
  fire(options: FireOptions): Promise<FiredFrame>;
  /**
   * Lets go of the body. Nothing else may be called after.
   * @param busyMs milliseconds that a busy body may be waited for: what it does not hear, it does not undo; 0 where it is left out
   */
  letGo(busyMs?: number): Promise<void>;
  /** Where the link can begin anew: drops the connection at once, and the next call makes another one. */
  kill?(): void;
  /**
   * Where the link has another way to the body, which releases and fetches at once: takes it from the next call on.
   * @returns false if there is none
   */
  fallBack?(): boolean;
  /**
   * Where the link can begin anew: does so where it has grown too large, gently.
   * @returns whether it did
   */
  recycleIfLarge?(): Promise<boolean>;

  // --- release and fetch as two things; only if `LinkLimits.apart` is there

  /**
   * Releases the shutter with the settings as they are, and returns once the body has taken it; some libraries return only when the
   * exposures are over. What it makes, `listen` hears.
   * @throws EvenrungError frame-missing (its details say whether the shutter was released), body-busy (it was not), body-lost,
   *   call-timed-out
   */
  press?(options: PressOptions): Promise<void>;
  /** Lets the button go that is held. Does nothing if none is. @throws EvenrungError body-lost, body-busy */
  unpress?(): Promise<void>;
  /**
   * Listens to the body until it has told of a file, or that the release is over, but not longer. What it had told before is not told again.
   * @param ms milliseconds; 0 only takes what is there
   * @throws EvenrungError body-lost, body-busy
   */
  listen?(ms: number): Promise<Heard>;
  /**
   * Brings a piece of a file. The file in the camera stays.
   * @throws EvenrungError file-not-there (no such file in the camera), storing-failed, body-lost, body-busy
   */
  bring?(options: BringOptions): Promise<Piece>;
  /**
   * What lies on the card in the folder of the newest files and the one before it; what is in the body's memory is not listed.
   * @throws EvenrungError body-lost, body-busy
   */
  list?(): Promise<readonly ListedFile[]>;
}
