// Dialect D: no auto-bracket that can be reached. The shutter is set for every frame.
import type { Settings } from '../../link.js';
import { shutterSettings } from '../amount/labels.js';
import { choicesOf, commonLimits, SHUTTER, setCentreBy } from '../common.js';
import type { Dialect } from '../dialect.js';
import { driveEntryShutters } from '../drive-entry/labels.js';
import { isStandardLabel, standardShutterSettings } from './labels.js';

/** A body whose bracket is out of reach still writes its shutter labels in its family's way. */
function shuttersOf(settings: Settings) {
  const labels = choicesOf(settings, SHUTTER);
  if (labels.some(isStandardLabel)) return standardShutterSettings(labels);
  // Tenths as fractions are written under vendor extension 0x11 only.
  return labels.some((label) => /^\d+\/10$/.test(label) && label !== '1/10')
    ? driveEntryShutters(labels)
    : shutterSettings(labels);
}

export const none: Dialect = {
  name: 'none',
  tellsCounts: true,

  recognise: (settings) => choicesOf(settings, SHUTTER).length > 0,

  limits: (settings, link) => ({
    ...commonLimits(settings, link),
    shutters: shuttersOf(settings),
    brackets: [],
  }),

  async setBracket() {
    // There is none to set.
  },

  setCentre: (link, centre, settings) => setCentreBy(link, centre, settings),
};
