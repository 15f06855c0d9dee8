// What the pictures of a set tell of its light, for everyone who watches and for its record.
import { z } from 'zod';

/** From 0 to 1, of the picture. */
const share = z.number();

/** What one end of a set does not hold. */
export const missingSchema = z.object({
  /** In areas; small parts are not in it. */
  share,
  /** EV by which that end would have to go on, about; null if nothing tells. */
  stops: z.number().nullable(),
  /** Lost parts too small to be an area: lamps and glints at the bright end. */
  small: z.object({ count: z.number().int(), share }),
});

/** How much of its scene a set holds. */
export const coverageSchema = z.object({
  /** Whether nothing is missing but small parts. */
  holds: z.boolean(),
  /** Whether the pictures get brighter as their exposures do; if not, nothing else here counts. */
  isInStep: z.boolean(),
  /** Shares of the picture by the number of frames in which it is well exposed; they add up to 1. */
  shares: z.object({ none: share, one: share, twoOrMore: share }),
  /** At the bright end of the scene: a darker frame would hold it. */
  highlights: missingSchema,
  /** At the dark end of the scene: a brighter frame would hold it. */
  shadows: missingSchema,
  /** Too dark in one frame, and too bright in the next. */
  between: share,
});
export type CoverageView = z.infer<typeof coverageSchema>;

/** What the picture of one frame tells. */
export const frameLightSchema = z.object({
  number: z.number().int(),
  /**
   * The share that is well exposed, and the part of it that is so in no other frame; null if it cannot be
   * judged.
   */
  exposed: share.nullable(),
  alone: share.nullable(),
  /**
   * How it lies on the frame next to it in exposure; null if there is none, or if the two have too little in
   * common.
   */
  steadiness: z
    .object({
      against: z.number().int(),
      /** Pixels of the picture. */
      right: z.number(),
      down: z.number(),
      /** Standard deviation in pixels by which it is blurred more than the other one; below 0, the other one is. */
      blur: z.number(),
      /** The share that moved by itself. */
      moved: share,
    })
    .nullable(),
  /** Why it could not be judged, in a sentence; null if it was. */
  unread: z.string().nullable(),
});
export type FrameLight = z.infer<typeof frameLightSchema>;

/** The light of a set, as far as its pictures were judged. */
export const lightSchema = z
  .object({
    /** For the photographer: what the set holds, or what is missing. */
    sentence: z.string(),
    /** Null if no picture could be read. */
    coverage: coverageSchema.nullable(),
    /** Of the frames that were looked at, the darkest first. */
    frames: z.array(frameLightSchema),
    /**
     * Numbers of the frames that are worth firing again, because the camera or something else moved, or focus
     * was lost.
     */
    again: z.array(z.number().int()),
    /** Counts how often the map of what is held has been drawn; 0 if there is none. */
    map: z.number().int(),
    /** What the set can become, merged; null until that is done, and if it could not be done. */
    proof: z
      .object({
        /** For the photographer. */
        sentence: z.string(),
        /** Whether there is a picture of it; if not, the sentence says why. */
        isMade: z.boolean(),
        /** ISO 8601, UTC. */
        madeAt: z.string(),
      })
      .nullable(),
  })
  .meta({ id: 'Light' });
export type LightView = z.infer<typeof lightSchema>;
