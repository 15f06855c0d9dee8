// What two readings cannot be made into frames for, and what to do then. Every suggestion was checked. Pure.
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
  minusSixths,
  plusSixths,
  type ShutterSetting,
  type Sixths,
  type Standing,
  sixths,
  slowestThatHolds,
} from '../exposure/index.js';
import { apertureFor, isoFor, rangeOf } from './impossible.js';
import type { Placement, Scene } from './readings-place.js';
import type { Part } from './readings-words.js';

const unusable = (message: string, field: Part | 'step', suggestions: readonly Suggestion[] = []) =>
  new EvenrungError('readings-unusable', message, {
    field,
    ...(suggestions.length === 0 ? {} : { suggestions }),
  });

/**
 * What would be wrong with any body.
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
    const message = `A frame holds ${formatEv(whole, false)} EV in all, and with a step of ${formatEv(step, false)} EV some tones would be in none.`;
    const smaller = stepsFrom(SMALLEST_STEP, whole).at(-1);
    if (smaller === undefined)
      throw unusable(`${message} Look at the room that a frame is said to have.`, 'step');
    throw unusable(`${message} Take a step of ${formatEv(smaller, false)} EV or less.`, 'step', [
      stepOf(smaller),
    ]);
  }
  if (frames <= MOST_FRAMES) return;
  const wider = stepsFrom(step, LARGEST_STEP).find(
    (one) => one <= whole && fewestFrames(range, room, one) <= MOST_FRAMES,
  );
  throw unusable(
    `That would take ${frames} frames, and ${MOST_FRAMES} are the most: take a wider step, or meter again.`,
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
    throw unusable(`No meter reads ${words}: look at the ${part} part again.`, part);
  }
  const ev100 = ev100Of(reading, { fNumber: null, iso: null }) ?? 0;
  if (ev100 > BRIGHTEST_EV100)
    throw unusable(`${words} is brighter than the sun's disc at noon: look at the ${part} part again.`, part);
  if (ev100 < DARKEST_EV100)
    throw unusable(`${words} is darker than any night: look at the ${part} part again.`, part);
}

function mustDiffer({ darkest, brightest, written }: Metered, { darkestTv, brightestTv }: Scene): void {
  const [dark, bright] = [readingInWords(darkest), readingInWords(brightest)];
  if (brightestTv < darkestTv)
    throw unusable(
      `The darkest part (${dark}) reads brighter than the brightest part (${bright}): change the two over.`,
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
    `Both parts read the same (${dark}${bright === dark ? '' : `, ${bright}`}): meter the darkest part that must keep detail and then the brightest, or ask for one frame at ${labelOf(darkestTv)} s.`,
    'brightest',
  );
}

/**
 * What this body cannot do.
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
  const usable = limits.shutters.filter(({ seconds }) => seconds <= limits.longestSeconds);
  const range = rangeOf({ ...limits, shutters: usable });
  const tooBright = beyond(
    usable,
    (fastest) => minusSixths(slowestThatHolds(scene.brightestTv, scene.room), fastest),
    -1,
  );
  const tooDark = beyond(
    usable,
    (slowest) => minusSixths(slowest, fastestThatHolds(scene.darkestTv, scene.room)),
    0,
  );
  if (tooBright > 0 && tooDark > 0)
    return outOfRange(
      'brightest',
      `These two parts lie farther apart than the shutter times of this camera, ${range}, can hold: give up detail at one end, and meter a part that is less dark or less bright.`,
    );
  if (tooBright > 0) {
    const least = labelOf(slowestThatHolds(scene.brightestTv, scene.room));
    return outOfRange(
      'brightest',
      `The brightest part needs a frame of ${least} s or shorter, and the shutter times of this camera are ${range}: ${lessLight(tooBright, standing)}${again(metered.brightest)}.`,
    );
  }
  if (tooDark > 0) {
    const least = labelOf(fastestThatHolds(scene.darkestTv, scene.room));
    return outOfRange(
      'darkest',
      `The darkest part needs a frame of ${least} s or longer, and the shutter times of this camera are ${range}: ${moreLight(tooDark, standing)}${again(metered.darkest)}.`,
    );
  }
  return otherStep(step, range, placeAt);
}

const outOfRange = (field: Part, message: string) =>
  new EvenrungError('outside-shutter-range', message, { field });

/** @returns EV that the end of the shutter times falls short by, rounded up to thirds as dials go; 0 and below where it does not */
function beyond(usable: readonly ShutterSetting[], lacks: (end: Sixths) => Sixths, at: 0 | -1): Sixths {
  const end = usable.at(at);
  const lacking = end === undefined ? sixths(1) : lacks(end.tv);
  return sixths(Math.ceil(lacking / 2) * 2);
}

const words = (ways: readonly ({ readonly words: string } | null)[]): string =>
  ways.flatMap((way) => way?.words ?? []).join(', or ');

/** No filter: a meter beside the camera reads past it. */
const lessLight = (ev: Sixths, { fNumber, iso }: Standing): string =>
  `take ${words([apertureFor(ev, fNumber ?? undefined), isoFor(ev, iso ?? undefined)])}`;

const moreLight = (ev: Sixths, { fNumber, iso }: Standing): string => {
  const less = sixths(-ev);
  return `take ${words([apertureFor(less, fNumber ?? undefined), isoFor(less, iso ?? undefined)])}`;
};

/** A time was metered at an aperture and an ISO that are changed then. */
const again = ({ kind }: Reading): string => (kind === 'time' ? ', and meter both parts again' : '');

/** The settings of the body lie on another grid, or one frame more does not fit in. */
function otherStep(step: Sixths, range: string, placeAt: (step: Sixths) => Placement | null): EvenrungError {
  const found = stepsFrom(SMALLEST_STEP, LARGEST_STEP)
    .filter((one) => one !== step)
    .sort((a, b) => Math.abs(a - step) - Math.abs(b - step) || b - a)
    .find((one) => placeAt(one) !== null);
  const message = `In steps of ${formatEv(step, false)} EV no frames from ${range} hold both parts.`;
  return new EvenrungError('step-not-offered', `${message} Take another step.`, {
    field: 'step',
    ...(found === undefined ? {} : { suggestions: [stepOf(found)] }),
  });
}
