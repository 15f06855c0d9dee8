// The one interface to a body. A link does what it is told and reports what happened; it knows nothing of plans, sets or
// dialects. Both links (usb/, practice/) implement it inside the camera process, and the daemon's side of that process
// implements it again, so that whoever holds a Link cannot tell which of the three it is.

/** Which kind of link reaches the body. */
export type LinkKind = 'practice' | 'usb';

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
}

/** A frame that came back. */
export interface FiredFrame {
  /** The file, under a temporary name in the folder that was asked for. */
  readonly path: string;
  /** Seconds from release to file in hand, as the link saw it. */
  readonly seconds: number;
  /** The size that the body said the file has, in bytes; left out if this link does not tell it. */
  readonly saidBytes?: number;
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
  changeSetting(name: string, value: string): Promise<Setting>;
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
  release(busyMs?: number): Promise<void>;
  /** Where the link can begin anew: drops the connection at once, and the next call makes another one. */
  kill?(): void;
  /**
   * Where the link can begin anew: does so where it has grown too large, gently.
   * @returns whether it did
   */
  recycleIfLarge?(): Promise<boolean>;
}
