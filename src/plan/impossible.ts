// When a request cannot be met: which frames fail and why, and the smallest changes that would make it possible. Every
// suggestion was checked: with it, each frame can be made.
import type { ErrorCode } from '../../shared/error-codes.js';
import { EvenrungError } from '../../shared/errors.js';
import type { Suggestion } from '../../shared/plan.js';
import { LARGEST_STEP, SMALLEST_STEP } from '../../shared/request.js';
import {
  APERTURE_SCALES,
  type BodyLimits,
  evBetween,
  evInWords,
  FARTHEST_NOMINAL_EV,
  firedBy,
  formatEv,
  fromEv,
  hasOneRelease,
  labelledShutters,
  magnitude,
  minusSixths,
  nearestOf,
  plusSixths,
  type ShutterSetting,
  type Sixths,
  sixths,
  timeAt,
  timesSixths,
  toEv,
} from '../exposure/index.js';
import { possiblePasses, usableShutters } from './candidates.js';
import { stopsInWords } from './readings-words.js';
import type { Conditions, PlanRequest } from './types.js';

type Reason = Extract<
  ErrorCode,
  | 'outside-shutter-range'
  | 'longer-than-link'
  | 'step-not-offered'
  | 'not-settable'
  | 'outside-compensation-range'
>;

/** @returns an error that names the frames and the reasons, with `details.offsets` (EV) and `details.suggestions` */
export function cannotBeMade(
  request: PlanRequest,
  allLimits: BodyLimits,
  conditions: Conditions = {},
): EvenrungError {
  const limits = firedBy(allLimits, request.release ?? 'frame');
  const failing = missingOffsets(request, limits).map((offset) => ({
    offset,
    reason: reasonFor(offset, request, limits),
  }));
  const reasons = [...new Set(failing.map((failure) => failure.reason))];
  const sentences = reasons.map((reason) => {
    const offsets = failing.filter((failure) => failure.reason === reason).map((failure) => failure.offset);
    return sentenceFor(reason, offsets, request, limits);
  });
  return new EvenrungError(reasons[0] ?? 'outside-shutter-range', sentences.join(' '), {
    field: reasons[0] === 'step-not-offered' ? 'step' : 'base',
    offsets: failing.map(({ offset }) => toEv(offset)),
    failures: failing.map(({ offset, reason }) => ({ offset: toEv(offset), reason })),
    suggestions: [...suggestionsFor(request, limits, conditions), ...otherRelease(request, allLimits)],
  });
}

/** The refusal of a request for one release a pass. */
export function notInOneRelease(limits: BodyLimits): EvenrungError {
  const { apart, brackets } = limits;
  const sizes = brackets.filter(({ isOneRelease }) => isOneRelease).map(({ pattern }) => pattern.length);
  const most = apart?.mostInOneGo ?? null;
  const why =
    apart === undefined || most === null || sizes.length === 0
      ? 'This camera cannot fire a whole pass from one release over the cable.'
      : `This camera fires at least ${Math.min(...sizes)} frames from one release, but its buffer holds only ${most}.`;
  return new EvenrungError('one-release-not-offered', `${why} Choose frame by frame.`, {
    field: 'release',
    suggestions: [FRAME_BY_FRAME],
  });
}

const FRAME_BY_FRAME: Suggestion = {
  code: 'release',
  message: 'Frame by frame: one release for each frame.',
  change: { release: 'frame' },
};

const IN_ONE_RELEASE: Suggestion = {
  code: 'release',
  message: 'One release for each pass.',
  change: { release: 'pass' },
};

/** In aperture priority a bracket may fill what compensation cannot reach, and only one of the ways may have it. */
function otherRelease(request: PlanRequest, limits: BodyLimits): Suggestion[] {
  const other = request.release === 'pass' ? 'frame' : 'pass';
  if (other === 'pass' && !hasOneRelease(limits)) return [];
  if (!possible({ ...request, release: other }, firedBy(limits, other))) return [];
  return [other === 'frame' ? FRAME_BY_FRAME : IN_ONE_RELEASE];
}

/** @returns the wanted offsets that no pass can make */
function missingOffsets(request: PlanRequest, limits: BodyLimits): Sixths[] {
  const made = new Set(possiblePasses(request, limits).flatMap((pass) => pass.makes));
  return request.offsets.filter((_, row) => !made.has(row));
}

function reasonFor(offset: Sixths, { base, mode }: PlanRequest, limits: BodyLimits): Reason {
  // The camera chooses the time itself: only compensation and bracket can be in the way.
  if (mode === 'aperture')
    return Math.abs(offset) > limits.compensation.range ? 'outside-compensation-range' : 'step-not-offered';
  const tv = base.tv - offset;
  const longest = limits.shutters[0];
  const shortest = limits.shutters.at(-1);
  if (longest === undefined || shortest === undefined || tv < longest.tv || tv > shortest.tv)
    return 'outside-shutter-range';
  const setting = limits.shutters.find((candidate) => candidate.tv === tv);
  if (setting === undefined) return 'step-not-offered';
  if (setting.seconds > limits.longestSeconds) return 'longer-than-link';
  return 'not-settable';
}

function sentenceFor(
  reason: Reason,
  offsets: readonly Sixths[],
  { step, base, mode }: PlanRequest,
  limits: BodyLimits,
): string {
  const frames = framesAt(offsets);
  switch (reason) {
    case 'outside-shutter-range':
      return `${capital(frames)} would need shutter times outside this camera's ${rangeOf(limits)}.`;
    case 'longer-than-link':
      return `${capital(frames)} would be longer than ${limits.longestSeconds} s, the longest exposure whose file comes back over this connection.`;
    case 'step-not-offered':
      return mode === 'aperture'
        ? `${capital(frames)} cannot be reached: exposure compensation moves in steps of ${formatEv(limits.compensation.grid, false)} EV, and no bracket of this camera fills the gap.`
        : `${capital(frames)} cannot be shot: in steps of ${formatEv(step, false)} EV from ${base.label} s, this camera has no shutter setting ${timesAt(offsets, base)}.`;
    case 'not-settable':
      return `${capital(frames)} cannot be set on this camera: its label for that time stands for two settings.`;
    case 'outside-compensation-range':
      return `${capital(frames)} cannot be reached by exposure compensation: it goes ${formatEv(limits.compensation.range, false)} EV either way.`;
  }
}

/** @returns the settings' two ends, `30 s to 1/8000 s` */
export function rangeOf({ shutters }: BodyLimits): string {
  const longest = shutters[0]?.label;
  const shortest = shutters.at(-1)?.label;
  return longest === undefined || shortest === undefined
    ? 'settable times (there are none)'
    : `${longest} s to ${shortest} s`;
}

/** @returns `the frame at -5 EV`, `the frames at -5, -4 and +5 EV`; longer lists are counted */
function framesAt(offsets: readonly Sixths[]): string {
  const written = offsets.map((offset) => evInWords(offset));
  const last = written.pop();
  if (written.length === 0) return `the frame at ${last} EV`;
  if (written.length < 6) return `the frames at ${written.join(', ')} and ${last} EV`;
  return `${written.length + 1} frames (${written[0]}, ${written[1]} ... ${last} EV)`;
}

/** @returns `of 1/90 s`, `of 1/90, 1/45 or 1/20 s`; longer lists by their ends */
function timesAt(offsets: readonly Sixths[], base: ShutterSetting): string {
  const labels = offsets.map((offset) => timeAt(minusSixths(base.tv, offset)).label);
  const last = labels.pop();
  if (labels.length === 0) return `of ${last} s`;
  if (labels.length < 6) return `of ${labels.join(', ')} or ${last} s`;
  return `for any of them, from ${labels[0]} to ${last} s`;
}

const capital = (text: string): string => `${text.charAt(0).toUpperCase()}${text.slice(1)}`;

const possible = (request: PlanRequest, limits: BodyLimits): boolean =>
  request.offsets.length > 0 && missingOffsets(request, limits).length === 0;

function suggestionsFor(request: PlanRequest, limits: BodyLimits, conditions: Conditions): Suggestion[] {
  return [
    ...otherBase(request, limits, conditions),
    ...otherStep(request, limits),
    ...fewerFrames(request, limits),
    ...otherMode(request, limits),
  ];
}

/** The nearest base that would do, and what keeps the exposures as they were asked for with it. */
function otherBase(request: PlanRequest, limits: BodyLimits, conditions: Conditions): Suggestion[] {
  if (request.mode !== 'manual') return [];
  const distance = (setting: ShutterSetting) => Math.abs(setting.tv - request.base.tv);
  const base = [...usableShutters(limits).values()]
    .filter((setting) => setting.settable && setting.bulb !== true && setting.tv !== request.base.tv)
    .sort((a, b) => distance(a) - distance(b) || a.tv - b.tv)
    .find((setting) => possible({ ...request, base: setting }, limits));
  if (base === undefined) return [];
  const shift = minusSixths(request.base.tv, base.tv);
  const size = formatEv(magnitude(shift), false);
  const change = { base: base.label };
  const moved: Suggestion = {
    code: 'base',
    message: `Base exposure ${base.label} s: all frames ${size} EV ${shift < 0 ? 'darker' : 'brighter'}.`,
    change,
  };
  // The same exposures at another time: aperture, ISO or a filter makes up for it, stop for stop.
  const byHand = [
    ...(shift > 0 ? [filterOf(shift)] : []),
    apertureFor(shift, conditions.fNumber),
    isoFor(shift, conditions.iso),
  ].filter((one) => one !== null);
  const kept = byHand.map(
    ({ words, ...hand }): Suggestion => ({
      code: hand.what,
      message: `Base exposure ${base.label} s with ${words}: the exposures stay the same.`,
      change,
      byHand: hand,
    }),
  );
  return [moved, ...kept];
}

/** A step that somebody has to do at the camera, and the words for it. */
type HandWork = NonNullable<Suggestion['byHand']> & { readonly words: string };

const filterOf = (ev: Sixths): HandWork => ({
  what: 'filter',
  value: toEv(ev),
  sentence: `Put a ${formatEv(ev, false)}-stop neutral-density filter on the lens.`,
  words: `a ${formatEv(ev, false)}-stop neutral-density filter`,
});

/**
 * @param ev by which the times get longer (+) or shorter
 * @param now the camera's present f-number; undefined if it does not tell
 * @returns null if no lens goes that far
 */
export function apertureFor(ev: Sixths, now: number | undefined): HandWork | null {
  const size = stopsInWords(magnitude(ev));
  if (now === undefined) {
    const words = `the aperture ${size} ${ev < 0 ? 'wider' : 'smaller'}`;
    return { what: 'aperture', value: null, sentence: `Set ${words}.`, words };
  }
  const wanted = plusSixths(fromEv(2 * Math.log2(now)), ev);
  const scale = [...APERTURE_SCALES.third, ...APERTURE_SCALES.half];
  const setting = scale.reduce((best, one) =>
    Math.abs(one.av - wanted) < Math.abs(best.av - wanted) ? one : best,
  );
  if (Math.abs(setting.av - wanted) > 1) return null;
  return {
    what: 'aperture',
    value: setting.nominalFNumber,
    sentence: `Set the aperture to f/${setting.label}.`,
    words: `the aperture at f/${setting.label} instead of f/${now}`,
  };
}

/** ISO speeds as they are written, in third stops from 100 (ISO 12232, the usual series; from memory). */
const THIRD_STOP_ISOS = [100, 125, 160, 200, 250, 320, 400, 500, 640];

/** @returns the speed that many EV from another, as it is written on cameras; null if no camera has it */
export function isoFor(ev: Sixths, now: number | undefined): HandWork | null {
  const size = stopsInWords(magnitude(ev));
  if (now === undefined) {
    const words = `the ISO ${size} ${ev < 0 ? 'higher' : 'lower'}`;
    return { what: 'iso', value: null, sentence: `Set ${words}.`, words };
  }
  const exact = now * 2 ** -toEv(ev);
  if (exact < LOWEST_ISO || exact > HIGHEST_ISO) return null;
  const octave = 2 ** Math.floor(Math.log2(exact / 98));
  const value = THIRD_STOP_ISOS.map((iso) => iso * octave).reduce((best, iso) =>
    Math.abs(Math.log2(iso / exact)) < Math.abs(Math.log2(best / exact)) ? iso : best,
  );
  return {
    what: 'iso',
    value: Math.round(value),
    sentence: `Set the ISO to ${Math.round(value)}.`,
    words: `ISO ${Math.round(value)} instead of ${now}`,
  };
}

/** The range of ISO that bodies have without extensions (common practice, no source). */
const LOWEST_ISO = 49;
const HIGHEST_ISO = 52_000;

/**
 * @param written the base as it was asked for
 * @param seconds the time that it says
 * @param request the rest of the request; null if that is not known
 * @returns the bases that the camera offers instead, each tried
 */
export function baseNotOffered(
  written: string,
  seconds: number,
  request: Omit<PlanRequest, 'base'> | null,
  limits: BodyLimits,
): EvenrungError {
  const labelled = labelledShutters(limits);
  const usable = labelled.filter((setting) => setting.settable && setting.seconds <= limits.longestSeconds);
  const nearest = nearestOf(seconds, usable);
  const [longest, shortest] = [labelled[0], labelled.at(-1)];
  const isBetween =
    longest !== undefined &&
    shortest !== undefined &&
    seconds < longest.seconds &&
    seconds > shortest.seconds;
  const why =
    nearest === undefined || !isBetween
      ? `This camera has no ${written} s for the base exposure: its shutter times are ${rangeOf({ ...limits, shutters: labelled })}.${moreByBulb(limits)}`
      : `This camera has no ${written} s for the base exposure. The nearest time is ${nearest.label} s, ${evBetween(seconds, nearest).toFixed(2)} EV away, and only one within ${FARTHEST_NOMINAL_EV} EV will do.`;
  const bases = [
    nearestOf(
      seconds,
      usable.filter((setting) => setting.seconds < seconds),
    ),
    nearestOf(
      seconds,
      usable.filter((setting) => setting.seconds > seconds),
    ),
  ]
    .filter((setting) => setting !== undefined)
    .filter((base) => request !== null && possible({ ...request, base }, limits))
    .sort((a, b) => evBetween(seconds, a) - evBetween(seconds, b));
  const suggestions = bases.map(
    (base): Suggestion => ({
      code: 'base',
      message: `Base exposure ${base.label} s.`,
      change: { base: base.label },
    }),
  );
  return new EvenrungError('base-not-offered', why, {
    field: 'base',
    ...(suggestions.length === 0 ? {} : { suggestions }),
  });
}

/** A base is set on the camera, followed by the light and bracketed: bulb is not. */
function moreByBulb({ shutters: [longest] }: BodyLimits): string {
  return longest?.bulb === true
    ? ` Longer times, up to ${longest.label} s, are for frames brighter than the base exposure.`
    : '';
}

/** The nearest step, wider first, at which as many frames can be made about the same middle. */
function otherStep(request: PlanRequest, limits: BodyLimits): Suggestion[] {
  const frames = request.offsets.length;
  if (frames < 2) return [];
  const below = Math.floor((frames - 1) / 2);
  const steps = Array.from({ length: LARGEST_STEP - SMALLEST_STEP + 1 }, (_, index) =>
    sixths(SMALLEST_STEP + index),
  )
    .filter((step) => (step % 2 === 0 || step % 3 === 0) && step !== request.step)
    .sort((a, b) => Math.abs(a - request.step) - Math.abs(b - request.step) || b - a);
  const step = steps.find((candidate) =>
    possible(
      {
        ...request,
        step: candidate,
        offsets: request.offsets.map((_, index) => timesSixths(candidate, index - below)),
      },
      limits,
    ),
  );
  if (step === undefined) return [];
  const written = formatEv(step, false);
  return [
    {
      code: 'step',
      message: `A step of ${written} EV, with ${frames} frames.`,
      change: { frames, step: written },
    },
  ];
}

/** The longest stretch of the wanted offsets that can be made; among equals the one nearest to the base. */
function fewerFrames(request: PlanRequest, limits: BodyLimits): Suggestion[] {
  const missing = new Set(missingOffsets(request, limits));
  const stretches: Sixths[][] = [[]];
  for (const offset of request.offsets) {
    if (missing.has(offset)) stretches.push([]);
    else stretches.at(-1)?.push(offset);
  }
  const middle = (stretch: Sixths[]) => Math.abs((stretch[0] ?? 0) + (stretch.at(-1) ?? 0));
  const kept = stretches.sort((a, b) => b.length - a.length || middle(a) - middle(b))[0] ?? [];
  const [from] = kept;
  const to = kept.at(-1);
  if (from === undefined || to === undefined || !possible({ ...request, offsets: kept }, limits)) return [];
  const message =
    kept.length === 1
      ? `Only the frame at ${evInWords(from)} EV.`
      : `${kept.length} frames, from ${evInWords(from)} to ${evInWords(to)} EV.`;
  return [
    {
      code: 'fewer-frames',
      message,
      change: { from: formatEv(from), to: formatEv(to), step: formatEv(request.step, false) },
    },
  ];
}

function otherMode(request: PlanRequest, limits: BodyLimits): Suggestion[] {
  if (request.mode === 'manual' || !possible({ ...request, mode: 'manual' }, limits)) return [];
  return [
    {
      code: 'mode',
      message: 'Manual mode, which sets the exposure by the shutter.',
      change: { mode: 'manual' },
    },
  ];
}
