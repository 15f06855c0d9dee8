// Moments by the clock on the wall, for people.

const two = (value: number): string => String(value).padStart(2, '0');

/** @param at ISO 8601 @returns local `2026-11-25` */
export function dayOf(at: string): string {
  const date = new Date(at);
  return `${date.getFullYear()}-${two(date.getMonth() + 1)}-${two(date.getDate())}`;
}

/** @param at ISO 8601 @returns local `16:42:10` */
export function timeOf(at: string): string {
  const date = new Date(at);
  return [date.getHours(), date.getMinutes(), date.getSeconds()].map(two).join(':');
}

/** @param at ISO 8601 @returns local `16:42:10`, with its day before it where that is another one than now */
export function clockOf(at: string, now: Date): string {
  const day = dayOf(at);
  return day === dayOf(now.toISOString()) ? timeOf(at) : `${day} ${timeOf(at)}`;
}
