// Dialect A: one setting gives the amount of the auto-bracket (`aeb`: off, +/- 1/3 ... +/- 3); the body fires its frames
// around the shutter that is set. How many frames, and in which order, is not on the wire.
import { choicesOf, commonLimits, SHUTTER, setCentreBy } from '../common.js';
import type { Dialect } from '../dialect.js';
import { BRACKET_OFF, bracketLabel, bracketStep, shutterSettings } from './labels.js';

const BRACKET = 'aeb';

/** The commonest: three frames, the metered one first (common practice, no source). */
const USUAL_PATTERNS = [[0, -1, 1]];

export const amount: Dialect = {
  name: 'amount',
  tellsCounts: false,

  recognise: (settings) => choicesOf(settings, BRACKET).some((label) => bracketStep(label) !== undefined),

  limits(settings, link) {
    const steps = choicesOf(settings, BRACKET).flatMap((label) => bracketStep(label) ?? []);
    return {
      ...commonLimits(settings, link),
      shutters: shutterSettings(choicesOf(settings, SHUTTER)),
      brackets: steps.flatMap((step) => USUAL_PATTERNS.map((pattern) => ({ step, pattern }))),
    };
  },

  async setBracket(link, shape) {
    await link.changeSetting(BRACKET, shape === null ? BRACKET_OFF : bracketLabel(shape.step));
  },

  setCentre: (link, centre, settings) => setCentreBy(link, centre, settings),
};
