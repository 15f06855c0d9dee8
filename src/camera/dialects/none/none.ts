// Dialect D: no auto-bracket that can be reached. The shutter is set for every frame.
import { choicesOf, commonLimits, SHUTTER, setCentreBy } from '../common.js';
import type { Dialect } from '../dialect.js';
import { endsOpen } from '../shutters.js';
import { anyShutters } from './labels.js';

export const none: Dialect = {
  name: 'none',
  tellsCounts: true,

  recognise: (settings) => choicesOf(settings, SHUTTER).length > 0,

  limits: (settings, link) => {
    const choices = choicesOf(settings, SHUTTER);
    // A body whose bracket is out of reach still writes its labels in its family's way.
    const shutters = anyShutters(choices);
    return { ...commonLimits(settings, link), shutters, ...endsOpen(choices, shutters), brackets: [] };
  },

  async setBracket() {
    // There is no bracket to set.
  },

  setCentre: (link, centre, settings) => setCentreBy(link, centre, settings),
};
