// Which test frame is fired next, so that a few of them tell how far the light of a scene reaches: first
// towards darker frames, until one holds the highlights, then towards brighter ones, until one lifts the
// shadows, and last the two frames that the set would end with, as a proof. Pure. Somebody else looks at the
// pictures and says what a frame shows.
import {
  labelledShutters,
  type Sixths,
  SUN_METERED_EV100,
  sixths,
  timeAt,
  toEv,
} from '../../exposure/index.js';
import { propose } from './place.js';
import {
  type FoundEnd,
  MOST_TEST_FRAMES,
  type Next,
  type Proposed,
  type SoFar,
  type SoundingAt,
  type TestExposure,
  type WhyNotReached,
} from './types.js';

/** @returns what can be fired, the darkest first; only settings that can be set by their labels */
export function testExposures({
  mode,
  limits,
  start,
}: Pick<SoundingAt, 'mode' | 'limits' | 'start'>): TestExposure[] {
  const offset = (tv: Sixths) => sixths(start.tv - tv);
  if (mode === 'manual')
    return labelledShutters(limits)
      .filter(({ settable, seconds }) => settable && seconds <= limits.longestSeconds)
      .map((shutter) => ({ offset: offset(shutter.tv), shutter }))
      .reverse();
  const { range, grid } = limits.compensation;
  const most = grid === 0 ? 0 : Math.floor(range / grid);
  return Array.from({ length: 2 * most + 1 }, (_, index) => sixths((index - most) * grid)).map((by) => ({
    offset: by,
    shutter: timeAt(sixths(start.tv - by)),
  }));
}

/** @throws EvenrungError step-not-offered */
export function nextTest(at: SoundingAt, soFar: SoFar): Next {
  if (isSun(at, soFar) && !at.despiteSun) return { is: 'sun' };
  const darker = outwards('darker', at, soFar);
  if (typeof darker === 'object') return { is: 'fire', exposure: darker, to: 'darker' };
  const spot = spotTest(at, soFar);
  if (spot !== undefined) return { is: 'fire', exposure: spot, to: 'spot' };
  const brighter = outwards('brighter', at, soFar);
  if (typeof brighter === 'object') return { is: 'fire', exposure: brighter, to: 'brighter' };
  const { highlights, shadows } = soFar.seen;
  const proposed = propose(at, {
    exposures: testExposures(at),
    shown: soFar.shown,
    highlights: found(highlights.heldAt, darker),
    shadows: found(shadows.heldAt, brighter),
  });
  return proof(at, soFar, proposed) ?? { is: 'done', proposed, mayBeSun: soFar.seen.whiteParts > 0 };
}

const found = (heldAt: number | null, why: WhyNotReached | 'reached'): FoundEnd =>
  why === 'reached' || heldAt !== null
    ? { isReached: true, heldAt: heldAt ?? Number.NaN }
    : { isReached: false, why };

type Way = 'darker' | 'brighter';

/** Frames are kept for the other end, and for the proof. */
const KEPT: Readonly<Record<Way, number>> = { darker: 2, brighter: 1 };
/** A frame that shows less that is new is not worth its time. */
const LEAST_ON = sixths(4);

/**
 * How far out the next frame lies, by the share that is lost: a frame holds 7 EV, and its range has to meet
 * that of the frame before.
 */
const STEPS: readonly (readonly [share: number, step: Sixths])[] = [
  [0.5, sixths(36)],
  [0.1, sixths(24)],
  [0, sixths(18)],
];

/** @returns the next frame towards one end, or why there is none */
function outwards(
  way: Way,
  at: SoundingAt,
  { shown, seen, secondsLeft, takes }: SoFar,
): TestExposure | WhyNotReached | 'reached' {
  const { heldAt, lost } = way === 'darker' ? seen.highlights : seen.shadows;
  if (heldAt !== null) return 'reached';
  const sign = way === 'darker' ? -1 : 1;
  const outermost = Math.max(...shown.map(({ offset }) => sign * offset));
  const beyond = testExposures(at).filter(({ offset }) => sign * offset > outermost);
  if (beyond.length === 0) return 'range';
  if (shown.length >= MOST_TEST_FRAMES - KEPT[way]) return 'frames';
  const step = STEPS.find(([share]) => lost.share >= share)?.[1] ?? LEAST_ON;
  const quick = beyond.filter((exposure) => takes(exposure) <= secondsLeft);
  const next = nearestTo(sixths(sign * (outermost + step)), quick);
  const isAll = quick.length === beyond.length;
  if (next === undefined || (!isAll && sign * next.offset - outermost < LEAST_ON)) return 'time';
  return next;
}

const nearestTo = (offset: Sixths, exposures: readonly TestExposure[]): TestExposure | undefined =>
  exposures.toSorted((a, b) => Math.abs(a.offset - offset) - Math.abs(b.offset - offset))[0];

const darkestOf = (shown: SoFar['shown']): number => Math.min(...shown.map(({ offset }) => offset));

/** Whether white in a frame of this exposure can only be the sun, or its mirror image. */
const onlySunIsWhite = ({ whiteFromEv100 }: SoundingAt, offset: number): boolean =>
  whiteFromEv100 !== null && whiteFromEv100 - toEv(sixths(offset)) >= SUN_METERED_EV100;

export const isSun = (at: SoundingAt, { shown, seen }: Pick<SoFar, 'shown' | 'seen'>): boolean =>
  seen.whiteParts > 0 && onlySunIsWhite(at, darkestOf(shown));

/**
 * A spot that is still white may be a lamp or the sun: the brightest frame that tells the two apart is fired
 * before any long exposure.
 */
function spotTest(at: SoundingAt, { shown, seen, secondsLeft, takes }: SoFar): TestExposure | undefined {
  const darkest = darkestOf(shown);
  if (seen.whiteParts === 0 || onlySunIsWhite(at, darkest) || shown.length >= MOST_TEST_FRAMES - 1)
    return undefined;
  return testExposures(at).findLast(
    (exposure) =>
      exposure.offset < darkest && onlySunIsWhite(at, exposure.offset) && takes(exposure) <= secondsLeft,
  );
}

/**
 * The frames that just hold each end, unless they were fired: what they show counts more than what other
 * frames led to expect, and is the proof. If the set has one frame, that one.
 */
function proof(
  at: SoundingAt,
  { shown, secondsLeft, takes }: SoFar,
  { offsets, needed, highlights, shadows }: Proposed,
): Next | undefined {
  if (shown.length >= MOST_TEST_FRAMES) return undefined;
  const fired = shown.map(({ offset }) => offset);
  const exposures = testExposures(at);
  const [only] = offsets.length === 1 ? offsets : [];
  const ends = [
    [exposures.findLast(({ offset }) => offset <= (only ?? needed.darkest)), 'darkest', highlights],
    [exposures.find(({ offset }) => offset >= (only ?? needed.brightest)), 'brightest', shadows],
  ] as const;
  for (const [exposure, to, { isReached }] of ends) {
    if (exposure === undefined || !isReached || fired.includes(exposure.offset)) continue;
    if (takes(exposure) <= secondsLeft) return { is: 'fire', exposure, to };
  }
  return undefined;
}
