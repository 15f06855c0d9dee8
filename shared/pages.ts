// Where the notes say more about each error: one page and one section for every code of the catalogue. The panel takes this in
// as well, so it must need nothing.
import type { ErrorCode } from './error-codes.js';

export interface PageSection {
  /** Path of a Markdown file, from the top of the project. */
  readonly page: string;
  /** The words of the heading. */
  readonly section: string;
}

const stops = (section: string): PageSection => ({ page: 'hardware-notes/when-it-stops.md', section });

const NOT_OFFERED = stops('The camera does not offer a setting');
const STRANGER = stops('Evenrung does not let the request in');
const MAY_NOT = stops('This device may not do that');
const PAIRING = stops('The pairing code is not valid');
const UNREADABLE_MESSAGE = stops('A message is not understood');

export const PAGES: Readonly<Record<ErrorCode, PageSection>> = {
  'malformed-request': stops('The request is not understood'),
  'unreadable-ev': stops('The EV value is not understood'),
  'unreadable-shutter': stops('The shutter time is not understood'),
  'unreadable-reading': stops('The reading is not understood'),
  'frames-out-of-range': stops('Too many frames, or none'),
  'step-out-of-range': stops('The step is too small or too large'),
  'range-reversed': stops('The span runs the wrong way round'),
  'span-not-whole-steps': stops('The span is not a whole number of steps'),
  'limits-contradict': stops('No camera has such limits'),
  'unreadable-schedule': stops('The schedule is not understood'),
  'schedule-past': stops('The schedule lies in the past'),
  'schedule-impossible': stops('The schedule cannot be kept'),
  'base-not-offered': stops('The base exposure is not among the shutter times'),
  'step-not-offered': stops('The camera has no such step'),
  'outside-shutter-range': stops('The set runs past the shutter times'),
  'outside-compensation-range': stops('Compensation does not reach so far'),
  'not-settable': stops('One of the times cannot be set'),
  'longer-than-link': stops('Longer than the cable allows'),
  'one-release-not-offered': stops('The camera does not fire a pass from one release'),
  'readings-unusable': stops('The readings do not give a set'),
  'light-not-judged': stops('Evenrung does not judge the pictures'),
  'mode-not-supported': stops('Aperture priority, and the files tell too little'),
  'unknown-body': stops('There is no such camera'),
  'folder-not-writable': stops('The folder cannot take sets'),
  'template-unusable': stops('The name template cannot be used'),
  'alarm-unusable': stops('The alarm cannot be used'),
  'state-not-writable': stops('Evenrung cannot keep what it has to remember'),
  'config-unreadable': stops('The config file is not understood'),
  'port-in-use': stops('The port is in use'),
  'foreign-host': STRANGER,
  'foreign-origin': STRANGER,
  'not-paired': stops('This device is not paired'),
  'watch-only': MAY_NOT,
  'only-here': MAY_NOT,
  'pairing-refused': PAIRING,
  'too-many-tries': PAIRING,
  'too-many-requests': stops('Too many requests at once'),
  'no-network-door': stops('No phone can be paired'),
  'no-such-device': stops('There is no such device'),
  'certificate-differs': stops('The laptop shows another certificate'),
  'no-daemon': stops('Evenrung does not answer'),
  'too-large': UNREADABLE_MESSAGE,
  'not-found': stops('There is nothing at this address'),
  'malformed-message': UNREADABLE_MESSAGE,
  'run-under-way': stops('A set is already being shot'),
  'nothing-to-stop': stops('There is nothing to stop'),
  'nothing-to-hold': stops('There is nothing to pause'),
  'key-used-otherwise': stops('A press is mistaken for another'),
  'daemon-unreachable': stops('Evenrung cannot be reached'),
  'nothing-to-complete': stops('There is nothing to complete'),
  ending: stops('Evenrung is ending'),
  'run-unfinished': stops('A set was interrupted'),
  'nothing-unfinished': stops('A set was interrupted'),
  'already-owned': stops('Evenrung is already running here'),
  'no-such-set': stops('There is no such set'),
  'no-body': stops('No camera was found'),
  'several-bodies': stops('Several cameras are attached'),
  'usb-not-available': stops('Cameras cannot be reached over USB'),
  'mirror-locked': stops('Every other release brings no frame'),
  'not-learnt': stops('Learning found nothing'),
  'not-sounded': stops('A sounding found nothing'),
  'sun-in-frame': stops('The sun may be in the frame'),
  'body-not-ready': stops('The camera is not ready'),
  'body-lost': stops('The camera does not answer'),
  'body-busy': stops('The camera is held or busy'),
  'call-timed-out': stops('The camera takes too long'),
  'unknown-setting': NOT_OFFERED,
  'choice-not-offered': NOT_OFFERED,
  'setting-not-taken': stops('The camera does not take a setting'),
  'frame-missing': stops('No frame comes back'),
  'file-not-there': stops('No frame comes back'),
  'frame-unreadable': stops('A file cannot be read'),
  'frame-wrong': stops('A frame comes back wrong'),
  'not-put-back': stops('Settings could not be put back'),
  'storing-failed': stops('Nothing can be stored'),
  'set-folder-gone': stops('The set folder is gone'),
  'record-unreadable': stops('The record of a set cannot be read'),
  'set-damaged': stops('A set differs from its record'),
  internal: stops('Something went wrong inside Evenrung'),
};

/** @returns the name that a heading has within its page, as code hosts make it from its words */
export function anchorOf(heading: string): string {
  return heading
    .trim()
    .toLowerCase()
    .replace(/[^\p{L}\p{M}\p{N}\p{Pc} -]/gu, '')
    .replaceAll(' ', '-');
}

/** @returns `hardware-notes/when-it-stops.md#nothing-can-be-stored` */
export function pageAddress(code: ErrorCode): string {
  const { page, section } = PAGES[code];
  return `${page}#${anchorOf(section)}`;
}

/** @returns `hardware-notes/when-it-stops.md, "Nothing can be stored"` */
export function pageWords(code: ErrorCode): string {
  const { page, section } = PAGES[code];
  return `${page}, "${section}"`;
}
