// Shutter labels of bodies whose auto-bracket is out of reach. They may come from any vendor: PTP's own exposure time
// (`0.0100s`), where fast speeds lie closer together than their labels tell, or times as they are spoken (`1/125`, `1.3s`).
import type { ShutterSetting } from '../../../exposure/index.js';
import { shutterSettings } from '../amount/labels.js';
import { isStandardLabel, standardShutters, writtenShutters } from '../shutters.js';

export { isStandardLabel, standardShutters as standardShutterSettings } from '../shutters.js';

/** No other vendor writes these. */
const OF_DIALECT_A = ['20.3', '10.3', '6.3'];

/** @returns the settings that the labels stand for, longest first, in any of the known spellings */
export function anyShutters(labels: readonly string[]): ShutterSetting[] {
  if (labels.some(isStandardLabel)) return standardShutters(labels);
  return labels.some((label) => OF_DIALECT_A.includes(label))
    ? shutterSettings(labels)
    : writtenShutters(labels);
}
