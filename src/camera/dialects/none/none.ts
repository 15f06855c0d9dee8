// Dialect D: no auto-bracket that can be reached. The shutter is set for every frame.
import { choicesOf, commonLimits, SHUTTER, setCentreBy } from '../common.js';
import type { Dialect } from '../dialect.js';
import { anyShutters } from './labels.js';

export const none: Dialect = {
  name: 'none',
  tellsCounts: true,

  recognise: (settings) => choicesOf(settings, SHUTTER).length > 0,

  limits: (settings, link) => ({
    ...commonLimits(settings, link),
    // A body whose bracket is out of reach still writes its labels in its family's way.
    shutters: anyShutters(choicesOf(settings, SHUTTER)),
    brackets: [],
  }),

  async setBracket() {
    // There is none to set.
  },

  setCentre: (link, centre, settings) => setCentreBy(link, centre, settings),
};
