// When a request cannot be met: which frames fail and why, and the smallest changes that would make it possible. Every
// suggestion was checked: with it, each frame can be made.
import { type ErrorCode, EvenrungError } from '../../shared/errors.js';
import type { Suggestion } from '../../shared/plan.js';
import { LARGEST_STEP, SMALLEST_STEP } from '../../shared/request.js';
import { type BodyLimits, formatEv, type ShutterSetting, type Sixths, toEv } from '../exposure/index.js';
import { possiblePasses, usableShutters } from './candidates.js';
import type { PlanRequest } from './types.js';

type Reason = Extract<
  ErrorCode,
  | 'outside-shutter-range'
  | 'longer-than-link'
  | 'step-not-offered'
  | 'not-settable'
  | 'outside-compensation-range'
>;

/** @returns an error that names the frames and the reasons, with `details.offsets` (EV) and `details.suggestions` */
export function cannotBeMade(request: PlanRequest, limits: BodyLimits): EvenrungError {
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
    suggestions: suggestionsFor(request, limits),
  });
}

/** @returns the wanted offsets that no pass can make */
function missingOffsets(request: PlanRequest, limits: BodyLimits): Sixths[] {
  const made = new Set(possiblePasses(request, limits).flatMap((pass) => pass.makes));
  return request.offsets.filter((_, row) => !made.has(row));
}

function reasonFor(offset: Sixths, { base, mode }: PlanRequest, limits: BodyLimits): Reason {
  const tv = base.tv - offset;
  const longest = limits.shutters[0];
  const shortest = limits.shutters.at(-1);
  if (longest === undefined || shortest === undefined || tv < longest.tv || tv > shortest.tv)
    return 'outside-shutter-range';
  const setting = limits.shutters.find((candidate) => candidate.tv === tv);
  if (setting === undefined) return 'step-not-offered';
  if (setting.seconds > limits.longestSeconds) return 'longer-than-link';
  return mode === 'aperture' ? 'outside-compensation-range' : 'not-settable';
}

function sentenceFor(
  reason: Reason,
  offsets: readonly Sixths[],
  { step }: PlanRequest,
  limits: BodyLimits,
): string {
  const frames = framesAt(offsets);
  switch (reason) {
    case 'outside-shutter-range':
      return `${capital(frames)} would need shutter times outside ${rangeOf(limits)}.`;
    case 'longer-than-link':
      return `${capital(frames)} would be longer than ${limits.longestSeconds} s, the longest exposure whose file comes back over this link.`;
    case 'step-not-offered':
      return `This body has no shutter settings ${formatEv(step, false)} EV apart, so ${frames} cannot be made.`;
    case 'not-settable':
      return `${capital(frames)} cannot be set on this body: its label for that time stands for two settings.`;
    case 'outside-compensation-range':
      return `${capital(frames)} cannot be reached by exposure compensation: it goes ${formatEv(limits.compensation.range, false)} EV either way.`;
  }
}

/** @returns the settings' two ends, `30 s to 1/8000 s` */
export function rangeOf({ shutters }: BodyLimits): string {
  const longest = shutters[0]?.label;
  const shortest = shutters.at(-1)?.label;
  return longest === undefined || shortest === undefined
    ? 'what this body has (it offers none)'
    : `${longest} s to ${shortest} s`;
}

/** @returns `the frame at -5 EV`, `the frames at -5, -4 and +5 EV`; longer lists are counted */
function framesAt(offsets: readonly Sixths[]): string {
  const written = offsets.map((offset) => formatEv(offset));
  const last = written.pop();
  if (written.length === 0) return `the frame at ${last} EV`;
  if (written.length < 6) return `the frames at ${written.join(', ')} and ${last} EV`;
  return `${written.length + 1} frames (${written[0]}, ${written[1]} ... ${last} EV)`;
}

const capital = (text: string): string => `${text.charAt(0).toUpperCase()}${text.slice(1)}`;

const possible = (request: PlanRequest, limits: BodyLimits): boolean =>
  request.offsets.length > 0 && missingOffsets(request, limits).length === 0;

function suggestionsFor(request: PlanRequest, limits: BodyLimits): Suggestion[] {
  return [
    ...otherBase(request, limits),
    ...otherStep(request, limits),
    ...fewerFrames(request, limits),
    ...otherMode(request, limits),
  ];
}

/** The nearest base that would do, and what keeps the exposures as they were asked for with it. */
function otherBase(request: PlanRequest, limits: BodyLimits): Suggestion[] {
  if (request.mode !== 'manual') return [];
  const distance = (setting: ShutterSetting) => Math.abs(setting.tv - request.base.tv);
  const base = [...usableShutters(limits).values()]
    .filter((setting) => setting.settable && setting.tv !== request.base.tv)
    .sort((a, b) => distance(a) - distance(b) || a.tv - b.tv)
    .find((setting) => possible({ ...request, base: setting }, limits));
  if (base === undefined) return [];
  const shift = request.base.tv - base.tv;
  const size = formatEv(Math.abs(shift), false);
  const change = { base: base.label };
  const moved: Suggestion = {
    code: 'base',
    message: `Base ${base.label} s: all frames ${size} EV ${shift < 0 ? 'darker' : 'lighter'}.`,
    change,
  };
  // The same exposures at another time: f-number, ISO or a filter make up for it, stop for stop.
  const kept: readonly (readonly [Suggestion['code'], string])[] =
    shift < 0
      ? [
          ['aperture', `Base ${base.label} s with the aperture ${size} EV wider: the same exposures.`],
          ['iso', `Base ${base.label} s with the ISO ${size} EV higher: the same exposures.`],
        ]
      : [
          ['filter', `Base ${base.label} s with a neutral-density filter of ${size} EV: the same exposures.`],
          ['aperture', `Base ${base.label} s with the aperture ${size} EV smaller: the same exposures.`],
          ['iso', `Base ${base.label} s with the ISO ${size} EV lower: the same exposures.`],
        ];
  return [moved, ...kept.map(([code, message]) => ({ code, message, change }))];
}

/** The nearest step, wider first, at which as many frames can be made about the same middle. */
function otherStep(request: PlanRequest, limits: BodyLimits): Suggestion[] {
  const frames = request.offsets.length;
  if (frames < 2) return [];
  const below = Math.floor((frames - 1) / 2);
  const steps = Array.from({ length: LARGEST_STEP - SMALLEST_STEP + 1 }, (_, index) => SMALLEST_STEP + index)
    .filter((step) => (step % 2 === 0 || step % 3 === 0) && step !== request.step)
    .sort((a, b) => Math.abs(a - request.step) - Math.abs(b - request.step) || b - a);
  const step = steps.find((candidate) =>
    possible(
      {
        ...request,
        step: candidate,
        offsets: request.offsets.map((_, index) => (index - below) * candidate),
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
      ? `Only the frame at ${formatEv(from)} EV.`
      : `${kept.length} frames, from ${formatEv(from)} to ${formatEv(to)} EV.`;
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
    { code: 'mode', message: 'Manual mode, which moves the centre by shutter.', change: { mode: 'manual' } },
  ];
}
