// The contents of the journal, as they are given to it and as they come back, and the rows in between. Every
// JSON column is parsed by its schema both when it is written and when it is read: what could not be read
// back is not written.
import { z } from 'zod';
import { errorCodeSchema } from '../../shared/error-codes.js';
import { type LightView, lightSchema } from '../../shared/light.js';
import { firstIssueOf, IN_PLAIN_WORDS } from '../../shared/plain-words.js';
import { planSchema, type WirePlan } from '../../shared/plan.js';
import { setRequestSchema, type WrittenSetRequest } from '../../shared/request.js';
import {
  type FrameView,
  frameViewSchema,
  passStateSchema,
  type RunState,
  type RunView,
  runStateSchema,
  runViewSchema,
} from '../../shared/state.js';

export const runKindSchema = z.enum(['once', 'scheduled']);
export type RunKind = z.infer<typeof runKindSchema>;

/** The state of a run as a whole; each of its sets has states of its own. */
export const wholeRunStateSchema = z.enum(['under-way', 'complete', 'stopped', 'halted']);
export type WholeRunState = z.infer<typeof wholeRunStateSchema>;
export type RunOutcome = Exclude<WholeRunState, 'under-way'>;

export type PassState = z.infer<typeof passStateSchema>;
export type ErrorCode = z.infer<typeof errorCodeSchema>;

export const straySchema = z.strictObject({
  /** The frame that it was released for. */
  frame: z.number().int(),
  offset: z.number(),
  shutter: z.string(),
  /** When it was released, by this computer's clock; ISO 8601, UTC. */
  releasedAt: z.string(),
  reason: z.string(),
});
/** A release whose file has not come. */
export type Stray = z.infer<typeof straySchema>;

/** A file of the set folder that is no frame of the set. */
export interface Aside {
  readonly file: string;
  readonly reason: string;
}

/**
 * A file that the camera says it made. It is kept before any of it is fetched, so that it can be fetched
 * again, and its frame need not be fired again.
 */
export interface Made {
  /** Its folder in the camera. */
  readonly folder: string;
  readonly name: string;
  /** Its size as the camera gives it; null if the camera gives none. */
  readonly bytes: number | null;
  /** The name of the file that takes it, in the folder of arriving files; unique within the set. */
  readonly arrived: string;
  /** When its release was made, by this computer's clock; ISO 8601, UTC. */
  readonly releasedAt: string;
}

export interface StoredMade extends Made {
  /** Whether all of it is here, and was taken in or set aside. */
  readonly fetched: boolean;
}

/** Plain JSON that only its writer understands, with a version by which the writer recognises it. */
export interface Versioned {
  readonly version: number;
  readonly content: unknown;
}

/** The body of a run, as it identified itself. */
export interface StoredBody {
  readonly link: 'practice' | 'usb';
  readonly model: string;
  readonly serial: string | null;
}

/** A file of a frame that is verified. */
export interface KeptFile {
  /** The number of the frame, counted from 1. */
  readonly number: number;
  /** Its name in the set folder. */
  readonly file: string;
  /** Null if its size was not kept. */
  readonly bytes: number | null;
  /** Whether it is the second file of the frame. */
  readonly isPartner: boolean;
}

export interface RunBegun {
  readonly id: string;
  readonly kind: RunKind;
  /** As the person wrote it, and not as it was interpreted, since bodies differ. */
  readonly request: WrittenSetRequest;
  /** The other parts of the request: schedule, name, note. */
  readonly options: Versioned;
  readonly body: StoredBody;
  /** The folder in which set folders are made. */
  readonly into: string;
}

export interface RunEnded {
  readonly state: RunOutcome;
  readonly sentence: string;
  readonly error?: ErrorCode | null;
  /** ISO 8601, UTC. If it is left out, the time of the call. */
  readonly endedAt?: string | null;
}

export interface SetBegun {
  readonly id: string;
  readonly run: string;
  readonly viewpoint?: string | null;
  readonly name?: string | null;
  readonly note?: string | null;
  /** The set folder, which exists already. */
  readonly folder: string;
  readonly plan: WirePlan;
  readonly base: RunView['base'];
  /** All of them, as planned. */
  readonly frames: readonly FrameView[];
  /** ISO 8601, UTC. */
  readonly startedAt: string;
}

/** A set that is extended while it is under way. */
export interface Extended {
  readonly plan: WirePlan;
  /** Only the new frames. */
  readonly frames: readonly FrameView[];
}

/** Frames that leave a set that was extended by them. */
export interface LeftOut {
  readonly plan: WirePlan;
  /** Their numbers. */
  readonly frames: readonly number[];
}

/** Values that come with a new state of a set. A value that is left out stays as it is. */
export interface SetChange {
  readonly sentence?: string | null;
  readonly error?: ErrorCode | null;
  /** Null if the folder was removed again. */
  readonly folder?: string | null;
  /** ISO 8601, UTC. If an end comes without it, the time of the call. */
  readonly endedAt?: string | null;
}

/**
 * Facts about a frame's file that are not in its view. A value that is left out stays as it is; null removes
 * it.
 */
export interface FrameFile {
  /** The file's name before it gets its place in the set. */
  readonly arrived?: string | null;
  /** Hexadecimal. */
  readonly sha256?: string | null;
  readonly bytes?: number | null;
  /**
   * Given only if a frame goes back to an earlier state, or is planned anew: then the present time is not
   * entered.
   */
  readonly times?: FrameTimes;
}

/** When a frame last entered each of these states; ISO 8601, UTC. */
export interface FrameTimes {
  readonly firedAt: string | null;
  readonly storedAt: string | null;
  readonly verifiedAt: string | null;
}

export interface StoredRun extends Omit<RunBegun, 'request'> {
  /** Grows in the order in which runs began: a cursor for lists. */
  readonly number: number;
  /** Null if this program does not understand it any more. */
  readonly request: WrittenSetRequest | null;
  readonly state: WholeRunState;
  readonly createdAt: string;
  readonly endedAt: string | null;
  readonly sentence: string | null;
  readonly error: ErrorCode | null;
  readonly memo: unknown;
  /** How many sets were begun. */
  readonly sets: number;
  /** Notes that belong to none of its sets. */
  readonly notes: readonly string[];
}

/** A set as a list shows it. */
export interface ListedSet {
  /** Grows in the order in which sets began, over all runs: a cursor for lists. */
  readonly number: number;
  readonly id: string;
  readonly run: string;
  /** Counts from 1 within its run. */
  readonly ordinal: number;
  readonly viewpoint: string | null;
  readonly name: string | null;
  readonly note: string | null;
  readonly folder: string | null;
  readonly state: RunState;
  readonly startedAt: string;
  readonly endedAt: string | null;
  readonly sentence: string | null;
  readonly error: ErrorCode | null;
  readonly frames: number;
  readonly verified: number;
  /**
   * The number of the verified frame nearest to the middle of the set, counted from 1; null if there is none.
   */
  readonly middle: number | null;
}

export interface StoredFrame extends FrameTimes {
  readonly view: FrameView;
  readonly arrived: string | null;
  readonly sha256: string | null;
  readonly bytes: number | null;
}

/** A set with all that is known of it. */
export interface StoredSet extends Omit<ListedSet, 'frames'> {
  readonly plan: WirePlan;
  readonly base: RunView['base'];
  readonly passes: readonly PassState[];
  /**
   * The darkest first, whatever their numbers. A frame in state `fired` was about to be released, and nobody
   * knows whether it was.
   */
  readonly frames: readonly StoredFrame[];
  readonly asides: readonly Aside[];
  readonly strays: readonly Stray[];
  readonly made: readonly StoredMade[];
  readonly notes: readonly string[];
  readonly memo: unknown;
  /** What its pictures tell of its light; null if none was judged. */
  readonly light: LightView | null;
}

export interface Transition {
  readonly seq: number;
  /** ISO 8601, UTC. */
  readonly at: string;
  /** Milliseconds of a clock that nobody sets; it starts again with the computer. */
  readonly monotonicMs: number;
  readonly about: 'run' | 'set' | 'pass' | 'frame' | 'trouble';
  readonly run: string;
  readonly set: string | null;
  /** The number of the frame or pass within the set. */
  readonly number: number | null;
  readonly from: string | null;
  readonly to: string;
  readonly detail: unknown;
}

// --- rows

export interface RunRow {
  number: number;
  id: string;
  kind: string;
  request: string;
  options_version: number;
  options: string;
  body: string;
  into_folder: string;
  state: string;
  created_at: string;
  ended_at: string | null;
  sentence: string | null;
  error: string | null;
  memo: string | null;
  sets: number;
}

export interface ListedSetRow {
  number: number;
  id: string;
  run: string;
  ordinal: number;
  viewpoint: string | null;
  name: string | null;
  note: string | null;
  folder: string | null;
  state: string;
  started_at: string;
  ended_at: string | null;
  sentence: string | null;
  error: string | null;
  frames: number;
  verified: number;
  middle: number | null;
}

export interface SetRow extends ListedSetRow {
  plan: string;
  base: string;
  memo: string | null;
  light: string | null;
}

export interface FrameRow {
  view: string;
  arrived: string | null;
  sha256: string | null;
  bytes: number | null;
  fired_at: string | null;
  stored_at: string | null;
  verified_at: string | null;
}

export interface KeptNamesRow {
  number: number;
  file: string;
  bytes: number | null;
  partner_file: string | null;
  partner_bytes: number | null;
}

export const keptFilesOf = ({ number, file, bytes, ...row }: KeptNamesRow): KeptFile[] => [
  { number, file, bytes, isPartner: false },
  ...(row.partner_file === null
    ? []
    : [{ number, file: row.partner_file, bytes: row.partner_bytes, isPartner: true }]),
];

export interface TransitionRow extends Omit<Transition, 'monotonicMs' | 'detail'> {
  monotonic_ms: number;
  detail: string | null;
}

/**
 * Converts a column in both directions.
 * @returns `text` for a value to be written, `value` for a text that was read
 */
function column<T>(what: string, schema: z.ZodType<T>) {
  const checked = (value: unknown): T => {
    const parsed = schema.safeParse(value, IN_PLAIN_WORDS);
    // This is a defect: the schema was changed, and no step of the journal's tables converts what is stored.
    if (parsed.success) return parsed.data;
    const { field, words } = firstIssueOf(parsed.error);
    throw new Error(
      `The ${what} in the journal is not understood: ${field === '' ? '' : `${field}: `}${words}`,
    );
  };
  return {
    text: (value: T): string => JSON.stringify(checked(value)),
    value: (text: string): T => checked(JSON.parse(text)),
  };
}

const bodySchema: z.ZodType<StoredBody> = z.strictObject({
  link: z.enum(['practice', 'usb']),
  model: z.string(),
  serial: z.string().nullable(),
});

export const columns = {
  plan: column('plan of a set', planSchema),
  base: column('base of a set', runViewSchema.shape.base),
  view: column('record of a frame', frameViewSchema),
  body: column('body of a run', bodySchema),
  stray: column('record of a stray', straySchema),
  light: column('light of a set', lightSchema),
};

/** The request stays as it was written: parsed, it would have the defaults of today in it. */
export function requestIn(text: string): WrittenSetRequest | null {
  const written: unknown = JSON.parse(text);
  return setRequestSchema.safeParse(written).success ? (written as WrittenSetRequest) : null;
}

export const memoText = (memo: unknown): string | null =>
  memo === undefined || memo === null ? null : JSON.stringify(memo);
const memoIn = (text: string | null): unknown => (text === null ? null : JSON.parse(text));

/** A code that this program does not know any more was one all the same. */
const errorIn = (code: string | null): ErrorCode | null =>
  code === null ? null : (errorCodeSchema.safeParse(code).data ?? 'internal');

export const runOf = (row: RunRow, notes: readonly string[]): StoredRun => ({
  number: row.number,
  id: row.id,
  kind: runKindSchema.parse(row.kind),
  request: requestIn(row.request),
  options: { version: row.options_version, content: JSON.parse(row.options) },
  body: columns.body.value(row.body),
  into: row.into_folder,
  state: wholeRunStateSchema.parse(row.state),
  createdAt: row.created_at,
  endedAt: row.ended_at,
  sentence: row.sentence,
  error: errorIn(row.error),
  memo: memoIn(row.memo),
  sets: row.sets,
  notes,
});

export const listedSetOf = (row: ListedSetRow): ListedSet => ({
  number: row.number,
  id: row.id,
  run: row.run,
  ordinal: row.ordinal,
  viewpoint: row.viewpoint,
  name: row.name,
  note: row.note,
  folder: row.folder,
  state: runStateSchema.parse(row.state),
  startedAt: row.started_at,
  endedAt: row.ended_at,
  sentence: row.sentence,
  error: errorIn(row.error),
  frames: row.frames,
  verified: row.verified,
  middle: row.middle,
});

const frameOf = (row: FrameRow): StoredFrame => ({
  view: columns.view.value(row.view),
  arrived: row.arrived,
  sha256: row.sha256,
  bytes: row.bytes,
  firedAt: row.fired_at,
  storedAt: row.stored_at,
  verifiedAt: row.verified_at,
});

export type MadeRow = Made & { readonly fetched: number };

export interface PartsOfSet {
  readonly passes: readonly string[];
  readonly frames: readonly FrameRow[];
  readonly asides: readonly Aside[];
  readonly strays: readonly string[];
  readonly made: readonly MadeRow[];
  readonly notes: readonly string[];
}

export const setOf = (row: SetRow, parts: PartsOfSet): StoredSet => ({
  ...listedSetOf(row),
  plan: columns.plan.value(row.plan),
  base: columns.base.value(row.base),
  passes: parts.passes.map((state) => passStateSchema.parse(state)),
  frames: parts.frames.map(frameOf),
  asides: parts.asides,
  strays: parts.strays.map((text) => columns.stray.value(text)),
  made: parts.made.map((row) => ({ ...row, fetched: row.fetched !== 0 })),
  notes: parts.notes,
  memo: memoIn(row.memo),
  light: row.light === null ? null : columns.light.value(row.light),
});

export const transitionOf = ({ monotonic_ms, detail, ...row }: TransitionRow): Transition => ({
  ...row,
  monotonicMs: monotonic_ms,
  detail: memoIn(detail),
});
