// Shared by the dialects: bare names of settings, and the parts of limits and centre that do not depend on
// how a body brackets.
import { EvenrungError } from '../../../shared/errors.js';
import {
  type BodyLimits,
  leastOf,
  mostOf,
  NO_EV,
  negated,
  type Sixths,
  sixths,
} from '../../exposure/index.js';
import type { LinkLimits, Settings } from '../link.js';
import { compensation } from './compensation.js';
import type { Centre, Changes } from './dialect.js';

export const SHUTTER = 'shutterspeed';
/** Plain PTP calls it by the second name, and writes its labels as `f/8`. */
export const APERTURES = ['aperture', 'f-number'];
export const ISO = 'iso';
export const COMPENSATION = 'exposurecompensation';

/** @returns the labels that a setting offers, each once; none if it is missing or not a choice */
export const choicesOf = (settings: Settings, name: string): readonly string[] => [
  ...new Set(settings.get(name)?.choices ?? []),
];

/** @returns everything but shutters and brackets */
export function commonLimits(
  settings: Settings,
  link: LinkLimits,
): Omit<BodyLimits, 'shutters' | 'brackets'> {
  const values = choicesOf(settings, COMPENSATION).flatMap((label) => compensation(label) ?? []);
  return {
    compensation: {
      // If one side is not offered at all, compensation has no range.
      range: leastOf(mostOf(NO_EV, ...values), negated(leastOf(NO_EV, ...values))),
      grid: sixths(values.some((value) => value % 6 === 3) ? 3 : 2),
    },
    longestSeconds: link.longestSeconds,
    secondsPerChange: link.secondsPerChange,
    secondsPerSetting: link.secondsPerSetting,
    secondsPerFrame: link.secondsPerFrame,
  };
}

/** @throws EvenrungError choice-not-offered */
export async function setCentreBy(
  link: Changes,
  centre: Centre,
  settings: Settings,
  shutterName = SHUTTER,
): Promise<void> {
  if (centre.by === 'shutter') await link.changeSetting(shutterName, centre.shutter.wire);
  else await link.changeSetting(COMPENSATION, compensationLabel(settings, centre.compensation));
}

function compensationLabel(settings: Settings, value: Sixths): string {
  return labelFor(settings, COMPENSATION, (label) => compensation(label) === value);
}

/**
 * @returns the first label of a setting that fits
 * @throws EvenrungError choice-not-offered
 */
export function labelFor(settings: Settings, name: string, fits: (label: string) => boolean): string {
  const label = choicesOf(settings, name).find(fits);
  if (label !== undefined) return label;
  throw notOfferedAnyMore(name);
}

export const notOfferedAnyMore = (name: string): EvenrungError =>
  new EvenrungError(
    'choice-not-offered',
    `The camera no longer offers what '${name}' needs. Look for the camera again.`,
    { name },
  );
