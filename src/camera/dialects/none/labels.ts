// Shutter labels of bodies that use PTP's own exposure time (ISO 15740, property 0x500D, in units of 0.1 ms): libgphoto2
// writes them with four decimals, `0.0100s`, so that fast speeds lie closer together than their labels tell.
import {
  bodySetting,
  nearestSetting,
  parseShutter,
  SHUTTER_SCALES,
  type ShutterSetting,
} from '../../../exposure/index.js';

const STANDARD = /^\d+\.\d{4}s$/;

/** Half of the last decimal. */
const ROUNDING_SECONDS = 0.000_05;
/** A label that may be wrong by more than this many EV is not told from its neighbour a third of a stop away. */
const MOST_DOUBT_EV = 0.1;

export const isStandardLabel = (label: string): boolean => STANDARD.test(label);

/** @returns the settings that the labels stand for, longest first; labels too coarse to be told apart are left out */
export function standardShutterSettings(labels: readonly string[]): ShutterSetting[] {
  const scales = [...SHUTTER_SCALES.third, ...SHUTTER_SCALES.half];
  const seen = new Map<number, ShutterSetting | null>();
  for (const label of labels) {
    const time = parseShutter(label);
    if (time?.kind !== 'time' || Math.log2(1 + ROUNDING_SECONDS / time.seconds) > MOST_DOUBT_EV) continue;
    const meant = nearestSetting(time.seconds, scales);
    if (meant === undefined) continue;
    // Two labels for one setting: neither can be trusted.
    seen.set(meant.tv, seen.has(meant.tv) ? null : (bodySetting(meant.tv, label) ?? null));
  }
  return [...seen.values()].filter((setting) => setting !== null).sort((a, b) => a.tv - b.tv);
}
