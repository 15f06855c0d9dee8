// What an experienced photographer would say about a plan that can be fired. Each warning has a code; none of
// them stops anything.

import { SUN_METERED } from '../../shared/cautions.js';
import { formatDuration } from '../../shared/duration.js';
import type { Warning } from '../../shared/plan.js';
import {
  type BodyLimits,
  type BracketShape,
  exposureValue,
  firedBy,
  formatEv,
  parseShutter,
  speedValue,
} from '../exposure/index.js';
import { LONG_SECONDS } from './clock.js';
import { sunInWords } from './readings-words.js';
import type { Conditions, Estimate, Pass, PlanRequest } from './types.js';

/** Some 14 EV in an hour and a half, from sunset to night; from memory. */
const DUSK_EV_PER_MINUTE = 0.15;
/** A change of light that neighbouring frames begin to tell. */
const TELLING_EV = 1 / 6;
/** Mains light shows in times up to this long if they are not a multiple of its period (common practice, no source). */
const FLICKER_UP_TO_SECONDS = 1 / 25;
/** How near to a multiple of the period a time must be; nominal and exact times differ by up to 7 %. */
const MULTIPLE_WITHIN = 0.05;
/** EV at ISO 100 of full sun on a light subject is 15 to 16 (from memory); a frame darker than that is meant for the sun itself. */
const SUN_EV100 = 18;
/** A set that runs this long runs unattended. */
const UNATTENDED_SECONDS = 600;

export function warningsFor(
  request: PlanRequest,
  passes: readonly Pass[],
  limits: BodyLimits,
  estimate: Estimate,
  conditions: Conditions,
): Warning[] {
  return [
    otherBase(request, conditions),
    singleFrames(request, passes, limits),
    bufferUntried(passes, limits),
    movedBase(request),
    outlastsLink(request, passes, limits),
    byBulb(passes),
    handHeld(passes, conditions),
    ...noiseReduction(passes, limits, conditions),
    flicker(passes, conditions),
    changingLight(estimate, conditions),
    sunMetered(request) ?? sun(passes, conditions),
    unattended(estimate),
  ].filter((warning) => warning !== null);
}

const framesOf = (passes: readonly Pass[]) => passes.flatMap((pass) => pass.frames);

/** Nearer than a tenth of a stop nobody means another setting. */
const SAME_BASE_EV = 0.1;

function otherBase({ base }: PlanRequest, { baseWritten }: Conditions): Warning | null {
  const written = baseWritten === undefined ? undefined : parseShutter(baseWritten);
  if (written?.kind !== 'time') return null;
  const isNear = (seconds: number) => Math.abs(Math.log2(written.seconds / seconds)) < SAME_BASE_EV;
  if (isNear(base.seconds) || isNear(base.nominalSeconds)) return null;
  return {
    code: 'other-base',
    message: `This camera has no ${baseWritten} s: the base exposure is ${base.label} s, its nearest setting.`,
  };
}

function singleFrames(
  { offsets, step, release }: PlanRequest,
  passes: readonly Pass[],
  limits: BodyLimits,
): Warning | null {
  if (offsets.length < 2 || passes.some((pass) => pass.shape !== null)) return null;
  const { brackets } = release === 'pass' ? firedBy(limits, 'pass') : limits;
  const isOneReleaseOnly = release !== 'pass' && brackets.length > 0 && brackets.every(isInOneGo);
  const why =
    brackets.length === 0
      ? 'This camera has no auto-bracket that can be used'
      : isOneReleaseOnly
        ? 'This camera fires its auto-bracket only as a whole, from one release'
        : `No auto-bracket of this camera helps with a step of ${formatEv(step, false)} EV`;
  return { code: 'single-frames', message: `${why}: Evenrung sets the shutter for each frame.` };
}

const isInOneGo = ({ isOneRelease }: BracketShape): boolean => isOneRelease === true;

/** A full buffer slows the body down in the middle of a pass; no frame is lost by it. */
function bufferUntried(passes: readonly Pass[], { apart }: BodyLimits): Warning | null {
  const most = Math.max(...passes.map(({ frames, shape }) => (shape?.isOneRelease ? frames.length : 0)));
  if (most === 0 || apart?.mostInOneGo !== null) return null;
  return {
    code: 'buffer-untried',
    message: `Whether the camera's buffer holds ${most} frames has not been tried. If it does not, a pass slows down, and the spread grows.`,
  };
}

function movedBase({ mode }: PlanRequest): Warning | null {
  if (mode === 'manual') return null;
  return {
    code: 'moved-base',
    message:
      'In aperture priority the camera meters each pass afresh, so a cloud can shift the base exposure. Manual mode holds it.',
  };
}

/** The light decides how long the frames are: what lies ahead is said, and nothing refused. */
function outlastsLink(
  { base, mode }: PlanRequest,
  passes: readonly Pass[],
  { longestSeconds }: BodyLimits,
): Warning | null {
  const long = framesOf(passes).filter((frame) => frame.shutter.seconds > longestSeconds);
  if (mode === 'manual' || long.length === 0) return null;
  return {
    code: 'outlasts-link',
    message: `If the camera meters ${base.label} s, ${count(long.length)} would take longer than ${longestSeconds} s, the longest exposure whose file comes back. Open up, or raise the ISO.`,
  };
}

function byBulb(passes: readonly Pass[]): Warning | null {
  const held = framesOf(passes).filter(({ shutter }) => shutter.bulb === true);
  if (held.length === 0) return null;
  const longest = Math.max(...held.map(({ shutter }) => shutter.seconds));
  return {
    code: 'bulb',
    message: `${count(held.length)} longer than the camera's own times: Evenrung opens and closes the shutter itself, for up to ${formatDuration(Math.round(longest))}. Make sure that the battery lasts; stopping the set ends such an exposure at once.`,
  };
}

/** Blur shows when the shutter is slower than 1 / focal length (common practice, no source). */
function handHeld(passes: readonly Pass[], { handHeldMm }: Conditions): Warning | null {
  if (handHeldMm === undefined) return null;
  const slow = framesOf(passes).filter((frame) => frame.shutter.nominalSeconds > 1 / handHeldMm);
  if (slow.length === 0) return null;
  return {
    code: 'hand-held',
    message: `${count(slow.length)} slower than 1/${Math.round(handHeldMm)} s, too slow to hold by hand at ${Math.round(handHeldMm)} mm: use a tripod.`,
  };
}

function noiseReduction(
  passes: readonly Pass[],
  { longestSeconds, apart }: BodyLimits,
  conditions: Conditions,
): Warning[] {
  if (conditions.noiseReduction !== true) return [];
  const long = framesOf(passes).filter((frame) => frame.shutter.seconds > LONG_SECONDS);
  if (long.length === 0) return [];
  // If a release does not wait for its file, it is given twice the exposure.
  const outlasting =
    apart === undefined ? long.filter((frame) => frame.shutter.seconds * 2 > longestSeconds) : [];
  const doubled: Warning = {
    code: 'noise-reduction',
    message: `Long-exposure noise reduction doubles the time of ${count(long.length).toLowerCase()} over ${LONG_SECONDS} s: turn it off on the camera.`,
  };
  if (outlasting.length === 0) return [doubled];
  return [
    doubled,
    {
      code: 'noise-reduction-outlasts-link',
      message: `With noise reduction ${count(outlasting.length).toLowerCase()} may come back too late, and count as missing: turn it off on the camera.`,
    },
  ];
}

/** Mains light flickers at twice the mains frequency (common practice, no source). */
function flicker(passes: readonly Pass[], { mainsHz }: Conditions): Warning | null {
  if (mainsHz === undefined) return null;
  const period = 1 / (2 * mainsHz);
  const isMultiple = (seconds: number) => {
    const periods = seconds / period;
    return periods > 0.5 && Math.abs(periods - Math.round(periods)) <= MULTIPLE_WITHIN;
  };
  const differing = framesOf(passes).filter(
    ({ shutter }) =>
      shutter.seconds < FLICKER_UP_TO_SECONDS * 0.95 &&
      !isMultiple(shutter.seconds) &&
      !isMultiple(shutter.nominalSeconds),
  );
  if (differing.length === 0) return null;
  return {
    code: 'mains-flicker',
    message: `Mains light flickers ${2 * mainsHz} times a second, so ${count(differing.length).toLowerCase()} may come out too bright or too dark. Whole multiples of 1/${2 * mainsHz} s do not.`,
  };
}

function changingLight({ seconds }: Estimate, { lightEvPerMinute }: Conditions): Warning | null {
  const rate = lightEvPerMinute ?? DUSK_EV_PER_MINUTE;
  const change = (seconds / 60) * Math.abs(rate);
  if (change < TELLING_EV) return null;
  const light = lightEvPerMinute === undefined ? 'at dusk the light' : 'the light';
  return {
    code: 'changing-light',
    message: `The set takes ${Math.ceil(seconds)} s: ${light} changes by about ${change.toFixed(1)} EV in that time.`,
  };
}

/** Looked for in the readings, because a meter sees the sun before the camera does. */
function sunMetered({ readings }: PlanRequest): Warning | null {
  const message = sunInWords(readings?.brightest.ev100 ?? null);
  return message === null ? null : { code: SUN_METERED, message };
}

function sun(passes: readonly Pass[], { fNumber, iso }: Conditions): Warning | null {
  if (fNumber === undefined || iso === undefined) return null;
  const darkest = Math.min(...framesOf(passes).map((frame) => frame.shutter.seconds));
  const ev100 = exposureValue(fNumber, darkest) - (speedValue(iso) - speedValue(100));
  if (ev100 < SUN_EV100) return null;
  return {
    code: 'sun',
    message:
      'The darkest frames are dark enough for the sun itself. Never look at it through an optical finder; it burns eyes, sensor, shutter and iris. A neutral-density filter does not protect you.',
  };
}

function unattended({ seconds }: Estimate): Warning | null {
  if (seconds < UNATTENDED_SECONDS) return null;
  return {
    code: 'unattended',
    message: `The set takes ${Math.ceil(seconds / 60)} min: weigh the tripod down, keep the way clear, and leave it if there is lightning.`,
  };
}

const count = (frames: number): string => `${frames} ${frames === 1 ? 'frame' : 'frames'}`;
