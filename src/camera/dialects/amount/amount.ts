// Dialect A: one setting gives the amount of the auto-bracket (`aeb`: off, +/- 1/3 ... +/- 3); the body fires its frames
// around the shutter that is set. How many frames, and in which order, is not on the wire.
import type { Dialect } from '../dialect.js';
import { COMPENSATION, choicesOf, SHUTTER } from '../names.js';
import { BRACKET_OFF, bracketLabel, bracketStep, compensation, shutterSettings } from './labels.js';

const BRACKET = 'aeb';

/** The commonest: three frames, the metered one first (common practice, no source). */
const USUAL_PATTERNS = [[0, -1, 1]];

export const amount: Dialect = {
  name: 'amount',

  recognise: (settings) => choicesOf(settings, BRACKET).some((label) => bracketStep(label) !== undefined),

  limits(settings, link) {
    const patterns = link.bracketPatterns ?? USUAL_PATTERNS;
    const steps = choicesOf(settings, BRACKET).flatMap((label) => bracketStep(label) ?? []);
    const compensations = choicesOf(settings, COMPENSATION).flatMap((label) => compensation(label) ?? []);
    return {
      shutters: shutterSettings(choicesOf(settings, SHUTTER)),
      brackets: steps.flatMap((step) => patterns.map((pattern) => ({ step, pattern }))),
      compensation: {
        range:
          compensations.length === 0 ? 0 : Math.min(Math.max(...compensations), -Math.min(...compensations)),
        grid: compensations.some((value) => value % 6 === 3) ? 3 : 2,
      },
      longestSeconds: link.longestSeconds,
      secondsPerChange: link.secondsPerChange,
      secondsPerSetting: link.secondsPerSetting,
      secondsPerFrame: link.secondsPerFrame,
    };
  },

  async setBracket(link, shape) {
    await link.changeSetting(BRACKET, shape === null ? BRACKET_OFF : bracketLabel(shape.step));
  },

  async setCentre(link, centre) {
    await link.changeSetting(SHUTTER, centre.wire);
  },
};
