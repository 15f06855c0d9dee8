// Shutter settings: exact times as powers of two, nominal labels as they are written on bodies, and every spelling of both.
// Nominal tables: full stops as in Exif 2.32 (CIPA DC-008-2019), annex C; half and third stops are common practice, no source.
import { parseShutter } from '../../shared/shutter-words.js';
import { minusSixths, plusSixths, SIXTHS_PER_EV, type Sixths, sixths, timesSixths, toEv } from './ev.js';

// How a time is written is defined in shared/, because the panel reads it too.
export { parseShutter, type WrittenShutter } from '../../shared/shutter-words.js';

/** One position of a shutter scale. */
export interface ShutterSetting {
  /** The nominal label, for people: `1/60`, `0.3`, `30`. */
  readonly label: string;
  /**
   * The label by which it is set on the body, which may read differently; the nominal label if there is no
   * body.
   */
  readonly wire: string;
  /** APEX time value, Tv = -log2(t / 1 s), in sixths: 1/128 s (nominal 1/125) is 42. */
  readonly tv: Sixths;
  /** The exact time in seconds, 2^(-Tv). */
  readonly seconds: number;
  /** The time that the label says, in seconds. */
  readonly nominalSeconds: number;
  /**
   * Whether it can be set by its label. Some labels of some bodies stand for two settings. Such a setting can
   * still come up within a bracket, but nothing can be centred on it.
   */
  readonly settable: boolean;
  /**
   * Whether no label of the body says this time: it is set to bulb, under the label `wire`, and told when to open and to close. Left out for
   * a setting of its own.
   */
  readonly bulb?: true;
}

export type StopScale = 'full' | 'half' | 'third';

// Position by position from 30 s (Tv -5) to 1/32000 s (Tv 15).
const THIRDS =
  '30 25 20 15 13 10 8 6 5 4 3.2 2.5 2 1.6 1.3 1 0.8 0.6 0.5 0.4 0.3 1/4 1/5 1/6 1/8 1/10 1/13 1/15 1/20 1/25 1/30 1/40 1/50 ' +
  '1/60 1/80 1/100 1/125 1/160 1/200 1/250 1/320 1/400 1/500 1/640 1/800 1/1000 1/1250 1/1600 1/2000 1/2500 1/3200 1/4000 ' +
  '1/5000 1/6400 1/8000 1/10000 1/12800 1/16000 1/20000 1/25600 1/32000';
const HALVES =
  '30 20 15 10 8 6 4 3 2 1.5 1 0.7 0.5 0.3 1/4 1/6 1/8 1/10 1/15 1/20 1/30 1/45 1/60 1/90 1/125 1/180 1/250 1/350 1/500 1/750 ' +
  '1/1000 1/1500 1/2000 1/3000 1/4000 1/6000 1/8000 1/12000 1/16000 1/24000 1/32000';

const LONGEST_TV = sixths(-5 * SIXTHS_PER_EV);

/** @returns the exact time in seconds, t = 2^(-Tv) (APEX) */
export const secondsOf = (tv: Sixths): number => 2 ** -toEv(tv);

function scale(labels: string, stepSize: Sixths): readonly ShutterSetting[] {
  return labels.split(' ').map((label, index) => {
    const tv = plusSixths(LONGEST_TV, timesSixths(stepSize, index));
    const seconds = secondsOf(tv);
    const written = parseShutter(label);
    const nominalSeconds = written?.kind === 'time' ? written.seconds : seconds;
    return { label, wire: label, tv, seconds, nominalSeconds, settable: true };
  });
}

const third = scale(THIRDS, sixths(2));
const half = scale(HALVES, sixths(3));

/** The nominal shutter scales, longest first. */
export const SHUTTER_SCALES: Readonly<Record<StopScale, readonly ShutterSetting[]>> = {
  full: third.filter((setting) => setting.tv % SIXTHS_PER_EV === 0),
  half,
  third,
};

/**
 * @param tv within the nominal scales, on thirds or halves
 * @param wire the label by which it is set on a body
 * @param settable whether writing that label sets this setting and no other
 * @returns the body's setting under its nominal label, or undefined if the scales have none
 */
export function bodySetting(tv: Sixths, wire: string, settable = true): ShutterSetting | undefined {
  const nominal = third.find((setting) => setting.tv === tv) ?? half.find((setting) => setting.tv === tv);
  return nominal === undefined ? undefined : { ...nominal, wire, settable };
}

/**
 * @returns the time at a Tv that no body need have: the one that a camera in aperture priority is assumed
 *   to choose. It has the nominal label of the scales; off the scales, the nearest label, or beyond their
 *   ends, the time written out.
 */
export function timeAt(tv: Sixths): ShutterSetting {
  const seconds = secondsOf(tv);
  const onScale = bodySetting(tv, '', false);
  if (onScale !== undefined) return { ...onScale, wire: onScale.label };
  const label =
    bodySetting(minusSixths(tv, sixths(1)), '')?.label ??
    bodySetting(plusSixths(tv, sixths(1)), '')?.label ??
    (seconds < 1 ? `1/${Math.round(1 / seconds)}` : String(Math.round(seconds)));
  return { label, wire: label, tv, seconds, nominalSeconds: seconds, settable: false };
}

/**
 * Times beyond the longest one that a body has a label for, on the same steps. They are held exactly; beyond the nominal scales their labels
 * are the exact times, rounded to a second: 40, 51, 64.
 * @param shutters of the body, longest first
 * @param wire its label for bulb
 * @param longestSeconds no time is longer
 * @returns longest first; none if the body has no labels
 */
export function bulbSettings(
  shutters: readonly ShutterSetting[],
  wire: string,
  longestSeconds: number,
): ShutterSetting[] {
  const [longest] = shutters;
  if (longest === undefined) return [];
  const isOnThirds = shutters.every(({ tv }) => tv % 2 === 0);
  const isOnHalves = !isOnThirds && shutters.every(({ tv }) => tv % 3 === 0);
  const isOnScale = (tv: Sixths) => (!isOnHalves && tv % 2 === 0) || (!isOnThirds && tv % 3 === 0);
  const settings: ShutterSetting[] = [];
  for (
    let tv = minusSixths(longest.tv, sixths(1));
    secondsOf(tv) <= longestSeconds;
    tv = minusSixths(tv, sixths(1))
  ) {
    if (!isOnScale(tv)) continue;
    const seconds = secondsOf(tv);
    const beyond = {
      label: String(Math.round(seconds)),
      tv,
      seconds,
      nominalSeconds: seconds,
      settable: true,
    };
    settings.unshift({ ...(bodySetting(tv, wire) ?? beyond), wire, bulb: true });
  }
  return settings;
}

/** Nominal times lie up to 0.178 EV from exact (half stops, 10 s): farther than a sixth and a bit is another setting. */
export const FARTHEST_NOMINAL_EV = 0.18;

/**
 * @param seconds a time as it is written, nominal or exact
 * @param stops the scale that it is on
 * @returns the setting that is meant: the one with this nominal time, otherwise the one whose exact time is
 *   nearest, if that is near enough
 */
export function settingForSeconds(seconds: number, stops: StopScale): ShutterSetting | undefined {
  return nearestSetting(seconds, SHUTTER_SCALES[stops]);
}

/** As settingForSeconds, among any settings. */
export function nearestSetting(
  seconds: number,
  settings: readonly ShutterSetting[],
): ShutterSetting | undefined {
  const said = settings.find((setting) => Math.abs(Math.log2(seconds / setting.nominalSeconds)) < 0.005);
  if (said !== undefined) return said;
  const nearest = nearestOf(seconds, settings);
  return nearest !== undefined && evBetween(seconds, nearest) <= FARTHEST_NOMINAL_EV ? nearest : undefined;
}

/** @returns the setting whose exact time is nearest, however far it is; undefined if there are none */
export const nearestOf = (seconds: number, settings: readonly ShutterSetting[]): ShutterSetting | undefined =>
  settings.reduce<ShutterSetting | undefined>(
    (best, setting) =>
      best === undefined || evBetween(seconds, setting) < evBetween(seconds, best) ? setting : best,
    undefined,
  );

/** @returns EV between a time and the exact time of a setting, without a sign */
export const evBetween = (seconds: number, setting: ShutterSetting): number =>
  Math.abs(Math.log2(seconds / setting.seconds));
