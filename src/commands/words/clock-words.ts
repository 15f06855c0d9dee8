// Moments by the clock on the wall, for people.

import { wallDay, wallSecond } from '../../system/index.js';

/** @param at ISO 8601 @returns local `2026-11-25` */
export const dayOf = (at: string): string => wallDay(new Date(at));

/** @param at ISO 8601 @returns local `16:42:10` */
export const timeOf = (at: string): string => wallSecond(new Date(at));

/**
 * @param at ISO 8601
 * @returns local `16:42:10`, with the date before it if that is not today
 */
export function clockOf(at: string, now: Date): string {
  const day = dayOf(at);
  return day === dayOf(now.toISOString()) ? timeOf(at) : `${day} ${timeOf(at)}`;
}
