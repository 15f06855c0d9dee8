// Usual limits of a span that follows the scene, for the daemon and for the panel. They are in a file of
// their own so that the panel need not load schemas for them.

export const USUAL_SPAN = {
  /** Frames of a set at least. Common practice, no source. */
  fewestFrames: 3,
  /** The most frames in addition to those of the first set. Common practice, no source. */
  moreFrames: 4,
  /** Frames that come and go from one set to the next. Common practice, no source. */
  mostPerSet: 2,
} as const;
