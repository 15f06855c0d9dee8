// From the shutter labels that a body offers to the settings behind them. A label is a written time, nominal
// and often rounded, and some times are written alike on scales of thirds and of halves: the grid of the
// unambiguous labels decides the meaning of the others. Knows no vendor; the spelling of each vendor's labels
// is in the dialects.
import {
  type BodyLimits,
  bodySetting,
  parseShutter,
  SHUTTER_SCALES,
  type ShutterSetting,
  type Sixths,
  secondsOf,
  sixths,
} from '../../exposure/index.js';

type Grid = 'thirds' | 'halves' | 'both';

const isOn = (grid: Grid, tv: Sixths): boolean =>
  grid === 'both' || (grid === 'thirds' ? tv % 2 === 0 : tv % 3 === 0);

/**
 * @param tvs of labels that stand for one setting only
 * @returns the grid that the body is set to
 */
function gridOf(tvs: readonly Sixths[]): Grid {
  if (tvs.every((tv) => isOn('thirds', tv))) return 'thirds';
  return tvs.every((tv) => isOn('halves', tv)) ? 'halves' : 'both';
}

/** A label that the body offers, with its meaning on that body. */
interface Reading {
  readonly wire: string;
  readonly tv: Sixths;
  readonly settable: boolean;
}

/**
 * @param meanings the settings (Tv in sixths) that a label may stand for; none if it is not a time
 * @param writes the setting that writing a label with two meanings sets: the one that is meant, or always
 *   the first
 */
function read(
  choices: readonly string[],
  meanings: (label: string) => readonly Sixths[],
  writes: 'meant' | 'first',
): Reading[] {
  const grid = gridOf(choices.map(meanings).flatMap((tvs) => (tvs.length === 1 ? tvs : [])));
  return choices.flatMap((wire) => {
    const tvs = meanings(wire);
    const tv = tvs.find((candidate) => isOn(grid, candidate));
    if (tv === undefined) return [];
    const settable = tvs.length === 1 || (grid !== 'both' && (writes === 'meant' || tvs[0] === tv));
    return { wire, tv, settable };
  });
}

const longestFirst = (settings: readonly ShutterSetting[]): ShutterSetting[] =>
  [...settings].sort((a, b) => a.tv - b.tv);

const settingOf = ({ tv, wire, settable }: Reading): readonly ShutterSetting[] => {
  const setting = bodySetting(tv, wire, settable);
  return setting === undefined ? [] : [setting];
};

/**
 * @param choices the shutter labels that a body offers, in any order
 * @param meanings the settings (Tv in sixths) that a label may stand for; none if it is not a time
 * @param writes the setting that writing a label with two meanings sets: the one that is meant, or always
 *   the first
 * @returns the settings behind them, longest first, no two alike. A setting whose label may set another
 *   one, or that two labels may stand for, is kept, but marked as not settable.
 */
export function settingsBehind(
  choices: readonly string[],
  meanings: (label: string) => readonly Sixths[],
  writes: 'meant' | 'first',
): ShutterSetting[] {
  const readings = read(choices, meanings, writes);
  const settings = readings.flatMap((reading) => {
    const rival = readings.some((other) => other.tv === reading.tv && other.wire !== reading.wire);
    return settingOf({ ...reading, settable: reading.settable && !rival });
  });
  return longestFirst([...new Map(settings.map((setting) => [setting.tv, setting])).values()]);
}

/** How some bodies write a time otherwise than the scales do; Tv in sixths. Read off the tables of libgphoto2 2.5.30. */
const OTHER_SPELLINGS: readonly (readonly [string, Sixths])[] = [
  ['20.3', sixths(-27)],
  ['10.3', sixths(-20)],
  ['6.3', sixths(-16)],
  ['3', sixths(-10)],
  ['10/13', sixths(2)],
  ['10/15', sixths(3)],
  ['10/16', sixths(4)],
  ['1/3', sixths(10)],
  ['1/3', sixths(9)],
  ['1/12500', sixths(82)],
  ['1/13000', sixths(82)],
  ['1/25000', sixths(88)],
];

const SPELLED: readonly { readonly seconds: number; readonly tv: Sixths }[] = [
  ...SHUTTER_SCALES.third.map(({ nominalSeconds, tv }) => ({ seconds: nominalSeconds, tv })),
  ...OTHER_SPELLINGS.map(([text, tv]) => {
    const written = parseShutter(text);
    return { seconds: written?.kind === 'time' ? written.seconds : secondsOf(tv), tv };
  }),
  ...SHUTTER_SCALES.half.map(({ nominalSeconds, tv }) => ({ seconds: nominalSeconds, tv })),
];

/** No two spellings of different settings lie closer together than three times this, unless they are the same. */
const SAME_SPELLING = 0.01;
/** Bodies that write exact times (25.4096 s) are off by less than this many EV. */
const SAME_EXACT_EV = 0.03;

/**
 * @param seconds as written
 * @param cut seconds by which the true time may be longer, because decimals were cut
 * @returns the settings that are written so; those on thirds first
 */
function meaningsOf(seconds: number, cut: number): Sixths[] {
  const spelled = SPELLED.filter(
    (entry) =>
      entry.seconds >= seconds * (1 - SAME_SPELLING) - cut / 2 &&
      entry.seconds <= seconds * (1 + SAME_SPELLING) + cut,
  );
  const meant =
    spelled.length > 0
      ? spelled
      : [...SHUTTER_SCALES.third, ...SHUTTER_SCALES.half].filter(
          (setting) => Math.abs(Math.log2(seconds / setting.seconds)) < SAME_EXACT_EV,
        );
  return [...new Set(meant.map(({ tv }) => tv))];
}

function secondsIn(label: string): number | undefined {
  const written = parseShutter(label);
  return written?.kind === 'time' ? written.seconds : undefined;
}

/**
 * @param choices labels that say a time as it is meant: `1/125`, `13/10`, `30`, `1/1.3s`
 * @returns the settings behind them, longest first; bulb, time, x-sync and whatever is on no scale left out
 */
export const writtenShutters = (choices: readonly string[]): ShutterSetting[] =>
  settingsBehind(
    choices,
    (label) => {
      const seconds = secondsIn(label);
      return seconds === undefined ? [] : meaningsOf(seconds, 0);
    },
    'meant',
  );

/** One unit of PTP's own exposure time (ISO 15740, property 0x500D). */
const UNIT_SECONDS = 0.0001;
/** A label that may be wrong by more than this many EV is not told from its neighbour a third of a stop away. */
const MOST_DOUBT_EV = 0.1;

/** @returns whether it is written in PTP's own exposure time, as libgphoto2 writes it: `0.0100s` */
export const isStandardLabel = (label: string): boolean => /^\d{1,6}\.\d{4}s$/.test(label);

/**
 * @param choices the labels that the body offers
 * @param settings the result of standardShutters for them
 * @returns whether the labels include shorter times than those that can be told apart
 */
export function endsOpen(
  choices: readonly string[],
  settings: readonly ShutterSetting[],
): Pick<BodyLimits, 'openEnds'> {
  const shortest = settings.at(-1)?.nominalSeconds ?? 0;
  const isShorter = (label: string) =>
    isStandardLabel(label) && (secondsIn(label) ?? shortest) < shortest - UNIT_SECONDS / 2;
  return choices.some(isShorter) ? { openEnds: ['shortest'] } : {};
}

/**
 * @param choices labels in PTP's own exposure time
 * @returns the settings behind them, longest first; labels too coarse to be told apart are left out
 */
export function standardShutters(choices: readonly string[]): ShutterSetting[] {
  const told = choices.filter((label) => {
    const seconds = secondsIn(label);
    return seconds !== undefined && Math.log2(1 + UNIT_SECONDS / 2 / seconds) <= MOST_DOUBT_EV;
  });
  const readings = read(
    told,
    (label) => {
      const seconds = secondsIn(label);
      return seconds === undefined ? [] : meaningsOf(seconds, UNIT_SECONDS);
    },
    'meant',
  );
  // Two labels for one setting: neither can be trusted.
  const alone = readings.filter(({ tv }) => readings.filter((other) => other.tv === tv).length === 1);
  return longestFirst(alone.flatMap(settingOf));
}
