// A plan as it crosses the wire and as `plan --json` prints it. EV are plain numbers, times are exact seconds.
import { z } from 'zod';
import { planReadingsSchema } from './plan-readings.js';
import { releaseSchema } from './request.js';

export const planFrameSchema = z.strictObject({
  /** EV from the base; positive is more light. */
  offset: z.number(),
  /** Exact seconds. */
  exposureTime: z.number(),
  /** The nominal label of the shutter setting. */
  shutter: z.string(),
  /** False for a frame that only comes with its pass: nobody asked for it, or another pass makes it. */
  wanted: z.boolean(),
});

export const planPassSchema = z.strictObject({
  /** The offset that the body's own exposure is set to. */
  centre: z.number(),
  /** EV between the frames of the pass; 0 for a single frame, fired with the bracket off. */
  step: z.number(),
  /** Ascending. */
  offsets: z.array(z.number()),
  /** In the body's firing order. */
  frames: z.array(planFrameSchema),
  /** True if one release fires all of the pass; left out if each frame has a release of its own. */
  oneRelease: z.literal(true).optional(),
});

export const warningSchema = z.strictObject({ code: z.string(), message: z.string() });

export const planSchema = z
  .strictObject({
    base: z.strictObject({ shutter: z.string(), exposureTime: z.number() }),
    /** The offsets that were asked for, ascending. */
    offsets: z.array(z.number()),
    /** The readings that base and offsets follow from; left out if there were none. */
    readings: planReadingsSchema.optional(),
    /** What one release fires; plans of earlier programs go frame by frame. */
    release: releaseSchema.default('frame'),
    /** In firing order. */
    passes: z.array(planPassSchema),
    estimate: z.strictObject({
      seconds: z.number(),
      /** From the first opening of the shutter to its last closing; null in plans of earlier programs. */
      spreadSeconds: z.number().nullable().default(null),
      /** By pass, in firing order. */
      passSeconds: z.array(z.number()),
      /** Shutter actuations: all frames, also those that nobody asked for. */
      actuations: z.number().int(),
      /** On disk; null if the size of a file is not known. */
      bytes: z.number().nullable(),
      /** The longest time between the starts of two neighbouring exposures. */
      longestGapSeconds: z.number(),
    }),
    warnings: z.array(warningSchema),
    /** Whether no plan can take less time; where not, a better one could save `gapSeconds` at most. */
    provenLeast: z.boolean(),
    gapSeconds: z.number(),
  })
  .meta({ id: 'Plan' });

/** A step that somebody has to do at the camera, so that the exposures are those that were asked for. */
export const byHandSchema = z.strictObject({
  what: z.enum(['aperture', 'iso', 'filter']),
  /**
   * The f-number or the ISO to set, or the EV of the filter; null if the camera does not tell its present
   * one.
   */
  value: z.number().nullable(),
  /** What to do, one sentence. */
  sentence: z.string().max(200),
});
export type ByHand = z.infer<typeof byHandSchema>;

/** A change that would make an impossible request possible. It was checked by planning again. */
export const suggestionSchema = z.strictObject({
  code: z.enum(['base', 'aperture', 'iso', 'filter', 'step', 'fewer-frames', 'mode', 'release', 'readings']),
  message: z.string(),
  /**
   * The fields of the request to change. If any of frames, from, to and readings is among them, all four are
   * first removed from the request.
   */
  change: z.strictObject({
    base: z.string().optional(),
    step: z.string().optional(),
    frames: z.number().optional(),
    from: z.string().optional(),
    to: z.string().optional(),
    mode: z.enum(['manual', 'aperture']).optional(),
    release: releaseSchema.optional(),
    readings: z.strictObject({ darkest: z.string(), brightest: z.string() }).optional(),
  }),
  /** A step at the camera that is needed as well; left out if there is none. */
  byHand: byHandSchema.optional(),
});
export type Suggestion = z.infer<typeof suggestionSchema>;

export type WirePlan = z.infer<typeof planSchema>;
export type WirePass = z.infer<typeof planPassSchema>;
export type Warning = z.infer<typeof warningSchema>;
