// The labels of `exposurecompensation`, of whatever dialect: `-0.3` and `-0.333`, `0.7` and `0.667` and `0.6` say the same.
import {
  LARGEST_EV,
  negated,
  ONE_EV,
  parseEv,
  plusSixths,
  type Sixths,
  sixths,
  timesSixths,
  toEv,
} from '../../exposure/index.js';

/** Decimals that stand for a part of an EV, in sixths: one or two thirds, cut or rounded, or a half. */
const PARTS: readonly (readonly [RegExp, Sixths])[] = [
  [/^0*$/, sixths(0)],
  [/^3+$/, sixths(2)],
  [/^50*$/, sixths(3)],
  [/^(?:6+7?|70*)$/, sixths(4)],
  [/^30+$/, sixths(2)],
];

/**
 * @param label decimals cut (`0.6`) or rounded (`0.7`) after one digit, PTP's thousandths (`-0.333`,
 *   `0.667`, `1`), six digits (`0.333333`), or fractions (`+1 1/3`), as libgphoto2 2.5.30 writes them
 * @returns sixths, or undefined if it is no such label
 */
export function compensation(label: string): Sixths | undefined {
  if (/^[+-]?(?:\d+ )?\d+\/\d+$/.test(label)) return parseEv(label);
  // Nobody writes two decimals.
  const [, sign, whole, decimals] = /^([+-]?)(\d{1,2})(?:\.(\d|\d{3,6}))?$/.exec(label) ?? [];
  const [, part] = PARTS.find(([pattern]) => pattern.test(decimals ?? '')) ?? [];
  if (whole === undefined || part === undefined) return undefined;
  const size = plusSixths(timesSixths(ONE_EV, Number(whole)), part);
  if (toEv(size) > LARGEST_EV) return undefined;
  return sign === '-' ? negated(size) : size;
}
