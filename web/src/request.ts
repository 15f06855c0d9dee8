// The choices that the panel offers and the request that they make. Pure. Must not know what a body can do beyond what it
// offers: the daemon refuses the rest.
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

/** Offered whatever the body brackets: 1/3, 1/2, 2/3, 1, 1 1/3, 1 1/2, 2 and 3 EV. */
export const USUAL_STEPS: readonly Sixths[] = [2, 3, 4, 6, 8, 9, 12, 18].map(sixths);
const USUAL_BASE = '1/60';

export interface Steps {
  /** What the body brackets by itself. */
  readonly bracketed: readonly Sixths[];
  readonly other: readonly Sixths[];
}

/** @returns every step that is offered, each list ascending; in aperture priority compensation has to carry it, and no shutter setting */
export function stepsFor(body: BodyView, mode: Mode): Steps {
  const ascending = (steps: Iterable<Sixths>) => [...new Set(steps)].sort((a, b) => a - b);
  const bracketed = ascending(body.brackets.map((bracket) => fromEv(bracket.step)));
  const byShutter = new Set(body.steps.map(fromEv));
  const grid = fromEv(body.compensation.grid);
  const isCarried = (step: Sixths) => (mode === 'manual' ? byShutter.has(step) : step % grid === 0);
  return { bracketed, other: USUAL_STEPS.filter((step) => isCarried(step) && !bracketed.includes(step)) };
}

/**
 * @param chosen what somebody chose, where the body still has it
 * @returns one of the body's shutters: the chosen one, else the one nearest to the body's own setting or to 1/60
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

/** @returns seconds of a label such as `1/60`, `13/10`, `0.5`, `30"`, `2s`; near enough for finding the nearest */
function readSeconds(label: string): number | undefined {
  const [, top, bottom = '1'] =
    /^(\d+(?:\.\d+)?)(?:\/(\d+(?:\.\d+)?))?\s*(?:s|"|\u2033)?$/.exec(label.trim()) ?? [];
  const seconds = Number(top) / Number(bottom);
  return seconds > 0 && Number.isFinite(seconds) ? seconds : undefined;
}

/** @returns the number in the field, or undefined where it is none; how many can be made the daemon says */
export function readFrames(written: string): number | undefined {
  const number = written.trim() === '' ? Number.NaN : Number(written);
  return Number.isFinite(number) ? number : undefined;
}

/** The ends of a set that does not lie evenly about the base. */
export interface Ends {
  readonly from: string;
  readonly to: string;
}

/** @returns null where the number of frames alone says so */
export function endsOf(span: Span, step: Sixths): Ends | null {
  return isEven(span, step) ? null : { from: formatEv(span.from), to: formatEv(span.to) };
}

/** What somebody may choose that one release fires. */
export interface ReleaseChoices {
  /** Whether there is anything to choose; what was chosen for another body can be undone. */
  readonly least: boolean;
  /** Null stands for whichever way has less of the spread. */
  readonly release: readonly (ReleaseWay | null)[];
}

/** @returns what this body can do otherwise than it would anyway */
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

/** @returns the same with this chosen: frame by frame is what the least time is anyway, and needs no word */
export const chosenFor = (
  least: Least,
  release: ReleaseWay | null,
): Pick<RequestForm, 'release' | 'least'> => ({
  least,
  release: least === 'time' && release === 'frame' ? null : release,
});

/** @returns from where to where the frames reach that stand in the form; null where no number of frames can be read */
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

/** @returns seconds, or undefined where the field holds none that can be asked for; an empty field is no wait */
export function readSettle(written: string): number | undefined {
  const seconds = Number(written);
  return seconds >= 0 && seconds <= LONGEST_SETTLE_SECONDS ? seconds : undefined;
}

/** As in shared/request.ts. */
const MOST_ADDED = MOST_FRAMES - 1;

/** @returns how many frames may be added at each end, or undefined where the field holds no such number; an empty one is none */
export function readExtend(written: string): number | undefined {
  const frames = Number(written);
  return Number.isInteger(frames) && frames >= 0 && frames <= MOST_ADDED ? frames : undefined;
}

export type Mode = 'manual' | 'aperture';

/** What is known of the circumstances, as it stands in the fields; an empty one is not judged. */
export interface Circumstances {
  /** Focal length in mm, where the camera is held in the hand. */
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

/** Least and most, as in shared/request.ts. */
const CAN_BE: Readonly<Record<CircumstanceField, readonly [number, number]>> = {
  handHeldMm: [1, 5000],
  lightEvPerMinute: [0, 10],
  fileMegabytes: [0.1, 10_000],
};

/** @returns what was written down, or the field that cannot be read */
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

/** @returns the number, null where the field is empty, undefined where it holds none that can be given */
export function readViewpoint(written: string): number | null | undefined {
  if (written.trim() === '') return null;
  const number = Number(written);
  return Number.isInteger(number) && number >= 1 && number <= LARGEST_VIEWPOINT ? number : undefined;
}

export interface Written {
  /** How many, or the readings that they follow from. */
  readonly frames: number | WrittenReadings;
  readonly step: Sixths;
  /** Null where the body offers none: the daemon counts from its own then. */
  readonly base: string | null;
  /** The number of frames follows from them. */
  readonly ends: Ends | null;
  readonly mode: Mode;
  /** Seconds before each pass. */
  readonly settle: number;
  readonly release: ReleaseWay | null;
  readonly least: Least;
  /** At each end, at the most, if something is missing there. */
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

/** What is asked for, as it stands in the fields. */
export interface RequestForm {
  readonly by: AskedBy;
  /** They count where frames follow from them. */
  readonly readings: ReadingsForm;
  /** It may be no number while somebody types. */
  readonly framesWritten: string;
  readonly step: Sixths;
  /** Null where the set lies evenly about the base: then the number of frames says all. */
  readonly ends: Ends | null;
  /** Null as long as nobody chose: then it follows the body. */
  readonly base: string | null;
  readonly mode: Mode;
  /** Seconds before each pass. */
  readonly settleWritten: string;
  /** What one release fires; null as long as nobody chose: then `least` decides. */
  readonly release: ReleaseWay | null;
  readonly least: Least;
  /** So many frames may be added at each end, if the pictures show that something is missing there. */
  readonly extendWritten: string;
  readonly circumstances: Circumstances;
  /** What the sets are called. */
  readonly labels: { readonly name: string; readonly note: string; readonly viewpoint: string };
  /** Seconds before the first frame: whoever fires steps back. */
  readonly delay: number;
  /** What somebody still has to do at the camera, so that the exposures come out as they were asked for. */
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

/** @returns the same from there to there */
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

/** @returns the same with so many frames, evenly about the base */
export const evenly = (form: RequestForm, framesWritten: string): RequestForm => ({
  ...form,
  by: 'frames',
  ends: null,
  framesWritten,
});

/**
 * @param plan that followed from the readings; null where there is none
 * @returns the same frames, asked for by their number
 */
export function asFrames(form: RequestForm, plan: WirePlan | null): RequestForm {
  const [first] = plan?.offsets ?? [];
  if (plan === null || first === undefined) return { ...form, by: 'frames' };
  const ends = { from: fromEv(first), to: fromEv(plan.offsets.at(-1) ?? first) };
  return { ...reaching(form, ends), base: plan.base.shutter, byHand: null };
}

/** @returns what the daemon suggests instead, with what has to be done for it at the camera */
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
 * @param base what everything is counted from; null where the body offers none
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

/** @returns what the set is called; what is not said is left out */
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
 * @returns what the fields ask for, as other devices are told of it; null where they cannot be read. A base that nobody chose is left
 *   out: each device reads it off the body, and none says it as if somebody had asked for it.
 */
export function writeAsked(form: RequestForm): Asked | null {
  const set = readRequest(form, form.base);
  if (typeof set === 'string') return null;
  const byHand = form.byHand === null ? {} : { byHand: form.byHand };
  return { ...set, ...writeLabels(form), ...writeDelay(form), ...byHand };
}

/** @returns the same for the viewpoint after this one, or for the first */
export const atNextViewpoint = (form: RequestForm): RequestForm => ({
  ...form,
  labels: { ...form.labels, viewpoint: String((readViewpoint(form.labels.viewpoint) ?? 0) + 1) },
});

/** @returns whether the camera says that it was done; what it does not tell somebody has to say */
export function isDone(
  { what, value }: ByHand,
  { aperture, iso }: Pick<BodyView, 'aperture' | 'iso'>,
): boolean {
  const shown = what === 'aperture' ? aperture : what === 'iso' ? iso : null;
  const number = Number(/\d+(?:\.\d+)?/.exec(shown ?? '')?.[0]);
  return value !== null && Math.abs(number / value - 1) < SAME_VALUE;
}

/** Neighbouring f-numbers and speeds lie 12 % apart and more; some cameras write f/3.6 for f/3.5. */
const SAME_VALUE = 0.04;

/** @returns the fields that would be asked for with; the daemon has checked that they can be */
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

/** @returns the same text for what asks for the same set, however it was written */
export const keyOf = (asked: Asked): string => keyOfForm(fieldsOf(asked));

/** @returns the same for fields that can be read */
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
