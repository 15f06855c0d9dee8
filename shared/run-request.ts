// A request for a run: the frames of its sets, their names and, if it is more than one set, when they are
// made and whether base and span follow the light. It is parsed once, here, whether it comes from the panel
// or the command line.
import { z } from 'zod';
import { EvenrungError } from './errors.js';
import { parseEv, type Sixths, sixths } from './ev.js';
import type { Labels } from './labels.js';
import { IN_PLAIN_WORDS, shortened } from './plain-words.js';
import {
  type AskedSet,
  between,
  delaySchema,
  firstIssue,
  MOST_FRAMES,
  parseSetRequest,
  setRequestSchema,
  type WrittenSetRequest,
  writtenEvSchema,
  writtenTimeSchema,
} from './request.js';
import { parseScheduleRequest, type ScheduleRequest, scheduleRequestSchema } from './schedule.js';
import { USUAL_SPAN } from './usual-span.js';

export const LONGEST_NAME = 300;
export const LONGEST_NOTE = 4000;
export const LARGEST_VIEWPOINT = 9999;
const LARGEST_ISO = 10_000_000;
/** A base that jumped farther would leave the frames before and after with nothing in common. */
const LARGEST_SHIFT = sixths(18);
const SMALLEST_SHIFT = sixths(2);

/** Limits within which the base follows the light: the shutter first, then ISO; the aperture never. */
export const lightRequestSchema = z
  .strictObject({
    /**
     * The slowest and the fastest shutter of the base, as they are written: `8`, `1/4000`. One that is left
     * out is limited by slot and body.
     */
    slowest: writtenTimeSchema.optional(),
    fastest: writtenTimeSchema.optional(),
    /** The ISO settings in between which it may move; left out, ISO stays. */
    isoLeast: z.number().int().min(1).max(LARGEST_ISO).optional(),
    isoMost: z.number().int().min(1).max(LARGEST_ISO).optional(),
    /** EV that the base may move from one set to the next. */
    mostPerSet: writtenEvSchema.default(1),
  })
  .meta({ id: 'LightRequest' });
export type WrittenLight = z.input<typeof lightRequestSchema>;

export interface LightRequest {
  readonly slowest: string | null;
  readonly fastest: string | null;
  readonly isoLeast: number | null;
  readonly isoMost: number | null;
  readonly mostPerSet: Sixths;
}

/** Limits within which the span follows what the last set lacked, or had too much of. */
export const spanRequestSchema = z
  .strictObject({
    /**
     * The fewest frames of a set; if it is left out, 3, or as many as the first set has if they are fewer.
     */
    fewestFrames: between(1, MOST_FRAMES, 'frames').int().optional(),
    /** The most frames of a set; if it is left out, 4 more than the first set has. */
    mostFrames: between(1, MOST_FRAMES, 'frames').int().optional(),
    /** Frames that may be added and dropped from one set to the next, at both ends together. */
    mostPerSet: between(1, MOST_FRAMES, 'frames').int().default(USUAL_SPAN.mostPerSet),
  })
  .meta({ id: 'SpanRequest' });
export type WrittenSpan = z.input<typeof spanRequestSchema>;

/** Null if the usual limit counts, which follows from the frames of the first set. */
export interface SpanRequest {
  readonly fewestFrames: number | null;
  readonly mostFrames: number | null;
  readonly mostPerSet: number;
}

export const runRequestSchema = setRequestSchema
  .extend({
    name: z.string().max(LONGEST_NAME).optional(),
    note: z.string().max(LONGEST_NOTE).optional(),
    viewpoint: z.number().int().min(1).max(LARGEST_VIEWPOINT).optional(),
    schedule: scheduleRequestSchema.optional(),
    light: lightRequestSchema.optional(),
    /**
     * Whether the span follows what the sets of a schedule hold of their scene; `{}` takes the usual limits.
     */
    followSpan: spanRequestSchema.optional(),
    /** Whether the body may fall asleep between the sets of a schedule, because it wakes over USB. */
    maySleep: z.boolean().optional(),
    delay: delaySchema.optional(),
  })
  .meta({ id: 'RunRequest' });
export type WrittenRunRequest = z.input<typeof runRequestSchema>;

export interface RunRequest {
  readonly set: AskedSet;
  /** The set as it was written: the journal keeps that. */
  readonly writtenSet: WrittenSetRequest;
  readonly labels: Labels;
  readonly schedule: ScheduleRequest | null;
  readonly light: LightRequest | null;
  readonly followSpan: SpanRequest | null;
  readonly maySleep: boolean;
  /** Seconds before the first frame. */
  readonly delay: number;
}

/**
 * @param written anything at all, such as a parsed JSON body
 * @throws EvenrungError as parseSetRequest and parseScheduleRequest; malformed-request
 */
export function parseRunRequest(written: unknown): RunRequest {
  const parsed = runRequestSchema.safeParse(written, IN_PLAIN_WORDS);
  if (!parsed.success) throw new EvenrungError('malformed-request', firstIssue(parsed.error));
  // Anything that the schema let pass has these fields, and no others.
  const { name, note, viewpoint, schedule, light, followSpan, maySleep, delay, ...writtenSet } =
    written as WrittenRunRequest;
  const set = parseSetRequest(writtenSet);
  if (light !== undefined && schedule === undefined)
    throw new EvenrungError(
      'malformed-request',
      'The base exposure can follow the light only from set to set: give a schedule, too.',
    );
  if (followSpan !== undefined && schedule === undefined)
    throw new EvenrungError(
      'malformed-request',
      'The span can follow the scene only from set to set: give a schedule, too.',
    );
  if (light !== undefined && set.mode === 'aperture')
    throw new EvenrungError(
      'malformed-request',
      (named) =>
        `In aperture priority the camera follows the light itself: use manual mode, or leave ${named('light')} out.`,
    );
  if (delay !== undefined && delay > 0 && schedule !== undefined)
    throw new EvenrungError(
      'malformed-request',
      (named) => `A schedule has a start of its own: leave ${named('delay')} out.`,
      { field: 'delay' },
    );
  return {
    set,
    writtenSet,
    labels: {
      name: textOrNull(name),
      note: textOrNull(note),
      viewpoint: viewpoint === undefined ? null : String(viewpoint),
    },
    schedule: schedule === undefined ? null : parseScheduleRequest(schedule),
    light: light === undefined ? null : readLight(light),
    followSpan: followSpan === undefined ? null : readSpan(followSpan),
    maySleep: maySleep ?? false,
    delay: delay ?? 0,
  };
}

const textOrNull = (text: string | undefined): string | null => text?.trim() || null;

function readLight(written: WrittenLight): LightRequest {
  const { slowest, fastest, isoLeast, isoMost, mostPerSet } = lightRequestSchema.parse(written);
  const most = parseEv(mostPerSet);
  if (most === undefined || most < SMALLEST_SHIFT || most > LARGEST_SHIFT)
    throw new EvenrungError(
      'malformed-request',
      `The base exposure cannot move by '${shortened(String(mostPerSet))}' EV from set to set: give 1/3 to 3 EV.`,
    );
  if (isoLeast !== undefined && isoMost !== undefined && isoLeast > isoMost)
    throw new EvenrungError(
      'malformed-request',
      (named) => `The lowest ISO is above the highest: swap ${named('isoLeast')} and ${named('isoMost')}.`,
    );
  return {
    slowest: slowest ?? null,
    fastest: fastest ?? null,
    isoLeast: isoLeast ?? null,
    isoMost: isoMost ?? null,
    mostPerSet: most,
  };
}

/** @throws EvenrungError malformed-request */
export function readSpan(written: WrittenSpan): SpanRequest {
  const { fewestFrames, mostFrames, mostPerSet } = spanRequestSchema.parse(written);
  if (fewestFrames !== undefined && mostFrames !== undefined && fewestFrames > mostFrames)
    throw new EvenrungError(
      'malformed-request',
      (named) =>
        `A set cannot have at least ${fewestFrames} and at most ${mostFrames} frames: swap ${named('fewestFrames')} and ${named('mostFrames')}.`,
      { field: 'mostFrames' },
    );
  return { fewestFrames: fewestFrames ?? null, mostFrames: mostFrames ?? null, mostPerSet };
}
