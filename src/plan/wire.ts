// A plan as it crosses the wire: EV as plain numbers, times in exact seconds.
import { EvenrungError } from '../../shared/errors.js';
import type { WirePlan } from '../../shared/plan.js';
import {
  type BodyLimits,
  fromEv,
  minusSixths,
  NO_EV,
  type ShutterSetting,
  type Sixths,
  timeAt,
  toEv,
} from '../exposure/index.js';
import type { Pass, Plan, PlanRequest } from './types.js';

export function toWirePlan(plan: Plan): WirePlan {
  return {
    base: { shutter: plan.base.label, exposureTime: plan.base.seconds },
    offsets: plan.offsets.map(toEv),
    ...(plan.readings === undefined ? {} : { readings: plan.readings }),
    release: plan.release,
    passes: plan.passes.map((pass) => ({
      centre: toEv(pass.centre),
      step: toEv(pass.shape?.step ?? NO_EV),
      offsets: pass.frames
        .map((frame) => frame.offset)
        .sort((a, b) => a - b)
        .map(toEv),
      frames: pass.frames.map(({ offset, wanted, shutter }) => ({
        offset: toEv(offset),
        exposureTime: shutter.seconds,
        shutter: shutter.label,
        wanted,
      })),
      ...(pass.shape?.isOneRelease === true ? { oneRelease: true as const } : {}),
    })),
    estimate: { ...plan.estimate, passSeconds: [...plan.estimate.passSeconds] },
    warnings: [...plan.warnings],
    provenLeast: plan.provenLeast,
    gapSeconds: plan.gapSeconds,
  };
}

/**
 * The way back, for a set that is resumed: the plan of that time is fired, whatever would be planned today.
 * @param asked the request that the plan was made for
 * @param limits of the body that has to carry it out
 * @throws EvenrungError base-not-offered if this body, as it is set up now, does not have all of its
 *   shutter times; in aperture priority the body chooses them itself
 */
export function fromWirePlan(
  wire: WirePlan,
  asked: Omit<PlanRequest, 'base' | 'offsets' | 'release'>,
  limits: BodyLimits,
): Plan {
  const settingOf = (seconds: number, label: string): ShutterSetting =>
    asked.mode === 'aperture' ? timeAt(fromEv(-Math.log2(seconds))) : settingFor(seconds, label, limits);
  const base = settingOf(wire.base.exposureTime, wire.base.shutter);
  return {
    ...asked,
    offsets: wire.offsets.map(fromEv),
    readings: wire.readings,
    release: wire.release,
    base,
    passes: wire.passes.map((pass): Pass => {
      const centre = fromEv(pass.centre);
      const step = fromEv(pass.step);
      const centreTv = minusSixths(base.tv, centre);
      return {
        centre,
        centreShutter: asked.mode === 'aperture' ? timeAt(centreTv) : (byTv(centreTv, limits) ?? base),
        shape:
          step === 0
            ? null
            : {
                step,
                pattern: pass.frames.map(({ offset }) => (fromEv(offset) - centre) / step),
                ...(pass.oneRelease === true ? { isOneRelease: true } : {}),
              },
        frames: pass.frames.map(({ offset, exposureTime, shutter, wanted }) => ({
          offset: fromEv(offset),
          wanted,
          shutter: settingOf(exposureTime, shutter),
        })),
      };
    }),
    estimate: wire.estimate,
    warnings: wire.warnings,
    provenLeast: wire.provenLeast,
    gapSeconds: wire.gapSeconds,
  };
}

const byTv = (tv: Sixths, { shutters }: BodyLimits): ShutterSetting | undefined =>
  shutters.find((setting) => setting.tv === tv);

function settingFor(seconds: number, label: string, { shutters }: BodyLimits): ShutterSetting {
  const found = shutters.find((setting) => Math.abs(setting.seconds / seconds - 1) < SAME_TIME);
  if (found !== undefined) return found;
  throw new EvenrungError(
    'base-not-offered',
    `The camera no longer offers ${label} s, which the set was planned with. Turn its mode dial back, then look for the camera again.`,
    { field: 'base' },
  );
}

/** Exact seconds went through JSON, and settings are a sixth of an EV apart at least. */
const SAME_TIME = 1e-6;
