// Numbers, lengths of time, moments and amounts as the panel writes them: numbers and dates in the way of the
// browser's own language. The words around them are English, as long as there is no other catalogue.
// Otherwise pure.
import { formatEv, NO_EV, ONE_EV, type Sixths } from '../../shared/ev.js';

/** @param value at least 0 @returns how many stops, in a sentence: `1 stop`, `2/3 stop`, `1 1/3 stops` */
export const stopsOf = (value: Sixths): string =>
  `${formatEv(value, false)} ${value > NO_EV && value <= ONE_EV ? 'stop' : 'stops'}`;

/** @param digits after the point, at most */
export const decimal = (number: number, digits: number): string =>
  number.toLocaleString(undefined, { maximumFractionDigits: digits });

/** @param of1 from 0 to 1 @param digits after the point, at most @returns `14%`, `0.6%` */
export const percent = (of1: number, digits = of1 < 0.01 ? 1 : 0): string =>
  of1.toLocaleString(undefined, { style: 'percent', maximumFractionDigits: digits });

/** The same where little counts, too. @returns `less than 0.1%`, `0.6%` */
export const smallPercent = (of1: number): string =>
  of1 > 0 && of1 < 0.001 ? `less than ${percent(0.001)}` : percent(of1);

export const count = (number: number, one: string, many: string): string =>
  `${number} ${number === 1 ? one : many}`;

export const frames = (number: number): string => count(number, 'frame', 'frames');
export const passes = (number: number): string => count(number, 'pass', 'passes');
export const sets = (number: number): string => count(number, 'set', 'sets');

export const shutter = (label: string): string => (/\d$/.test(label) ? `${label} s` : label);

/** @returns `f/8, ISO 100`; a value that is not known is left out */
export const apertureAndIso = (aperture: string | null, iso: string | null): string =>
  [
    aperture === null ? null : `f/${aperture.replace(/^f\/?/i, '')}`,
    iso === null ? null : `ISO ${iso.replace(/^iso\s*/i, '')}`,
  ]
    .filter((part) => part !== null)
    .join(', ');

/** @returns `under 1 s`, `about 6 s`, `about 2 min 5 s` */
export function about(seconds: number): string {
  if (seconds < 1) return 'under 1 s';
  const whole = Math.ceil(seconds);
  if (whole < 100) return `about ${whole} s`;
  const rest = whole % 60;
  return `about ${Math.floor(whole / 60)} min${rest === 0 ? '' : ` ${rest} s`}`;
}

/** A number must not part from its unit at the end of a line. */
export const unbroken = (words: string): string => words.replace(/(\d) /g, '$1\u00a0');

export const clock = (at: Date): string =>
  at.toLocaleTimeString(undefined, { hour: '2-digit', minute: '2-digit', second: '2-digit' });

export const hourAndMinute = (at: Date): string =>
  at.toLocaleTimeString(undefined, { hour: '2-digit', minute: '2-digit' });

/** @returns `28 Nov`, with the year if it is not this one */
const dayOf = (at: Date, today = new Date(), locale?: string): string =>
  at.toLocaleDateString(locale, {
    ...{ day: 'numeric', month: 'short' },
    ...(at.getFullYear() === today.getFullYear() ? {} : { year: 'numeric' }),
  });

/** @returns `28 Nov, 22:48:05`: what tells one set from the next */
export function exactly(at: Date): string {
  return `${dayOf(at)}, ${clock(at)}`;
}

/** @returns `22:48` or `10:48 PM`, with the date before it if it is not today */
export function moment(at: Date, today = new Date()): string {
  if (at.toDateString() === today.toDateString()) return hourAndMinute(at);
  return `${dayOf(at, today)}, ${hourAndMinute(at)}`;
}

const DAY = String.raw`(?<day>\d{4}-\d{2}-\d{2})`;
const TIME = String.raw`(?<hour>[01]\d|2[0-3]):(?<minute>[0-5]\d)(?::(?<second>[0-5]\d))?`;
/** Not within a path or a name. */
const MOMENT = new RegExp(
  String.raw`(?<![\w/.:-])(?:${DAY}(?: ${TIME})?|${TIME.replaceAll('?<', '?<only')})(?![\w/-]|[.:]\w)`,
  'g',
);

/**
 * The daemon writes moments as `2026-11-25`, `16:42` and `16:42:10`: here they are written as everything else
 * on the page.
 * @param locale the browser's own if it is left out
 */
export function inOwnClock(sentence: string, locale?: string, today = new Date()): string {
  return sentence.replace(MOMENT, (written, ...found) => {
    const {
      day,
      onlyhour,
      onlyminute,
      onlysecond,
      hour = onlyhour,
      minute = onlyminute,
      second = onlysecond,
    } = found.at(-1) as Readonly<Record<string, string | undefined>>;
    const at = new Date(`${day ?? '2000-01-01'}T${hour ?? '12'}:${minute ?? '00'}:${second ?? '00'}`);
    if (Number.isNaN(at.getTime())) return written;
    const date = dayOf(at, today, locale);
    const time = at.toLocaleTimeString(locale, {
      hour: '2-digit',
      minute: '2-digit',
      ...(second === undefined ? {} : { second: '2-digit' }),
    });
    return [day === undefined ? '' : date, hour === undefined ? '' : time]
      .filter((part) => part !== '')
      .join(', ');
  });
}

/** For what lies ahead and is known roughly: the daemon's own sentences count whole minutes, too. */
export const aboutMoment = (at: Date): string => moment(new Date(Math.round(at.getTime() / 60_000) * 60_000));

/** @returns `13 GB`, `420 MB`; rounded up for room that is needed, down for room that is there */
export function amount(bytes: number, rounded: (size: number) => number = Math.ceil): string {
  const [size, unit] =
    bytes < 1e9 ? [bytes / 1e6, 'MB'] : bytes < 1e12 ? [bytes / 1e9, 'GB'] : [bytes / 1e12, 'TB'];
  return `${size < 10 ? decimal(rounded(size * 10) / 10, 1) : decimal(rounded(size), 0)} ${unit}`;
}

/** @returns `1, 3 and 5` */
export const allOf = (words: readonly (number | string)[]): string =>
  words.length < 2 ? words.join() : `${words.slice(0, -1).join(', ')} and ${words.at(-1)}`;
