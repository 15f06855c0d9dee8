// Dialect A: one setting gives the amount of the auto-bracket (`aeb`: off, +/- 1/3 ... +/- 3); the body fires its frames
// around the shutter that is set. How many frames, and in which order, is not on the wire.

import type { Button, Settings } from '../../link.js';
import { bulbOf } from '../bulb.js';
import { choicesOf, commonLimits, labelFor, SHUTTER, setCentreBy } from '../common.js';
import type { Dialect } from '../dialect.js';
import { BRACKET_OFF, bracketLabel, bracketStep, shutterSettings } from './labels.js';

const BRACKET = 'aeb';
const DRIVE = 'drivemode';
const BUTTON = 'eosremoterelease';

/** The quickest first. Silent ones are others: not every body brackets in them. */
const CONTINUOUS = ['Continuous high speed', 'Continuous', 'Continuous low speed'];

/**
 * The button over the wire, pressed without focusing. Its labels changed between libgphoto2 2.5.30 and
 * 2.5.34, and in the latter `Release Full` releases only half of it: the labels that are offered decide,
 * never the version (camlibs/ptp2/config.c of both).
 */
const BUTTONS = [
  { down: 'Immediate', up: 'Release Full' },
  { down: 'Press Full MF', up: 'Release' },
];

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

  async setBracket(link, shape, settings) {
    if (shape?.isOneRelease === true)
      await link.changeSetting(
        DRIVE,
        labelFor(settings, DRIVE, (label) => label === continuous(settings)),
      );
    await link.changeSetting(BRACKET, shape === null ? BRACKET_OFF : bracketLabel(shape.step));
  },

  setCentre: (link, centre, settings) => setCentreBy(link, centre, settings),

  bulb: (settings) => bulbOf(settings, SHUTTER),

  // The body goes on while the button is held, and stops by itself at the end of its bracket.
  oneRelease: {
    fires: (settings) => continuous(settings) !== undefined && buttonOf(settings) !== null,
    button: buttonOf,
  },
};

function continuous(settings: Settings): string | undefined {
  const choices = choicesOf(settings, DRIVE);
  return CONTINUOUS.find((label) => choices.includes(label));
}

function buttonOf(settings: Settings): Button | null {
  const choices = choicesOf(settings, BUTTON);
  const labels = BUTTONS.find(({ down, up }) => choices.includes(down) && choices.includes(up));
  if (labels === undefined) return null;
  const { down, up } = labels;
  return { down: [{ name: BUTTON, value: down }], up: [{ name: BUTTON, value: up }] };
}
