// The labels of dialect B (PTP vendor extension 0x0A) and their meaning, read off the tables of libgphoto2
// 2.5.30 (those of 2.5.34 are the same). The library names the codes of step and pattern by one table, but
// bodies number them in several ways: the meaning of a label can depend on the other labels that are offered.
// Recorded exposures have the last word.
import { parseEv, type ShutterSetting, type Sixths, sixths } from '../../../exposure/index.js';
import { isStandardLabel, standardShutters, writtenShutters } from '../shutters.js';

export const BRACKETING_ON = 'On';
export const BRACKETING_OFF = 'Off';
/** Of `bracketset`: the bracket moves the exposure and leaves flash, white balance and the rest alone. */
export const EXPOSURE_ONLY = 'AE only';

/**
 * @param choices of `shutterspeed2` (`1/125`, `13/10`, `30`), which is exact, or of `shutterspeed` (`0.0080s`)
 * @returns the settings behind them, longest first; bulb, time and x-sync left out
 */
export const patternShutters = (choices: readonly string[]): ShutterSetting[] =>
  choices.some(isStandardLabel) ? standardShutters(choices) : writtenShutters(choices);

/**
 * @returns the step that a label of `aebracketingstep` names, such as `1/3 EV`, or undefined if it names
 *   none
 */
export function patternStep(label: string): Sixths | undefined {
  const [, amount] = /^(.{1,8}) EV$/.exec(label) ?? [];
  const step = amount === undefined ? undefined : parseEv(amount);
  return step !== undefined && step > 0 ? step : undefined;
}

const STEP_LABELS = ['1/3 EV', '1/2 EV', '2/3 EV', '1 EV', '2 EV', '3 EV'];

/** @returns the code behind a label of `aebracketingstep`; codes that the library does not know are shown in hex */
function stepCode(label: string): number | undefined {
  const named = STEP_LABELS.indexOf(label);
  if (named >= 0) return named;
  const [, hex] = /^Unknown value ([0-9a-f]{4})$/.exec(label) ?? [];
  return hex === undefined ? undefined : Number.parseInt(hex, 16);
}

/** Eight codes, 0 to 7: every third and half up to 2 EV (from memory). */
const EIGHT_STEPS: readonly Sixths[] = [2, 3, 4, 6, 8, 9, 10, 12].map(sixths);

/** Five EV: beyond any auto-bracket. */
const LARGEST_STEP = sixths(30);

/**
 * @param codes that a body offers
 * @returns a function from a code to its step in sixths
 */
function numberingOf(codes: readonly number[]): (code: number) => Sixths | undefined {
  const largest = Math.max(...codes);
  if (largest < STEP_LABELS.length) return (code) => patternStep(STEP_LABELS[code] ?? '');
  if (codes.includes(0)) return (code) => (largest < EIGHT_STEPS.length ? EIGHT_STEPS[code] : undefined);
  return (code) => (code <= LARGEST_STEP && (code % 2 === 0 || code % 3 === 0) ? sixths(code) : undefined);
}

/**
 * Bodies number their steps in three ways, and the library names the codes by the first: six codes from 0, as
 * in its table; eight codes from 0; or the step itself in sixths (2, 4, 6, 12, 18), so that `2/3 EV` is 1/3
 * and `2 EV` is 2/3. The codes that are offered show which; that these are the three ways was concluded from
 * what bodies offer, not taken from a source.
 * @param choices of `aebracketingstep`
 * @returns the labels with the steps that writing them sets
 */
export function patternSteps(
  choices: readonly string[],
): readonly { readonly label: string; readonly step: Sixths }[] {
  const stepOf = numberingOf(choices.flatMap((label) => stepCode(label) ?? []));
  return choices.flatMap((label) => {
    const code = stepCode(label);
    const step = code === undefined ? patternStep(label) : stepOf(code);
    return step === undefined ? [] : { label, step };
  });
}

const TWO_UNDERS = '3 images (normal and 2 unders)';
const TWO_OVERS = '3 images (normal and 2 overs)';
const BOTH_WAYS = '3 images (normal, under and over)';

const POSITIONS: ReadonlyMap<string, readonly number[]> = new Map([
  ['2 images (normal and under)', [-1, 0]],
  ['2 images (normal and over)', [0, 1]],
  [TWO_UNDERS, [-2, -1, 0]],
  [TWO_OVERS, [0, 1, 2]],
  [BOTH_WAYS, [-1, 0, 1]],
  ['5 images (normal, 2 unders and 2 overs)', [-2, -1, 0, 1, 2]],
  ['7 images (normal, 3 unders and 3 overs)', [-3, -2, -1, 0, 1, 2, 3]],
  ['9 images (normal, 4 unders and 4 overs)', [-4, -3, -2, -1, 0, 1, 2, 3, 4]],
]);

/**
 * @param label of `aebracketingpattern`
 * @returns the frames in steps from the centre, ascending, or undefined if it names none (`0 image`)
 */
export const patternPositions = (label: string): readonly number[] | undefined => POSITIONS.get(label);

/**
 * Bodies with three patterns number them 0 to 2. The last is three frames both ways, but the library names it
 * as on bodies with more patterns: two to the dark side (from memory; some such bodies offer nothing else).
 * @param choices of `aebracketingpattern`
 * @returns the labels with the frames that they stand for, in steps from the centre, ascending; doubtful
 *   ones left out
 */
export function patternShapes(
  choices: readonly string[],
): readonly { readonly label: string; readonly positions: readonly number[] }[] {
  const doubtful = !choices.includes(BOTH_WAYS);
  return choices.flatMap((label) => {
    const positions = patternPositions(label);
    if (positions === undefined) return [];
    if (doubtful && (label === TWO_UNDERS || label === TWO_OVERS)) {
      return choices.includes(TWO_OVERS) ? [] : { label, positions: [-1, 0, 1] };
    }
    return { label, positions };
  });
}

export type PatternOrder = 'centre-first' | 'dark-first';

/** @returns the order that a label of `bracketorder` names, or undefined */
export function patternOrder(label: string): PatternOrder | undefined {
  if (label === 'MTR > Under') return 'centre-first';
  return label === 'Under > MTR' ? 'dark-first' : undefined;
}

/**
 * @param positions in steps from the centre, in any order
 * @returns them as the body fires them: the metered one, then from dark to light; or all from dark to light. From memory,
 *   not from a source: a body profile corrects it.
 */
export function inFiringOrder(positions: readonly number[], order: PatternOrder): number[] {
  const ascending = [...positions].sort((a, b) => a - b);
  if (order === 'dark-first') return ascending;
  return [
    ...ascending.filter((position) => position === 0),
    ...ascending.filter((position) => position !== 0),
  ];
}
