// Rules on what a release does: one frame at a time, at once, sharp, and the exposure that the run asks for.

import { firstFunction } from './custom-functions.js';
import { firstOf, isOn, numberOf, type Told, toldOf } from './labels.js';
import {
  askPerson,
  attention,
  type Finding,
  type Found,
  fine,
  gravest,
  type ReadinessQuestion,
  type Rule,
  stops,
  who,
} from './question.js';

/** 0x0B; PTP's own. */
const DRIVE_NAMES = ['drivemode', 'capturemode'];
/** One release, one frame; the last three are quieter. */
const ONE_FRAME: ReadonlySet<string> = new Set([
  'single',
  'single frame',
  'single shot',
  'single silent',
  'single: silent shooting',
  'quiet release',
]);
const SINGLE = /^single(?: frame| shot)?$/;
const MIRROR_UP = /^(?:mup )?mirror up$/;

/** @param label of a drive @returns whether one release makes one frame there, loud or quiet */
export const firesOneFrame = (label: string): boolean => ONE_FRAME.has(label.trim().toLowerCase());

const offersSingle = (told: Told): boolean => told.offers((label) => SINGLE.test(label));

function drive(question: ReadinessQuestion): Finding {
  const body = who(question);
  const told = firstOf(question.settings, DRIVE_NAMES);
  if (told !== undefined && ONE_FRAME.has(told.label))
    return fine('The drive is on single: one frame a release.');
  if (told !== undefined && offersSingle(told)) {
    return fine(
      told.readable
        ? `The drive is at ${told.shown}; Evenrung sets it to single for the set.`
        : 'Evenrung sets the drive to single for the set.',
    );
  }
  if (told?.readable === true) {
    return stops(
      `${body}'s drive is at ${told.shown}, which does not take one frame a release, and it cannot be changed over the cable. Set it to single on the camera, then fire again.`,
    );
  }
  return askPerson(
    `${body} does not report its drive: make sure that it is on single, one frame a release.`,
    'The drive is on single, as ticked.',
  );
}

function selfTimer(question: ReadinessQuestion): Found | null {
  const told = firstOf(question.settings, ['selftimer']);
  if (told === undefined || !told.readable || told.label === 'not used') return null;
  return attention(`The self-timer is on, and every frame waits for it (${told.shown}). Turn it off.`);
}

const lookAtDrive = (question: ReadinessQuestion): Finding | null =>
  gravest([drive(question), selfTimer(question)]);

const BRACKET_IS_OFF = 'The auto-bracket is off; Evenrung sets it for the set.';

/** Dialects A and B: one setting has a choice for off. In another dialect the run leaves it alone. */
function bracketSwitch(
  question: ReadinessQuestion,
  dialect: ReadinessQuestion['dialect'],
  name: string,
): Found | null {
  const told = firstOf(question.settings, [name]);
  if (told === undefined) return null;
  const isOff = (label: string) => label === 'off';
  if (isOff(told.label)) return fine(BRACKET_IS_OFF);
  if (question.dialect === dialect && told.offers(isOff)) {
    return fine(
      told.readable
        ? `The auto-bracket is at ${told.shown}; Evenrung sets it for the set.`
        : 'Evenrung sets the auto-bracket for the set.',
    );
  }
  return attention(
    `${who(question)}'s auto-bracket is at ${told.shown}, and Evenrung cannot turn it off: single frames would come out bracketed. Turn it off on the camera.`,
  );
}

/** What the bracket changes in addition to the exposure. */
function bracketOfExposure(question: ReadinessQuestion): Found | null {
  const told = firstOf(question.settings, ['bracketset']);
  if (told === undefined || question.dialect !== 'pattern') return null;
  const isExposure = (label: string) => label === 'ae only';
  if (isExposure(told.label)) return fine(BRACKET_IS_OFF);
  if (told.offers(isExposure)) {
    return fine(`The bracket moves ${told.shown}; Evenrung sets it to the exposure only for the set.`);
  }
  return attention(
    `${who(question)}'s bracket moves ${told.shown}, not the exposure only, and that cannot be changed over the cable. Choose exposure only in the camera's menu.`,
  );
}

/** 0x0B names other brackets here; 0x0A has another setting of that name, whose labels are none of these. */
function otherBracket(question: ReadinessQuestion): Found | null {
  const told = firstOf(question.settings, ['bracketmode']);
  if (told === undefined || !/^(?:iso|wb|fe) bracket$/.test(told.label)) return null;
  return attention(
    `${who(question)} has another bracket on (${told.shown}), so one release may make several files. Turn it off on the camera.`,
  );
}

function bracketEntry({ dialect }: ReadinessQuestion): Found | null {
  if (dialect !== 'drive-entry') return null;
  return fine('The auto-bracket is part of the drive; Evenrung sets it for the set.');
}

const lookAtBracket = (question: ReadinessQuestion): Finding | null =>
  gravest([
    bracketSwitch(question, 'amount', 'aeb'),
    bracketSwitch(question, 'pattern', 'bracketing'),
    bracketOfExposure(question),
    otherBracket(question),
    bracketEntry(question),
  ]);

/**
 * 0x0A shows the menu under a name that stands for something else under 0x0B. It cannot be written: the
 * library finds another setting by its label.
 */
const BRACKET_MENU_NAME = 'bracketmode';
/** If there is no flash, a bracket of flash changes nothing. */
const MOVES_SHUTTER = 'flash/speed';
const MOVES_OTHERS: ReadonlySet<string> = new Set(['flash/speed/aperture', 'flash/aperture', 'flash only']);

function lookAtBracketMenu(question: ReadinessQuestion): Finding | null {
  if (question.dialect !== 'pattern' || question.mode !== 'manual') return null;
  const told = firstOf(question.settings, [BRACKET_MENU_NAME]);
  if (told?.label === MOVES_SHUTTER) return fine('In manual mode the bracket moves the shutter only.');
  if (told !== undefined && MOVES_OTHERS.has(told.label)) {
    return stops(
      `In manual mode ${who(question).replace('The', 'the')}'s bracket moves ${told.shown}, not the shutter only. In its menu, let the bracket in manual mode move flash and speed, then fire again.`,
    );
  }
  return askPerson(
    'A menu of the camera sets what the bracket moves in manual mode: it must be the shutter only (often called flash and speed), not the aperture.',
    'In manual mode the bracket moves the shutter only, as ticked.',
  );
}

/** PTP and 0x0B; then 0x0A; the last two are those of few bodies. */
const FOCUS_NAMES = ['focusmode', 'focusmode2', 'afdistance', 'afmode'];
const MANUAL_FOCUS = /^(?:manual|mf(?: \((?:fixed|selection)\))?)$/;

function lookAtFocus(question: ReadinessQuestion): Finding {
  const body = who(question);
  const readable = toldOf(question.settings, FOCUS_NAMES).filter((told) => told.readable);
  if (readable.some(({ label }) => MANUAL_FOCUS.test(label))) return fine('Focus is manual.');
  const [told] = readable;
  if (told === undefined) {
    return askPerson(
      `${body} does not report its focus mode: set lens and camera to manual focus, and focus by hand.`,
      'Focus is manual, as ticked.',
    );
  }
  const cost = question.dialect === 'amount' ? ' Each frame may take up to 2 s longer, too.' : '';
  return attention(
    `Focus is on ${told.shown}: it may move between frames, and in the dark the shutter may not fire.${cost} Focus once, then set lens and camera to manual focus.`,
  );
}

/** The custom function of 0x0B for it. */
const MIRROR_FUNCTION = 0x60f;

function mirrorLock(question: ReadinessQuestion): boolean | undefined {
  const custom = firstFunction(question.settings.get('customfuncex')?.value ?? '', MIRROR_FUNCTION);
  return isOn(question.settings, 'mirrorlock') ?? (custom === undefined ? undefined : custom !== 0);
}

function lookAtMirror(question: ReadinessQuestion): Finding | null {
  const { settings } = question;
  const drives = firstOf(settings, DRIVE_NAMES);
  const byDrive = drives !== undefined && MIRROR_UP.test(drives.label);
  const locked = mirrorLock(question);
  if (locked === true || (byDrive && !offersSingle(drives))) {
    return stops(
      `${who(question)}'s mirror lock-up is on: the first release only raises the mirror, and brings no file. Turn it off${byDrive ? ' by setting the drive to single' : ''}, then fire again.`,
    );
  }
  if (isOn(settings, 'mirrorupstatus') === true) {
    return attention(
      'The mirror is up, and a release may only bring it down. Wait until it is down before you fire.',
    );
  }
  const delay = numberOf(settings, 'capturedelay', 's') ?? 0;
  if (delay > 0) return fine(`Each frame waits ${delay} s between press and exposure, as set on the camera.`);
  if (isOn(settings, 'exposuredelaymode') === true) {
    return fine(
      'Exposure delay is on: each frame waits a second or so after the mirror goes up. The planned time does not count that.',
    );
  }
  if (byDrive) return fine('Evenrung turns mirror lock-up off by setting the drive to single for the set.');
  return locked === false ? fine('Mirror lock-up is off.') : null;
}

/** 0x0B merges four exposures under this label. */
const MULTI_SHOT = 'multi-shot';

function lookAtNoiseReduction(question: ReadinessQuestion): Finding | null {
  const { settings } = question;
  const high = firstOf(settings, ['highisonr']);
  if (high?.label === MULTI_SHOT) {
    return stops(
      `${who(question)}'s noise reduction (${high.shown}) merges several exposures into each frame. Choose another one, then fire again.`,
    );
  }
  const long = firstOf(settings, ['longexpnr']);
  if (long === undefined) return null;
  if (isOn(settings, 'longexpnr') === false) return fine('Long-exposure noise reduction is off.');
  return attention(
    `Long-exposure noise reduction is at ${long.shown}: it doubles exposures of about a second and longer, and their files may come too late. Turn it off.`,
  );
}

export const DRIVE: Rule = { code: 'drive', look: lookAtDrive };
export const BRACKET: Rule = { code: 'bracket', look: lookAtBracket };
export const BRACKET_MENU: Rule = { code: 'bracket-menu', look: lookAtBracketMenu };
export const FOCUS: Rule = { code: 'focus', look: lookAtFocus };
export const MIRROR: Rule = { code: 'mirror', look: lookAtMirror };
export const NOISE_REDUCTION: Rule = { code: 'noise-reduction', look: lookAtNoiseReduction };
