// A set that was taken up again after its end, as far as its run has to know: which frames are to be made,
// what they were before, and the sentences about them. Pure: it knows neither files nor bodies, and is kept
// in the journal as it is.
import { roughDuration } from '../../../shared/duration.js';
import type { FrameState, FrameView } from '../../../shared/state.js';
import { namesOf } from '../../frames/index.js';
import type { RunOutcome, StoredFrame } from '../../journal/index.js';
import { hourAndMinute } from '../../system/index.js';
import type { Lacking } from '../book/lacking.js';

/** A frame as it was when it was chosen to be fired again. */
export interface EarlierFrame {
  readonly frame: StoredFrame;
  /**
   * The place that its file is moved to once the record lists the new one, relative to the set folder; null
   * while there is no new one.
   */
  readonly aside: string | null;
  /** The place that its second file is moved to; left out if it has only one file. */
  readonly partnerAside?: string;
}

export interface TakenUp {
  /**
   * `again`: frames that were chosen. `complete`: all missing frames. `extend`: frames beyond its ends, and
   * all missing frames. `fetch`: nothing is fired, missing files are looked for in the camera.
   */
  readonly purpose: 'again' | 'complete' | 'extend' | 'fetch';
  /** What the set lacked; only for `fetch`. */
  readonly lacked?: Lacking;
  /** Numbers of the frames to be made. */
  readonly frames: readonly number[];
  readonly earlier: readonly EarlierFrame[];
  /** Names of files that lay in the set folder, and are nobody's here: merged pictures, for example. */
  readonly others: readonly string[];
  /** When it was taken up again, ISO 8601, UTC. */
  readonly since: string;
  /** How the set had ended, and when. */
  readonly outcome: RunOutcome;
  readonly endedAt: string;
  /** Nobody went on with it after it was cut off: a file that was made since may be a frame. */
  readonly abandoned?: boolean;
}

/** @param taken null for a set that is made for the first time */
export const isInHand = (taken: TakenUp | null, number: number): boolean =>
  taken === null || taken.frames.includes(number);

/** @returns a frame as it was before, as long as no new one has taken its place */
export const earlierOf = (taken: TakenUp | null, number: number): StoredFrame | null =>
  taken?.earlier.find(({ frame, aside }) => frame.view.number === number && aside === null)?.frame ?? null;

/**
 * @returns the states that a frame goes through before it is again what it was: nothing is left of a
 *   release that was not finished
 */
export function wayBack(state: FrameState): readonly FrameState[] {
  if (state === 'armed') return ['planned'];
  return state === 'fired' || state === 'stored' ? ['rejected'] : [];
}

/**
 * The new frame is here, and the earlier one is going to be moved.
 * @param asides the places that its files are moved to, its own first
 */
export function replacedBy(taken: TakenUp, number: number, asides: readonly string[]): TakenUp {
  const [aside = null, partnerAside] = asides;
  const going = { aside, ...(partnerAside === undefined ? {} : { partnerAside }) };
  return {
    ...taken,
    earlier: taken.earlier.map((one) =>
      one.frame.view.number === number && one.aside === null ? { ...one, ...going } : one,
    ),
  };
}

/** @returns the names that are known in the set folder although no frame has them just now */
export const knownBeside = (taken: TakenUp | null): string[] => [
  ...(taken?.others ?? []),
  ...(taken?.earlier.flatMap(({ frame }) => namesOf(frame.view)) ?? []),
];

/** A file that has to make way, and the place that it is moved to. */
export interface MakingWay {
  readonly number: number;
  readonly file: string;
  readonly aside: string;
  /** Whether it is the second file of its frame. */
  readonly isPartner: boolean;
}

/** @returns the files that have to make way */
export const makingWay = (taken: TakenUp | null): MakingWay[] =>
  (taken?.earlier ?? []).flatMap(({ frame: { view }, aside, partnerAside }) => {
    if (view.file === null || aside === null) return [];
    const { number, file, partner } = view;
    const own = { number, file, aside, isPartner: false };
    return partner?.state !== 'there' || partnerAside === undefined
      ? [own]
      : [own, { number, file: partner.file, aside: partnerAside, isPartner: true }];
  });

/** By the clock on the wall. */
export const firedAgain = (at: Date): string =>
  `Reshot at ${hourAndMinute(at)}: this is the frame as it was before.`;

/** How long after a moment, in words. */
const after = (before: number, at: Date): string => roughDuration((at.getTime() - before) / 1000);

/** Which of the chosen frames were made, and which are as they were. */
function fateOf(taken: TakenUp, frames: readonly FrameView[]) {
  const isVerified = (number: number) =>
    frames.some((one) => one.number === number && one.state === 'verified');
  const inHand = taken.frames.filter(isVerified);
  const hadOne = (number: number) => taken.earlier.some(({ frame }) => frame.view.number === number);
  const asBefore = inHand.filter((number) => earlierOf(taken, number) !== null);
  const made = inHand.filter((number) => !asBefore.includes(number));
  return { asBefore, again: made.filter(hadOne), first: made.filter((number) => !hadOne(number)) };
}

export const wasMade = (taken: TakenUp, frame: FrameView): boolean => {
  const { again, first } = fateOf(taken, [frame]);
  return again.length + first.length > 0;
};

/**
 * @param startedAt when the set was begun
 * @param madeAt when the last of the chosen frames was made
 * @param added numbers of frames that the set was extended by: sentences about them are in added.ts
 * @returns how long after the set they were made, in a sentence; null if none was
 */
export function laterNote(
  taken: TakenUp,
  frames: readonly FrameView[],
  startedAt: Date,
  madeAt: Date,
  added: readonly number[] = [],
): string | null {
  const { again, first: all } = fateOf(taken, frames);
  const first = all.filter((number) => !added.includes(number));
  const isComplete = frames.every(({ state }) => state === 'verified');
  // Files that are fetched were exposed together with the others.
  if (taken.purpose === 'fetch' || again.length + first.length === 0) return null;
  const sinceBegun = `${after(startedAt.getTime(), madeAt)} after it was begun`;
  const sinceEnd = `${after(Date.parse(taken.endedAt), madeAt)} after the set`;
  if (taken.purpose === 'complete' && isComplete)
    return `Completed ${sinceBegun}: check whether the light changed.`;
  const fired = [
    again.length === 0 ? null : `${were(again)} reshot ${sinceEnd}`,
    first.length === 0 ? null : `${were(first)} fired ${sinceEnd}`,
  ].filter((part) => part !== null);
  const isMarked = frames.some(({ marks }) => marks.some(({ code }) => code === 'ratio'));
  return `${fired.join(', ')}: check whether the light changed.${isMarked ? ' The brightness marks help.' : ''}`;
}

/**
 * @param more other sentences that have to be said; null for those that have not
 * @returns how firing again ended
 */
export function againSentence(
  taken: TakenUp,
  frames: readonly FrameView[],
  more: { readonly stopped: boolean; readonly trouble: string | null; readonly owed: string | null },
): string {
  const { asBefore, again, first } = fateOf(taken, frames);
  const verified = frames.filter(({ state }) => state === 'verified').length;
  const total = frames.length;
  return [
    more.stopped && asBefore.length > 0 ? 'Stopped.' : null,
    more.trouble,
    again.length === 0 ? null : `${were(again)} reshot.`,
    first.length === 0 ? null : `${were(first)} fired.`,
    asBefore.length === 0
      ? null
      : `${asBefore.length === 1 ? `Frame ${asBefore} is as it was` : `Frames ${asBefore.join(', ')} are as they were`} before.`,
    verified < total
      ? `${verified} of ${total} frames are verified.`
      : `${total === 1 ? 'The frame is' : `All ${total} frames are`} verified.`,
    more.owed,
  ]
    .filter((sentence) => sentence !== null)
    .join(' ');
}

/** @returns how a set ends that nothing went wrong with, and that is not complete */
export const incompleteEnd = (taken: TakenUp | null, stopped: boolean): RunOutcome =>
  taken !== null &&
  (taken.purpose === 'again' || taken.purpose === 'fetch') &&
  !stopped &&
  taken.outcome !== 'complete'
    ? taken.outcome
    : 'stopped';

const were = (numbers: readonly number[]): string =>
  numbers.length === 1 ? `Frame ${numbers[0]} was` : `Frames ${numbers.join(', ')} were`;
