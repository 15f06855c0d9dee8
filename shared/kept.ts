// The sets that were fired, as the panel asks for them over HTTP: a list, page by page, one set, and new
// names for it. All of it comes from the journal, apart from the files in the set folder, which are checked
// each time.
import { z } from 'zod';
import { errorCodeSchema } from './error-codes.js';
import { labelsSchema } from './labels.js';
import { lightSchema } from './light.js';
import { planSchema } from './plan.js';
import { planReadingsSchema } from './plan-readings.js';
import { MOST_FRAMES } from './request.js';
import { LARGEST_VIEWPOINT, LONGEST_NAME, LONGEST_NOTE } from './run-request.js';
import { frameViewSchema, runStateSchema, runViewSchema } from './state.js';

export const MOST_SETS_A_PAGE = 100;
export const SETS_A_PAGE = 20;

/** The query of the list, as it is in an address. */
export const setsQuerySchema = z.strictObject({
  /** Only sets with a smaller `number`: the `next` of the page before. */
  before: z.coerce.number().int().min(1).max(Number.MAX_SAFE_INTEGER).optional(),
  limit: z.coerce.number().int().min(1).max(MOST_SETS_A_PAGE).default(SETS_A_PAGE),
});

/** Which files of a set are in its folder right now, by names and sizes. */
export const onDiskSchema = z
  .strictObject({
    /** `whole`: each verified frame has its file. `lacking`: some have not. `gone`: the folder is not there, or cannot be read. */
    state: z.enum(['whole', 'lacking', 'gone']),
    /** Numbers of the verified frames whose file is not there. */
    missing: z.array(z.number().int()),
    /** Numbers of those whose file has another size than when it was verified. */
    changed: z.array(z.number().int()),
    /** What is wrong, and what to do about it; null if nothing is. */
    sentence: z.string().nullable(),
  })
  .meta({ id: 'OnDisk' });
export type OnDisk = z.infer<typeof onDiskSchema>;

/** A set as a list shows it. */
export const keptSetViewSchema = labelsSchema
  .extend({
    id: z.string(),
    /** Counts up in the order of beginning, over all runs. */
    number: z.number().int(),
    run: z.string(),
    /** Which set of its run it is, counted from 1. */
    ordinal: z.number().int(),
    /** Whether its run is on a schedule. */
    scheduled: z.boolean(),
    state: runStateSchema,
    /** ISO 8601, UTC. */
    startedAt: z.string(),
    endedAt: z.string().nullable(),
    /** How it ended, in one sentence. */
    sentence: z.string().nullable(),
    error: errorCodeSchema.nullable(),
    /** How many frames it has, and how many of them are verified. */
    frames: z.number().int(),
    verified: z.number().int(),
    /**
     * The place of the verified frame nearest to the middle, counted from 1 for the darkest; null if there is
     * none.
     */
    middle: z.number().int().nullable(),
    /** The name of its folder, never its path; null if nothing was stored. */
    folderName: z.string().nullable(),
    /** Which of its files are there; null if nothing was stored. */
    onDisk: onDiskSchema.nullable(),
    /** Whether its contact sheet is there to be shown. */
    hasSheet: z.boolean(),
    /** Whether there is a picture of what it can become. */
    hasPreview: z.boolean(),
    /** True if nothing was photographed. */
    practice: z.boolean(),
  })
  .meta({ id: 'KeptSetView' });
export type KeptSetView = z.infer<typeof keptSetViewSchema>;

export const keptSetsSchema = z
  .strictObject({
    /** The newest first. */
    sets: z.array(keptSetViewSchema),
    /** The `before` of the next page; null on the last one. */
    next: z.number().int().nullable(),
  })
  .meta({ id: 'KeptSets' });
export type KeptSets = z.infer<typeof keptSetsSchema>;

/** One set, with all that its journal tells a person. */
export const keptSetDetailSchema = keptSetViewSchema
  .omit({ frames: true })
  .extend({
    base: runViewSchema.shape.base,
    /** The readings from which base and frames followed; left out if there were none. */
    readings: planReadingsSchema.optional(),
    /** In firing order. */
    passes: planSchema.shape.passes,
    /** The darkest first. */
    frames: z.array(frameViewSchema),
    /** Files in its folder that are not its frames. */
    asides: z.array(z.strictObject({ file: z.string(), reason: z.string() })),
    /** Releases whose file never came. */
    strays: z.array(
      z.strictObject({
        frame: z.number().int(),
        offset: z.number(),
        shutter: z.string(),
        /** ISO 8601, UTC. */
        releasedAt: z.string(),
        reason: z.string(),
      }),
    ),
    /** Files that may still be in the camera. */
    inCamera: z.strictObject({
      /** Files that its releases made, as far as is known, and that never came. */
      files: z.number().int(),
      /** Whether the camera that made it is there, and can be looked into. */
      canLook: z.boolean(),
    }),
    /** Other things that a person should know, a sentence each. */
    notes: z.array(z.string()),
    /** What its pictures tell of its light; null if none was judged. */
    light: lightSchema.nullable(),
  })
  .meta({ id: 'KeptSetDetail' });
export type KeptSetDetail = z.infer<typeof keptSetDetailSchema>;

/** New names for a set. A name that is left out stays; null, or nothing but blanks, removes it. */
export const relabelSchema = z
  .strictObject({
    name: z.string().max(LONGEST_NAME).nullable().optional(),
    note: z.string().max(LONGEST_NOTE).nullable().optional(),
    viewpoint: z.number().int().min(1).max(LARGEST_VIEWPOINT).nullable().optional(),
  })
  .refine((change) => Object.keys(change).length > 0, 'give a name, a note or a viewpoint')
  .meta({ id: 'Relabel' });
export type Relabel = z.infer<typeof relabelSchema>;

/** Which frames of a kept set are made again: some, by their numbers, or all of one pass. */
export const againSchema = z
  .union(
    [
      z.strictObject({ frames: z.array(z.number().int().min(1)).min(1).max(MOST_FRAMES) }),
      z.strictObject({ pass: z.number().int().min(1) }),
    ],
    { error: 'give frame numbers, or a pass' },
  )
  .meta({ id: 'Again' });
export type Again = z.infer<typeof againSchema>;

const addedSchema = z
  .number()
  .int()
  .min(0)
  .max(MOST_FRAMES - 1);

/** By how many frames a kept set is extended at each end; with nothing given, by one at each end that has lost something. */
export const extendSchema = z
  .strictObject({ darker: addedSchema.optional(), brighter: addedSchema.optional() })
  .refine(
    ({ darker, brighter }) => (darker ?? brighter) === undefined || (darker ?? 0) + (brighter ?? 0) > 0,
    'give the number of darker or brighter frames, or neither',
  )
  .meta({ id: 'Extend' });
export type Extend = z.infer<typeof extendSchema>;
