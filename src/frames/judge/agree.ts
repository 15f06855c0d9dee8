// Whether the two files of one exposure record the same. Pure.
import { evInWords, fromEv } from '../../exposure/index.js';
import type { RecordedExposure } from '../read/recorded-exposure.js';
import { wallOf } from '../read/taken-at.js';
import { close, SAME_BIAS_EV, shutterWords } from './judge.js';

/** Both have it from one exposure; a second is a rounding, and one more is to spare. From memory, no source. */
const SAME_TIME_MS = 2000;

/**
 * A value that one of them does not record cannot differ, apart from the time, which proves that it is a
 * frame at all.
 * @returns what the second file records differently from the frame's own, in one sentence; null if they
 *   agree
 */
export function differsFrom(own: RecordedExposure, partner: RecordedExposure): string | null {
  const found = [
    otherTime(own.exposureTime, partner.exposureTime),
    otherNumber(own.fNumber, partner.fNumber, (value) => `f/${value}`),
    otherNumber(own.iso, partner.iso, (value) => `ISO ${value}`),
    otherBias(own.bias, partner.bias),
    otherMoment(own, partner),
  ].find((words) => words !== null);
  return found ?? null;
}

/** Whether two files can only be of one exposure: also the moment is the same, to the last digit that they tell. */
export const isSameExposure = (one: RecordedExposure, other: RecordedExposure): boolean =>
  one.takenAt !== null &&
  other.takenAt !== null &&
  wallOf(one.takenAt) === wallOf(other.takenAt) &&
  differsFrom(one, other) === null;

function otherTime(own: number | null, partner: number | null): string | null {
  if (partner === null) return 'It does not record its exposure time.';
  return own === null || close(partner, own) ? null : said(shutterWords(partner), shutterWords(own));
}

function otherNumber(
  own: number | null,
  partner: number | null,
  words: (value: number) => string,
): string | null {
  return own === null || partner === null || close(partner, own) ? null : said(words(partner), words(own));
}

/** Compared by difference, and not by ratio like the others, since a bias may be 0. */
function otherBias(own: number | null, partner: number | null): string | null {
  if (own === null || partner === null || Math.abs(partner - own) <= SAME_BIAS_EV) return null;
  const words = (ev: number) => `${evInWords(fromEv(ev))} EV`;
  return said(words(partner), words(own));
}

function otherMoment({ takenAt: own }: RecordedExposure, { takenAt: partner }: RecordedExposure) {
  if (own === null || partner === null || Math.abs(wallOf(partner) - wallOf(own)) <= SAME_TIME_MS)
    return null;
  return said(partner.replace('T', ' '), own.replace('T', ' '));
}

const said = (partner: string, own: string): string =>
  `It records ${partner}, but the frame's own file records ${own}.`;
