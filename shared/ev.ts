// EV values, as people and programs write them and as everything inside counts them: in whole sixths of an
// EV. A third is two sixths and a half is three, so every step that a body knows adds up exactly.

declare const unit: unique symbol;

/**
 * An exposure value, or the difference of two, in whole sixths of an EV: 6 is one stop. A difference above 0
 * is more light. The compiler tells sixths from EV and from any other number. Sums, differences and multiples
 * of sixths are made here, and toEv and fromEv are the only ways to EV and back.
 */
export type Sixths = number & { readonly [unit]: 'sixths of an EV' };

/** The one place where a number becomes sixths. It also turns -0 into 0. */
const whole = (count: number): Sixths => (count === 0 ? 0 : count) as Sixths;

/** @throws RangeError if it is not a whole number */
export function sixths(count: number): Sixths {
  if (!Number.isSafeInteger(count)) throw new RangeError(`${count} is no whole number of sixths of an EV.`);
  return whole(count);
}

export const SIXTHS_PER_EV = 6;
export const NO_EV = sixths(0);
export const ONE_EV = sixths(SIXTHS_PER_EV);

export const plusSixths = (one: Sixths, other: Sixths): Sixths => whole(one + other);
export const minusSixths = (one: Sixths, other: Sixths): Sixths => whole(one - other);
export const negated = (value: Sixths): Sixths => whole(-value);
export const magnitude = (value: Sixths): Sixths => whole(Math.abs(value));
/** @param count a whole number */
export const timesSixths = (value: Sixths, count: number): Sixths => whole(value * count);
export const leastOf = (...values: readonly [Sixths, ...Sixths[]]): Sixths => whole(Math.min(...values));
export const mostOf = (...values: readonly [Sixths, ...Sixths[]]): Sixths => whole(Math.max(...values));

/** Farther than any body or scene reaches; a larger value is a typing mistake. */
export const LARGEST_EV = 40;

/** @returns the value in EV, as a plain number */
export const toEv = (value: Sixths): number => value / SIXTHS_PER_EV;

/** @returns the nearest whole number of sixths */
export const fromEv = (ev: number): Sixths => whole(Math.round(ev * SIXTHS_PER_EV));

/**
 * Whether two values in EV are the same number of sixths. EV are fractions, so the same value worked out in
 * two ways may differ in its last digit.
 */
export const isSameEv = (one: number, other: number): boolean => fromEv(one) === fromEv(other);

const FRACTION = /^([+-]?)(?:(\d{1,3})(?:\s+|(?=$)))?(?:(\d{1,3})\/(\d{1,3}))?$/;
const DECIMAL = /^([+-]?)(\d{0,3})(?:\.(\d{1,17}))?$/;

/**
 * Reads an EV value: `1`, `-4`, `0.5`, `2/3`, `-1 1/3`, `+2`. A decimal stands for the third or half that it
 * is a rounding of: 0.3 and 0.33 mean 1/3, 0.7 and 0.67 mean 2/3. 0.4 is a rounding of neither and is
 * refused.
 * @returns whole sixths, or undefined if the text is not a multiple of 1/6 EV within LARGEST_EV
 */
export function parseEv(written: string | number): Sixths | undefined {
  const text = String(written).trim().replace('\u2212', '-');
  const value = parseFraction(text) ?? parseDecimal(text);
  return value === undefined || Math.abs(toEv(value)) > LARGEST_EV ? undefined : value;
}

function parseFraction(text: string): Sixths | undefined {
  const [, sign, units, top, bottom] = FRACTION.exec(text) ?? [];
  if (units === undefined && top === undefined) return undefined;
  const size =
    Number(units ?? 0) * SIXTHS_PER_EV +
    (top === undefined ? 0 : (Number(top) * SIXTHS_PER_EV) / Number(bottom));
  return Number.isInteger(size) ? withSign(sign, whole(size)) : undefined;
}

function parseDecimal(text: string): Sixths | undefined {
  const [, sign, units = '', digits = ''] = DECIMAL.exec(text) ?? [];
  if (units === '' && digits === '') return undefined;
  const value = Number(`${units || '0'}.${digits || '0'}`);
  // A decimal may be rounded to its last digit. With two digits or more it may also be cut off there (0.66),
  // as some programs write it.
  const unit = 10 ** -digits.length;
  const reach = Math.max(digits.length >= 2 ? unit : unit / 2, 1e-9) * (1 + 1e-9);
  const half = whole(Math.round(value * 2) * 3);
  const third = whole(Math.round(value * 3) * 2);
  const exactHalf = Math.abs(value - toEv(half)) < 1e-9;
  const nearThird = Math.abs(value - toEv(third)) <= reach && digits.length > 0;
  if (!exactHalf && !nearThird) return undefined;
  return withSign(sign, exactHalf ? half : third);
}

const withSign = (sign: string | undefined, size: Sixths): Sixths => (sign === '-' ? negated(size) : size);

/** @returns `0`, `+1 1/3`, `-2/3`; without the plus sign if `signed` is false */
export function formatEv(value: Sixths, signed = true): string {
  if (value === 0) return '0';
  const sign = value < 0 ? '-' : signed ? '+' : '';
  const size = Math.abs(value);
  const units = Math.floor(size / SIXTHS_PER_EV);
  const fraction = ['', '1/6', '1/3', '1/2', '2/3', '5/6'][size % SIXTHS_PER_EV] ?? '';
  return `${sign}${[units === 0 ? '' : String(units), fraction].filter((part) => part !== '').join(' ')}`;
}

/** In a sentence and on the screen a minus sign is as wide as a plus; over the wire and on a command line it is a hyphen. */
const MINUS = '\u2212';

/** @returns `-1 1/3` as it is read, with a minus sign */
export const withMinus = (written: string): string => written.replace(/^-/, MINUS);

/** @returns as `formatEv`, to be read by people. Whatever a program reads back has `formatEv` */
export const evInWords = (value: Sixths, signed = true): string => withMinus(formatEv(value, signed));
