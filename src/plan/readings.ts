// From two spot readings to the fewest frames of a body that hold both: base, offsets, and where each reading
// falls. Pure. The arithmetic is in exposure/readings.ts, the refusals in readings-refused.ts.
import type { PlanReadings } from '../../shared/plan-readings.js';
import type { MeteredRequest, SetRequest } from '../../shared/request.js';
import {
  type BodyLimits,
  labelledShutters,
  labelOf,
  minusSixths,
  nearestSetting,
  type ShutterSetting,
  toEv,
} from '../exposure/index.js';
import { type MeteredAt, readBoth, roomFor } from './readings-known.js';
import { type Placement, place, type Scene } from './readings-place.js';
import { mustHold, noPlaceFor } from './readings-refused.js';
import { fallsInWords } from './readings-words.js';

export type { MeteredAt } from './readings-known.js';

/**
 * @param at what is known of the camera that makes the frames
 * @returns the same request, with frames and base worked out
 * @throws EvenrungError readings-unusable, limits-contradict, outside-shutter-range, step-not-offered:
 *   `details.field` is the reading, or the step
 */
export function placeReadings(
  { metered, ...asked }: MeteredRequest,
  limits: BodyLimits,
  at: MeteredAt,
): SetRequest {
  const { standing, darkest, brightest } = readBoth(metered, at);
  const { room, sentence } = roomFor(metered.written, standing, at);
  const scene: Scene = { darkestTv: darkest.tv, brightestTv: brightest.tv, room };
  mustHold(metered, scene, asked.step);
  const placement = place(scene, asked.step, limits);
  const base = placement === null ? undefined : baseOf(placement, limits);
  if (placement === null || base === undefined)
    throw noPlaceFor(metered, scene, asked.step, limits, standing, (step) => place(scene, step, limits));
  const [first, last] = [placement.tvs[0] ?? base.tv, placement.tvs.at(-1) ?? base.tv];
  const { written } = metered;
  const readings: PlanReadings = {
    darkest: {
      ...{ written: written.darkest, ev100: darkest.ev100, shutter: labelOf(darkest.tv) },
      ...{ frame: placement.tvs.length, fromGrey: toEv(minusSixths(darkest.tv, last)) },
      sentence: fallsInWords('darkest', metered.darkest, darkest.tv, placement.tvs.length, last, room),
    },
    brightest: {
      ...{ written: written.brightest, ev100: brightest.ev100, shutter: labelOf(brightest.tv) },
      ...{ frame: 1, fromGrey: toEv(minusSixths(brightest.tv, first)) },
      sentence: fallsInWords('brightest', metered.brightest, brightest.tv, 1, first, room),
    },
    room: { above: toEv(room.above), below: toEv(room.below), sentence },
  };
  const offsets = placement.tvs.map((tv) => minusSixths(base.tv, tv));
  return { ...asked, offsets, base: base.label, readings };
}

/**
 * A base has to be a setting of the body. It is the middle frame (of an even number the darker of two, as
 * everywhere); otherwise the nearest setting on the step, otherwise any setting.
 */
export function baseOf({ tvs, step }: Placement, limits: BodyLimits): ShutterSetting | undefined {
  const middle = tvs[Math.floor((tvs.length - 1) / 2)];
  if (middle === undefined) return undefined;
  const labelled = labelledShutters(limits);
  // A base is told by its label, which may be that of a neighbour as well: 10 s in halves and in thirds.
  const standing = labelled.filter(
    (setting) =>
      setting.settable &&
      setting.seconds <= limits.longestSeconds &&
      nearestSetting(setting.nominalSeconds, labelled) === setting,
  );
  const isOff = ({ tv }: ShutterSetting) => (Math.abs(tv - middle) % step === 0 ? 0 : 1);
  const [base] = standing.sort(
    (a, b) => isOff(a) - isOff(b) || Math.abs(a.tv - middle) - Math.abs(b.tv - middle),
  );
  return base;
}
