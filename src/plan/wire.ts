// A plan as it crosses the wire: EV as plain numbers, times in exact seconds.
import type { WirePlan } from '../../shared/plan.js';
import { toEv } from '../exposure/index.js';
import type { Plan } from './types.js';

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
      frames: pass.frames.map(({ offset, wanted, shutter }) => ({
        offset: toEv(offset),
        exposureTime: shutter.seconds,
        shutter: shutter.label,
        wanted,
      })),
    })),
    estimate: { ...plan.estimate, passSeconds: [...plan.estimate.passSeconds] },
    warnings: [...plan.warnings],
    provenLeast: plan.provenLeast,
    gapSeconds: plan.gapSeconds,
  };
}
