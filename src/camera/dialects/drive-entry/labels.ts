// The labels of dialect C (PTP vendor extension 0x11) and their meaning: the drive (`capturemode`) has an
// entry for every auto-bracket. There are two spellings: that of libgphoto2 2.5.30, and the newer one that
// 2.5.34 has as well.
import type { ShutterSetting, Sixths } from '../../../exposure/index.js';
import { compensation } from '../compensation.js';
import { writtenShutters } from '../shutters.js';

/** One auto-bracket as an entry of the drive. */
export interface DriveEntry {
  /** EV between neighbouring frames, above 0. */
  readonly step: Sixths;
  /** The frames in steps from the centre, ascending. */
  readonly positions: readonly number[];
  /** `each`: one press, one frame; `all`: one press, all frames. */
  readonly press: 'each' | 'all';
}

const OLDER = /^Bracketing ([CS]) (\d\.\d) Steps (\d) Pictures$/;
const NEWER = /^(Continuous|Single) Bracket (\d\.\d) EV (\d) Img\.(?: ([+-]))?$/;

/**
 * @returns the auto-bracket of a label, or undefined if it is none; brackets of white balance, focus and
 *   the like are none
 */
export function driveEntry(label: string): DriveEntry | undefined {
  const [, press, amount, frames, side] = OLDER.exec(label) ?? NEWER.exec(label) ?? [];
  const step = amount === undefined ? undefined : compensation(amount);
  const positions = positionsOf(Number(frames), side);
  if (step === undefined || step <= 0 || positions === undefined) return undefined;
  return { step, positions, press: press === 'S' || press === 'Single' ? 'each' : 'all' };
}

/** An even number of frames has no middle: the label says to which side of the centre the other one goes. */
function positionsOf(frames: number, side: string | undefined): readonly number[] | undefined {
  if (frames === 2 && side !== undefined) return side === '+' ? [0, 1] : [-1, 0];
  if (frames < 3 || frames % 2 === 0 || side !== undefined) return undefined;
  return Array.from({ length: frames }, (_, index) => index - (frames - 1) / 2);
}

/** As vendors write it under `drivemode` and `capturemode`. Silent and quiet ones are others: not every body brackets in them. */
const SINGLE = ['Single', 'Single Shot', 'Single frame'];

/** @returns whether this is the plain drive of one press, one frame, no timer */
export const isSingleDrive = (label: string): boolean => SINGLE.includes(label);

/** @returns the settings behind the labels of `shutterspeed` (`1/125`, `13/10`, `30`), longest first; bulb left out */
export const driveEntryShutters = (choices: readonly string[]): ShutterSetting[] => writtenShutters(choices);
