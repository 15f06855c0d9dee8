// The sentence on where a reading falls in a frame. Pure.
import { type Reading, readingInWords } from '../../shared/reading.js';
import {
  formatEv,
  labelOf,
  magnitude,
  minusSixths,
  plusSixths,
  type Room,
  type Sixths,
  SUN_METERED_EV100,
} from '../exposure/index.js';

export type Part = 'darkest' | 'brightest';

/** @returns `1/3 stop`, `1 stop`, `2 1/3 stops` */
export const stopsInWords = (size: Sixths): string =>
  `${formatEv(size, false)} ${size > 6 ? 'stops' : 'stop'}`;

/**
 * @param greyTv Tv that puts the reading on middle grey
 * @param frame counted from 1, the darkest
 * @param frameTv of that frame
 */
export function fallsInWords(
  part: Part,
  reading: Reading,
  greyTv: Sixths,
  frame: number,
  frameTv: Sixths,
  room: Room,
): string {
  const fromGrey = minusSixths(greyTv, frameTv);
  const where =
    fromGrey === 0
      ? 'on middle grey'
      : `${stopsInWords(magnitude(fromGrey))} ${fromGrey > 0 ? 'above' : 'below'} middle grey`;
  const head = `The ${part} part (${readingInWords(reading)}) falls ${where} in frame ${frame} (${labelOf(frameTv)} s)`;
  const spared = part === 'brightest' ? minusSixths(room.above, fromGrey) : plusSixths(room.below, fromGrey);
  const size = spared === 0 ? 'just' : stopsInWords(spared);
  return part === 'brightest'
    ? `${head}, ${size} below clipping.`
    : `${head}, ${size} above where noise drowns detail.`;
}

/** @returns the caution of a reading that only the sun or its mirror image gives; null for any other */
export function sunInWords(ev100: number | null): string | null {
  if (ev100 === null || ev100 < SUN_METERED_EV100) return null;
  return `The brightest part reads EV ${ev100.toFixed(1)}: only the sun or its reflection is that bright. Before you fire, put a certified solar filter in front of the lens, or keep the sun out of the frame. Never look at it through an optical finder; it burns eyes, sensor, shutter and iris.`;
}
