// The result of judging a set's coverage.

/** What one end of a set does not hold. */
export interface Missing {
  /** Share of the picture, 0 to 1, in areas; small parts are not in it. */
  readonly share: number;
  /** EV by which the end would have to go on, about; null if nothing tells. */
  readonly stops: number | null;
  /** Lost parts too small to be an area: lamps and glints at the bright end. */
  readonly small: { readonly count: number; readonly share: number };
}

export interface Shares {
  readonly none: number;
  readonly one: number;
  readonly twoOrMore: number;
}

/** How much one frame holds. */
export interface FrameShare {
  readonly number: number;
  /** The share of the picture, 0 to 1, that is well exposed in it. */
  readonly exposed: number;
  /** The share of the picture that is so in no other frame. */
  readonly alone: number;
}

export interface Coverage {
  /** Whether nothing is missing but small parts. */
  readonly holds: boolean;
  /** Of the picture; they add up to 1. */
  readonly shares: Shares;
  /** At the bright end of the scene: a darker frame would hold it. */
  readonly highlights: Missing;
  /** At the dark end of the scene: a brighter frame would hold it. */
  readonly shadows: Missing;
  /** Share of the picture that is too dark in one frame, and too bright in the next. */
  readonly between: number;
  /** The darkest first. */
  readonly frames: readonly FrameShare[];
  /** Whether the pictures get brighter as their offsets say; if not, nothing else here counts. */
  readonly isInStep: boolean;
  /** For the photographer. */
  readonly sentence: string;
}
