// When a frame was taken, as its file says it: the camera's own clock on the wall, without a zone. Pure.

/**
 * `2026-11-25T16:42:10`, followed by `.123` if the camera counts parts of a second. Sorting it as text puts
 * it in order.
 */
export type TakenAt = string;

const EXIF_TIME = /^(\d{4}):(\d\d):(\d\d) (\d\d):(\d\d):(\d\d)/;

/**
 * @param time DateTimeOriginal, `2026:11:25 16:42:10` (Exif 2.32, 4.6.5)
 * @param parts SubSecTimeOriginal: the digits behind the point
 * @returns null if it tells none: a clock that was never set is written as zeros or blanks
 */
export function takenAtOf(time: unknown, parts: unknown): TakenAt | null {
  const [, year, month, day, hour, minute, second] = EXIF_TIME.exec(textOf(time)) ?? [];
  if (year === undefined) return null;
  const whole = `${year}-${month}-${day}T${hour}:${minute}:${second}`;
  if (Number.isNaN(Date.parse(`${whole}Z`)) || Number(year) === 0) return null;
  const [digits] = /^\d+/.exec(textOf(parts)) ?? [];
  return digits === undefined ? whole : `${whole}.${digits}`;
}

/** Readers give a text, a number, or either in a list. */
function textOf(value: unknown): string {
  const one: unknown = Array.isArray(value) ? value[0] : value;
  return typeof one === 'string' || typeof one === 'number' ? String(one).trim() : '';
}

/** @returns milliseconds by that clock, counted as if its zone were UTC: for differences only */
export const wallOf = (takenAt: TakenAt): number => Date.parse(`${takenAt}Z`);

export const hasParts = (takenAt: TakenAt): boolean => takenAt.includes('.');
