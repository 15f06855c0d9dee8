// The sentences of marks: what a person should know about a frame that is in the set all the same. The table
// in judgements.ts says when each mark is asked for. Pure.
import { lostIn } from '../../../shared/clipping.js';
import { roughDuration } from '../../../shared/duration.js';
import type { CoverageView } from '../../../shared/light.js';
import type { FrameView, FrameViewMark } from '../../../shared/state.js';
import {
  hasParts,
  kindInWords,
  type LightRatio,
  type OddLight,
  oddSizeSentence,
  oddSizes,
  type PixelSize,
  type SizedFrame,
  type TakenAt,
  wallOf,
} from '../../frames/index.js';
import type { FrameTimes } from '../../journal/index.js';

/** When a frame was released and stored, and how far the two clocks differ. */
export interface Timed {
  /** By this computer's clock. */
  readonly times: Pick<FrameTimes, 'firedAt' | 'storedAt'>;
  /** Seconds by which the camera's clock is ahead; null if the camera tells no time. */
  readonly clockDifference: number | null;
}

/** The file that came before. */
export interface TakenBefore {
  /** Null if that file is no frame of the set. */
  readonly number: number | null;
  /** By the camera's clock. */
  readonly takenAt: TakenAt;
}

// --- clipping, and the light

/**
 * @param frame its place from the darkest, counted from 1, and how many frames the set has: only the ends
 *   are marked
 * @param coverage what the pictures of the whole set hold, if they were judged: it separates lamps and
 *   glints from lost detail
 */
export function clippingMarks(
  frame: { readonly place: number; readonly frames: number; readonly clipped: FrameView['clipped'] },
  coverage: CoverageView | null = null,
): FrameViewMark[] {
  return lostIn(frame, frame.frames, coverage).map(({ side, share, stops }) =>
    side === 'blown'
      ? {
          code: 'clipped-light',
          sentence: `${percent(share)} of the darkest frame is blown out: the set does not hold the highlights. ${wouldHold(stops, 'darker')}`,
        }
      : {
          code: 'clipped-dark',
          sentence: `${percent(share)} of the brightest frame is black: the set does not hold the shadows. ${wouldHold(stops, 'brighter')}`,
        },
  );
}

function wouldHold(stops: number | null, way: 'darker' | 'brighter'): string {
  if (stops === null) return `Add frames at the ${way} end.`;
  const whole = Math.max(1, Math.round(stops));
  return `About ${whole} ${whole === 1 ? 'stop' : 'stops'} ${way} would hold them.`;
}

export const percent = (share: number): string =>
  `${share < 0.01 ? (share * 100).toFixed(1) : Math.round(share * 100)}%`;

export const movedMark = (ev: number): FrameViewMark => ({
  code: 'base-moved',
  sentence: `The light had changed by ${signed(ev)} EV since the first frame of the set.`,
});

// --- the time that the file records

/**
 * Cameras that write no parts of a second cut them off. If one of two times has no parts, only their whole
 * seconds are compared.
 */
export function orderMarks(takenAt: TakenAt, before: TakenBefore): FrameViewMark[] {
  const isExact = hasParts(takenAt) && hasParts(before.takenAt);
  const [now, earlier] = [wallOf(takenAt), wallOf(before.takenAt)].map((at) =>
    isExact ? at : Math.floor(at / 1000),
  ) as [number, number];
  if (now >= earlier) return [];
  const which = before.number === null ? 'the file that came before it' : `frame ${before.number}`;
  return [
    {
      code: 'order',
      sentence: `Its file says that it was taken before ${which}, but it was fired later: check that it is the right picture.`,
    },
  ];
}

/**
 * Each of three clocks may be a second off: the file's time and the camera's clock have whole seconds, and
 * reading the clock takes a moment. Common practice, no source.
 */
export const CLOCK_SLACK_MS = 3000;
/**
 * Time zones differ by whole quarters of an hour, by at most 26 h (common practice, no source). A difference
 * of that size is another zone, and not marked.
 */
export const ZONE_MS = 900_000;
const FARTHEST_ZONE_MS = 26 * 3_600_000;

/**
 * The shutter was open at some time between the release and the moment the file was here, however long the
 * exposure was.
 */
export function timeMarks(takenAt: TakenAt, release: Timed): FrameViewMark[] {
  const off = offRelease(takenAt, release) ?? 0;
  if (off === 0) return [];
  return [
    {
      code: 'time',
      sentence: `Its file says that it was taken ${roughDuration(Math.abs(off) / 1000)} ${off > 0 ? 'after' : 'before'} it was fired: check that it is the right picture, and that the camera's clock was not changed.`,
    },
  ];
}

export const doubtMark = (earlyMs: number): FrameViewMark => ({
  code: 'time',
  sentence: `It may have been taken ${roughDuration(earlyMs / 1000)} before it was fired, going by the file before it: check that it is the right picture.`,
});

/**
 * @returns milliseconds by which a file was taken before its release (below 0) or after it was here; 0 if
 *   it was taken in between, null if that cannot be known
 */
export function offRelease(
  takenAt: TakenAt,
  { times: { firedAt, storedAt }, clockDifference }: Timed,
): number | null {
  if (firedAt === null || storedAt === null || clockDifference === null) return null;
  const taken = wallOf(takenAt) - clockDifference * 1000;
  const from = wallHere(firedAt) - CLOCK_SLACK_MS;
  const to = Math.max(from, wallHere(storedAt)) + CLOCK_SLACK_MS;
  if (isBetween(taken, from, to)) return 0;
  return taken > to ? taken - to : taken - from;
}

function isBetween(taken: number, from: number, to: number): boolean {
  const zone = Math.ceil((taken - to) / ZONE_MS) * ZONE_MS;
  return Math.abs(zone) <= FARTHEST_ZONE_MS && taken - zone >= from && taken - zone <= to;
}

/** @returns the time on a wall clock here, counted as wallOf counts */
export function wallHere(at: string): number {
  const date = new Date(at);
  return Date.UTC(
    date.getFullYear(),
    date.getMonth(),
    date.getDate(),
    date.getHours(),
    date.getMinutes(),
    date.getSeconds(),
    date.getMilliseconds(),
  );
}

// --- the second file of a frame

/**
 * @param kind the kind of the file that the frame has
 * @param instead what happened to the other file, in a sentence; null if it did not come
 */
export const loneMark = ({
  kind,
  instead,
}: {
  readonly kind: string | undefined;
  readonly instead: string | null;
}): FrameViewMark => ({
  code: 'partner-missing',
  sentence:
    instead === null
      ? `Only ${kindInWords({ kind })} of its two files has come. The other one may be on the camera's card.`
      : `Only ${kindInWords({ kind })} of its two files is in the set. ${instead} The camera's card may still have it.`,
});

/** @param why it was left out, in one sentence */
export const leftOutWords = (kind: string | undefined, why: string): string =>
  `${upper(kindInWords({ kind }))} was set aside. ${why}`;

/** @param how as in `was gone after a restart` */
export const goneWords = (kind: string, how: string): string => `${upper(kindInWords({ kind }))} ${how}.`;

const upper = (words: string): string => words.charAt(0).toUpperCase() + words.slice(1);

/** @param words what is odd about it, in one sentence */
export const partnerMark = (
  partner: { readonly kind: string | undefined },
  words: string,
): FrameViewMark => ({
  code: 'partner-odd',
  sentence: `One of its two files, ${kindInWords(partner)}, is odd: ${words}`,
});

export const otherPixelsWords = (size: PixelSize, ofSet: PixelSize): string =>
  `It has ${size.width} x ${size.height} pixels, and those of the other frames have ${ofSet.width} x ${ofSet.height}.`;

// --- neighbours

/** Marks that can only be given once all frames of the set are there. */
const OF_NEIGHBOURS: ReadonlySet<FrameViewMark['code']> = new Set(['size', 'ratio']);
const OF_LIGHT: ReadonlySet<FrameViewMark['code']> = new Set(['camera-moved', 'subject-moved', 'less-sharp']);
const OF_ENDS: ReadonlySet<FrameViewMark['code']> = new Set(['clipped-light', 'clipped-dark']);

/**
 * @param sizes the darkest frame first
 * @returns marks by the numbers of their frames
 */
export const oddSizeMarks = (sizes: readonly SizedFrame[]): ReadonlyMap<number, readonly FrameViewMark[]> =>
  byNumber(oddSizes(sizes).map((odd) => [odd.number, { code: 'size', sentence: oddSizeSentence(odd) }]));

function byNumber(
  found: readonly (readonly [number, FrameViewMark])[],
): ReadonlyMap<number, readonly FrameViewMark[]> {
  const marks = new Map<number, readonly FrameViewMark[]>();
  for (const [number, mark] of found) marks.set(number, [...(marks.get(number) ?? []), mark]);
  return marks;
}

/**
 * @param marks those that a frame has
 * @param found those that a comparison with its neighbours gives it now
 * @returns all its marks; null if nothing changes
 */
export const withNeighbourMarks = (
  marks: readonly FrameViewMark[],
  found: readonly FrameViewMark[],
): FrameViewMark[] | null => withMarksOf(OF_NEIGHBOURS, marks, found);

/** As withNeighbourMarks, for marks from the light of its picture compared with the others. */
export const withLightMarks = (
  marks: readonly FrameViewMark[],
  found: readonly FrameViewMark[],
): FrameViewMark[] | null => withMarksOf(OF_LIGHT, marks, found);

/**
 * As withNeighbourMarks, for marks that a frame has as an end of its set, or no longer has since the set was
 * extended.
 */
export const withClippingMarks = (
  marks: readonly FrameViewMark[],
  found: readonly FrameViewMark[],
): FrameViewMark[] | null => withMarksOf(OF_ENDS, marks, found);

function withMarksOf(
  codes: ReadonlySet<FrameViewMark['code']>,
  marks: readonly FrameViewMark[],
  found: readonly FrameViewMark[],
): FrameViewMark[] | null {
  const words = (some: readonly FrameViewMark[]) => some.map(({ sentence }) => sentence).join('\n');
  const before = marks.filter(({ code }) => codes.has(code));
  if (words(before) === words(found)) return null;
  return [...marks.filter(({ code }) => !codes.has(code)), ...found];
}

/** @returns marks by the numbers of their frames */
export function ratioMarks({ ratios, suspects }: OddLight): ReadonlyMap<number, FrameViewMark> {
  const marks = new Map<number, FrameViewMark>();
  const odd = ratios.filter(({ mark }) => mark);
  for (const number of suspects) {
    const pairs = odd.filter(({ darker, lighter }) => darker === number || lighter === number);
    marks.set(number, {
      code: 'ratio',
      sentence: `Its brightness does not match its neighbours: ${pairs.map(pairWords).join(', ')}. Check it before you merge.`,
    });
  }
  for (const pair of odd) {
    if (suspects.includes(pair.darker) || suspects.includes(pair.lighter)) continue;
    marks.set(pair.lighter, {
      code: 'ratio',
      sentence: `The step in brightness is not as planned: ${pairWords(pair)}. The light may have changed in between.`,
    });
  }
  return marks;
}

const pairWords = ({ darker, lighter, expected, ev }: LightRatio): string =>
  `frames ${darker} and ${lighter} differ by ${signed(ev ?? 0)} EV, not ${signed(expected)}`;

const signed = (ev: number): string => `${ev > 0 ? '+' : ''}${Number(ev.toFixed(2))}`.replace('-', '\u2212');
