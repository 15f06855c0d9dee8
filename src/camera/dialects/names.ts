// Bare names of settings that every dialect has in common.
import type { Settings } from '../link.js';

export const SHUTTER = 'shutterspeed';
export const APERTURE = 'aperture';
export const ISO = 'iso';
export const COMPENSATION = 'exposurecompensation';

/** @returns the labels that a setting offers; none where it is missing or no choice */
export const choicesOf = (settings: Settings, name: string): readonly string[] =>
  settings.get(name)?.choices ?? [];
