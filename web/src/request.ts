// The choices that the panel offers, and the request that they make. Pure. It must know no more of a body
// than the body offers: the daemon refuses the rest.
import type { Asked } from '../../shared/asked.js';
import { formatEv, fromEv, NO_EV, ONE_EV, parseEv, type Sixths, sixths } from '../../shared/ev.js';
import type { ByHand, Suggestion, WirePlan } from '../../shared/plan.js';
import type {
  Least,
  ReleaseWay,
  WrittenConditions,
  WrittenReadings,
  WrittenSetRequest,
} from '../../shared/request.js';
import type { BodyView } from '../../shared/state.js';
import {
  type AskedBy,
  NO_READINGS,
  type ReadingPart,
  type ReadingsForm,
  readingsOf,
  readReadings,
  type Standing,
} from './readings.js';
import { evenSpan, framesIn, inSteps, isEven, MOST_FRAMES, type Span } from './span.js';

/** Offered whatever the body can bracket: 1/3, 1/2, 2/3, 1, 1 1/3, 1 1/2, 2 and 3 EV. */
export const USUAL_STEPS: readonly Sixths[] = [2, 3, 4, 6, 8, 9, 12, 18].map(sixths);
const USUAL_BASE = '1/60';

export interface Steps {
  /** The steps that the body brackets by itself. */
  readonly bracketed: readonly Sixths[];
  readonly other: readonly Sixths[];
}

/**
 * @returns every step that is offered, each list ascending. In aperture priority it is compensation that
 *   has to reach the step, and no shutter setting
 */
export function stepsFor(body: BodyView, mode: Mode): Steps {
  const ascending = (steps: Iterable<Sixths>) => [...new Set(steps)].sort((a, b) => a - b);
  const bracketed = ascending(body.brackets.map((bracket) => fromEv(bracket.step)));
  const byShutter = new Set(body.steps.map(fromEv));
  const grid = fromEv(body.compensation.grid);
  const isCarried = (step: Sixths) => (mode === 'manual' ? byShutter.has(step) : step % grid === 0);
  return { bracketed, other: USUAL_STEPS.filter((step) => isCarried(step) && !bracketed.includes(step)) };
}

/**
 * @param chosen the base that somebody chose, which the body may no longer have
 * @returns one of the body's shutters: the chosen one, otherwise the one nearest to the body's own setting
 *   or to 1/60
 */
export function baseFor(body: BodyView, chosen: string | null): string | null {
  if (chosen !== null && body.shutters.includes(chosen)) return chosen;
  const wanted = body.shutter ?? USUAL_BASE;
  if (body.shutters.includes(wanted)) return wanted;
  const target = readSeconds(wanted) ?? readSeconds(USUAL_BASE) ?? 1;
  const distance = (label: string) => Math.abs(Math.log2((readSeconds(label) ?? 1e9) / target));
  return body.shutters.reduce<string | null>(
    (best, label) => (best === null || distance(label) < distance(best) ? label : best),
    null,
  );
}

/**
 * @returns seconds of a label such as `1/60`, `13/10`, `0.5`, `30"`, `2s`, accurate enough to find the
 *   nearest one
 */
function readSeconds(label: string): number | undefined {
  const [, top, bottom = '1'] =
    /^(\d+(?:\.\d+)?)(?:\/(\d+(?:\.\d+)?))?\s*(?:s|"|\u2033)?$/.exec(label.trim()) ?? [];
  const seconds = Number(top) / Number(bottom);
  return seconds > 0 && Number.isFinite(seconds) ? seconds : undefined;
}

/**
 * @returns the number in the field, or undefined if it is not a number; the daemon says how many can be
 *   made
 */
export function readFrames(written: string): number | undefined {
  const number = written.trim() === '' ? Number.NaN : Number(written);
  return Number.isFinite(number) ? number : undefined;
}

/** The ends of a set that is not centred on the base. */
export interface Ends {
  readonly from: string;
  readonly to: string;
}

/** @returns null if the number of frames says it all */
export function endsOf(span: Span, step: Sixths): Ends | null {
  return isEven(span, step) ? null : { from: formatEv(span.from), to: formatEv(span.to) };
}

/** The ways of releasing that somebody may choose from. */
export interface ReleaseChoices {
  /** Whether there is anything to choose; a choice that was made for another body can be undone. */
  readonly least: boolean;
  /** Null stands for whichever way has less of the spread. */
  readonly release: readonly (ReleaseWay | null)[];
}

/** @returns the choices that make a difference with this body */
export function choicesOf(
  { brackets, oneRelease }: Pick<BodyView, 'brackets' | 'oneRelease'>,
  { release, least }: Pick<RequestForm, 'release' | 'least'>,
): ReleaseChoices {
  const ways: readonly (ReleaseWay | null)[] = least === 'time' ? ['frame', 'pass'] : [null, 'frame', 'pass'];
  return {
    least: brackets.length > 0 || least !== 'time' || release !== null,
    release: oneRelease || release === 'pass' ? ways : [],
  };
}

/** @returns the same with this choice made. Frame by frame is the least time anyway, and is not stated */
export const chosenFor = (
  least: Least,
  release: ReleaseWay | null,
): Pick<RequestForm, 'release' | 'least'> => ({
  least,
  release: least === 'time' && release === 'frame' ? null : release,
});

/** @returns from where to where the frames in the form reach; null if the number of frames cannot be read */
export function spanOf({
  ends,
  framesWritten,
  step,
}: Pick<RequestForm, 'ends' | 'framesWritten' | 'step'>): Span | null {
  if (ends !== null) return { from: parseEv(ends.from) ?? NO_EV, to: parseEv(ends.to) ?? NO_EV };
  const frames = readFrames(framesWritten);
  return frames === undefined || !Number.isInteger(frames) || frames < 1 ? null : evenSpan(frames, step);
}

const LONGEST_SETTLE_SECONDS = 60;

/**
 * @returns seconds, or undefined if the field contains no settling time that can be asked for; an empty
 *   field is no settling time
 */
export function readSettle(written: string): number | undefined {
  const seconds = Number(written);
  return seconds >= 0 && seconds <= LONGEST_SETTLE_SECONDS ? seconds : undefined;
}

/** As in shared/request.ts. */
const MOST_ADDED = MOST_FRAMES - 1;

/**
 * @returns how many frames may be added at each end, or undefined if the field contains no such number; an
 *   empty field is none
 */
export function readExtend(written: string): number | undefined {
  const frames = Number(written);
  return Number.isInteger(frames) && frames >= 0 && frames <= MOST_ADDED ? frames : undefined;
}

export type Mode = 'manual' | 'aperture';

/** The shooting conditions as they are in the fields; an empty field is not judged. */
export interface Circumstances {
  /** Focal length in mm, if the camera is held by hand. */
  readonly handHeldMm: string;
  readonly mainsHz: '' | '50' | '60';
  /** EV a minute. */
  readonly lightEvPerMinute: string;
  readonly noiseReduction: '' | 'yes' | 'no';
  /** MB of one file. */
  readonly fileMegabytes: string;
}

export const NOTHING_KNOWN: Circumstances = {
  handHeldMm: '',
  mainsHz: '',
  lightEvPerMinute: '',
  noiseReduction: '',
  fileMegabytes: '',
};

export type CircumstanceField = 'handHeldMm' | 'lightEvPerMinute' | 'fileMegabytes';

/** Smallest and largest value, as in shared/request.ts. */
const CAN_BE: Readonly<Record<CircumstanceField, readonly [number, number]>> = {
  handHeldMm: [1, 5000],
  lightEvPerMinute: [0, 10],
  fileMegabytes: [0.1, 10_000],
};

/** @returns the conditions, or the field that cannot be read */
export function readCircumstances(written: Circumstances): WrittenConditions | CircumstanceField {
  const numbers: Partial<Record<CircumstanceField, number>> = {};
  for (const field of ['handHeldMm', 'lightEvPerMinute', 'fileMegabytes'] as const) {
    if (written[field].trim() === '') continue;
    const number = Number(written[field]);
    const [least, most] = CAN_BE[field];
    if (!(number >= least && number <= most)) return field;
    numbers[field] = number;
  }
  const { handHeldMm, lightEvPerMinute, fileMegabytes } = numbers;
  return {
    ...(handHeldMm === undefined ? {} : { handHeldMm }),
    ...(written.mainsHz === '' ? {} : { mainsHz: written.mainsHz === '50' ? 50 : 60 }),
    ...(lightEvPerMinute === undefined ? {} : { lightEvPerMinute }),
    ...(written.noiseReduction === '' ? {} : { noiseReduction: written.noiseReduction === 'yes' }),
    ...(fileMegabytes === undefined ? {} : { fileBytes: Math.round(fileMegabytes * 1e6) }),
  };
}

const LARGEST_VIEWPOINT = 9999;

/** @returns the number, null if the field is empty, undefined if it contains no number that can be given */
export function readViewpoint(written: string): number | null | undefined {
  if (written.trim() === '') return null;
  const number = Number(written);
  return Number.isInteger(number) && number >= 1 && number <= LARGEST_VIEWPOINT ? number : undefined;
}

export interface Written {
  /** The number of frames, or the readings from which it follows. */
  readonly frames: number | WrittenReadings;
  readonly step: Sixths;
  /** Null if the body offers none: then the daemon counts from a base of its own. */
  readonly base: string | null;
  /** If they are given, the number of frames follows from them. */
  readonly ends: Ends | null;
  readonly mode: Mode;
  /** Seconds before each pass. */
  readonly settle: number;
  readonly release: ReleaseWay | null;
  readonly least: Least;
  /** The most frames that may be added at each end, if the set clips there. */
  readonly extend: number;
  readonly conditions: WrittenConditions;
}

export function writeRequest({
  frames,
  step,
  base,
  ends,
  mode,
  settle,
  release,
  least,
  extend,
  conditions,
}: Written): WrittenSetRequest {
  const byReadings = typeof frames === 'object';
  return {
    ...(byReadings ? { readings: frames } : (ends ?? { frames })),
    step: formatEv(step, false),
    ...(base === null || byReadings ? {} : { base }),
    mode,
    settle,
    ...(release === null ? {} : { release }),
    ...(least === 'time' ? {} : { least }),
    ...(extend === 0 ? {} : { extend }),
    ...(Object.keys(conditions).length === 0 ? {} : { conditions }),
  };
}

/** The request as it is in the fields. */
export interface RequestForm {
  readonly by: AskedBy;
  /** They count only if frames follow from readings. */
  readonly readings: ReadingsForm;
  /** May not be a number while somebody types. */
  readonly framesWritten: string;
  readonly step: Sixths;
  /** Null if the set is centred on the base: then the number of frames says it all. */
  readonly ends: Ends | null;
  /** Null as long as nobody has chosen one: then the base follows the body. */
  readonly base: string | null;
  readonly mode: Mode;
  /** Seconds before each pass. */
  readonly settleWritten: string;
  /** What one release fires; null as long as nobody has chosen: then `least` decides. */
  readonly release: ReleaseWay | null;
  readonly least: Least;
  /** The most frames that may be added at each end, if the pictures show that the set clips there. */
  readonly extendWritten: string;
  readonly circumstances: Circumstances;
  /** Names for the sets. */
  readonly labels: { readonly name: string; readonly note: string; readonly viewpoint: string };
  /** Seconds before the first frame, for somebody who wants to step back. */
  readonly delay: number;
  /**
   * A step that somebody still has to do at the camera, so that the exposures come out as they were asked
   * for.
   */
  readonly byHand: ByHand | null;
}

export const NO_LABELS = { name: '', note: '', viewpoint: '' } satisfies RequestForm['labels'];

export const USUAL_REQUEST: RequestForm = {
  by: 'frames',
  readings: NO_READINGS,
  framesWritten: '9',
  step: ONE_EV,
  ends: null,
  base: null,
  mode: 'manual',
  settleWritten: '0',
  release: null,
  least: 'time',
  extendWritten: '0',
  circumstances: NOTHING_KNOWN,
  labels: NO_LABELS,
  delay: 0,
  byHand: null,
};

/** @returns the same, reaching from there to there */
export const reaching = (form: RequestForm, span: Span): RequestForm => ({
  ...form,
  by: 'frames',
  ends: endsOf(span, form.step),
  framesWritten: String(framesIn(span, form.step)),
});

/** @returns the same in another step; a set that reaches farther at one end keeps its ends */
export function inStep(form: RequestForm, step: Sixths): RequestForm {
  const before = form.ends === null || form.by === 'readings' ? null : spanOf(form);
  const next = { ...form, step };
  return before === null ? next : reaching(next, inSteps(before, step));
}

/** @returns the same with so many frames, centred on the base */
export const evenly = (form: RequestForm, framesWritten: string): RequestForm => ({
  ...form,
  by: 'frames',
  ends: null,
  framesWritten,
});

/**
 * @param plan the plan that followed from the readings; null if there is none
 * @returns the same frames, asked for by their number
 */
export function asFrames(form: RequestForm, plan: WirePlan | null): RequestForm {
  const [first] = plan?.offsets ?? [];
  if (plan === null || first === undefined) return { ...form, by: 'frames' };
  const ends = { from: fromEv(first), to: fromEv(plan.offsets.at(-1) ?? first) };
  return { ...reaching(form, ends), base: plan.base.shutter, byHand: null };
}

/** @returns the request that the daemon suggests instead, with the step that it takes at the camera */
export function asSuggested(
  form: RequestForm,
  { step, frames, from, to, base, mode, release, readings }: Suggestion['change'],
  byHand: ByHand | null,
): RequestForm {
  const read = (ev: string) => parseEv(ev) ?? NO_EV;
  let next: RequestForm = { ...form, byHand };
  if (step !== undefined) next = inStep(next, parseEv(step) ?? form.step);
  if (frames !== undefined) next = evenly(next, String(frames));
  if (from !== undefined && to !== undefined) next = reaching(next, { from: read(from), to: read(to) });
  if (readings !== undefined) next = { ...next, readings: { ...next.readings, ...readings } };
  return {
    ...next,
    base: base ?? next.base,
    mode: mode ?? next.mode,
    release: release ?? next.release,
  };
}

export type Unreadable =
  | ReadingPart
  | Standing
  | 'frames'
  | 'settle'
  | 'extend'
  | 'viewpoint'
  | CircumstanceField;

/**
 * @param base the exposure that everything is counted from; null if the body offers none
 * @returns the set that is asked for, or the field that cannot be read
 */
export function readRequest(form: RequestForm, base: string | null): WrittenSetRequest | Unreadable {
  const frames = form.by === 'readings' ? readReadings(form.readings) : readFrames(form.framesWritten);
  const settle = readSettle(form.settleWritten);
  const extend = readExtend(form.extendWritten);
  const conditions = readCircumstances(form.circumstances);
  if (frames === undefined) return 'frames';
  if (typeof frames === 'string') return frames;
  if (settle === undefined) return 'settle';
  if (extend === undefined) return 'extend';
  if (typeof conditions === 'string') return conditions;
  if (readViewpoint(form.labels.viewpoint) === undefined) return 'viewpoint';
  const { step, ends, mode, release, least } = form;
  return writeRequest({ frames, step, base, ends, mode, settle, release, least, extend, conditions });
}

/** @returns the names for the set; empty ones are left out */
export function writeLabels({
  labels: { name, note, viewpoint },
}: RequestForm): Pick<Asked, 'name' | 'note' | 'viewpoint'> {
  const number = readViewpoint(viewpoint) ?? null;
  return {
    ...(name.trim() === '' ? {} : { name: name.trim() }),
    ...(note.trim() === '' ? {} : { note: note.trim() }),
    ...(number === null ? {} : { viewpoint: number }),
  };
}

export const writeDelay = ({ delay }: RequestForm): Pick<Asked, 'delay'> => (delay === 0 ? {} : { delay });

/**
 * @returns the request in the fields, as other devices are told of it; null if the fields cannot be read. A
 *   base that nobody chose is left out: each device reads it off the body, and none passes it on as if
 *   somebody had asked for it
 */
export function writeAsked(form: RequestForm): Asked | null {
  const set = readRequest(form, form.base);
  if (typeof set === 'string') return null;
  const byHand = form.byHand === null ? {} : { byHand: form.byHand };
  return { ...set, ...writeLabels(form), ...writeDelay(form), ...byHand };
}

/** @returns the same for the next viewpoint, or for the first */
export const atNextViewpoint = (form: RequestForm): RequestForm => ({
  ...form,
  labels: { ...form.labels, viewpoint: String((readViewpoint(form.labels.viewpoint) ?? 0) + 1) },
});

/**
 * @returns whether the camera reports that it was done; if the camera cannot tell, somebody has to confirm
 *   it
 */
export function isDone(
  { what, value }: ByHand,
  { aperture, iso }: Pick<BodyView, 'aperture' | 'iso'>,
): boolean {
  const shown = what === 'aperture' ? aperture : what === 'iso' ? iso : null;
  const number = Number(/\d+(?:\.\d+)?/.exec(shown ?? '')?.[0]);
  return value !== null && Math.abs(number / value - 1) < SAME_VALUE;
}

/** Neighbouring f-numbers and ISO speeds are at least 12 % apart; some cameras write f/3.6 for f/3.5. */
const SAME_VALUE = 0.04;

/** @returns the fields that would produce this request; the daemon has checked that there are such fields */
export function fieldsOf(asked: Asked): RequestForm {
  const step = parseEv(asked.step) ?? ONE_EV;
  const { from, to, span: asFar, readings, conditions = {} } = asked;
  const read = (ev: number | string) => parseEv(ev) ?? NO_EV;
  const span = from === undefined || to === undefined ? null : { from: read(from), to: read(to) };
  const ends = span === null ? null : endsOf(span, step);
  const frames =
    span !== null
      ? framesIn(span, step)
      : asFar !== undefined
        ? framesIn({ from: NO_EV, to: read(asFar) }, step)
        : (asked.frames ?? (readings === undefined ? 0 : Number(USUAL_REQUEST.framesWritten)));
  const { handHeldMm, mainsHz, lightEvPerMinute, noiseReduction, fileBytes } = conditions;
  const written = (number: number | undefined) => (number === undefined ? '' : String(number));
  return {
    by: readings === undefined ? 'frames' : 'readings',
    readings: readingsOf(readings),
    framesWritten: String(frames),
    step,
    ends,
    base: asked.base ?? null,
    mode: asked.mode ?? 'manual',
    settleWritten: String(asked.settle ?? 0),
    release: asked.release ?? null,
    least: asked.least ?? 'time',
    extendWritten: String(asked.extend ?? 0),
    circumstances: {
      handHeldMm: written(handHeldMm),
      mainsHz: mainsHz === undefined ? '' : mainsHz === 50 ? '50' : '60',
      lightEvPerMinute: written(lightEvPerMinute),
      noiseReduction: noiseReduction === undefined ? '' : noiseReduction ? 'yes' : 'no',
      fileMegabytes: written(fileBytes === undefined ? undefined : fileBytes / 1e6),
    },
    labels: { name: asked.name ?? '', note: asked.note ?? '', viewpoint: written(asked.viewpoint) },
    delay: asked.delay ?? 0,
    byHand: asked.byHand ?? null,
  };
}

/** @returns the same text for all requests that ask for the same set, however they were written */
export const keyOf = (asked: Asked): string => keyOfForm(fieldsOf(asked));

/** @returns the same text for fields that can be read */
export function keyOfForm(form: RequestForm): string {
  const { by, readings, framesWritten, step, ends, ...others } = form;
  const { mode, settleWritten, release, least, extendWritten, circumstances, labels, delay, byHand } = others;
  const way = [release, least, readExtend(extendWritten) ?? extendWritten];
  const conditions = Object.entries(circumstances).sort(([a], [b]) => (a < b ? -1 : 1));
  const reaches = ends === null ? [] : [parseEv(ends.from), parseEv(ends.to)];
  const { name, note, viewpoint } = labels;
  const texts = [name.trim(), note.trim(), viewpoint];
  const hand = byHand === null ? null : [byHand.what, byHand.value, byHand.sentence];
  const frames = by === 'frames' ? [framesWritten, reaches, others.base] : [readReadings(readings)];
  return JSON.stringify([...[frames, step, mode, settleWritten, ...way, conditions, texts, delay], hand]);
}
