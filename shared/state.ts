// The daemon's state, as everyone who watches sees it. fold.ts says how an event changes it.
import { z } from 'zod';
import { askedSchema } from './asked.js';
import { errorCodeSchema } from './error-codes.js';
import { labelsSchema } from './labels.js';
import { lightSchema } from './light.js';
import { markCodeSchema } from './mark.js';
import { planSchema } from './plan.js';
import { readinessItemSchema } from './readiness.js';
import { FILE_KINDS } from './reading.js';
import { scheduleSchema } from './schedule.js';
import { soundingViewSchema } from './sounding.js';
import { watchSchema } from './watch.js';

export const frameStateSchema = z.enum(['planned', 'armed', 'fired', 'stored', 'verified', 'rejected']);
export type FrameState = z.infer<typeof frameStateSchema>;

export const recordedSchema = z.strictObject({
  /** Seconds, as the file says. */
  exposureTime: z.number().nullable(),
  fNumber: z.number().nullable(),
  iso: z.number().nullable(),
  /**
   * EV that the body was told to expose more than it meters; null if the file does not tell, or in data of
   * earlier programs.
   */
  bias: z.number().nullable().default(null),
});

/**
 * The second file of a frame, if the body makes two of each. The frame's own is the one that is merged, such
 * as the raw file; this is the one that is shown, such as the JPEG.
 */
export const partnerSchema = z.discriminatedUnion('state', [
  z.strictObject({
    state: z.literal('there'),
    /** Its name in the set folder: that of the frame's file, with another extension. */
    file: z.string(),
    /** SHA-256 of the file as it came, hexadecimal. */
    sha256: z.string().nullable(),
    bytes: z.number().int().nullable(),
    recorded: recordedSchema.nullable(),
  }),
  /** It has not come, or was not taken; the camera's card may have it. */
  z.strictObject({
    state: z.literal('missing'),
    /**
     * The camera's name for the file that came: the missing one has that name with another extension. Null if
     * the link does not tell.
     */
    beside: z.string().nullable(),
  }),
]);
export type Partner = z.infer<typeof partnerSchema>;

/** A remark for a person on a frame that is in the set all the same. */
export const frameViewMarkSchema = z.strictObject({
  code: markCodeSchema,
  /** One sentence. */
  sentence: z.string(),
});
export type FrameViewMark = z.infer<typeof frameViewMarkSchema>;

/** One frame of a set. */
export const frameViewSchema = z.strictObject({
  /** 1 is the darkest of those that were planned at first; frames that were added later count on. */
  number: z.number().int(),
  /** The pass that fires it, counted from 1. */
  pass: z.number().int(),
  offset: z.number(),
  /** Exact seconds. */
  exposureTime: z.number(),
  shutter: z.string(),
  state: frameStateSchema,
  /** How often the shutter was released for it. */
  attempts: z.number().int(),
  recorded: recordedSchema.nullable(),
  /** Shares of the picture, from 0 to 1, that are black or blown out, measured on a small copy of it. */
  clipped: z.strictObject({ dark: z.number(), light: z.number() }).nullable(),
  /** Its name in the set folder, once it is verified. */
  file: z.string().nullable(),
  /** Left out if the frame is one file. */
  partner: partnerSchema.optional(),
  /** Why it was rejected, in one sentence. */
  reason: z.string().nullable(),
  /**
   * In aperture priority: EV by which the body's own exposure has moved since the first frame of the set, if
   * that is a sixth or more; + is more light let in. Otherwise null.
   */
  baseMoved: z.number().nullable(),
  marks: z.array(frameViewMarkSchema).default([]),
});
export type FrameView = z.infer<typeof frameViewSchema>;

export const passStateSchema = z.enum(['planned', 'arming', 'firing', 'done']);

export const runStateSchema = z.enum([
  'preparing',
  'firing',
  'making-up',
  'held',
  'putting-back',
  'complete',
  'stopped',
  'halted',
]);
export type RunState = z.infer<typeof runStateSchema>;

/** Why a run cannot continue at the moment, and what is being done about it. */
export const troubleSchema = z.strictObject({
  /** `reconnecting`: the body is gone. `waiting`: it is there, and cannot be used just now. */
  doing: z.enum(['reconnecting', 'waiting']),
  code: errorCodeSchema,
  /** What happened, in one sentence. */
  sentence: z.string(),
  /** What happens next, in one sentence. */
  next: z.string(),
});
export type Trouble = z.infer<typeof troubleSchema>;

/** A run: its current set, or the last one. */
export const runViewSchema = z.strictObject({
  id: z.string(),
  set: labelsSchema.extend({
    id: z.string(),
    /** Which set of its run it is, counted from 1. */
    ordinal: z.number().int(),
  }),
  state: runStateSchema,
  /** The settings that everything is counted from, as the body wrote them. */
  base: z.strictObject({ shutter: z.string(), aperture: z.string().nullable(), iso: z.string().nullable() }),
  plan: planSchema,
  /** The states of the plan's passes, in firing order. */
  passes: z.array(passStateSchema),
  /** The darkest first. */
  frames: z.array(frameViewSchema),
  startedAt: z.string(),
  endedAt: z.string().nullable(),
  /** If a delay was asked for: nothing is fired before this moment, ISO 8601, UTC. */
  beginsAt: z.string().nullable(),
  /** Who began it, or went on with it, as a person would name them. */
  startedBy: z.string(),
  /** What keeps the run from continuing at the moment; null if nothing does. */
  trouble: troubleSchema.nullable(),
  /** How it ended, in one sentence. */
  sentence: z.string().nullable(),
  /** The code of the error, if there was one: pages.ts says where to read more about it. */
  error: errorCodeSchema.nullable(),
  /** The finished set folder. */
  folder: z.string().nullable(),
  /** Other things that a person should know of this run, a sentence each. */
  notes: z.array(z.string()),
  /** What its pictures tell of its light; null until one has been judged, and if none is. */
  light: lightSchema.nullable(),
  /** Whether its pictures are judged. */
  isJudged: z.boolean(),
});
export type RunView = z.infer<typeof runViewSchema>;

/** A set in the time line of a run on a schedule. */
export const lineSetSchema = z.strictObject({
  set: z.string(),
  /** Counted from 1, in the order in which they were begun. */
  ordinal: z.number().int(),
  /** The slot that it was made in, counted from 0. */
  slot: z.number().int(),
  startedAt: z.string(),
  endedAt: z.string().nullable(),
  state: runStateSchema,
  verified: z.number().int(),
  frames: z.number().int(),
  /** The base: nominal shutter, and ISO if the body tells it. */
  shutter: z.string(),
  iso: z.string().nullable(),
  /** EV by which the base moved from the set before; + lets in more light. */
  shift: z.number(),
  /** How it ended, in one sentence. */
  sentence: z.string().nullable(),
});
export type LineSet = z.infer<typeof lineSetSchema>;

/** `held`: somebody holds it between two sets, and slots pass. */
export const scheduleStateSchema = z.enum(['waiting', 'firing', 'held', 'complete', 'stopped', 'halted']);
export type ScheduleState = z.infer<typeof scheduleStateSchema>;

/** The forecast for a run on a schedule. */
export const scheduleEstimateSchema = z.strictObject({
  sets: z.number().int(),
  /** ISO 8601, UTC: when the last set is expected to be done. */
  ends: z.string(),
  /** Releases of the shutter. */
  actuations: z.number().int(),
  /** Of all files; null if the size of one is not known. */
  bytes: z.number().nullable(),
});

/** A caution before a run on a schedule. */
export const cautionSchema = z.strictObject({
  sentence: z.string(),
  /** The end to write instead, such as `sunrise-20min`, if that removes the caution; otherwise null. */
  until: z.string().nullable(),
});

/** A schedule before it is begun. */
export const foreseenScheduleSchema = z
  .strictObject({
    schedule: scheduleSchema,
    /** In one sentence, by the clock on the wall. */
    words: z.string(),
    estimate: scheduleEstimateSchema,
    cautions: z.array(cautionSchema),
  })
  .meta({ id: 'ForeseenSchedule' });
export type ForeseenSchedule = z.infer<typeof foreseenScheduleSchema>;

/** A run on a schedule. */
export const scheduleViewSchema = foreseenScheduleSchema.extend({
  run: z.string(),
  state: scheduleStateSchema,
  /** The slot that comes next, and when; null while a set is made, and at the end. */
  next: z.strictObject({ index: z.number().int(), at: z.string() }).nullable(),
  /** Sets that were begun. */
  begun: z.number().int(),
  /** Sets of them that are complete. */
  complete: z.number().int(),
  /** Slots that passed without a set. */
  missed: z.number().int(),
  /** Other things that a person should know, the newest last. */
  notes: z.array(z.string()),
  /** How it ended, in one sentence. */
  sentence: z.string().nullable(),
  error: errorCodeSchema.nullable(),
  endedAt: z.string().nullable(),
  /** Whether it ended before its time, and nobody had stopped it: somebody should come. */
  early: z.boolean(),
});
export type ScheduleView = z.infer<typeof scheduleViewSchema>;

/** A body that was found, in the words that the panel needs. */
export const bodyViewSchema = z.strictObject({
  link: z.enum(['practice', 'usb']),
  model: z.string(),
  serial: z.string().nullable(),
  /** How it says "bracket" over the wire. */
  dialect: z.enum(['amount', 'pattern', 'drive-entry', 'none']),
  /** The labels that a base can have, longest first. */
  shutters: z.array(z.string()),
  /** Steps in EV that its shutter settings carry, ascending: others cannot be made, not even frame by frame. */
  steps: z.array(z.number()),
  /** The auto-brackets: frames, and EV between them. */
  brackets: z.array(z.strictObject({ frames: z.number().int(), step: z.number() })),
  /** Whether one release can fire a whole bracket. */
  oneRelease: z.boolean(),
  /** How far exposure compensation goes either way, and its steps, in EV. */
  compensation: z.strictObject({ range: z.number(), grid: z.number() }),
  /** The longest exposure whose file comes back. */
  longestSeconds: z.number(),
  /** Seconds that plans count with, in addition to the exposures. */
  timing: z.strictObject({
    secondsPerChange: z.number(),
    secondsPerSetting: z.number(),
    secondsPerFrame: z.number(),
    /** Used in place of `secondsPerFrame` over a link that takes release and fetch apart; otherwise null. */
    apart: z
      .strictObject({
        secondsBeforeExposure: z.number(),
        secondsAfterExposure: z.number(),
        secondsPerTransfer: z.number(),
        /** Seconds that one piece of a file keeps the cable busy; null if files come whole, before the next frame is released. */
        secondsPerPiece: z.number().nullable(),
        /** The most frames that one release may make; null if nobody has tried. */
        mostInOneGo: z.number().int().nullable(),
      })
      .nullable(),
  }),
  /** Which way to the library it is reached by, and why; null for the practice body. */
  reached: z.strictObject({ way: z.enum(['binding', 'direct']), why: z.string() }).nullable(),
  /** Where the facts come from that the wire does not tell. */
  profile: z.enum(['none', 'written', 'learnt']),
  /** The settings that the base takes over as they are. */
  shutter: z.string().nullable(),
  aperture: z.string().nullable(),
  iso: z.string().nullable(),
  /** The kind of files that its frames become; left out if the body does not tell. */
  files: z.enum(FILE_KINDS).optional(),
  /**
   * Whether it is ready for a set, item by item, judged for the request that was planned last, whoever made
   * it.
   */
  readiness: z.array(readinessItemSchema),
});
export type BodyView = z.infer<typeof bodyViewSchema>;

/** A body on the cable, before anything is done with it. */
export const attachedBodySchema = z.strictObject({ model: z.string(), serial: z.string().nullable() });
export type AttachedBody = z.infer<typeof attachedBodySchema>;

export const bodyStateSchema = z.discriminatedUnion('state', [
  z.strictObject({ state: z.literal('looking') }),
  /** `note` says why this body was taken, if it is not the one that was asked for. */
  z.strictObject({ state: z.literal('ready'), body: bodyViewSchema, note: z.string().nullable() }),
  z.strictObject({
    state: z.literal('absent'),
    sentence: z.string(),
    error: errorCodeSchema,
    /** What happens next, if it happens by itself; otherwise null. */
    next: z.string().nullable(),
    /** If several are attached and none was chosen: the bodies to choose from. */
    choices: z.array(attachedBodySchema),
  }),
]);
export type BodyState = z.infer<typeof bodyStateSchema>;

/** A run that was cut off with the program, and waits for somebody to resume it, or to end it. */
export const unfinishedSchema = z.strictObject({
  run: z.string(),
  /** The id of the set that was under way; null between two sets. */
  set: z.string().nullable(),
  startedAt: z.string(),
  verified: z.number().int(),
  frames: z.number().int(),
  folder: z.string().nullable(),
  /** Whether it is on a schedule, with sets still to come. */
  scheduled: z.boolean(),
  /** What happened, and what can be done. */
  sentence: z.string(),
});
export type Unfinished = z.infer<typeof unfinishedSchema>;

export const daemonStateSchema = z
  .strictObject({
    body: bodyStateSchema,
    /** The run under way, or the last one. */
    run: runViewSchema.nullable(),
    /** The schedule that the run is on, or was on; null for a single set. */
    schedule: scheduleViewSchema.nullable(),
    /** The latest sets of that schedule, the oldest first. */
    line: z.array(lineSetSchema),
    /** How long disk, card and battery last; null before a body was met. */
    watch: watchSchema.nullable(),
    unfinished: unfinishedSchema.nullable(),
    /** The request in the panels; null before there is one. */
    asked: askedSchema.nullable(),
    /** The sounding under way, or the last one; null if none was taken, or a set was fired since. */
    sounding: soundingViewSchema.nullable(),
  })
  .meta({ id: 'DaemonState' });
export type DaemonState = z.infer<typeof daemonStateSchema>;

export const happeningSchema = z.discriminatedUnion('type', [
  z.strictObject({ type: z.literal('body'), body: bodyStateSchema }),
  z.strictObject({ type: z.literal('unfinished'), unfinished: unfinishedSchema.nullable() }),
  /** Somebody changed the request in the panels. */
  z.strictObject({ type: z.literal('asked'), asked: askedSchema }),
  /** A run on a schedule begins, waits, continues, ends; null if a single set is begun instead. */
  z.strictObject({ type: z.literal('schedule'), schedule: scheduleViewSchema.nullable() }),
  /** A set of the run on a schedule begins, or has ended. */
  z.strictObject({ type: z.literal('line-set'), run: z.string(), set: lineSetSchema }),
  z.strictObject({ type: z.literal('watch'), watch: watchSchema.nullable() }),
  /** A set of a run begins, or is resumed. */
  z.strictObject({ type: z.literal('run'), run: runViewSchema }),
  /** A run changes its state; the rest comes with its end. */
  z.strictObject({
    type: z.literal('run-state'),
    run: z.string(),
    state: runStateSchema,
    sentence: z.string().nullable(),
    error: errorCodeSchema.nullable(),
    folder: z.string().nullable(),
    endedAt: z.string().nullable(),
  }),
  z.strictObject({
    type: z.literal('pass'),
    run: z.string(),
    pass: z.number().int(),
    state: passStateSchema,
  }),
  z.strictObject({ type: z.literal('frame'), run: z.string(), frame: frameViewSchema }),
  /** A run met with trouble, or is over it. */
  z.strictObject({ type: z.literal('trouble'), run: z.string(), trouble: troubleSchema.nullable() }),
  /** A sounding begins, goes on, or has ended; null if it no longer counts. */
  z.strictObject({ type: z.literal('sounding'), sounding: soundingViewSchema.nullable() }),
  /** Something that a person should know of a run. */
  z.strictObject({ type: z.literal('note'), run: z.string(), note: z.string() }),
  /** Pictures of a run were judged by their light; some come after its end. */
  z.strictObject({ type: z.literal('light'), run: z.string(), set: z.string(), light: lightSchema }),
]);
/** Something that happened, before it has its number. */
export type Happening = z.infer<typeof happeningSchema>;

export const eventSchema = z
  .strictObject({
    /** Counts up by one from 1, for as long as the daemon lives. */
    seq: z.number().int(),
    /** ISO 8601, UTC. */
    at: z.string(),
    happening: happeningSchema,
  })
  .meta({ id: 'Event' });
export type NumberedEvent = z.infer<typeof eventSchema>;
