// Dialect D: no auto-bracket that can be reached. The shutter is set for every frame.
import { shutterSettings } from '../amount/labels.js';
import type { Dialect } from '../dialect.js';
import { choicesOf, SHUTTER } from '../names.js';
import { isStandardLabel, standardShutterSettings } from './labels.js';

export const none: Dialect = {
  name: 'none',

  recognise: (settings) => choicesOf(settings, SHUTTER).length > 0,

  limits(settings, link) {
    const labels = choicesOf(settings, SHUTTER);
    // A body of dialect A whose bracket is out of reach still writes its shutter labels in A's way.
    const shutters = labels.some(isStandardLabel) ? standardShutterSettings(labels) : shutterSettings(labels);
    return {
      shutters,
      brackets: [],
      compensation: { range: 0, grid: 2 },
      longestSeconds: link.longestSeconds,
      secondsPerChange: link.secondsPerChange,
      secondsPerSetting: link.secondsPerSetting,
      secondsPerFrame: link.secondsPerFrame,
    };
  },

  async setBracket() {
    // There is none to set.
  },

  async setCentre(link, centre) {
    await link.changeSetting(SHUTTER, centre.wire);
  },
};
