// Dialect B: the auto-bracket is switched on and off by one setting (`bracketing`), and described by three: the step
// (`aebracketingstep`), the frames (`aebracketingpattern`) and their order (`bracketorder`). What it moves is another one
// (`bracketset`), and, in manual mode, a menu on the body that the wire does not reach.
import type { BracketShape } from '../../../exposure/index.js';
import type { Settings } from '../../link.js';
import { choicesOf, commonLimits, labelFor, SHUTTER, setCentreBy } from '../common.js';
import type { Dialect } from '../dialect.js';
import { inFiringOrder, patternOrder, patternPositions, patternShutters, patternStep } from './labels.js';

const SWITCH = 'bracketing';
const MOVES = 'bracketset';
const STEP = 'aebracketingstep';
const PATTERN = 'aebracketingpattern';
const ORDER = 'bracketorder';

/** Exact fractions, where the body has them. */
const EXACT_SHUTTER = 'shutterspeed2';

const EXPOSURE_ONLY = /^ae only$/i;
const isOn = (label: string): boolean => /^on$/i.test(label);
const isOff = (label: string): boolean => /^off$/i.test(label);

const shutterName = (settings: Settings): string =>
  patternShutters(choicesOf(settings, EXACT_SHUTTER)).length > 0 ? EXACT_SHUTTER : SHUTTER;

function shapesOf(settings: Settings): BracketShape[] {
  const order = patternOrder(settings.get(ORDER)?.value ?? '') ?? 'centre-first';
  const steps = choicesOf(settings, STEP).flatMap((label) => patternStep(label) ?? []);
  const patterns = choicesOf(settings, PATTERN).flatMap((label) => {
    const positions = patternPositions(label);
    return positions === undefined ? [] : [inFiringOrder(positions, order)];
  });
  return steps.flatMap((step) => patterns.map((pattern) => ({ step, pattern })));
}

const sameFrames = (positions: readonly number[] | undefined, pattern: readonly number[]): boolean =>
  positions !== undefined && positions.join() === [...pattern].sort((a, b) => a - b).join();

export const pattern: Dialect = {
  name: 'pattern',
  tellsCounts: true,

  recognise: (settings) => {
    const switches = choicesOf(settings, SWITCH);
    return switches.some(isOn) && switches.some(isOff) && shapesOf(settings).length > 0;
  },

  limits: (settings, link) => ({
    ...commonLimits(settings, link),
    shutters: patternShutters(choicesOf(settings, shutterName(settings))),
    brackets: shapesOf(settings),
  }),

  async setBracket(link, shape, settings) {
    if (shape === null) {
      await link.changeSetting(SWITCH, labelFor(settings, SWITCH, isOff));
      return;
    }
    if (choicesOf(settings, MOVES).some((label) => EXPOSURE_ONLY.test(label))) {
      await link.changeSetting(
        MOVES,
        labelFor(settings, MOVES, (label) => EXPOSURE_ONLY.test(label)),
      );
    }
    const frames = labelFor(settings, PATTERN, (label) => sameFrames(patternPositions(label), shape.pattern));
    await link.changeSetting(PATTERN, frames);
    await link.changeSetting(
      STEP,
      labelFor(settings, STEP, (label) => patternStep(label) === shape.step),
    );
    await link.changeSetting(SWITCH, labelFor(settings, SWITCH, isOn));
  },

  setCentre: (link, centre, settings) => setCentreBy(link, centre, settings, shutterName(settings)),
};
