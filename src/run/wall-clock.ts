// Moments by the clock on the wall, for sentences: always of 24 hours, whatever the system's language, so that whoever shows them can
// put them as its own reader is used to.

const two = (value: number): string => String(value).padStart(2, '0');

/** @returns local time, such as `16:42` */
export const hourAndMinute = (at: Date): string => `${two(at.getHours())}:${two(at.getMinutes())}`;

/** @returns local time, such as `16:42`; with its day before it, `2026-11-25 16:42`, where that is not today */
export function wallTime(at: Date, now: Date): string {
  const time = hourAndMinute(at);
  if (at.toDateString() === now.toDateString()) return time;
  return `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())} ${time}`;
}
