// Dialect C: each auto-bracket is an entry of the drive (`capturemode`), with its count and step in one label, so that they
// come in pairs. Only the entries that fire one frame a press are used: what a press for all frames brings beside the first
// one is lost over this link. The order of the frames is not on the wire.
import type { BracketShape } from '../../../exposure/index.js';
import type { Settings } from '../../link.js';
import { choicesOf, commonLimits, labelFor, SHUTTER, setCentreBy } from '../common.js';
import type { Dialect } from '../dialect.js';
import { driveEntry, driveEntryShutters, isSingleDrive } from './labels.js';

const DRIVE = 'capturemode';

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
    shutters: driveEntryShutters(choicesOf(settings, SHUTTER)),
    brackets: shapesOf(settings),
  }),

  async setBracket(link, shape, settings) {
    await link.changeSetting(DRIVE, labelFor(settings, DRIVE, shape === null ? isSingleDrive : fits(shape)));
  },

  setCentre: (link, centre, settings) => setCentreBy(link, centre, settings),
};

const fits =
  ({ step, pattern }: BracketShape) =>
  (label: string): boolean => {
    const entry = driveEntry(label);
    return (
      entry?.press === 'each' &&
      entry.step === step &&
      [...entry.positions].sort((a, b) => a - b).join() === [...pattern].sort((a, b) => a - b).join()
    );
  };
