// Frames that a set is extended by: at which end it lacks one, which of them leave the set again, and the
// sentences about them. Pure: it knows neither files nor bodies.
import type { Clipping } from '../../../shared/clipping.js';
import { roughDuration } from '../../../shared/duration.js';
import type { FrameView } from '../../../shared/state.js';
import { evInWords, fromEv } from '../../exposure/index.js';
import type { LightComparison } from '../../frames/index.js';
import { percent } from '../judge/marks.js';

/**
 * Only from the ends inwards: a frame that was not made between two that were is a gap, and stays missing.
 * @param frames the darkest first
 * @param added numbers of those that the set is being extended by
 * @returns those that leave it again, since they were not made
 */
export function unmadeAtEnds<Frame extends { readonly view: Pick<FrameView, 'number' | 'state'> }>(
  frames: readonly Frame[],
  added: readonly number[],
): Frame[] {
  const isUnmade = ({ view }: Frame) => added.includes(view.number) && view.state !== 'verified';
  const first = frames.findIndex((frame) => !isUnmade(frame));
  const last = frames.findLastIndex((frame) => !isUnmade(frame));
  return first < 0 ? [] : frames.filter((_, index) => index < first || index > last);
}

/** Numbers of the frames that were to be added: those that are there, and how many are not. */
export interface AddedFate {
  readonly made: readonly number[];
  readonly unmade: number;
}

export function fateOfAdded(frames: readonly FrameView[], added: readonly number[]): AddedFate {
  const made = frames
    .flatMap(({ number, state }) => (added.includes(number) && state === 'verified' ? [number] : []))
    .sort((a, b) => a - b);
  return { made, unmade: added.length - made.length };
}

const framesAre = (numbers: readonly number[]): string =>
  numbers.length === 1 ? `Frame ${numbers[0]} was` : `Frames ${numbers.join(', ')} were`;

/** @returns the result of extending a set, for the sentence that it ends with */
export function addedWords({ made, unmade }: AddedFate): string | null {
  const words = [
    made.length === 0 ? null : `${framesAre(made)} added.`,
    unmade === 0
      ? null
      : made.length === 0
        ? 'Nothing was added: the set is as it was before.'
        : `${unmade === 1 ? 'One frame that was' : `${unmade} frames that were`} to be added ${unmade === 1 ? 'is' : 'are'} not in the set.`,
  ].filter((one) => one !== null);
  return words.length === 0 ? null : words.join(' ');
}

/** @returns why a set is being extended by itself, in a sentence */
export function reachesOnNote(lost: readonly Clipping[], added: readonly FrameView[]): string {
  const why = lost.map(({ side, share }) =>
    side === 'blown'
      ? `${percent(share)} of its darkest frame was blown out`
      : `${percent(share)} of its brightest frame was black`,
  );
  const which = added.map(({ number, offset }) => `${number} (${evInWords(fromEv(offset))} EV)`);
  return `The set was extended, because ${why.join(', and ')}. ${which.length === 1 ? 'Frame' : 'Frames'} ${which.join(', ')} ${which.length === 1 ? 'is' : 'are'} added.`;
}

/**
 * @param made numbers of the frames that were added
 * @param endedAt when the set had ended
 * @param madeAt when the last of them was made
 * @returns how long after the set they were made, and whether the light had moved, as the frames next to them show
 */
export function addedNote(
  made: readonly number[],
  comparison: LightComparison,
  endedAt: Date,
  madeAt: Date,
): string | null {
  if (made.length === 0) return null;
  const later = roughDuration((madeAt.getTime() - endedAt.getTime()) / 1000);
  return [`${framesAre(made)} added ${later} after the set.`, ...lightWords(made, comparison)].join(' ');
}

/** Compares the light at the seams: where an added frame lies next to one that was there before. */
function lightWords(made: readonly number[], { ratios, off }: LightComparison): string[] {
  const seams = ratios.flatMap(({ darker, lighter, mark }, index) => {
    const isNew = [darker, lighter].map((number) => made.includes(number));
    if (isNew[0] === isNew[1]) return [];
    const [added, old] = isNew[0] ? [darker, lighter] : [lighter, darker];
    const error = off[index] ?? null;
    // By how much the frame that was added is too bright.
    return [{ added, old, mark, ev: error === null || !isNew[0] ? error : -error }];
  });
  const told = seams.filter(({ ev }) => ev !== null);
  const hasMoved = told.some(({ mark }) => mark);
  const parts = told.map(
    ({ added, old, ev }) => `frame ${added} is ${formatOff(ev ?? 0)} EV off frame ${old}`,
  );
  return [
    ...(parts.length === 0
      ? []
      : [
          `The light had ${hasMoved ? 'moved' : 'hardly moved'}: ${parts.join(', and ')}.`,
          ...(hasMoved ? ['Check the brightness marks before you merge.'] : []),
        ]),
    ...seams
      .filter(({ ev }) => ev === null)
      .map(
        ({ added, old }) =>
          `Frames ${added} and ${old} do not show whether the light had moved: they have too little in common.`,
      ),
  ];
}

/** To a tenth, with its sign. */
function formatOff(ev: number): string {
  const size = Math.abs(ev).toFixed(1);
  if (Number(size) === 0) return '0';
  return `${ev < 0 ? '\u2212' : '+'}${size}`;
}
