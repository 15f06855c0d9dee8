// What a person asks for: the frames of a set. Parsed once, here, whether it comes from the panel or the command line.
import { z } from 'zod';
import { EvenrungError } from './errors.js';
import { parseEv, type Sixths } from './ev.js';

/** Twenty EV in thirds. More frames than that are a slip of the finger. */
export const MOST_FRAMES = 61;
export const SMALLEST_STEP: Sixths = 2;
export const LARGEST_STEP: Sixths = 18;

const ev = z.union([z.number(), z.string().max(24)]);

/** As it is written on the wire: either `frames` and `step`, or `from`, `to` and `step`; EV as numbers or text. */
export const setRequestSchema = z
  .strictObject({
    frames: z.number().optional(),
    from: ev.optional(),
    to: ev.optional(),
    step: ev,
    base: z.string().min(1).max(24).default('1/60'),
    mode: z.enum(['manual', 'aperture']).default('manual'),
  })
  .meta({ id: 'SetRequest' });

export type WrittenSetRequest = z.input<typeof setRequestSchema>;

/** A request as the planner takes it: every EV in sixths, the offsets spelled out, ascending. */
export interface SetRequest {
  readonly offsets: readonly Sixths[];
  readonly step: Sixths;
  /** The shutter of the base, as it was written: the body's own choices decide which setting it is. */
  readonly base: string;
  readonly mode: 'manual' | 'aperture';
}

/**
 * @param written anything at all, such as a parsed JSON body
 * @returns the request
 * @throws EvenrungError malformed-request, unreadable-ev, frames-out-of-range, step-out-of-range, range-reversed,
 *   span-not-whole-steps
 */
export function parseSetRequest(written: unknown): SetRequest {
  const parsed = setRequestSchema.safeParse(written);
  if (!parsed.success) throw new EvenrungError('malformed-request', firstIssue(parsed.error));
  const { frames, from, to, base, mode } = parsed.data;
  const step = readEv(parsed.data.step, 'step');
  if (step < SMALLEST_STEP || step > LARGEST_STEP) {
    throw new EvenrungError(
      'step-out-of-range',
      `A step of ${parsed.data.step} EV is no use: give 1/3 to 3 EV.`,
    );
  }
  const byCount = frames !== undefined;
  const bySpan = from !== undefined || to !== undefined;
  if (byCount === bySpan) {
    const message = byCount
      ? 'Give either frames and step, or from, to and step, not both.'
      : 'Give the number of frames and the step, or from, to and step.';
    throw new EvenrungError('malformed-request', message);
  }
  if (byCount) return { offsets: offsetsByCount(frames, step), step, base, mode };
  if (from === undefined || to === undefined) {
    throw new EvenrungError('malformed-request', 'Give both ends of the span: from and to.');
  }
  return { offsets: offsetsBySpan(readEv(from, 'from'), readEv(to, 'to'), step), step, base, mode };
}

function readEv(written: string | number, what: string): Sixths {
  const sixths = parseEv(written);
  if (sixths === undefined) {
    const shown = String(written).slice(0, 24);
    throw new EvenrungError(
      'unreadable-ev',
      `The ${what} '${shown}' is no EV value in thirds or halves: write for example 1, 0.5, 2/3 or -1 1/3.`,
      { field: what },
    );
  }
  return sixths;
}

/** Symmetric about 0 where the count is odd; where it is even the extra frame is on the lighter side. */
function offsetsByCount(frames: number, step: Sixths): Sixths[] {
  if (!Number.isInteger(frames) || frames < 1 || frames > MOST_FRAMES) {
    throw new EvenrungError(
      'frames-out-of-range',
      `${frames} frames cannot be made: give a whole number from 1 to ${MOST_FRAMES}.`,
    );
  }
  const below = Math.floor((frames - 1) / 2);
  return Array.from({ length: frames }, (_, index) => (index - below) * step);
}

function offsetsBySpan(from: Sixths, to: Sixths, step: Sixths): Sixths[] {
  if (from > to) {
    throw new EvenrungError(
      'range-reversed',
      'The span runs the wrong way round: from is the darker end, to the lighter.',
    );
  }
  if ((to - from) % step !== 0) {
    throw new EvenrungError(
      'span-not-whole-steps',
      'The span is no whole number of steps: change from, to or step.',
    );
  }
  const frames = (to - from) / step + 1;
  if (frames > MOST_FRAMES) {
    throw new EvenrungError(
      'frames-out-of-range',
      `That would be ${frames} frames: ${MOST_FRAMES} are the most.`,
    );
  }
  return Array.from({ length: frames }, (_, index) => from + index * step);
}

/** @returns one sentence about the first thing that is wrong with what was sent */
export function firstIssue(error: z.ZodError): string {
  const issue = error.issues[0];
  if (issue === undefined) return 'What was sent is not understood.';
  const where = issue.path.length > 0 ? `${issue.path.join('.')}: ` : '';
  return `What was sent is not understood: ${where}${issue.message}.`;
}
