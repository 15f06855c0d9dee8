// Moments by the clock on the wall, for sentences and for names: always with 24 hours, whatever the system's
// language, so that whoever shows a sentence can reformat them for its reader.

const two = (value: number): string => String(value).padStart(2, '0');

/** @returns local time, such as `16:42` */
export const hourAndMinute = (at: Date): string => `${two(at.getHours())}:${two(at.getMinutes())}`;

/** @returns local time to the second, such as `16:42:10` */
export const wallSecond = (at: Date): string => `${hourAndMinute(at)}:${two(at.getSeconds())}`;

/** @returns the local day, such as `2026-11-25` */
export const wallDay = (at: Date): string =>
  `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}`;

/** @returns the local day for names of files and folders, such as `20261125`: folders are looked for by the clock on the wall */
export const dayInNames = (at: Date): string => wallDay(at).replaceAll('-', '');

/** @returns local time to the second for names of files and folders, such as `164210` */
export const timeInNames = (at: Date): string => wallSecond(at).replaceAll(':', '');

/** @returns local time, such as `16:42`; with the date before it, `2026-11-25 16:42`, if that is not today */
export const wallTime = (at: Date, now: Date): string =>
  wallDay(at) === wallDay(now) ? hourAndMinute(at) : `${wallDay(at)} ${hourAndMinute(at)}`;
