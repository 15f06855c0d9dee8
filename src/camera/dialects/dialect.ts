// What every dialect can do: recognise itself in a settings tree, say the body's limits, set the bracket and the centre.
// It speaks through a Link's settings only, keeps no state, and knows nothing of plans.
import type { BodyLimits, BracketShape, ShutterSetting } from '../../exposure/index.js';
import type { LinkLimits, Settings } from '../link.js';

/** The part of a link that a dialect needs; whoever gives it may leave out a change that would change nothing. */
export interface Changes {
  changeSetting(name: string, value: string): Promise<unknown>;
}

export interface Dialect {
  readonly name: 'amount' | 'none';
  /** Judged by what is offered, never by model. */
  recognise(settings: Settings): boolean;
  limits(settings: Settings, link: LinkLimits): BodyLimits;
  /** Switches the auto-bracket to this shape, at its first frame; or off, where it is null. */
  setBracket(link: Changes, shape: BracketShape | null): Promise<void>;
  /** Sets the body's own exposure: the zero of the bracket, or the one frame. */
  setCentre(link: Changes, centre: ShutterSetting): Promise<void>;
}
