// Wall clocks: from the reading of a clock on the wall to moments, and back. The rules of the time zones come
// from the runtime (Intl).

/** A wall clock's reading, as ms since 1970 as if the reading were UTC. */
export type Reading = number;

export const DAY_MS = 86_400_000;
const MINUTE_MS = 60_000;

const formats = new Map<string, Intl.DateTimeFormat>();

function formatOf(timeZone: string): Intl.DateTimeFormat {
  const known = formats.get(timeZone);
  if (known !== undefined) return known;
  const made = new Intl.DateTimeFormat('en-US', {
    timeZone,
    calendar: 'gregory',
    numberingSystem: 'latn',
    hourCycle: 'h23',
    year: 'numeric',
    month: 'numeric',
    day: 'numeric',
    hour: 'numeric',
    minute: 'numeric',
    second: 'numeric',
  });
  formats.set(timeZone, made);
  return made;
}

/** @param at ms since 1970 @param timeZone an IANA name @returns what the clocks there show, to the second */
export function readingAt(at: number, timeZone: string): Reading {
  const parts = new Map(
    formatOf(timeZone)
      .formatToParts(at)
      .map(({ type, value }) => [type, Number(value)]),
  );
  const part = (type: Intl.DateTimeFormatPartTypes) => parts.get(type) ?? 0;
  return Date.UTC(part('year'), part('month') - 1, part('day'), part('hour'), part('minute'), part('second'));
}

/**
 * @returns the moments, ms since 1970, at which the clocks show this: two if they are put back over it. If
 *   they are put forward over it, it is counted with the offset before the change, so that 02:30 becomes
 *   03:30 (as RFC 5545, 3.3.5, reads such times, from memory).
 */
export function momentsOf(reading: Reading, timeZone: string): readonly [number, ...number[]] {
  const offsetAt = (at: number) => readingAt(at, timeZone) - Math.floor(at / 1000) * 1000;
  const before = offsetAt(reading - DAY_MS);
  const after = offsetAt(reading + DAY_MS);
  const [first, ...others] = [...new Set([before, after])]
    .map((offset) => reading - offset)
    .filter((at) => readingAt(at, timeZone) === reading)
    .sort((a, b) => a - b);
  return first === undefined ? [reading - before] : [first, ...others];
}

/** @returns the reading of midnight at the beginning of the day */
export const dayOf = (reading: Reading): Reading => Math.floor(reading / DAY_MS) * DAY_MS;

/** @returns `2026-06-21 05:29`, rounded to the minute */
export function inWords(at: number, timeZone: string): string {
  const reading = readingAt(at + MINUTE_MS / 2, timeZone);
  return new Date(reading).toISOString().slice(0, 16).replace('T', ' ');
}

/** @returns `2026-06-21` */
export const dateInWords = (at: number, timeZone: string): string =>
  new Date(readingAt(at, timeZone)).toISOString().slice(0, 10);
