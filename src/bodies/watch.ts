// How long room on disk and card and the charge of the battery will last for the sets to come. Pure: the
// caller has read disk and body, between two sets. It stops nothing itself.
import type { Watch, WatchMark } from '../../shared/watch.js';
import {
  type Charge,
  EMPTY_PERCENT,
  LARGEST_FILE_BYTES,
  type LinkKind,
  sizeOf,
  who,
} from '../camera/index.js';

/** If nobody says how many sets are to come, there should be room for so many. Common practice, no source. */
const LOW_SETS = 2;
/** Below this a battery is worth a warning, however slowly it falls: the cold takes the rest. Common practice, no source. */
export const LOW_PERCENT = 20;
/** One frame that goes wrong is made up twice before the run halts (run.ts), and its wrong files stay. */
const SPARE_FRAMES = 2;
/**
 * What a set takes in addition to its frames: record (under 256 KiB, set-folder.ts), contact sheet, sidecars,
 * and its part of the journal. An estimate.
 */
const BESIDE_FRAMES_BYTES = 1e6;
/** Never counted on: the record, the journal and the rest of the computer must still be able to write. Common practice, no source. */
export const DISK_RESERVE_BYTES = 100e6;
/** A smaller fall says more of the gauge than of the battery. Common practice, no source. */
const LEAST_FALL_PERCENT = 5;
/** A rise from there on is another battery, or one that has warmed up; smaller ones are a gauge that wavers. From memory. */
const FRESH_RISE_PERCENT = 5;

/** The files that came back so far. */
export interface FileSizes {
  readonly files: number;
  readonly total: number;
  readonly largest: number;
}

export const NO_FILES: FileSizes = { files: 0, total: 0, largest: 0 };

export const withFile = ({ files, total, largest }: FileSizes, bytes: number): FileSizes => ({
  files: files + 1,
  total: total + bytes,
  largest: Math.max(largest, bytes),
});

/** The charge when it was first seen at this level, after so many frames. */
export interface ChargeReading {
  readonly framesMade: number;
  readonly percent: number;
}

/**
 * @param readings as this function returned them; none at first
 * @returns those that still count, the oldest first: at most one for each percent, however long a run lasts
 */
export function withCharge(
  readings: readonly ChargeReading[],
  charge: Charge | null,
  framesMade: number,
): readonly ChargeReading[] {
  if (typeof charge !== 'number') return readings;
  const reading = { framesMade, percent: charge };
  const last = readings.at(-1);
  if (last === undefined || charge >= last.percent + FRESH_RISE_PERCENT) return [reading];
  return charge < last.percent ? [...readings, reading] : readings;
}

export interface WatchQuestion {
  readonly link: LinkKind;
  /** Frames that one set fires, with those that only come along with a pass. */
  readonly framesPerSet: number;
  /** Sets that are still to be begun; null if nobody knows. */
  readonly setsToCome: number | null;
  /** Bytes free on the disk that takes sets; null if nobody can tell. */
  readonly freeBytes: number | null;
  readonly sizes: FileSizes;
  /** Bytes of one file, as somebody has said; counts until a file has come back. */
  readonly statedBytes: number | null;
  /** As framesLeftOnCard says. */
  readonly framesLeftOnCard: number | null;
  /** As batteryCharge says. */
  readonly charge: Charge | null;
  /** As withCharge returned them, with the charge of now. */
  readonly chargeReadings: readonly ChargeReading[];
  /** Frames that this run has fired, on the same count as the readings. */
  readonly framesMade: number;
}

/** @returns the state of disk, card and battery; null for each that nobody can tell. Never throws */
export const watch = (question: WatchQuestion): Watch => ({
  disk: watchDisk(question),
  card: watchCard(question),
  battery: watchBattery(question),
});

/**
 * @returns a sentence for each thing that may not last for the next set: if there is one, the run should
 *   stop cleanly before it
 */
export const tooLow = ({ disk, card, battery }: Watch): string[] =>
  [disk, card, battery].flatMap((item) => (item?.mark === 'too-low' ? [item.sentence] : []));

/**
 * @param sure what the next set takes at most
 * @param usual what a set usually takes
 * @returns how many sets would be begun, if each set but the last takes the usual amount
 */
const setsWithin = (room: number, sure: number, usual: number): number =>
  room < sure ? 0 : 1 + Math.floor((room - sure) / usual);

function markOf(setsLeft: number, { setsToCome }: WatchQuestion): WatchMark {
  if (setsLeft >= (setsToCome ?? LOW_SETS)) return 'fine';
  return setsLeft === 0 ? 'too-low' : 'low';
}

function watchDisk(question: WatchQuestion): Watch['disk'] {
  const { freeBytes, framesPerSet, setsToCome } = question;
  if (freeBytes === null) return null;
  const free = sizeOf(freeBytes, Math.floor);
  const room = Math.max(0, freeBytes - DISK_RESERVE_BYTES);
  const size = sizeOfFrames(question);
  const setBytes = (frameBytes: number, frames: number) => frameBytes * frames + BESIDE_FRAMES_BYTES;
  if (size === null) {
    const short = room < setBytes(LARGEST_FILE_BYTES, framesPerSet);
    const mark = setsToCome === 0 || !short ? 'fine' : room === 0 ? 'too-low' : 'low';
    const left = mark === 'too-low' ? 0 : null;
    return {
      mark,
      framesLeft: left,
      setsLeft: left,
      freeBytes,
      sentence: {
        fine: `${free} are free where the sets go.`,
        low: `Only ${free} are free where the sets go, which may be too little for a raw set: free some space, or choose another folder.`,
        'too-low': diskTooLow(free),
      }[mark],
    };
  }
  const framesLeft = Math.floor(room / size.mean);
  const setsLeft = setsWithin(
    room,
    setBytes(size.largest, framesPerSet + SPARE_FRAMES),
    setBytes(size.mean, framesPerSet),
  );
  const mark = markOf(setsLeft, question);
  const sentence = {
    fine: `${free} are free where the sets go, enough for ${about(setsLeft)}.`,
    low: `${free} are free where the sets go, enough for only ${about(setsLeft)}${andToCome(setsToCome)}: free some space there.`,
    'too-low': diskTooLow(free),
  }[mark];
  return { mark, framesLeft, setsLeft, freeBytes, sentence };
}

const diskTooLow = (free: string): string =>
  `Only ${free} are free where the sets go, and another set may not fit: free some space, or choose another folder, then fire again.`;

function sizeOfFrames({ sizes, statedBytes }: WatchQuestion): { mean: number; largest: number } | null {
  // A file has at least one byte, so nothing is divided by less.
  if (sizes.files > 0) return { mean: Math.max(1, sizes.total / sizes.files), largest: sizes.largest };
  return statedBytes === null ? null : { mean: Math.max(1, statedBytes), largest: statedBytes };
}

function watchCard(question: WatchQuestion): Watch['card'] {
  const { framesLeftOnCard, framesPerSet, setsToCome } = question;
  if (framesLeftOnCard === null) return null;
  const framesLeft = Math.floor(framesLeftOnCard);
  const setsLeft = setsWithin(framesLeft, framesPerSet + SPARE_FRAMES, framesPerSet);
  const mark = markOf(setsLeft, question);
  const card = `${who(question)}'s card`;
  const sentence = {
    fine: `${card} has room for ${counted(framesLeft, 'more frame')}, enough for ${about(setsLeft)}.`,
    low: `${card} has room for only ${about(setsLeft)}${andToCome(setsToCome)}: change it between two sets, or free some space on it.`,
    'too-low': `${card} has room for ${counted(framesLeft, 'more frame')}, and another set may not fit: change it, or free some space on it, then fire again.`,
  }[mark];
  return { mark, framesLeft, setsLeft, sentence };
}

function watchBattery(question: WatchQuestion): Watch['battery'] {
  const { charge, chargeReadings, framesPerSet, setsToCome } = question;
  if (charge === null) return null;
  const battery = `${who(question)}'s battery`;
  const unknown = { framesLeft: null, setsLeft: null };
  if (charge === 'low') {
    const sentence = `${battery} is low, and may run out at any time: put in a charged one before the next set.`;
    return { mark: 'low', ...unknown, percent: null, sentence };
  }
  // As in the readiness list: no body runs on an empty battery, so a charge that has always read 0 is a
  // battery-shaped mains adapter.
  if (charge === 0 && chargeReadings.every(({ percent }) => percent === 0)) {
    return {
      mark: 'fine',
      ...unknown,
      percent: 0,
      sentence: `${battery} reads 0 %, as with a mains adapter.`,
    };
  }
  const estimate = framesUntilEmpty(question);
  const framesLeft = charge < EMPTY_PERCENT ? 0 : estimate;
  const setsLeft = framesLeft === null ? null : setsWithin(framesLeft, framesPerSet, framesPerSet);
  const mark = batteryMark(charge, setsLeft, setsToCome);
  const at = `${battery} is at ${charge} %`;
  const lasts =
    setsLeft === null || setsLeft === 0 ? '' : ` , enough for about ${counted(setsLeft, 'more set')}`;
  const sentence = {
    fine: `${at}${lasts}.`,
    low: `${at}${lasts}: put in a charged one before it runs out.`,
    'too-low': `${at}, and may run out during the next set: put in a charged one, then fire again.`,
  }[mark];
  return { mark, framesLeft, setsLeft, percent: charge, sentence };
}

/** An estimate is too loose to warn of the hundredth set to come: what counts is whether the next ones are made. */
function batteryMark(charge: number, setsLeft: number | null, setsToCome: number | null): WatchMark {
  if (setsLeft === 0 && setsToCome !== 0) return 'too-low';
  const near = Math.min(LOW_SETS, setsToCome ?? LOW_SETS);
  return charge < LOW_PERCENT || (setsLeft !== null && setsLeft < near) ? 'low' : 'fine';
}

/**
 * Linear, over everything since the battery was put in. What the battery loses between sets counts too, so
 * the estimate holds as long as their rhythm does. It is counted from one fall of the gauge to another,
 * because a reading in between may stand for any charge down to the next step, and some gauges have only
 * four; and down to the charge at which a body may give up, not to 0.
 * @returns null if the charge has not fallen far enough
 */
function framesUntilEmpty({ chargeReadings, framesMade }: WatchQuestion): number | null {
  const [, first, ...later] = chargeReadings;
  const last = later.at(-1);
  if (first === undefined || last === undefined) return null;
  const fall = first.percent - last.percent;
  const frames = last.framesMade - first.framesMade;
  if (fall < LEAST_FALL_PERCENT || frames <= 0) return null;
  const fromLast = ((last.percent - EMPTY_PERCENT) * frames) / fall;
  return Math.max(0, Math.floor(fromLast - (framesMade - last.framesMade)));
}

const counted = (count: number, one: string): string => `${count} ${one}${count === 1 ? '' : 's'}`;
const about = (sets: number): string => (sets > 1 ? `about ${sets} more sets` : counted(sets, 'more set'));
const andToCome = (sets: number | null): string =>
  sets === null ? '' : `, and ${sets} ${sets === 1 ? 'is' : 'are'} to come`;
