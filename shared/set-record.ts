// The record beside the frames in a set folder, `set.json`. It is kept for years, so its schema is spelled
// out here and does not follow the one of the wire, and every version that was ever written can be read.
import { z } from 'zod';
import { EvenrungError } from './errors.js';
import { lightSchema } from './light.js';
import { markCodeSchema } from './mark.js';
import { firstIssueOf, IN_PLAIN_WORDS } from './plain-words.js';

export const SET_RECORD_VERSION = 2;

const recordPassSchema = z.object({
  centre: z.number(),
  /** EV between the frames of the pass; 0 for a single frame. */
  step: z.number(),
  offsets: z.array(z.number()),
  /** In the body's firing order. */
  frames: z.array(
    z.object({ offset: z.number(), exposureTime: z.number(), shutter: z.string(), wanted: z.boolean() }),
  ),
  /** True if one release was to fire all of it; left out if each frame had a release of its own. */
  oneRelease: z.literal(true).optional(),
});

const frameV1Schema = z.object({
  /** 1 is the darkest of those that were planned at first; frames that were added later count on. */
  number: z.number().int(),
  /** The pass that fired it, counted from 1. */
  pass: z.number().int(),
  /** EV from the base. */
  offset: z.number(),
  /** Exact seconds, as planned. */
  exposureTime: z.number(),
  /** The nominal label. */
  shutter: z.string(),
  state: z.enum(['planned', 'armed', 'fired', 'stored', 'verified', 'rejected']),
  attempts: z.number().int(),
  /** As the file says. */
  recorded: z
    .object({
      /** Seconds. */
      exposureTime: z.number().nullable(),
      fNumber: z.number().nullable(),
      iso: z.number().nullable(),
      /** EV; null if it was not kept. */
      bias: z.number().nullable().default(null),
    })
    .nullable(),
  /** Shares from 0 to 1. */
  clipped: z.object({ dark: z.number(), light: z.number() }).nullable(),
  /** Its name in the set folder, once it is verified. */
  file: z.string().nullable(),
  reason: z.string().nullable(),
  baseMoved: z.number().nullable(),
});

/** A remark on one frame for a person. */
export const frameMarkSchema = z.object({
  code: markCodeSchema,
  sentence: z.string(),
});
export type FrameMark = z.infer<typeof frameMarkSchema>;

/**
 * The second file of a frame, if the body makes two of each: the frame's own is the one to merge, this the
 * one to show.
 */
export const recordPartnerSchema = z.discriminatedUnion('state', [
  z.object({
    state: z.literal('there'),
    file: z.string(),
    sha256: z
      .string()
      .regex(/^[0-9a-f]{64}$/)
      .nullable(),
    bytes: z.number().int().nullable(),
    recorded: frameV1Schema.shape.recorded,
    sidecar: z.string().nullable().default(null),
  }),
  /** It never came, or was not taken; the camera may call it as the file that came, with another extension. */
  z.object({ state: z.literal('missing'), beside: z.string().nullable() }),
]);

/** Null means not measured, or not kept by the program that wrote the record. */
const frameSchema = frameV1Schema.extend({
  /** Seconds that the label says. */
  nominalSeconds: z.number().nullable().default(null),
  /** SHA-256 of the file as it came, hexadecimal. */
  sha256: z
    .string()
    .regex(/^[0-9a-f]{64}$/)
    .nullable()
    .default(null),
  bytes: z.number().int().nullable().default(null),
  /** ISO 8601, UTC, by this computer's clock: told to fire, file complete, file judged. */
  firedAt: z.string().nullable().default(null),
  storedAt: z.string().nullable().default(null),
  verifiedAt: z.string().nullable().default(null),
  /** The name of its sidecar in the set folder. */
  sidecar: z.string().nullable().default(null),
  marks: z.array(frameMarkSchema).default([]),
  /** Left out if the frame is one file. */
  partner: recordPartnerSchema.optional(),
});

const straySchema = z.object({
  frame: z.number().int(),
  offset: z.number(),
  shutter: z.string(),
  /** ISO 8601, UTC: when it was released, by this computer's clock. */
  releasedAt: z.string(),
  reason: z.string(),
});

const recordReadingSchema = z.object({
  /** As somebody wrote it. */
  written: z.string(),
  /** EV at ISO 100; null if it was not known. */
  ev100: z.number().nullable(),
  /** The nominal shutter time that puts it on middle grey. */
  shutter: z.string(),
  frame: z.number().int(),
  /** EV from the middle grey of that frame, as planned. */
  fromGrey: z.number(),
  sentence: z.string(),
});

/** Measured light against planned light, for two neighbouring frames. */
export const recordRatioSchema = z.object({
  darker: z.number().int(),
  lighter: z.number().int(),
  /** EV from the planned offsets. */
  expected: z.number(),
  /** EV by the pixels; null if too few can be compared. */
  ev: z.number().nullable(),
  /** True if both differ by more than a tone curve explains. */
  mark: z.boolean(),
});

const setV1Schema = z.object({
  version: z.literal(1),
  id: z.string(),
  /** True only if every offset is verified. */
  complete: z.boolean(),
  /** How the run ended, in one sentence. */
  sentence: z.string(),
  /** True if the practice body made the frames: nothing was photographed, the scene is invented. */
  practice: z.boolean(),
  startedAt: z.string(),
  endedAt: z.string(),
  body: z.object({ link: z.enum(['practice', 'usb']), model: z.string(), serial: z.string().nullable() }),
  /**
   * Shutter, aperture and ISO that the offsets are counted from, as the body writes them; the exact time in
   * seconds. In aperture priority the time is the one that the first verified frame implies.
   */
  base: z.object({
    shutter: z.string(),
    exposureTime: z.number(),
    aperture: z.string().nullable(),
    iso: z.string().nullable(),
  }),
  /**
   * What moved the centre of a pass: the shutter in manual mode, exposure compensation in aperture priority.
   */
  mode: z.enum(['manual', 'aperture']),
  /** EV between neighbouring frames. */
  step: z.number(),
  passes: z.array(recordPassSchema),
  /** The darkest first. */
  frames: z.array(frameV1Schema),
  /** Files that came back and belong to no frame of the set: wrong exposures, and repeats. */
  setAside: z.array(z.object({ file: z.string(), reason: z.string() })),
  /**
   * Releases whose file never came: the file may be on the camera's card, in addition to the frame that was
   * made up.
   */
  strays: z.array(straySchema).default([]),
  /** Other remarks on the run, a sentence each. */
  notes: z.array(z.string()),
  /** Seconds by which the body's clock was ahead of this computer's; null if it tells no time. */
  clockDifference: z.number().nullable(),
  /** Settings of the body that the run changed and put back. */
  putBack: z.array(z.string()),
  /** Settings that the run changed and could not put back, with the values that they had. */
  notPutBack: z.array(z.object({ name: z.string(), found: z.string() })),
});

/** The record as it is written now. */
export const setRecordSchema = setV1Schema
  .extend({
    version: z.literal(SET_RECORD_VERSION),
    /** The two spot readings that base and frames followed from; left out if there were none. */
    readings: z
      .object({
        darkest: recordReadingSchema,
        brightest: recordReadingSchema,
        /** EV that a frame was assumed to hold, and where that came from. */
        room: z.object({ above: z.number(), below: z.number(), sentence: z.string() }),
      })
      .optional(),
    frames: z.array(frameSchema),
    /** The name that a person gave the set, the place of the camera, and the note. */
    name: z.string().nullable().default(null),
    viewpoint: z.string().nullable().default(null),
    note: z.string().nullable().default(null),
    /** The run that made it, and which set of that run it is, counted from 1. */
    run: z.string().nullable().default(null),
    setNumber: z.number().int().nullable().default(null),
    /** The moves of the base during the run, in their order; EV are counted from the base before. */
    baseShifts: z.array(z.object({ at: z.string(), ev: z.number(), reason: z.string() })).default([]),
    /** One for each pair of neighbouring frames, the darkest first. */
    ratios: z.array(recordRatioSchema).default([]),
    /** What the pictures tell of the light, as far as they were judged; left out if none was. */
    light: lightSchema.omit({ map: true }).optional(),
  })
  .meta({ id: 'SetRecord' });

/** A record as it is written: fields that came with later programs may be left out. */
export type SetRecord = z.input<typeof setRecordSchema> & Pick<z.output<typeof setRecordSchema>, 'strays'>;
/** A record as it is read: every field is there. */
export type KeptSetRecord = z.output<typeof setRecordSchema>;
export type KeptFrame = KeptSetRecord['frames'][number];

const versionSchema = z.object({ version: z.number().int() });

/**
 * @param text the content of `set.json`
 * @returns the record in today's shape, whichever version wrote it, and that version
 * @throws EvenrungError record-unreadable; `details.newer` is true if a newer program wrote it
 */
export function readSetRecord(text: string): { record: KeptSetRecord; version: number } {
  let written: unknown;
  try {
    written = JSON.parse(text);
  } catch {
    throw unreadable('it is cut short, or not JSON');
  }
  const { data: head } = versionSchema.safeParse(written);
  if (head === undefined) throw unreadable('its version is missing');
  if (head.version > SET_RECORD_VERSION) {
    throw new EvenrungError(
      'record-unreadable',
      `The record set.json has version ${head.version}, and this Evenrung reads up to ${SET_RECORD_VERSION}: use a newer Evenrung.`,
      { newer: true, version: head.version },
    );
  }
  const upgraded =
    head.version === 1 ? setV1Schema.transform(fromV1).safeParse(written, IN_PLAIN_WORDS) : undefined;
  const parsed = upgraded ?? setRecordSchema.safeParse(written, IN_PLAIN_WORDS);
  if (parsed.success) return { record: setRecordSchema.parse(parsed.data), version: head.version };
  const { field, words } = firstIssueOf(parsed.error);
  throw unreadable(field === '' ? words : `${field}: ${words}`);
}

const fromV1 = (old: z.output<typeof setV1Schema>): SetRecord => ({ ...old, version: SET_RECORD_VERSION });

const unreadable = (why: string): EvenrungError =>
  new EvenrungError('record-unreadable', `The record set.json cannot be read: ${why}.`, { newer: false });
