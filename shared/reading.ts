// A spot reading of a light meter, as a photographer has it: a shutter time at the aperture and ISO of the
// camera, EV at ISO 100, or luminance. Pure; what follows from it is worked out in src/exposure/readings.ts.
//
// How it is written:
// - a shutter time, in every spelling of a base: `1/60`, `1/60 s`, `0.5`, `2 s`, `30"`; a bare number is seconds.
// - EV at ISO 100: `EV 9.3`, `9.3 EV`, `EV -2`, `EV 9 1/3`.
// - luminance: `120 cd/m2`, `120 cd/m²`, `0.5 cd/m^2`, `1.6e4 cd/m2`.
// A decimal comma may take the place of the point.
import { parseEv, toEv } from './ev.js';
import { parseShutter } from './shutter-words.js';

export type Reading =
  | { readonly kind: 'time'; readonly seconds: number }
  /** EV at ISO 100. */
  | { readonly kind: 'ev'; readonly ev100: number }
  /** cd/m2, above 0. */
  | { readonly kind: 'luminance'; readonly luminance: number };

/** The kind of files that the frames become; if both are made, it is raw, since the raw file is merged. */
export const FILE_KINDS = ['raw', 'jpeg'] as const;
export type FileKind = (typeof FILE_KINDS)[number];

export const LONGEST_READING = 32;

const EV_BEFORE = /^ev\s*(.+)$/i;
const EV_BEHIND = /^(.+?)\s*ev$/i;
const LUMINANCE =
  /^(\d{1,12}(?:\.\d{1,12})?|\.\d{1,12})(?:e([+-]?\d{1,2}))?\s*cd\s*\/\s*m\s*(?:\^?2|\u00b2)$/i;
const DECIMAL = /^[+-]?(?:\d{1,3}(?:\.\d{0,6})?|\.\d{1,6})$/;
/** A comma with three digits behind it may set off thousands as well. */
const COMMA = /^([^,]*\d),(\d(?:\d|\d{3,})?)(?!\d)([^,]*)$/;

/** @returns the reading, or undefined if the text is none: nothing, zero, bulb, nonsense */
export function parseReading(text: string): Reading | undefined {
  if (text.length > LONGEST_READING) return undefined;
  const bare = text.trim().replaceAll('\u2212', '-').replace(COMMA, '$1.$2$3');
  return luminanceIn(bare) ?? evIn(bare) ?? timeIn(bare);
}

function luminanceIn(text: string): Reading | undefined {
  const [, digits, power = '0'] = LUMINANCE.exec(text) ?? [];
  const luminance = Number(`${digits}e${power}`);
  return luminance > 0 ? { kind: 'luminance', luminance } : undefined;
}

function evIn(text: string): Reading | undefined {
  const number = (EV_BEFORE.exec(text) ?? EV_BEHIND.exec(text))?.[1]?.trim();
  if (number === undefined) return undefined;
  // Meters show tenths: 9.3 is 9.3 here, and not a third.
  const fraction = parseEv(number);
  const ev100 = DECIMAL.test(number) ? Number(number) : fraction === undefined ? undefined : toEv(fraction);
  return ev100 === undefined ? undefined : { kind: 'ev', ev100 };
}

function timeIn(text: string): Reading | undefined {
  const time = parseShutter(text);
  return time?.kind === 'time' ? { kind: 'time', seconds: time.seconds } : undefined;
}

/** @returns the reading as it is said back: `1/60 s`, `EV 9.3`, `120 cd/m²` */
export function readingInWords(reading: Reading): string {
  switch (reading.kind) {
    case 'time':
      return `${secondsInWords(reading.seconds)} s`;
    case 'ev':
      return `EV ${rounded(reading.ev100)}`;
    case 'luminance':
      return `${rounded(reading.luminance)} cd/m²`;
  }
}

/** Times of a quarter of a second and less are said as fractions, as they are on cameras. */
const FRACTION_FROM_SECONDS = 0.26;

const secondsInWords = (seconds: number): string =>
  seconds < FRACTION_FROM_SECONDS ? `1/${rounded(1 / seconds)}` : rounded(seconds);

/** @returns at most three digits that count, without trailing zeros */
const rounded = (value: number): string =>
  Math.abs(value) >= 1000 ? String(Math.round(value)) : String(Number(value.toPrecision(3)));
