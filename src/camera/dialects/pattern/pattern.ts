// Dialect B: the auto-bracket is switched on and off by one setting (`bracketing`), and described by three:
// the step (`aebracketingstep`), the frames (`aebracketingpattern`) and their order (`bracketorder`). The
// quantity that it moves is another setting (`bracketset`) and, in manual mode, a menu on the body that the
// wire does not reach.
import type { BracketShape } from '../../../exposure/index.js';
import type { Button, Settings } from '../../link.js';
import { bulbOf } from '../bulb.js';
import { choicesOf, commonLimits, notOfferedAnyMore, SHUTTER, setCentreBy } from '../common.js';
import type { Dialect } from '../dialect.js';
import { endsOpen } from '../shutters.js';
import {
  BRACKETING_OFF,
  BRACKETING_ON,
  EXPOSURE_ONLY,
  inFiringOrder,
  patternOrder,
  patternShapes,
  patternShutters,
  patternSteps,
} from './labels.js';

const SWITCH = 'bracketing';
const MOVES = 'bracketset';
const STEP = 'aebracketingstep';
const PATTERN = 'aebracketingpattern';
const ORDER = 'bracketorder';
const DRIVE = 'capturemode';
const BURST = 'Burst';
/** How many frames one release makes in that drive. One body is reported that refuses it (libgphoto2, issue 121). */
const IN_A_BURST = 'burstnumber';
/**
 * Sends an operation as it is: the release of this extension (0x9207) without focusing, onto the card. The library's own release sends the
 * same, and then keeps everybody waiting until the exposures are over (camlibs/ptp2/library.c of libgphoto2 2.5.30).
 */
const OPERATION = 'opcode';
const RELEASE = '0x9207,0xffffffff,0x0';

/** Exact fractions, if the body has them. */
const EXACT_SHUTTER = 'shutterspeed2';

const shutterName = (settings: Settings): string =>
  patternShutters(choicesOf(settings, EXACT_SHUTTER)).length > 0 ? EXACT_SHUTTER : SHUTTER;

function shapesOf(settings: Settings): BracketShape[] {
  const order = patternOrder(settings.get(ORDER)?.value ?? '') ?? 'centre-first';
  const patterns = patternShapes(choicesOf(settings, PATTERN)).map(({ positions }) =>
    inFiringOrder(positions, order),
  );
  return patternSteps(choicesOf(settings, STEP)).flatMap(({ step }) =>
    patterns.map((pattern) => ({ step, pattern })),
  );
}

const frames = (positions: readonly number[]): string => [...positions].sort((a, b) => a - b).join();

function buttonOf(settings: Settings): Button | null {
  return settings.has(OPERATION) ? { down: [{ name: OPERATION, value: RELEASE }], up: [] } : null;
}

export const pattern: Dialect = {
  name: 'pattern',
  tellsCounts: true,

  recognise: (settings) => {
    const switches = choicesOf(settings, SWITCH);
    return (
      switches.includes(BRACKETING_ON) && switches.includes(BRACKETING_OFF) && shapesOf(settings).length > 0
    );
  },

  limits: (settings, link) => {
    const choices = choicesOf(settings, shutterName(settings));
    const shutters = patternShutters(choices);
    const brackets = shapesOf(settings);
    return { ...commonLimits(settings, link), shutters, ...endsOpen(choices, shutters), brackets };
  },

  async setBracket(link, shape, settings) {
    if (shape === null) {
      await link.changeSetting(SWITCH, BRACKETING_OFF);
      return;
    }
    if (choicesOf(settings, MOVES).includes(EXPOSURE_ONLY)) await link.changeSetting(MOVES, EXPOSURE_ONLY);
    if (shape.isOneRelease === true) {
      await link.changeSetting(DRIVE, BURST);
      await link.changeSetting(IN_A_BURST, String(shape.pattern.length));
    }
    // First: some bodies let the rest be set only while it is on.
    await link.changeSetting(SWITCH, BRACKETING_ON);
    const patterns = patternShapes(choicesOf(settings, PATTERN));
    const steps = patternSteps(choicesOf(settings, STEP));
    await link.changeSetting(
      PATTERN,
      fitting(PATTERN, patterns, ({ positions }) => frames(positions) === frames(shape.pattern)),
    );
    await link.changeSetting(
      STEP,
      fitting(STEP, steps, ({ step }) => step === shape.step),
    );
  },

  // The library sets the shutter to bulb once more, and takes the body over for it.
  bulb: (settings) => bulbOf(settings, shutterName(settings)),

  oneRelease: {
    fires: (settings) => choicesOf(settings, DRIVE).includes(BURST) && settings.has(IN_A_BURST),
    button: buttonOf,
  },

  frameButton: buttonOf,

  locked: {
    names: new Set([PATTERN, STEP]),
    unlock: async (link) => void (await link.changeSetting(SWITCH, BRACKETING_ON)),
  },

  setCentre: (link, centre, settings) => setCentreBy(link, centre, settings, shutterName(settings)),
};

/** @throws EvenrungError choice-not-offered */
function fitting<T extends { readonly label: string }>(
  name: string,
  choices: readonly T[],
  fits: (choice: T) => boolean,
): string {
  const choice = choices.find(fits);
  if (choice === undefined) throw notOfferedAnyMore(name);
  return choice.label;
}
