// From the reach of a scene's light to the fewest frames of a body that hold all of it. Pure.
import { NOT_MISSED } from '../../../shared/clipping.js';
import { EvenrungError } from '../../../shared/errors.js';
import {
  type BodyLimits,
  minusSixths,
  NO_EV,
  negated,
  type Sixths,
  sixths,
  timeAt,
} from '../../exposure/index.js';
import { baseOf } from '../readings.js';
import { type Placement, place } from '../readings-place.js';
import type { FoundEnd, Proposed, Shown, SoundingAt, TestExposure } from './types.js';

export interface Found {
  /** The exposures that can be fired, the darkest first. */
  readonly exposures: readonly TestExposure[];
  readonly shown: readonly Shown[];
  readonly highlights: FoundEnd;
  readonly shadows: FoundEnd;
}

/**
 * The levels of a picture are not exact: an end that misses a setting by less than this counts as being on
 * it. Measured on the practice scenes.
 */
const TOLERANCE_EV = 1 / 12;

/** @throws EvenrungError step-not-offered */
export function propose({ mode, step, limits, start }: SoundingAt, found: Found): Proposed {
  const { exposures, highlights, shadows } = found;
  const offsets = exposures.map(({ offset }) => offset);
  const all = [Math.min(...offsets), Math.max(...offsets)] as const;
  const needed = {
    darkest: neededAt('highlights', highlights, found, offsets.toReversed()),
    brightest: neededAt('shadows', shadows, found, offsets),
  };
  const metered = mode === 'aperture';
  const settings = metered ? meteredLimits(limits, exposures) : limits;
  const zero = metered ? NO_EV : start.tv;
  const tvOf = (offset: Sixths) => minusSixths(zero, within(offset, all));
  const placement = placeAsFar(tvOf(needed.brightest), tvOf(needed.darkest), step, settings);
  if (placement === null) throw noSuchStep();
  return {
    offsets: placement.tvs.map((tv) => minusSixths(zero, tv)),
    base: metered ? null : (baseOf(placement, limits) ?? start),
    ...{ highlights, shadows, needed },
  };
}

/**
 * What a test frame showed counts more than what others led to expect of it.
 * @param outwards offsets that can be fired, in the direction of this end
 */
function neededAt(
  of: 'highlights' | 'shadows',
  end: FoundEnd,
  { shown }: Pick<Found, 'shown'>,
  outwards: readonly Sixths[],
): Sixths {
  const sign = of === 'highlights' ? -1 : 1;
  const outermost = outwards.at(-1) ?? NO_EV;
  if (!end.isReached)
    return end.why === 'range'
      ? outermost
      : sixths(sign * Math.max(...shown.map(({ offset }) => sign * offset)));
  const from = sign * Math.ceil(6 * (sign * end.heldAt - TOLERANCE_EV));
  const isLosing = (offset: Sixths) => shown.some((one) => one.offset === offset && one[of] > NOT_MISSED);
  return outwards.find((offset) => sign * offset >= sign * from && !isLosing(offset)) ?? outermost;
}

const within = (offset: Sixths, [least, most]: readonly [number, number]): Sixths =>
  sixths(Math.min(most, Math.max(least, offset)));

/**
 * In aperture priority the frames lie on the steps of the compensation, counted from the metered exposure.
 */
const meteredLimits = (limits: BodyLimits, exposures: readonly TestExposure[]): BodyLimits => ({
  ...limits,
  shutters: exposures.map(({ offset }) => ({ ...timeAt(negated(offset)), settable: true })).toReversed(),
  longestSeconds: Number.POSITIVE_INFINITY,
});

const NO_ROOM = { above: NO_EV, below: NO_EV };

/**
 * The ends are exposures and not readings: the room is in them already. If whole steps do not fit between the
 * ends of the camera, the shadows give way.
 */
function placeAsFar(slowest: Sixths, fastest: Sixths, step: Sixths, limits: BodyLimits): Placement | null {
  for (let less = 0; less <= step; less += 1) {
    const scene = { darkestTv: sixths(slowest + less), brightestTv: fastest, room: NO_ROOM };
    const placement = place(scene, step, limits);
    if (placement !== null) return placement;
  }
  return null;
}

/** @throws EvenrungError step-not-offered if no two frames of this camera are so far apart */
export function mustHaveStep(step: Sixths, exposures: readonly TestExposure[]): void {
  const has = new Set(exposures.map(({ offset }) => offset));
  if (exposures.some(({ offset }) => has.has(sixths(offset + step)))) return;
  throw noSuchStep();
}

const noSuchStep = (): EvenrungError =>
  new EvenrungError(
    'step-not-offered',
    "This camera's shutter times do not fit this step: use another one, such as 1 EV.",
    { field: 'step' },
  );
