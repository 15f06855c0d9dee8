// Facts about a body that the wire does not tell, in a file that a person or `learn` writes.
import { z } from 'zod';
import { LARGEST_ROOM_EV } from './request.js';

export const PROFILE_VERSION = 1;

/** Frames of one auto-bracket in firing order, in steps from the centre: [0, -1, 1]. */
const patternSchema = z
  .array(z.number().int().min(-8).max(8))
  .min(2)
  .max(9)
  .refine((pattern) => new Set(pattern).size === pattern.length, { error: 'a position is there twice' });

/** What worked when the library was called directly, tried on the body itself. */
const directSchema = z.strictObject({
  /** The library and its version: with another one it is learnt anew. */
  library: z.string().min(1).max(100),
  /** Whether a frame can be released while the file of the one before is still coming. */
  pipelined: z.boolean(),
  /** Whether one release fires a whole bracket, and all its files come. */
  oneRelease: z.boolean(),
  /** Whether both files of a frame are told of; left out if the body was set to one format. */
  pairs: z.boolean().optional(),
  /** Bytes that it is asked for at a time. */
  pieceBytes: z
    .number()
    .int()
    .min(1024)
    .max(256 * 1024 * 1024),
  /** Whether files come while the shutter is open; left out if that was not tried. */
  sendsWhileExposing: z.boolean().optional(),
  /** The most frames that it was seen to make in one go. */
  mostInOneGo: z.number().int().positive().max(999),
  timing: z.strictObject({
    /** Seconds from the release to the opening of the shutter. */
    secondsBeforeExposure: z.number().nonnegative().max(60),
    /** Seconds from the closing of the shutter until the next frame. */
    secondsAfterExposure: z.number().nonnegative().max(60),
    /** Seconds that the files of one frame take over the cable. */
    secondsPerTransfer: z.number().nonnegative().max(600),
    /** Seconds that one piece of them keeps it busy; left out if they come whole, and in profiles of an earlier program. */
    secondsPerPiece: z.number().nonnegative().max(600).optional(),
  }),
  /** Since when it is not used any more, and why; left out as long as it is. */
  failed: z.strictObject({ at: z.string().max(40), why: z.string().max(500) }).optional(),
});
export type DirectProfile = z.infer<typeof directSchema>;

export const bodyProfileSchema = z
  .strictObject({
    version: z.literal(PROFILE_VERSION),
    /** As the body reports them; the serial is null if it reports none. */
    model: z.string().max(200),
    serial: z.string().max(200).nullable(),
    /** ISO 8601; left out in a profile that was written by hand. */
    learntAt: z.string().max(40).optional(),
    /** Each count of frames that the body brackets, once, in its firing order. */
    patterns: z.array(patternSchema).max(20).optional(),
    /** Whether switching the bracket off and on starts it at its first frame. */
    restarts: z.boolean().optional(),
    /**
     * What the body makes of a bracket frame beyond its shutter range: the same time again, no frame, or
     * something else.
     */
    beyondRange: z.enum(['clamped', 'refused', 'other']).optional(),
    /** How long the longest time that was measured really takes, in seconds, with the label of its setting. */
    longTime: z
      .strictObject({ shutter: z.string().max(24), seconds: z.number().positive().max(1000) })
      .optional(),
    /** True if a long exposure takes twice its time, as with a dark frame after it. */
    noiseReduction: z.boolean().optional(),
    timing: z
      .strictObject({
        /** Seconds for one settings change, however far. */
        secondsPerChange: z.number().nonnegative().max(60),
        /** Additional seconds for every setting on the way; 0 if the body jumps. */
        secondsPerSetting: z.number().nonnegative().max(60),
        /** Seconds that a frame takes in addition to its exposure. */
        secondsPerFrame: z.number().nonnegative().max(120),
      })
      .optional(),
    /**
     * EV that its frames were measured to hold above and below middle grey; a value that is left out is the
     * usual one.
     */
    room: z
      .strictObject({
        above: z.number().min(0).max(LARGEST_ROOM_EV).optional(),
        below: z.number().min(0).max(LARGEST_ROOM_EV).optional(),
      })
      .optional(),
    /** Left out if nobody has tried it. */
    direct: directSchema.optional(),
  })
  .meta({ id: 'BodyProfile' });
export type BodyProfile = z.infer<typeof bodyProfileSchema>;
