// From what is wanted and what the body can do to firing passes. Pure: knows no body, no clock, no file.
import { EvenrungError } from '../../shared/errors.js';
import type { WirePlan } from '../../shared/plan.js';
import {
  type BodyLimits,
  type BracketShape,
  formatEv,
  nearestSetting,
  parseShutter,
  type ShutterSetting,
  type Sixths,
  secondsOf,
  toEv,
} from '../exposure/index.js';
import { estimateSeconds } from './estimate.js';
import { tile } from './tile.js';

/** What is wanted of one set. */
export interface PlanRequest {
  /** EV from the base, ascending, evenly spaced by `step`. */
  readonly offsets: readonly Sixths[];
  readonly step: Sixths;
  readonly base: ShutterSetting;
  /** manual: the centre of a pass is moved by shutter; aperture: by exposure compensation. */
  readonly mode: 'manual' | 'aperture';
}

export interface PlannedFrame {
  readonly offset: Sixths;
  readonly shutter: ShutterSetting;
}

/** One firing of the body's own auto-bracket, or a single frame with the bracket off. */
export interface Pass {
  readonly centre: Sixths;
  /** The shutter setting of the centre. */
  readonly centreShutter: ShutterSetting;
  /** null for a single frame. */
  readonly shape: BracketShape | null;
  /** In the body's firing order. */
  readonly frames: readonly PlannedFrame[];
}

export interface Plan {
  readonly base: ShutterSetting;
  readonly mode: 'manual' | 'aperture';
  readonly step: Sixths;
  /** What was asked for, ascending. */
  readonly offsets: readonly Sixths[];
  /** In firing order, from the darkest pass to the lightest. */
  readonly passes: readonly Pass[];
  readonly estimatedSeconds: number;
  readonly warnings: readonly { readonly code: string; readonly message: string }[];
}

/**
 * @returns passes that cover every wanted offset once, none of their frames outside the body's limits
 * @throws EvenrungError outside-shutter-range, longer-than-link, step-not-offered, outside-compensation-range: the
 *   sentence and `details.offsets` (EV) say which frames cannot be made
 */
export function planSet(request: PlanRequest, limits: BodyLimits): Plan {
  refuseImpossibleFrames(request, limits);
  const passes = tile(request, limits);
  if (passes === undefined) throw outsideCompensation(request, limits);
  const { base, mode, step, offsets } = request;
  return {
    base,
    mode,
    step,
    offsets,
    passes,
    estimatedSeconds: estimateSeconds(passes, limits),
    warnings: warningsFor(request, passes, limits),
  };
}

/**
 * @param written a shutter time in any spelling, such as `1/60` or `0"5`
 * @returns the body's setting that it means
 * @throws EvenrungError unreadable-shutter, base-not-offered
 */
export function resolveBase(written: string, limits: BodyLimits): ShutterSetting {
  const time = parseShutter(written);
  if (time === undefined) {
    throw new EvenrungError(
      'unreadable-shutter',
      `The base '${written}' is no shutter time: write for example 1/60, 0.5 or 30.`,
      {
        field: 'base',
      },
    );
  }
  if (time.kind === 'bulb') {
    throw new EvenrungError(
      'base-not-offered',
      'Bulb is no base: frames are counted from a time. Give one, such as 30.',
      {
        field: 'base',
      },
    );
  }
  const setting = nearestSetting(time.seconds, limits.shutters);
  if (setting !== undefined) return setting;
  throw new EvenrungError(
    'base-not-offered',
    `The base ${written} is not among the shutter times ${rangeOf(limits)}.`,
    {
      field: 'base',
    },
  );
}

/** @returns the settings' two ends, `30 to 1/8000`; `none` where there are none */
function rangeOf({ shutters }: BodyLimits): string {
  const longest = shutters[0]?.label;
  const shortest = shutters.at(-1)?.label;
  return longest === undefined || shortest === undefined
    ? 'of this body (it has none)'
    : `${longest} to ${shortest}`;
}

/** Each frame must exist as a shutter setting: a body clamps what it does not have, silently. */
function refuseImpossibleFrames({ offsets, base, step }: PlanRequest, limits: BodyLimits): void {
  const exists = new Set(limits.shutters.map((setting) => setting.tv));
  const longest = limits.shutters[0]?.tv ?? 0;
  const shortest = limits.shutters.at(-1)?.tv ?? 0;
  const beyond = offsets.filter((offset) => base.tv - offset < longest || base.tv - offset > shortest);
  if (beyond.length > 0) {
    throw new EvenrungError(
      'outside-shutter-range',
      `${capital(framesAt(beyond))} would need shutter times outside ${rangeOf(limits)}. ${baseThatFits(offsets, limits)}`,
      { offsets: beyond.map(toEv) },
    );
  }
  const offGrid = offsets.filter((offset) => !exists.has(base.tv - offset));
  if (offGrid.length > 0) {
    throw new EvenrungError(
      'step-not-offered',
      `This body has no shutter settings ${formatEv(step, false)} EV apart, so ${framesAt(offGrid)} cannot be made. Choose another step.`,
      { field: 'step', offsets: offGrid.map(toEv) },
    );
  }
  const tooLong = offsets.filter((offset) => secondsOf(base.tv - offset) > limits.longestSeconds);
  if (tooLong.length > 0) {
    throw new EvenrungError(
      'longer-than-link',
      `${capital(framesAt(tooLong))} would be longer than ${limits.longestSeconds} s, the longest exposure whose file comes back over this link. Choose a shorter base, a wider aperture or a higher ISO.`,
      { offsets: tooLong.map(toEv) },
    );
  }
}

function baseThatFits(offsets: readonly Sixths[], { shutters }: BodyLimits): string {
  const exists = new Set(shutters.map((setting) => setting.tv));
  const fitting = shutters.filter((setting) => offsets.every((offset) => exists.has(setting.tv - offset)));
  const first = fitting[0]?.label;
  const last = fitting.at(-1)?.label;
  if (first === undefined || last === undefined)
    return 'No base fits all of them: ask for fewer frames or a smaller step.';
  return first === last ? `A base of ${first} would fit.` : `A base from ${first} to ${last} would fit.`;
}

function outsideCompensation({ offsets }: PlanRequest, { compensation }: BodyLimits): EvenrungError {
  const outside = offsets.filter((offset) => Math.abs(offset) > compensation.range);
  return new EvenrungError(
    'outside-compensation-range',
    `The exposure compensation reaches ${formatEv(compensation.range, false)} EV either way in steps of ${formatEv(compensation.grid, false)} EV, too little for ${framesAt(outside.length > 0 ? outside : offsets)}. Use manual mode, or ask for a smaller span.`,
    { offsets: outside.map(toEv) },
  );
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

function warningsFor(
  request: PlanRequest,
  passes: readonly Pass[],
  limits: BodyLimits,
): { code: string; message: string }[] {
  const singles = passes.filter((pass) => pass.frames.length === 1).length;
  if (request.offsets.length === 1 || singles < passes.length) return [];
  const step = formatEv(request.step, false);
  const why =
    limits.brackets.length === 0
      ? 'This body has no auto-bracket that can be used'
      : `This body does not bracket at ${step} EV`;
  return [
    { code: 'single-frames', message: `${why}: the shutter is set for every frame, which takes longer.` },
  ];
}

/** @returns the plan as it crosses the wire */
export function toWirePlan(plan: Plan): WirePlan {
  return {
    base: { shutter: plan.base.label, exposureTime: plan.base.seconds },
    offsets: plan.offsets.map(toEv),
    passes: plan.passes.map((pass) => ({
      centre: toEv(pass.centre),
      step: toEv(pass.shape?.step ?? 0),
      offsets: pass.frames
        .map((frame) => frame.offset)
        .sort((a, b) => a - b)
        .map(toEv),
      frames: pass.frames.map(({ offset, shutter }) => ({
        offset: toEv(offset),
        exposureTime: shutter.seconds,
        shutter: shutter.label,
      })),
    })),
    estimate: { seconds: plan.estimatedSeconds },
    warnings: [...plan.warnings],
  };
}
