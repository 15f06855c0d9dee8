// Whether a body is ready for a run: every rule looks at the settings, and says what the photographer has to
// know. Names, labels and kinds of settings were read off libgphoto2 2.5.30 (camlibs/ptp2/config.c). It
// changes nothing and reads nothing itself.
import type { ReadinessItem } from '../../shared/readiness.js';
import { HAND_TICKS } from './readiness/by-hand.js';
import { CLOCK } from './readiness/clock.js';
import { FIXED_ISO, FLASH, MODE, TONE, WHITE_BALANCE } from './readiness/exposure.js';
import { FORMAT, ROOM, TARGET } from './readiness/files.js';
import { BATTERY, POWER_OFF } from './readiness/power.js';
import type { ReadinessQuestion, Rule } from './readiness/question.js';
import { BRACKET, BRACKET_MENU, DRIVE, FOCUS, MIRROR, NOISE_REDUCTION } from './readiness/release.js';

export { type ClockSetting, clockCorrection, clockDifference, clockSetting } from './readiness/clock.js';
export type { ReadinessQuestion } from './readiness/question.js';
export { firesOneFrame } from './readiness/release.js';

/** In the order in which a person goes through them. */
const RULES: readonly Rule[] = [
  MODE,
  DRIVE,
  BRACKET,
  FOCUS,
  FORMAT,
  FIXED_ISO,
  WHITE_BALANCE,
  TARGET,
  ROOM,
  BATTERY,
  CLOCK,
  FLASH,
  TONE,
  MIRROR,
  NOISE_REDUCTION,
  POWER_OFF,
  ...HAND_TICKS,
  BRACKET_MENU,
];

/** @returns one item for each rule that has something to say of this body, always in the same order; never throws */
export function readiness(question: ReadinessQuestion): ReadinessItem[] {
  return RULES.flatMap(({ code, look }): ReadinessItem[] => {
    const finding = look(question);
    if (finding === null) return [];
    if (finding.mark !== 'by-hand') {
      const { mark, message, remedy = null } = finding;
      return [{ code, mark, message, remedy, ticked: null }];
    }
    const ticked = question.ticked.has(code);
    const message = ticked ? finding.done : finding.message;
    return [{ code, mark: ticked ? 'fine' : 'attention', message, remedy: null, ticked }];
  });
}
