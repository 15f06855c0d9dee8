// A request: the frames that a person asks for. It is parsed once, here, whether it comes from the panel or
// the command line.
import { z } from 'zod';
import { EvenrungError, type NamingFields } from './errors.js';
import { parseEv, plusSixths, type Sixths, sixths, timesSixths } from './ev.js';
import { firstIssueOf, IN_PLAIN_WORDS, shortened } from './plain-words.js';
import type { PlanReadings } from './plan-readings.js';
import { FILE_KINDS, LONGEST_READING, parseReading, type Reading } from './reading.js';

/** Twenty EV in thirds. A request for more frames than that is a typing mistake. */
export const MOST_FRAMES = 61;
export const SMALLEST_STEP = sixths(2);
export const LARGEST_STEP = sixths(18);

/** An EV value as people write it. Text longer than any such value is refused before it is parsed. */
export const writtenEvSchema = z.union([
  z.number(),
  z.string().max(24, { error: 'it is not an EV value: write it like 1, 0.5, 2/3 or -1 1/3' }),
]);
/** A shutter time as people write it, limited in length in the same way. */
export const writtenTimeSchema = z
  .string()
  .max(24, { error: 'it is not a shutter time: write it like 1/60, 0.5 or 30' });

const stepSchema = z.union(writtenEvSchema.options, {
  error: ({ input }) =>
    input === undefined ? 'it is missing: give the step between frames, such as 1 or 2/3' : undefined,
});

/** @returns a schema for a number from `least` to `most`; its error names both ends */
export function between(least: number, most: number, unit: string) {
  const error = `give ${least} to ${most} ${unit}`;
  return z.number({ error }).min(least, { error }).max(most, { error });
}

export const LONGEST_SETTLE_SECONDS = 60;
export const LONGEST_DELAY_SECONDS = 60;
export const MOST_FOCAL_LENGTH_MM = 5000;
export const FASTEST_LIGHT_EV_PER_MINUTE = 10;
export const LARGEST_FILE_BYTES = 1e10;
/** Seconds to wait before the first frame, so that hands are off the tripod. */
export const delaySchema = between(0, LONGEST_DELAY_SECONDS, 'seconds');

/**
 * What one release of the shutter fires: a single frame, which is proved before the next one, or a whole
 * pass, whose frames are proved as their files come.
 */
export const releaseSchema = z.enum(['frame', 'pass']);
export type ReleaseWay = z.infer<typeof releaseSchema>;

/**
 * What the planner keeps short: the time that the set takes, or its spread, from the first opening of the
 * shutter to the last closing.
 */
export const leastSchema = z.enum(['time', 'spread']);
export type Least = z.infer<typeof leastSchema>;

/** Shooting conditions, as far as they are known. A condition that is left out is not judged. */
export const conditionsSchema = z.strictObject({
  /** Focal length in mm, 35 mm equivalent, if the camera is held by hand; left out on a tripod. */
  handHeldMm: between(1, MOST_FOCAL_LENGTH_MM, 'mm').optional(),
  /** Mains frequency in Hz, if the scene is lit by mains lamps. */
  mainsHz: z.union([z.literal(50), z.literal(60)]).optional(),
  /** How fast the light changes, in EV a minute. */
  lightEvPerMinute: between(0, FASTEST_LIGHT_EV_PER_MINUTE, 'EV a minute').optional(),
  /** True if the body takes a dark frame after a long exposure. */
  noiseReduction: z.boolean().optional(),
  /** Size of one file in bytes. */
  fileBytes: between(1, LARGEST_FILE_BYTES, 'bytes').int().optional(),
});
export type WrittenConditions = z.infer<typeof conditionsSchema>;

const READING = 'write a shutter time such as 1/60, EV 9.3, or 120 cd/m2';
const readingSchema = z.string({ error: `it must be text: ${READING}` }).max(LONGEST_READING, {
  error: `it is not a reading: ${READING}`,
});

/** No frame of any camera holds detail farther than this above or below middle grey. */
export const LARGEST_ROOM_EV = 12;
const LARGEST_F_NUMBER = 500;
const LARGEST_ISO = 10_000_000;

/**
 * Two spot readings of the parts of the scene that must keep detail: shutter times at the aperture and ISO of
 * the set, EV at ISO 100, or luminance.
 */
export const readingsSchema = z.strictObject({
  darkest: readingSchema,
  brightest: readingSchema,
  /** The f-number and the ISO of the set, needed only if no camera reports them. */
  aperture: between(0.5, LARGEST_F_NUMBER, 'as the f-number').optional(),
  iso: between(1, LARGEST_ISO, 'as the ISO').optional(),
  /** The kind of files that the frames become, needed only if no camera reports its format. */
  files: z.enum(FILE_KINDS).optional(),
  /**
   * EV that a frame holds above and below middle grey, if the photographer knows them better than the kind of
   * file does.
   */
  roomAbove: between(0, LARGEST_ROOM_EV, 'EV above middle grey').optional(),
  roomBelow: between(0, LARGEST_ROOM_EV, 'EV below middle grey').optional(),
});
export type WrittenReadings = z.infer<typeof readingsSchema>;

/**
 * A request as it is written on the wire: `frames` and `step`, or `from`, `to` and `step`, or `span` and
 * `step`, or `readings` and `step`. EV are numbers or text. Readings also determine the base.
 */
export const setRequestSchema = z
  .strictObject({
    frames: z.number().optional(),
    from: writtenEvSchema.optional(),
    to: writtenEvSchema.optional(),
    /** EV from the darkest to the brightest frame, centred on the base in the same way as `frames`. */
    span: writtenEvSchema.optional(),
    /** The readings from which frames and base follow. */
    readings: readingsSchema.optional(),
    step: stepSchema,
    /** If it is left out, the base is 1/60, or follows from the readings. */
    base: writtenTimeSchema.optional(),
    mode: z.enum(['manual', 'aperture']).default('manual'),
    /** Seconds to wait before each pass, until vibration has died down. */
    settle: between(0, LONGEST_SETTLE_SECONDS, 'seconds').default(0),
    /**
     * If it is left out, the set is fired frame by frame, unless the least spread is asked for and one
     * release a pass has less of it.
     */
    release: releaseSchema.optional(),
    least: leastSchema.default('time'),
    /** The most frames that may be added at each end, if the set clips there; none if it is left out. */
    extend: between(0, MOST_FRAMES - 1, 'frames')
      .int()
      .optional(),
    conditions: conditionsSchema.default({}),
  })
  .meta({ id: 'SetRequest' });

export type WrittenSetRequest = z.input<typeof setRequestSchema>;

/** A request as the planner takes it: every EV in sixths, every offset listed, ascending. */
export interface SetRequest extends AskedAnyway {
  readonly offsets: readonly Sixths[];
  /**
   * The shutter of the base as it was written. Which setting of the body that means is decided later, from
   * the body's own choices.
   */
  readonly base: string;
  /** The readings that frames and base were worked out from, if the request was made by readings. */
  readonly readings?: PlanReadings | undefined;
}

/**
 * A request whose frames and base follow from two readings, once the body is known: see src/plan/readings.ts.
 */
export interface MeteredRequest extends AskedAnyway {
  readonly metered: Metered;
}

/** The readings of a request, parsed. */
export interface Metered {
  readonly darkest: Reading;
  readonly brightest: Reading;
  readonly written: WrittenReadings;
}

export type AskedSet = SetRequest | MeteredRequest;

export const isMetered = (request: AskedSet): request is MeteredRequest => 'metered' in request;

/** The part that both kinds of request have. */
interface AskedAnyway {
  readonly step: Sixths;
  readonly mode: 'manual' | 'aperture';
  readonly settleSeconds: number;
  /** Null if the request does not say; then `least` decides. */
  readonly release: ReleaseWay | null;
  readonly least: Least;
  /** The most frames that may be added at each end. */
  readonly extend: number;
  readonly conditions: WrittenConditions;
}

const USUAL_BASE = '1/60';

/**
 * @param written anything at all, such as a parsed JSON body
 * @returns the request
 * @throws EvenrungError malformed-request, unreadable-ev, frames-out-of-range, step-out-of-range, range-reversed,
 *   span-not-whole-steps, unreadable-reading
 */
export function parseSetRequest(written: unknown): AskedSet {
  const parsed = setRequestSchema.safeParse(written, IN_PLAIN_WORDS);
  if (!parsed.success) throw new EvenrungError('malformed-request', firstIssue(parsed.error));
  const { readings, base, mode, settle, release = null, least, extend = 0, conditions } = parsed.data;
  const step = readEv(parsed.data.step, 'step');
  if (step < SMALLEST_STEP || step > LARGEST_STEP) {
    throw new EvenrungError(
      'step-out-of-range',
      `The step must be 1/3 to 3 EV, not ${shortened(String(parsed.data.step))} EV.`,
      { field: 'step' },
    );
  }
  mustBeOneWay(parsed.data);
  const asked = { step, mode, settleSeconds: settle, release, least, extend, conditions };
  if (readings !== undefined) return { ...asked, metered: readMetered(readings, base, mode) };
  return { ...asked, offsets: offsetsOf(parsed.data, step), base: base ?? USUAL_BASE };
}

function mustBeOneWay({ frames, from, to, span, readings }: z.output<typeof setRequestSchema>): void {
  const byEnds = from !== undefined || to !== undefined;
  const ways = [frames !== undefined, byEnds, span !== undefined, readings !== undefined].filter(Boolean);
  if (ways.length === 1) return;
  throw new EvenrungError('malformed-request', (named) => {
    const all = `${named('frames')}, ${named('from')} and ${named('to')}, ${named('span')}, or ${named('readings')}`;
    return ways.length === 0 ? `Say which frames: give ${all}.` : `Give only one of these: ${all}.`;
  });
}

function readMetered(written: WrittenReadings, base: string | undefined, mode: SetRequest['mode']): Metered {
  if (base !== undefined)
    throw new EvenrungError(
      'malformed-request',
      (named) => `The readings give the base exposure: leave ${named('base')} out.`,
      { field: 'base' },
    );
  if (mode === 'aperture')
    throw new EvenrungError(
      'malformed-request',
      'In aperture priority the camera meters the base exposure itself, so readings cannot place it. Use manual mode, or give a number of frames.',
      {
        field: 'mode',
        suggestions: [{ code: 'mode', message: 'Manual mode.', change: { mode: 'manual' } }],
      },
    );
  const darkest = readReading(written.darkest, 'darkest');
  return { darkest, brightest: readReading(written.brightest, 'brightest'), written };
}

function readReading(written: string, part: 'darkest' | 'brightest'): Reading {
  const reading = parseReading(written);
  if (reading !== undefined) return reading;
  const wrote =
    written.trim() === ''
      ? `The reading of the ${part} part is missing`
      : `The reading of the ${part} part, '${shortened(written)}', is not understood`;
  throw new EvenrungError('unreadable-reading', `${wrote}: ${READING}.`, { field: part });
}

function offsetsOf({ frames, from, to, span }: z.output<typeof setRequestSchema>, step: Sixths): Sixths[] {
  if (frames !== undefined) return offsetsByCount(frames, step);
  if (span !== undefined) return offsetsByCount(framesInSpan(readEv(span, 'span'), step), step);
  if (from === undefined || to === undefined) {
    throw new EvenrungError(
      'malformed-request',
      (named) => `Give both ends of the span: ${named('from')} and ${named('to')}.`,
    );
  }
  return offsetsByEnds(readEv(from, 'from'), readEv(to, 'to'), step);
}

function framesInSpan(span: Sixths, step: Sixths): number {
  if (span < 0)
    throw new EvenrungError(
      'range-reversed',
      'Give the span without a sign: it counts from the darkest frame to the brightest.',
    );
  if (span % step !== 0) throw notWholeSteps();
  return span / step + 1;
}

const notWholeSteps = () =>
  new EvenrungError(
    'span-not-whole-steps',
    'The span is not a whole number of steps: change the span or the step.',
  );

function readEv(written: string | number, what: string): Sixths {
  const value = parseEv(written);
  if (value === undefined) {
    const shown = shortened(String(written));
    throw new EvenrungError(
      'unreadable-ev',
      (named) =>
        `'${shown}' is not an EV value: ${named(what)} takes thirds or halves, such as 1, 0.5, 2/3 or -1 1/3.`,
      { field: what },
    );
  }
  return value;
}

/** An odd number of frames is symmetric about 0; an even number has its extra frame on the brighter side. */
function offsetsByCount(frames: number, step: Sixths): Sixths[] {
  if (!Number.isInteger(frames) || frames < 1 || frames > MOST_FRAMES) {
    throw new EvenrungError(
      'frames-out-of-range',
      `A set cannot have ${frames} frames: give a whole number from 1 to ${MOST_FRAMES}.`,
    );
  }
  const below = Math.floor((frames - 1) / 2);
  return Array.from({ length: frames }, (_, index) => timesSixths(step, index - below));
}

function offsetsByEnds(from: Sixths, to: Sixths, step: Sixths): Sixths[] {
  if (from > to) {
    throw new EvenrungError(
      'range-reversed',
      (named) =>
        `The span runs the wrong way round: ${named('from')} is the darker end, ${named('to')} the brighter.`,
    );
  }
  if ((to - from) % step !== 0) throw notWholeSteps();
  const frames = (to - from) / step + 1;
  if (frames > MOST_FRAMES) {
    throw new EvenrungError(
      'frames-out-of-range',
      `That would be ${frames} frames, and ${MOST_FRAMES} are the most: use a wider step or a shorter span.`,
    );
  }
  return Array.from({ length: frames }, (_, index) => plusSixths(from, timesSixths(step, index)));
}

/** @returns one sentence about the first mistake in what was sent */
export function firstIssue(error: z.ZodError): NamingFields {
  const { field, words } = firstIssueOf(error);
  return (named) => `The request is not understood: ${field === '' ? '' : `${named(field)}: `}${words}.`;
}
