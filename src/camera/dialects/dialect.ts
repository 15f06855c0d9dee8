// What every dialect can do: recognise itself in a settings tree, state the body's limits, set the bracket
// and the centre. It works only through a Link's settings, keeps no state, and knows nothing of plans.
import type { BodyLimits, BracketShape, ShutterSetting, Sixths } from '../../exposure/index.js';
import type { Button, ChangeOptions, LinkLimits, Settings } from '../link.js';

export type DialectName = 'amount' | 'pattern' | 'drive-entry' | 'none';

/**
 * The part of a link that a dialect needs. Its implementation may skip a change that would change nothing.
 */
export interface Changes {
  changeSetting(name: string, value: string, options?: ChangeOptions): Promise<unknown>;
}

/** The body's own exposure: the zero of the bracket, or the one frame. */
export type Centre =
  /** In manual mode it is the shutter. */
  | { readonly by: 'shutter'; readonly shutter: ShutterSetting }
  /** In an automatic mode it is the exposure compensation. */
  | { readonly by: 'compensation'; readonly compensation: Sixths };

/** How a dialect has a bracket fired by one release. What arms it is part of `setBracket`. */
export interface OneRelease {
  /** Whether the body offers all that this bracket needs for it. */
  fires(settings: Settings, shape: BracketShape): boolean;
  /** The button to hold until the files are told of; null for the library's own release. */
  button(settings: Settings): Button | null;
}

/** How a dialect exposes for longer than its longest label. */
export interface Bulb {
  /** The label of the shutter: what `setCentre` writes. */
  readonly label: string;
  /** The settings that open the shutter, and those that close it. */
  readonly button: Button;
}

export interface Dialect {
  readonly name: DialectName;
  /**
   * Whether the wire tells how many frames a bracket has; if it does not, the commonest number is assumed.
   */
  readonly tellsCounts: boolean;
  /** Judged by the settings that are offered, never by the model. */
  recognise(settings: Settings): boolean;
  limits(settings: Settings, link: LinkLimits): BodyLimits;
  /**
   * Switches the auto-bracket to this shape, at its first frame; or off, if it is null. A shape that one
   * release fires moves the drive as well; whoever changes to another shape moves the drive back first.
   * @param settings as they were last read: the labels to choose from
   */
  setBracket(link: Changes, shape: BracketShape | null, settings: Settings): Promise<void>;
  setCentre(link: Changes, centre: Centre, settings: Settings): Promise<void>;
  /**
   * How many pictures wait in the body's memory, taken and not fetched; left out if the wire does not tell.
   */
  picturesWaiting?(settings: Settings): number;
  /**
   * The button for a single frame over a link that takes release and fetch apart; left out, or null, for the
   * library's own release.
   */
  frameButton?(settings: Settings): Button | null;
  /** Left out, or null, if the body does not offer all that it needs. Used over a link that holds a button for a time. */
  bulb?(settings: Settings): Bulb | null;
  /** Whole brackets from one release; left out if the dialect fires each frame by a release of its own. */
  readonly oneRelease?: OneRelease;
  /** Settings that some bodies lock while the bracket is off, and what unlocks them. */
  readonly locked?: { readonly names: ReadonlySet<string>; unlock(link: Changes): Promise<void> };
}
