// What every dialect can do: recognise itself in a settings tree, say the body's limits, set the bracket and the centre.
// It speaks through a Link's settings only, keeps no state, and knows nothing of plans.
import type { BodyLimits, BracketShape, ShutterSetting, Sixths } from '../../exposure/index.js';
import type { Button, ChangeOptions, LinkLimits, Settings } from '../link.js';

export type DialectName = 'amount' | 'pattern' | 'drive-entry' | 'none';

/** The part of a link that a dialect needs; whoever gives it may leave out a change that would change nothing. */
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
  /** What is held until the files are told of; null for the library's own release. */
  button(settings: Settings): Button | null;
}

/** How a dialect exposes for longer than its longest label. */
export interface Bulb {
  /** The label of the shutter: what `setCentre` writes. */
  readonly label: string;
  /** What opens the shutter, and what closes it. */
  readonly button: Button;
}

export interface Dialect {
  readonly name: DialectName;
  /** Whether the wire tells how many frames a bracket has; where it does not, they are taken for the commonest. */
  readonly tellsCounts: boolean;
  /** Judged by what is offered, never by model. */
  recognise(settings: Settings): boolean;
  limits(settings: Settings, link: LinkLimits): BodyLimits;
  /**
   * Switches the auto-bracket to this shape, at its first frame; or off, where it is null. A shape that one release fires moves the drive,
   * too; whoever switches to another one moves it back first.
   * @param settings as they were read last: which labels there are to choose from
   */
  setBracket(link: Changes, shape: BracketShape | null, settings: Settings): Promise<void>;
  setCentre(link: Changes, centre: Centre, settings: Settings): Promise<void>;
  /** How many pictures wait in the body's memory, taken and not fetched; left out where the wire does not tell. */
  picturesWaiting?(settings: Settings): number;
  /** What is pressed for a single frame over a link that takes release and fetch apart; left out, or null, for the library's own release. */
  frameButton?(settings: Settings): Button | null;
  /** Left out, or null, if the body does not offer all that it needs. Used over a link that holds a button for a time. */
  bulb?(settings: Settings): Bulb | null;
  /** Whole brackets from one release; left out if the dialect fires each frame by a release of its own. */
  readonly oneRelease?: OneRelease;
  /** Settings that some bodies lock while the bracket is off, and what unlocks them. */
  readonly locked?: { readonly names: ReadonlySet<string>; unlock(link: Changes): Promise<void> };
}
