// Refusals of two readings that cannot be made into frames, with suggestions. Every suggestion was checked.
// Pure.
import { EvenrungError } from '../../shared/errors.js';
import type { Suggestion } from '../../shared/plan.js';
import { type Reading, readingInWords } from '../../shared/reading.js';
import { LARGEST_STEP, type Metered, MOST_FRAMES, SMALLEST_STEP } from '../../shared/request.js';
import {
  type BodyLimits,
  BRIGHTEST_EV100,
  DARKEST_EV100,
  ev100Of,
  fastestThatHolds,
  fewestFrames,
  formatEv,
  labelOf,
  magnitude,
  minusSixths,
  plusSixths,
  type ShutterSetting,
  type Sixths,
  type Standing,
  sixths,
  slowestThatHolds,
} from '../exposure/index.js';
import { apertureFor, isoFor, rangeOf } from './impossible.js';
import { type Placement, type Scene, usableOf } from './readings-place.js';
import { type Part, stopsInWords, sunInWords } from './readings-words.js';

const unusable = (message: string, field: Part | 'step', suggestions: readonly Suggestion[] = []) =>
  new EvenrungError('readings-unusable', message, {
    field,
    ...(suggestions.length === 0 ? {} : { suggestions }),
  });

/**
 * Refuses readings that would be wrong with any body.
 * @throws EvenrungError readings-unusable
 */
export function mustHold(metered: Metered, scene: Scene, step: Sixths): void {
  const { darkest, brightest } = metered;
  mustBeOnEarth(darkest, 'darkest');
  mustBeOnEarth(brightest, 'brightest');
  mustDiffer(metered, scene);
  const { room } = scene;
  const range = minusSixths(scene.brightestTv, scene.darkestTv);
  const frames = fewestFrames(range, room, step);
  const whole = plusSixths(room.above, room.below);
  if (frames > 1 && step > whole) {
    const message = `Each frame holds ${formatEv(whole, false)} EV, so a step of ${formatEv(step, false)} EV would leave gaps: some tones would be in no frame.`;
    const smaller = stepsFrom(SMALLEST_STEP, whole).at(-1);
    if (smaller === undefined) throw unusable(`${message} Check the room that you gave for a frame.`, 'step');
    throw unusable(`${message} Use a step of ${formatEv(smaller, false)} EV or less.`, 'step', [
      stepOf(smaller),
    ]);
  }
  if (frames <= MOST_FRAMES) return;
  const wider = stepsFrom(step, LARGEST_STEP).find(
    (one) => one <= whole && fewestFrames(range, room, one) <= MOST_FRAMES,
  );
  throw unusable(
    `That would take ${frames} frames, and ${MOST_FRAMES} are the most: use a wider step, or meter again.`,
    'step',
    wider === undefined ? [] : [stepOf(wider)],
  );
}

/** Thirds and halves. */
const stepsFrom = (from: Sixths, to: Sixths): Sixths[] =>
  Array.from({ length: Math.max(0, to - from + 1) }, (_, more) => sixths(from + more)).filter(
    (step) => step % 2 === 0 || step % 3 === 0,
  );

const stepOf = (step: Sixths): Suggestion => ({
  code: 'step',
  message: `A step of ${formatEv(step, false)} EV.`,
  change: { step: formatEv(step, false) },
});

/** No meter tells a shorter or a longer time. */
const SHORTEST_SECONDS = 1e-6;
const LONGEST_SECONDS = 86_400;

function mustBeOnEarth(reading: Reading, part: Part): void {
  const words = readingInWords(reading);
  if (reading.kind === 'time') {
    if (reading.seconds >= SHORTEST_SECONDS && reading.seconds <= LONGEST_SECONDS) return;
    throw unusable(`No meter reads ${words}: check the reading of the ${part} part.`, part);
  }
  const ev100 = ev100Of(reading, { fNumber: null, iso: null }) ?? 0;
  if (ev100 > BRIGHTEST_EV100)
    throw unusable(
      `${words} is brighter than the sun's disc at noon: check the reading of the ${part} part.`,
      part,
    );
  if (ev100 < DARKEST_EV100)
    throw unusable(`${words} is darker than any night: check the reading of the ${part} part.`, part);
}

function mustDiffer({ darkest, brightest, written }: Metered, { darkestTv, brightestTv }: Scene): void {
  const [dark, bright] = [readingInWords(darkest), readingInWords(brightest)];
  if (brightestTv < darkestTv)
    throw unusable(
      `The darkest part (${dark}) reads brighter than the brightest part (${bright}): swap the two.`,
      'darkest',
      [
        {
          code: 'readings',
          message: `Darkest part ${bright}, brightest part ${dark}.`,
          change: { readings: { darkest: written.brightest, brightest: written.darkest } },
        },
      ],
    );
  if (brightestTv > darkestTv) return;
  throw unusable(
    `Both parts read the same (${dark}${bright === dark ? '' : `, ${bright}`}). Meter the darkest and the brightest part that must keep detail, or shoot one frame at ${labelOf(darkestTv)} s.`,
    'brightest',
  );
}

/**
 * The refusal of readings that this body cannot hold.
 * @param placeAt the same scene in another step
 */
export function noPlaceFor(
  metered: Metered,
  scene: Scene,
  step: Sixths,
  limits: BodyLimits,
  standing: Standing,
  placeAt: (step: Sixths) => Placement | null,
): EvenrungError {
  const usable = usableOf(limits);
  const range = rangeOf({ ...limits, shutters: usable });
  const { brightestTv, darkestTv, room } = scene;
  const [longest, shortest] = [slowestThatHolds(brightestTv, room), fastestThatHolds(darkestTv, room)];
  const tooBright = beyond(usable.at(-1), (fastest) => minusSixths(longest, fastest));
  const tooDark = beyond(usable[0], (slowest) => minusSixths(slowest, shortest));
  const refuse = (field: Part, message: string) => outOfRange(field, message, metered, standing);
  if (tooBright > 0 && tooDark > 0)
    return refuse(
      'brightest',
      `These two parts are farther apart than this camera's shutter times, ${range}, can hold. Give up detail at one end: meter a part that is less dark or less bright.`,
    );
  const needs = (part: Part, tv: Sixths, than: string) =>
    `The ${part} part needs a frame of ${labelOf(tv)} s or ${than}, and this camera's shutter times are ${range}`;
  if (tooBright > 0)
    return refuse(
      'brightest',
      `${needs('brightest', longest, 'shorter')}: ${otherLight(tooBright, standing)}${again(metered)}.`,
    );
  if (tooDark > 0)
    return refuse(
      'darkest',
      `${needs('darkest', shortest, 'longer')}: ${otherLight(sixths(-tooDark), standing)}${again(metered)}.`,
    );
  return otherStep(step, range, placeAt);
}

/** Somebody who is told to let less light in should not have to look for the reading in the sun. */
function outOfRange(field: Part, message: string, { brightest }: Metered, standing: Standing): EvenrungError {
  const caution = sunInWords(ev100Of(brightest, standing));
  const whole = caution === null ? message : `${message} ${caution}`;
  return new EvenrungError('outside-shutter-range', whole, { field });
}

/**
 * @returns EV by which the end of the shutter times falls short, rounded up to thirds as dials go; 0 or
 *   below if it does not
 */
function beyond(end: ShutterSetting | undefined, lacks: (end: Sixths) => Sixths): Sixths {
  const lacking = end === undefined ? sixths(1) : lacks(end.tv);
  return sixths(Math.ceil(lacking / 2) * 2);
}

/**
 * @param ev less light; below 0 it is more. A filter is not suggested, since a meter beside the camera does
 *   not read through it.
 */
const otherLight = (ev: Sixths, { fNumber, iso }: Standing): string => {
  const ways = [apertureFor(ev, fNumber ?? undefined), isoFor(ev, iso ?? undefined)];
  const words = ways.flatMap((way) => way?.words ?? []);
  const size = stopsInWords(magnitude(ev));
  return words.length > 0 ? `use ${words.join(', or ')}` : `let in ${size} ${ev > 0 ? 'less' : 'more'} light`;
};

/** A time was metered at an aperture and an ISO that are changed then. */
const again = ({ darkest, brightest }: Metered): string =>
  darkest.kind === 'time' || brightest.kind === 'time' ? ', and meter both parts again' : '';

/** The settings of the body lie on another grid, or one frame more does not fit in. */
function otherStep(step: Sixths, range: string, placeAt: (step: Sixths) => Placement | null): EvenrungError {
  const found = stepsFrom(SMALLEST_STEP, LARGEST_STEP)
    .filter((one) => one !== step)
    .sort((a, b) => Math.abs(a - step) - Math.abs(b - step) || b - a)
    .find((one) => placeAt(one) !== null);
  const message = `In steps of ${formatEv(step, false)} EV, no frames from ${range} hold both parts.`;
  return new EvenrungError('step-not-offered', `${message} Use another step.`, {
    field: 'step',
    ...(found === undefined ? {} : { suggestions: [stepOf(found)] }),
  });
}
