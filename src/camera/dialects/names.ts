// Bare names of settings that every dialect has in common.
import type { Settings } from '../link.js';

export const SHUTTER = 'shutterspeed';
/** Plain PTP calls it by the second name, and writes its labels as `f/8`. */
export const APERTURES = ['aperture', 'f-number'];
export const ISO = 'iso';
export const COMPENSATION = 'exposurecompensation';

/** @returns the labels that a setting offers; none where it is missing or no choice */
export const choicesOf = (settings: Settings, name: string): readonly string[] =>
  settings.get(name)?.choices ?? [];
