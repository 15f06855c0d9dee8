// Sentences on why nothing can be learnt from a body, for the person at the camera.
import { EvenrungError } from '../../shared/errors.js';
import type { ShutterSetting } from '../exposure/index.js';
import { judge, type RecordedExposure } from '../frames/index.js';

export const tooFewTimes = (): EvenrungError =>
  new EvenrungError(
    'not-learnt',
    'This camera offers too few shutter times over the cable to learn from. Turn its mode dial to M (manual), then learn again.',
  );

export const notMoved = ({ label }: ShutterSetting): EvenrungError =>
  new EvenrungError(
    'not-learnt',
    `The bracket does not move the shutter: two frames in a row were ${label} s. If a menu of the camera chooses what the bracket moves in manual mode, set it to the shutter alone, then learn again.`,
  );

/** @throws EvenrungError not-learnt */
export function mustBeAsAsked(recorded: RecordedExposure, shutter: ShutterSetting): void {
  const verdict = judge(recorded, { shutter, fNumber: null, iso: null });
  if (verdict.right) return;
  throw new EvenrungError(
    'not-learnt',
    `A frame does not record what was set. ${verdict.reasons.join(' ')} Turn the mode dial to M (manual), leave the camera alone, then learn again.`,
  );
}

export const sameAgain = (): EvenrungError =>
  new EvenrungError(
    'not-learnt',
    'The camera sent the same picture twice, so Evenrung cannot learn from it. Switch the camera off and on, then learn again.',
  );

export const tooQuick = ({ label, seconds }: ShutterSetting, taken: number): EvenrungError =>
  new EvenrungError(
    'not-learnt',
    `An exposure of ${label} s was over after ${taken.toPrecision(2)} s, though it takes at least ${seconds.toPrecision(2)} s: the file is not the frame just fired. Switch the camera off and on, then learn again.`,
    { shutter: label, seconds: taken },
  );
