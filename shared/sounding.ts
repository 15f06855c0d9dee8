// A sounding: a few test frames tell how far the light of a scene reaches, and a set is proposed that holds it. Asked for and told over the wire.
import { z } from 'zod';
import { errorCodeSchema } from './error-codes.js';
import { EvenrungError } from './errors.js';
import type { Sixths } from './ev.js';
import { IN_PLAIN_WORDS, shortened } from './plain-words.js';
import { firstIssue, isMetered, parseSetRequest, setRequestSchema, writtenTimeSchema } from './request.js';
import { parseShutter } from './shutter-words.js';

export const soundRequestSchema = z
  .strictObject({
    /** EV between the frames of the set that is to be proposed. */
    step: setRequestSchema.shape.step,
    mode: setRequestSchema.shape.mode,
    /** The shutter of the first test frame; if it is left out, the camera's present one. */
    from: writtenTimeSchema.optional(),
    /** True if somebody has heard that the sun may be in the frame, and wants the frames all the same. */
    despiteSun: z.boolean().optional(),
  })
  .meta({ id: 'SoundRequest' });
export type WrittenSoundRequest = z.input<typeof soundRequestSchema>;

export interface SoundRequest {
  readonly step: Sixths;
  readonly mode: 'manual' | 'aperture';
  /** As it was written; null for the camera's present one. */
  readonly from: string | null;
  readonly despiteSun: boolean;
}

/**
 * @param written anything at all, such as a parsed JSON body
 * @throws EvenrungError malformed-request, unreadable-ev, step-out-of-range, unreadable-shutter
 */
export function parseSoundRequest(written: unknown): SoundRequest {
  const parsed = soundRequestSchema.safeParse(written, IN_PLAIN_WORDS);
  if (!parsed.success) throw new EvenrungError('malformed-request', firstIssue(parsed.error));
  const { step: writtenStep, mode, from = null, despiteSun = false } = parsed.data;
  const set = parseSetRequest({ frames: 1, step: writtenStep, mode });
  if (isMetered(set)) throw new EvenrungError('internal', 'A sounding has no readings.');
  if (from !== null && mode === 'aperture')
    throw new EvenrungError(
      'malformed-request',
      (named) =>
        `In aperture priority the camera meters the first test frame itself: leave ${named('from')} out, or use manual mode.`,
      { field: 'from' },
    );
  if (from !== null && parseShutter(from)?.kind !== 'time')
    throw new EvenrungError(
      'unreadable-shutter',
      `'${shortened(from)}' is not a shutter time for the first test frame: write it like 1/60, 0.5 or 2.`,
      { field: 'from' },
    );
  return { step: set.step, mode, from, despiteSun };
}

/** A test frame. */
export const testFrameSchema = z.strictObject({
  /** Counted from 1, in the order of firing. */
  number: z.number().int(),
  /** EV from the first one. */
  offset: z.number(),
  /** The nominal label of its shutter; in aperture priority the time that its file records. */
  shutter: z.string().nullable(),
  /** Shares of the picture that are too bright and too dark in it, in areas; null until it was looked at. */
  lost: z.strictObject({ bright: z.number(), dark: z.number() }).nullable(),
});
export type TestFrame = z.infer<typeof testFrameSchema>;

/** Why the proposed set ends where it does. */
export const soundedEndSchema = z.strictObject({
  /** The shutter of the set's frame there; null in aperture priority. */
  shutter: z.string().nullable(),
  /** The test frame that shows it, or comes nearest. */
  testFrame: z.number().int(),
  /** Whether the frame loses nothing but small parts. */
  isHeld: z.boolean(),
  sentence: z.string(),
});

export const proposalSchema = z.strictObject({
  /** The request that fires it. */
  set: z.strictObject({
    from: z.string(),
    to: z.string(),
    step: z.string(),
    base: z.string().optional(),
    mode: z.enum(['manual', 'aperture']),
  }),
  frames: z.number().int(),
  passes: z.number().int(),
  /** EV from the darkest to the brightest frame. */
  span: z.number(),
  /** Of the plan. */
  seconds: z.number(),
  darkest: soundedEndSchema,
  brightest: soundedEndSchema,
  /** On the sun, if nothing tells it from a lamp; it is told before anything is fired. */
  caution: z.string().nullable(),
  /** The command line that fires it. */
  command: z.string(),
});
export type Proposal = z.infer<typeof proposalSchema>;

/** `sun`: nothing more is fired before somebody says that it may, because the sun seems to be in the frame. */
export const soundingStateSchema = z.enum(['firing', 'proposed', 'sun', 'stopped', 'failed']);

export const soundingViewSchema = z
  .strictObject({
    id: z.string(),
    state: soundingStateSchema,
    startedBy: z.string(),
    startedAt: z.string(),
    endedAt: z.string().nullable(),
    mode: z.enum(['manual', 'aperture']),
    /** EV between the frames of the set. */
    step: z.number(),
    /** The most test frames that it may take. */
    most: z.number().int(),
    frames: z.array(testFrameSchema),
    /** The purpose of the current frame, in one sentence; null at the end. */
    now: z.string().nullable(),
    proposal: proposalSchema.nullable(),
    /** How the sounding ended, if there is no proposal, or a remark on the proposal, in one sentence. */
    sentence: z.string().nullable(),
    error: errorCodeSchema.nullable(),
  })
  .meta({ id: 'Sounding' });
export type SoundingView = z.infer<typeof soundingViewSchema>;
