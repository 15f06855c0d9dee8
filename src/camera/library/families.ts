// The family of bodies that the library talks to, recognised by what it offers: families differ in how the
// library fires, waits and remembers.
import type { Setting } from '../link.js';

/** By PTP vendor extension; `other` is plain PTP and whatever else the library knows. */
export type Family = '0x0b' | '0x0a' | '0x11' | 'other';

/** Only vendor extension 0x11 has brackets as entries of the drive. */
const BY_DRIVE = /^(?:Bracketing [CS]|Single Bracket|Continuous Bracket) /i;

/**
 * No body has this time: if it is offered, the library lists every time that it knows, for a body that lists
 * none.
 */
const OFFERED_TO_ALL = '1/32000';

export function familyOf(settings: ReadonlyMap<string, Setting>): Family {
  if (settings.has('autoexposuremode')) return '0x0b';
  if (settings.has('aebracketingstep')) return '0x0a';
  if (settings.get('capturemode')?.choices?.some((label) => BY_DRIVE.test(label)) === true) return '0x11';
  return 'other';
}

/** @returns whether it is a body of 0x11 that is moved from setting to setting, instead of taking values */
export const isMoved = (settings: ReadonlyMap<string, Setting>): boolean =>
  familyOf(settings) === '0x11' && settings.get('shutterspeed')?.choices?.includes(OFFERED_TO_ALL) === true;

/**
 * @returns whether the library moves the capture target into the body's memory when it connects, and onto the card when it lets go, whatever
 *   was there before (what prepares capture, and what ends it, in camlibs/ptp2/config.c of libgphoto2 2.5.30)
 */
export const movesTarget = (family: Family): boolean => family === '0x0b';
