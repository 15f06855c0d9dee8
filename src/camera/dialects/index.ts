// How each family of bodies brackets on the wire.
import { EvenrungError } from '../../../shared/errors.js';
import type { Settings } from '../link.js';
import { amount } from './amount/amount.js';
import type { Dialect } from './dialect.js';
import { driveEntries } from './drive-entry/drive-entry.js';
import { none } from './none/none.js';
import { pattern } from './pattern/pattern.js';

export { BRACKET_OFF, bracketLabel, shutterLabel } from './amount/labels.js';
export { APERTURES, COMPENSATION, choicesOf, ISO, SHUTTER } from './common.js';
export type { Bulb, Centre, Changes, Dialect, DialectName } from './dialect.js';

/** The most capable first: the last takes whatever has a shutter to set. */
const DIALECTS: readonly Dialect[] = [amount, pattern, driveEntries, none];

/** @throws EvenrungError body-not-ready if not even the shutter can be set */
export function recogniseDialect(settings: Settings): Dialect {
  const dialect = DIALECTS.find((candidate) => candidate.recognise(settings));
  if (dialect === undefined) throw shutterOutOfReach();
  return dialect;
}

export const shutterOutOfReach = (): EvenrungError =>
  new EvenrungError(
    'body-not-ready',
    "The camera's shutter cannot be set over the cable. Turn its mode dial to M (manual), then look for the camera again.",
  );
