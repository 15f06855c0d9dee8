// The exposure of the first test frame. Pure.
import { EvenrungError } from '../../shared/errors.js';
import type { SoundRequest } from '../../shared/sounding.js';
import type { Body } from '../camera/index.js';
import {
  type BodyLimits,
  labelledShutters,
  nearestOf,
  type ShutterSetting,
  timeAt,
} from '../exposure/index.js';
import { resolveBase } from '../plan/index.js';

/** Taken if the camera does not tell its shutter time. */
const USUAL_SECONDS = 1 / 60;

/**
 * @returns the setting that was asked for, or the camera's present one; in aperture priority any will do
 * @throws EvenrungError base-not-offered: its sentence names the nearest; body-not-ready if the shutter
 *   cannot be set over the cable
 */
export function startOf({ from, mode }: SoundRequest, body: Body, limits: BodyLimits): ShutterSetting {
  const { shutterTv } = body.standing();
  if (mode === 'aperture') {
    const counted = shutterTv ?? nearestOf(USUAL_SECONDS, labelledShutters(limits))?.tv;
    if (counted !== undefined) return timeAt(counted);
    throw noShutter();
  }
  const settable = labelledShutters(limits).filter(
    (setting) => setting.settable && setting.seconds <= limits.longestSeconds,
  );
  const asked = from === null ? undefined : resolveBase(from, { ...limits, shutters: settable });
  const standing = settable.find(({ tv }) => tv === shutterTv);
  const found = asked ?? standing ?? nearestOf(USUAL_SECONDS, settable);
  if (found === undefined) throw noShutter();
  return found;
}

const noShutter = () =>
  new EvenrungError(
    'body-not-ready',
    "The camera's shutter cannot be set: turn its mode dial to M (manual), then look for the camera again. Or choose aperture priority.",
  );
