// Sentences on why the proposed set ends where it does, one for each end, and on the purpose of each test
// frame. Pure.
import { evInWords, type Sixths } from '../../exposure/index.js';
import { stopsInWords } from '../readings-words.js';
import {
  MOST_SOUNDING_SECONDS,
  type Proposed,
  type SeenLost,
  type SoundingAt,
  type WhyNotReached,
} from './types.js';

/** What the end frames of the proposed set lose, and what frames one step nearer to the middle would lose. */
export interface LostAtEnds {
  readonly darkest: SeenLost;
  readonly insideDarkest: SeenLost;
  readonly brightest: SeenLost;
  readonly insideBrightest: SeenLost;
}

/** Less of the picture is not said. */
const NOT_SAID = 0.0001;

type End = 'darkest' | 'brightest';

/** @param label of the frame's shutter; null in aperture priority */
export function whyInWords(
  end: End,
  { offsets, highlights, shadows }: Proposed,
  label: string | null,
  lost: LostAtEnds,
  { mode, step }: Pick<SoundingAt, 'mode' | 'step'>,
): string {
  const found = end === 'darkest' ? highlights : shadows;
  const frame = frameInWords(end, offsets, label);
  const here = lost[end];
  if (found.isReached && here.share <= NOT_SAID)
    return `${frame}${offsets.length === 1 ? '' : ','} ${HOLDS[end]}: nothing in it is ${TOO[end]}${smallInWords(end, here)}${insideInWords(end, lost, step)}.`;
  const share = percent(Math.max(here.share, NOT_SAID));
  if (found.isReached)
    return `In ${lowered(frame)}, ${share} of the picture is ${TOO[end]}: add a ${OUTWARDS[end]} frame, or sound again.`;
  return `Even in ${lowered(frame)}, ${share} of the picture is ${TOO[end]}, ${NOT_REACHED[end][mode](found.why)}`;
}

const HOLDS = { darkest: 'holds the highlights', brightest: 'opens the shadows' } as const;
const TOO = { darkest: 'too bright', brightest: 'too dark' } as const;
const OUTWARDS = { darkest: 'darker', brightest: 'brighter' } as const;
const INWARDS = { darkest: 'brighter', brightest: 'darker' } as const;

function frameInWords(end: End, { length }: readonly Sixths[], label: string | null): string {
  const time = label === null ? '' : `${label} s`;
  if (length === 1) return `The one frame${time === '' ? '' : ` (${time})`}`;
  return `Frame ${end === 'darkest' ? 1 : length}, the ${end}${time === '' ? '' : ` (${time})`}`;
}

const lowered = (words: string): string => words.charAt(0).toLowerCase() + words.slice(1);

function smallInWords(end: End, { small }: SeenLost): string {
  if (end === 'darkest') {
    if (small.count === 0) return '';
    return small.count === 1
      ? ' but 1 small spot such as a lamp or a glint'
      : ` but ${small.count} small spots such as lamps or glints`;
  }
  return small.share <= NOT_SAID ? '' : ` but small spots (${percent(small.share)} of the picture)`;
}

function insideInWords(end: End, lost: LostAtEnds, step: Sixths): string {
  const { share } = end === 'darkest' ? lost.insideDarkest : lost.insideBrightest;
  if (share <= NOT_SAID) return '';
  return `; ${stopsInWords(step)} ${INWARDS[end]}, ${percent(share)} of the picture would be`;
}

type ByMode = Readonly<Record<SoundingAt['mode'], (why: WhyNotReached) => string>>;

const USED_UP = 'and no test frame was left: sound again, starting nearer to this end.';

const NOT_REACHED: Readonly<Record<End, ByMode>> = {
  darkest: {
    manual: (why) =>
      why === 'frames'
        ? USED_UP
        : 'and the camera has no faster shutter: stop down, lower the ISO, or put a neutral-density filter in front of the lens. Then sound again.',
    aperture: (why) =>
      why === 'frames'
        ? USED_UP
        : 'and exposure compensation goes no lower: turn the mode dial to M (manual), then sound again.',
  },
  brightest: {
    manual: (why) => (why === 'time' ? tooLong() : why === 'frames' ? USED_UP : LONGEST),
    aperture: (why) =>
      why === 'time'
        ? tooLong()
        : why === 'frames'
          ? USED_UP
          : 'and exposure compensation goes no higher: turn the mode dial to M (manual), then sound again.',
  },
};

const LONGEST = 'and the camera has no slower shutter: open up, or raise the ISO. Then sound again.';
const tooLong = () =>
  `and longer test frames would have taken more than the ${MOST_SOUNDING_SECONDS} s that a sounding may take. Add brighter frames by hand, or open up and sound again.`;

/** @returns `3%`, `0.25%` */
export function percent(share: number): string {
  if (share < 0.01) return `${Number((share * 100).toFixed(2))}%`;
  if (share > 0.99 && share < 1) return `${Math.floor(share * 1000) / 10}%`;
  return `${Math.round(share * 100)}%`;
}

/** Of a set that is proposed although nobody can tell. */
export const MAY_BE_SUN =
  'Part of the picture is white even in the darkest test frame: it may be a lamp, or the sun. If it may be the sun, put a certified solar filter in front of the lens, or keep it out of the frame, before you fire. Never look at it through an optical finder; it burns eyes, sensor, shutter and iris.';

/** The caution on the sun that comes before anything more is fired. */
export const SUN_SEEN =
  'The sun may be in the frame, so nothing more is fired: part of the picture is white even in a frame so dark that only the sun or its reflection can be. Put a certified solar filter in front of the lens, or keep the sun out of the frame. Never look at it through an optical finder; it burns eyes, sensor, shutter and iris.';

/** @returns `-4 to +4 EV` */
export const reachInWords = (offsets: readonly Sixths[]): string =>
  `${evInWords(offsets[0] as Sixths)} to ${evInWords(offsets.at(-1) as Sixths)} EV`;
