// The body's clock against this computer's, and how it is set over the wire. Found in the sources of libgphoto2 2.5.30
// (camlibs/ptp2/config.c) and of the binding 0.3.2, and tried in tests/wire/clock.test.ts:
//
// - `datetimeutc` (vendor extension 0x0B) is the moment itself, in seconds since 1970.
// - `datetime` is what the body shows: a number under 0x0B, PTP's own DateTime, a text, elsewhere. The library takes it for
//   local time in the zone of this computer, summer time included, and makes a moment of it; writing goes the same way back.
// - A date is written as whole seconds since 1970: the binding reads digits and stops at the first other sign, so that
//   the year of a written-out date would be taken for the seconds.
// - Where both exist, writing `datetime` does nothing and is reported as success: the library looks settings up by their
//   label, which both share, and finds the other one.
// - Where 0x0B has `datetime` alone, the write comes out an hour early while summer time is in force: the library turns
//   the local time into a number with its mark for summer time still on it, and the C library takes an hour off for that
//   (seen with glibc 2.36). It shows when the setting is read again; `clockCorrection` is for then.
// - The switches `syncdatetime` and `syncdatetimeutc` are of no use: the first writes the number of UTC where the body expects
//   local time, and both always read as off, so that a link which reads back takes the write for refused.
// - Under 0x0B the library remembers what the body sent last, and whether a body sends its clock again by itself is not known:
//   a text that did not change since the last reading may be as old as the one before.
import type { Setting, Settings } from '../link.js';
import { attention, type Finding, fine, type ReadinessQuestion, type Rule, who } from './question.js';

const MOMENT = 'datetimeutc';
const SHOWN_TIME = 'datetime';

/** From memory, no source: more than this, and notes and frames of one minute cannot be matched by their time. */
const MOST_SECONDS = 2;

/** Zones lie whole quarters of an hour apart, at most 26 h (common practice, no source). */
const ZONE_GRID_SECONDS = 900;
const FARTHEST_ZONE_SECONDS = 26 * 3600;

const HOUR_SECONDS = 3600;
/** The longest time between a write and the reading that shows its effect. */
const LONGEST_WRITE_SECONDS = 60;

/** How a clock is set: the name of a setting, and the value to write. */
export interface ClockSetting {
  readonly name: string;
  readonly value: string;
}

/** @returns seconds since 1970, whole; undefined if the setting is missing or tells no time */
function secondsOf(setting: Setting | undefined): number | undefined {
  if (setting?.kind !== 'date') return undefined;
  const milliseconds = Date.parse(setting.value);
  return Number.isNaN(milliseconds) ? undefined : Math.floor(milliseconds / 1000);
}

/**
 * @param now when the clock was read
 * @returns whole seconds by which the body's clock is ahead; null if the body tells none. A body's clock
 *   has whole seconds, cut off, so a right one gives 0 at any moment of the second.
 */
export function clockDifference(settings: Settings, now: Date): number | null {
  const told = secondsOf(settings.get(MOMENT)) ?? secondsOf(settings.get(SHOWN_TIME));
  if (told === undefined || Number.isNaN(now.getTime())) return null;
  // Adding 0 makes 0 of -0.
  return Math.ceil(told - now.getTime() / 1000) + 0;
}

/**
 * How the body's clock is set from this computer.
 * @returns null if it cannot be set over the wire
 */
export function clockSetting(settings: Settings, now: Date): ClockSetting | null {
  const name = [MOMENT, SHOWN_TIME].find((candidate) => settings.get(candidate)?.kind === 'date');
  if (name === undefined || Number.isNaN(now.getTime())) return null;
  // The write reads all settings first, which takes about as long as the rest of this second.
  return { name, value: String(Math.ceil(now.getTime() / 1000)) };
}

/**
 * The write that puts right a clock which came out an hour early or late because of summer time.
 * @param settings as they were read right after the first write
 * @param now when that was
 * @returns null if the clock is not an hour off
 */
export function clockCorrection(settings: Settings, now: Date): ClockSetting | null {
  const ahead = clockDifference(settings, now);
  if (ahead === null) return null;
  const slip = Math.sign(ahead) * HOUR_SECONDS;
  if (slip === 0 || Math.abs(ahead - slip) > LONGEST_WRITE_SECONDS) return null;
  return clockSetting(settings, new Date(now.getTime() - slip * 1000));
}

function lookAtClock(question: ReadinessQuestion): Finding | null {
  const { settings, now } = question;
  const ahead = clockDifference(settings, now);
  if (ahead === null) return null;
  const clock = `${who(question)}'s clock`;
  const off = Math.abs(ahead);
  if (off > MOST_SECONDS) {
    const isMoment = secondsOf(settings.get(MOMENT)) !== undefined;
    const zone = !isMoment && isZone(off) ? ', most likely by its time zone or summer time' : '';
    const finding = attention(
      `${clock} is ${spelled(off)} ${ahead > 0 ? 'ahead of' : 'behind'} this computer's${zone}, so files and records would not agree. Evenrung can set it.`,
    );
    return { ...finding, remedy: 'set-clock' };
  }
  if (showsAnotherZone(settings)) {
    return attention(
      `${clock} is right, but shows the time of another zone, and so will its files. If that matters, set zone and summer time in its menu.`,
    );
  }
  return fine(`${clock} agrees with this computer's.`);
}

const isZone = (seconds: number): boolean => {
  const nearest = Math.round(seconds / ZONE_GRID_SECONDS) * ZONE_GRID_SECONDS;
  return nearest > 0 && seconds <= FARTHEST_ZONE_SECONDS && Math.abs(seconds - nearest) <= MOST_SECONDS;
};

/** The two are sent at the same moment, so they differ only if the body's zone is not this computer's. */
function showsAnotherZone(settings: Settings): boolean {
  const moment = secondsOf(settings.get(MOMENT));
  const shown = secondsOf(settings.get(SHOWN_TIME));
  return moment !== undefined && shown !== undefined && isZone(Math.abs(shown - moment));
}

const UNITS = [
  { size: 86_400, one: ' day', many: ' days' },
  { size: 3600, one: ' h', many: ' h' },
  { size: 60, one: ' min', many: ' min' },
  { size: 1, one: ' s', many: ' s' },
];

/** @param seconds whole, above 0 @returns the two largest units: `1 h 5 min`, `40 s`, `3 days` */
function spelled(seconds: number): string {
  const largest = UNITS.findIndex(({ size }) => seconds >= size);
  let rest = seconds;
  const parts = UNITS.slice(largest, largest + 2).map(({ size, one, many }) => {
    const count = Math.floor(rest / size);
    rest -= count * size;
    return count === 0 ? '' : `${count}${count === 1 ? one : many}`;
  });
  return parts.join(' ').trim();
}

export const CLOCK: Rule = { code: 'clock', look: lookAtClock };
