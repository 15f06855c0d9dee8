// EV values as people and programs write them, and as everything inside counts them: whole sixths of an EV.
// Thirds are two sixths, halves three, so that every step that a body knows adds up exactly.

/** Exposure value difference in whole sixths of an EV: 6 is one stop. Positive is more light. */
export type Sixths = number;

export const SIXTHS_PER_EV = 6;

/** Farther than any body or scene reaches; what lies beyond is a slip of the finger. */
export const LARGEST_EV = 40;

/** @returns the value in EV, as a plain number */
export const toEv = (sixths: Sixths): number => (sixths === 0 ? 0 : sixths / SIXTHS_PER_EV);

/** @returns whole sixths; the number must be one that toEv gave (it is rounded, not checked) */
export const fromEv = (ev: number): Sixths => Math.round(ev * SIXTHS_PER_EV);

const FRACTION = /^([+-]?)(?:(\d{1,3})(?:\s+|(?=$)))?(?:(\d{1,3})\/(\d{1,3}))?$/;
const DECIMAL = /^([+-]?)(\d{0,3})(?:\.(\d{1,17}))?$/;

/**
 * Reads an EV value: `1`, `-4`, `0.5`, `2/3`, `-1 1/3`, `+2`. Decimals stand for the third or half that they are a
 * rounding of: 0.3 and 0.33 mean 1/3, 0.7 and 0.67 mean 2/3; 0.4 means nothing.
 * @returns whole sixths, or undefined where the text is no multiple of 1/6 EV within LARGEST_EV
 */
export function parseEv(written: string | number): Sixths | undefined {
  const text = String(written).trim().replace('\u2212', '-');
  const sixths = parseFraction(text) ?? parseDecimal(text);
  if (sixths === undefined || Math.abs(sixths) > LARGEST_EV * SIXTHS_PER_EV) return undefined;
  return sixths === 0 ? 0 : sixths;
}

function parseFraction(text: string): Sixths | undefined {
  const [, sign, whole, top, bottom] = FRACTION.exec(text) ?? [];
  if (whole === undefined && top === undefined) return undefined;
  const sixths =
    Number(whole ?? 0) * SIXTHS_PER_EV +
    (top === undefined ? 0 : (Number(top) * SIXTHS_PER_EV) / Number(bottom));
  if (!Number.isInteger(sixths)) return undefined;
  return sign === '-' ? -sixths : sixths;
}

function parseDecimal(text: string): Sixths | undefined {
  const [, sign, whole = '', digits = ''] = DECIMAL.exec(text) ?? [];
  if (whole === '' && digits === '') return undefined;
  const value = Number(`${whole || '0'}.${digits || '0'}`);
  // Rounded to its last digit; from two digits on also cut there (0.66), as some programs write it.
  const unit = 10 ** -digits.length;
  const reach = Math.max(digits.length >= 2 ? unit : unit / 2, 1e-9) * (1 + 1e-9);
  const half = Math.round(value * 2) * 3;
  const third = Math.round(value * 3) * 2;
  const exactHalf = Math.abs(value - toEv(half)) < 1e-9;
  const nearThird = Math.abs(value - toEv(third)) <= reach && digits.length > 0;
  if (!exactHalf && !nearThird) return undefined;
  const sixths = exactHalf ? half : third;
  return sign === '-' ? -sixths : sixths;
}

/** @returns `0`, `+1 1/3`, `-2/3`; without the plus sign where `signed` is false */
export function formatEv(sixths: Sixths, signed = true): string {
  if (sixths === 0) return '0';
  const sign = sixths < 0 ? '-' : signed ? '+' : '';
  const size = Math.abs(sixths);
  const whole = Math.floor(size / SIXTHS_PER_EV);
  const fraction = ['', '1/6', '1/3', '1/2', '2/3', '5/6'][size % SIXTHS_PER_EV] ?? '';
  return `${sign}${[whole === 0 ? '' : String(whole), fraction].filter((part) => part !== '').join(' ')}`;
}
