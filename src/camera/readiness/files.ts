// Rules on what becomes of a frame: how many files, kept where, and whether there is room for them.
import type { FileKind } from '../../../shared/reading.js';
import type { Settings } from '../link.js';
import { firstOf, numberOf, toldOf } from './labels.js';
import {
  askPerson,
  attention,
  type Finding,
  fine,
  gravest,
  type ReadinessQuestion,
  type Rule,
  stops,
  who,
} from './question.js';

/** The format of all files: 0x0B and others, PTP's own, and few bodies of 0x0A. */
const FORMAT_NAMES = ['imageformat', 'imagequality', 'imagequality2'];
/** 0x0B: the formats of single cards, if a body has several. */
const CARD_FORMAT_NAMES = ['imageformatcf', 'imageformatsd', 'imageformatexthd'];

/** Every label of two files has it, under all extensions, and no other has. */
const TWO_FILES = '+';

/** The formats as the body tells them: of all its files, and of single cards. */
function formatsIn(settings: Settings) {
  const common = toldOf(settings, FORMAT_NAMES).filter((told) => told.readable && isFormat(told.label));
  const ofCards = toldOf(settings, CARD_FORMAT_NAMES).filter((told) => told.readable);
  const twofold = (common.length > 0 ? common : ofCards).find(({ label }) => label.includes(TWO_FILES));
  return { common, ofCards, twofold };
}

/** @returns whether the body is set to make two files of each frame, as far as it tells */
export const makesTwoFiles = (settings: Settings): boolean => formatsIn(settings).twofold !== undefined;

/** The labels of all extensions call a raw file this. */
const RAW = /raw/i;

/**
 * @returns the kind of files that the frames become; if there are two, raw, since the raw file is merged.
 *   Null if the body does not tell, or if its cards differ
 */
export function filesOf(settings: Settings): FileKind | null {
  const { common, ofCards, twofold } = formatsIn(settings);
  if (twofold !== undefined) return 'raw';
  const told = (common.length > 0 ? common : ofCards).filter(({ label }) => isFormat(label));
  const areRaw = told.map(({ label }) => RAW.test(label));
  if (areRaw.length === 0 || (areRaw.includes(true) && areRaw.includes(false))) return null;
  return areRaw.includes(true) ? 'raw' : 'jpeg';
}

function lookAtFormat(question: ReadinessQuestion): Finding {
  const { settings, pairs } = question;
  const body = who(question);
  const { common, ofCards, twofold } = formatsIn(settings);
  if (pairs) {
    if (twofold !== undefined)
      return fine(`Each frame is two files, and both come to this computer (${twofold.shown}).`);
    const shown = [...new Set([...common, ...ofCards].map((told) => told.shown))].join(', ');
    return fine(
      shown === ''
        ? 'All files of a frame come to this computer.'
        : `All files of a frame come to this computer (${shown}).`,
    );
  }
  if (twofold !== undefined) {
    return stops(
      `${body} writes two files a frame (${twofold.shown}), and over this connection the second is lost or mistaken for the next frame. Set it to raw only or JPEG only, then fire again.`,
    );
  }
  const other = ofCards.find(
    ({ label }) => label.includes(TWO_FILES) || ofCards.some((card) => card.label !== label),
  );
  if (other !== undefined) {
    return attention(
      `${body}'s cards are set to different formats (${ofCards.map(({ shown }) => shown).join(', ')}): if it writes to both, one file is lost or mistaken for the next frame. Let it write to one card.`,
    );
  }
  const [told] = [...common, ...ofCards];
  if (told !== undefined) return fine(`Each frame is one file (${told.shown}).`);
  return askPerson(
    `${body} does not report its file format: make sure that it writes one file a frame, raw only or JPEG only.`,
    'Each frame is one file, as ticked.',
  );
}

/** Some bodies tell their format by a bare number, which has no meaning here. */
const isFormat = (label: string): boolean => !/^\d+$/.test(label);

/** In the camera's memory only, until it was sent. */
const MEMORY: ReadonlySet<string> = new Set(['internal ram', 'sdram']);
/** On the card and over the cable: 0x0B and 0x0A; 0x11. */
const CARD_AND_HERE: ReadonlySet<string> = new Set(['memory card', 'card+sdram']);
/** 0x11 without the other half. */
const CARD_ONLY = 'card';

function lookAtTarget(question: ReadinessQuestion): Finding | null {
  const told = firstOf(question.settings, ['capturetarget']);
  if (told === undefined) return null;
  const isBoth = (label: string) => CARD_AND_HERE.has(label);
  if (isBoth(told.label)) return fine('Each frame stays on the card, and comes to this computer too.');
  if (told.offers(isBoth)) {
    return fine('For the set, Evenrung makes frames stay on the card and come to this computer too.');
  }
  if (told.label === CARD_ONLY) {
    return attention(
      `${who(question)} keeps frames on its card only, and may send none to this computer. Choose computer and camera in its menu.`,
    );
  }
  if (MEMORY.has(told.label)) {
    return attention(
      `${who(question)} keeps no copy on its card: the files on this computer will be the only ones.`,
    );
  }
  return attention(
    `Evenrung does not know where ${who(question)} keeps its frames (${told.shown}): find out whether they stay on the card too.`,
  );
}

/** A large raw file. From memory, no source. */
export const LARGEST_FILE_BYTES = 60e6;

/** A large JPEG beside a raw file. From memory, no source. */
const LARGEST_PARTNER_BYTES = 30e6;

function roomHere({ settings, pairs, freeBytes, frames, fileBytes }: ReadinessQuestion): Finding | null {
  if (freeBytes === null || frames === null) return null;
  const isTwo = pairs && makesTwoFiles(settings);
  const needed = frames * (fileBytes ?? LARGEST_FILE_BYTES + (isTwo ? LARGEST_PARTNER_BYTES : 0));
  // Free space is rounded down and needed space up, so that the two do not look equal if they are not.
  const free = sizeOf(freeBytes, Math.floor);
  if (freeBytes >= needed) return fine(`${free} are free where the sets go.`);
  const room = `Only ${free} are free where the sets go, and a set of ${frames} frames takes`;
  const takes = sizeOf(needed, Math.ceil);
  if (fileBytes === null) {
    return attention(
      `${room} up to ${takes} ${isTwo ? 'in two files each' : 'in raw'}. Free some space, or choose another folder.`,
    );
  }
  return stops(`${room} ${takes}. Free some space, or choose another folder, then fire again.`);
}

const AVAILABLE = 'availableshots';
/** No card takes more: a larger number means something else. From memory, no source. */
const MOST_FRAMES = 999_999;

/**
 * @returns how many more frames the card takes, by the body's own count; null if the body does not tell, or
 *   keeps none there
 */
export function framesLeftOnCard(settings: Settings): number | null {
  const target = firstOf(settings, ['capturetarget'])?.label;
  // Set to its memory, a body counts what fits there, which says nothing of the card.
  if (target !== undefined && MEMORY.has(target)) return null;
  const left = numberOf(settings, AVAILABLE);
  return left !== undefined && left <= MOST_FRAMES ? left : null;
}

function roomOnCard(question: ReadinessQuestion): Finding | null {
  const { settings, frames } = question;
  const target = firstOf(settings, ['capturetarget'])?.label;
  if (target !== undefined && MEMORY.has(target) && !mayReachCard(question)) return null;
  const left = framesLeftOnCard(settings);
  if (left !== null) {
    const words = `${who(question)} has room for ${left} more frame${left === 1 ? '' : 's'}`;
    if (left > 0 && left >= (frames ?? 0)) return fine(`${words}.`);
    return stops(
      left === 0
        ? `${who(question)}'s card is full, or there is none. Put in another one, then fire again.`
        : `${words}, and the set takes ${frames}. Free some space on the card, or change it, then fire again.`,
    );
  }
  if (frames === null) return null;
  return askPerson(
    `${who(question)} does not report the room on its card: make sure that there is room for ${frames}.`,
    `The card has room for ${frames} frames, as ticked.`,
  );
}

const mayReachCard = ({ settings }: ReadinessQuestion): boolean =>
  firstOf(settings, ['capturetarget'])?.offers((label) => CARD_AND_HERE.has(label)) === true;

const lookAtRoom = (question: ReadinessQuestion): Finding | null =>
  gravest([roomOnCard(question), roomHere(question)]);

/** @returns `1.2 GB`, `340 MB`, `0 MB`: powers of ten, as drives and cards are sold */
export function sizeOf(bytes: number, round: (tenths: number) => number): string {
  if (bytes >= 1e9) return `${(round(bytes / 1e8) / 10).toFixed(1)} GB`;
  return `${round(bytes / 1e6)} MB`;
}

export const FORMAT: Rule = { code: 'format', look: lookAtFormat };
export const TARGET: Rule = { code: 'target', look: lookAtTarget };
export const ROOM: Rule = { code: 'room', look: lookAtRoom };
