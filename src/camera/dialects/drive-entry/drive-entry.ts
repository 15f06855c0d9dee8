// Dialect C: each auto-bracket is an entry of the drive (`capturemode`), with count and step in one label, so
// that they come in pairs. An entry fires one frame a press, or all of them. Over the binding only the former
// are used, since it loses all files of a press but the first. The order of the frames is not on the wire.
import type { BracketShape, ShutterSetting } from '../../../exposure/index.js';
import type { SettingChange, Settings } from '../../link.js';
import { bulbOf } from '../bulb.js';
import { choicesOf, commonLimits, labelFor, SHUTTER, setCentreBy } from '../common.js';
import type { Dialect } from '../dialect.js';
import { driveEntry, driveEntryShutters, isSingleDrive } from './labels.js';

const DRIVE = 'capturemode';
/** The two positions of the button, as two switches. */
const FOCUS = 'autofocus';
const CAPTURE = 'capture';
const on = (name: string): SettingChange => ({ name, value: 'on' });
const off = (name: string): SettingChange => ({ name, value: 'off' });

/** From memory, no source: the metered frame first, then the pairs around it, the darker one first. */
function inUsualOrder(positions: readonly number[]): number[] {
  return [...positions].sort((a, b) => Math.abs(a) - Math.abs(b) || a - b);
}

function shapesOf(settings: Settings): BracketShape[] {
  return choicesOf(settings, DRIVE).flatMap((label) => {
    const entry = driveEntry(label);
    if (entry?.press !== 'each') return [];
    return [{ step: entry.step, pattern: inUsualOrder(entry.positions) }];
  });
}

export const driveEntries: Dialect = {
  name: 'drive-entry',
  tellsCounts: true,

  recognise: (settings) => shapesOf(settings).length > 0 && choicesOf(settings, DRIVE).some(isSingleDrive),

  limits: (settings, link) => ({
    ...commonLimits(settings, link),
    shutters: shuttersOf(settings),
    brackets: shapesOf(settings),
  }),

  async setBracket(link, shape, settings) {
    const label = labelFor(settings, DRIVE, shape === null ? isSingleDrive : fits(shape));
    // A bracket that is not on yet shows in the second frame at the latest.
    await link.changeSetting(DRIVE, label, { isProvedByFrames: shape !== null });
  },

  setCentre: (link, centre, settings) => setCentreBy(link, centre, settings),

  // A body that lists no times of its own need not have the ones that the library offers for it.
  bulb: (settings) => (listsNone(choicesOf(settings, SHUTTER)) ? null : bulbOf(settings, SHUTTER)),

  oneRelease: {
    fires: (settings, shape) =>
      settings.has(FOCUS) &&
      settings.has(CAPTURE) &&
      choicesOf(settings, DRIVE).some(fits({ ...shape, isOneRelease: true })),
    // Half the way first: from there the press is taken at once.
    button: () => ({
      down: [on(FOCUS), on(CAPTURE)],
      up: [off(CAPTURE), off(FOCUS)],
    }),
  },

  picturesWaiting: (settings) => waitingIn(Number(settings.get(IN_MEMORY)?.value)),
};

/**
 * The property that counts them, which libgphoto2 shows by its number (0xD215; read off camlibs/ptp2, library.c): pictures that can be
 * fetched, with the highest bit set.
 */
const IN_MEMORY = 'd215';
const CAN_BE_FETCHED = 0x8000;

const waitingIn = (told: number): number => (told > CAN_BE_FETCHED ? told - CAN_BE_FETCHED : 0);

/** If a body lists no times of its own, the library offers all that it knows, and this is one of them. */
const OFFERED_TO_ALL = '1/32000';
/** From memory, no source: what every body of that make has, 1/4000 s, in sixths. */
const SURELY_TV = 72;

const listsNone = (choices: readonly string[]): boolean => choices.includes(OFFERED_TO_ALL);

function shuttersOf(settings: Settings): ShutterSetting[] {
  const choices = choicesOf(settings, SHUTTER);
  const shutters = driveEntryShutters(choices);
  return listsNone(choices) ? shutters.filter(({ tv }) => tv <= SURELY_TV) : shutters;
}

const fits =
  ({ step, pattern, isOneRelease }: BracketShape) =>
  (label: string): boolean => {
    const entry = driveEntry(label);
    return (
      entry?.press === (isOneRelease === true ? 'all' : 'each') &&
      entry.step === step &&
      [...entry.positions].sort((a, b) => a - b).join() === [...pattern].sort((a, b) => a - b).join()
    );
  };
