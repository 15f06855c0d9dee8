// A body as it is shown: what it offers, and how it is set. Pure.
import type { ReadinessItem } from '../../shared/readiness.js';
import { LARGEST_STEP, SMALLEST_STEP } from '../../shared/request.js';
import type { BodyView } from '../../shared/state.js';
import {
  type BodyLimits,
  hasOneRelease,
  labelledShutters,
  plusSixths,
  type Sixths,
  sixths,
  timesSixths,
  toEv,
} from '../exposure/index.js';
import type { DialectName } from './dialects/index.js';
import type { BodyIdentity } from './link.js';

export interface Viewed extends Pick<BodyView, 'reached' | 'profile' | 'aperture' | 'iso' | 'files'> {
  readonly identity: BodyIdentity;
  readonly dialect: DialectName;
  readonly limits: BodyLimits;
  /** The shutter as it is set; null if the body does not tell. */
  readonly shutterTv: Sixths | null;
  readonly readiness: ReadinessItem[];
}

export function viewOf(viewed: Viewed): BodyView {
  const { limits, identity, dialect, shutterTv } = viewed;
  const labelled = labelledShutters(limits);
  return {
    link: identity.link,
    model: identity.model,
    serial: identity.serial,
    dialect,
    shutters: labelled.filter((setting) => setting.settable).map((setting) => setting.label),
    steps: stepsOf(limits).map(toEv),
    brackets: bracketsOf(limits),
    oneRelease: hasOneRelease(limits),
    compensation: { range: toEv(limits.compensation.range), grid: toEv(limits.compensation.grid) },
    longestSeconds: longestOf(limits),
    timing: {
      secondsPerChange: limits.secondsPerChange,
      secondsPerSetting: limits.secondsPerSetting,
      secondsPerFrame: limits.secondsPerFrame,
      apart: limits.apart ?? null,
    },
    reached: viewed.reached,
    profile: viewed.profile,
    shutter: labelled.find(({ tv }) => tv === shutterTv)?.label ?? null,
    aperture: viewed.aperture,
    iso: viewed.iso,
    ...(viewed.files === undefined ? {} : { files: viewed.files }),
    readiness: viewed.readiness,
  };
}

/** The longest exposure that the link waits for may be far beyond any time that the body can be set to. */
function longestOf({ shutters, longestSeconds }: BodyLimits): number {
  const longest = Math.max(...shutters.map(({ seconds }) => seconds));
  return shutters.length === 0 ? longestSeconds : Math.min(longestSeconds, longest);
}

/** The counts of frames with their steps, each pair once. */
function bracketsOf({ brackets }: BodyLimits): BodyView['brackets'] {
  const pairs = brackets.map(({ step, pattern }) => ({ frames: pattern.length, step: toEv(step) }));
  return [...new Map(pairs.map((pair) => [`${pair.frames} ${pair.step}`, pair])).values()];
}

/**
 * Steps of which the body has more than a few settings: two settings on different grids meet only at whole
 * stops.
 */
function stepsOf(limits: BodyLimits): Sixths[] {
  const shutters = labelledShutters(limits);
  const exists = new Set(shutters.map((setting) => setting.tv));
  const steps = Array.from({ length: LARGEST_STEP - SMALLEST_STEP + 1 }, (_, index) =>
    sixths(SMALLEST_STEP + index),
  );
  return steps.filter((step) =>
    shutters.some(
      ({ tv }) => exists.has(plusSixths(tv, step)) && exists.has(plusSixths(tv, timesSixths(step, 2))),
    ),
  );
}
