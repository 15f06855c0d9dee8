// Usual limits of a span that follows what the sets of a schedule hold, for the daemon and for the panel, which loads no schemas for their sake.

export const USUAL_SPAN = {
  /** Frames of a set at least. Common practice, no source. */
  fewestFrames: 3,
  /** Frames more than the first set has, at the most. Common practice, no source. */
  moreFrames: 4,
  /** Frames that come and go from one set to the next. Common practice, no source. */
  mostPerSet: 2,
} as const;
