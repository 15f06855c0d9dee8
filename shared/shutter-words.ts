// Shutter times as people and bodies write them. The times that a body can be set to are in src/exposure.

/** The meaning of a shutter text: a time in seconds, as it is written, or bulb (open until told to close). */
export type WrittenShutter = { readonly kind: 'time'; readonly seconds: number } | { readonly kind: 'bulb' };

const FRACTION = /^(\d+(?:\.\d+)?)\/(\d+(?:\.\d+)?)$/;
const SECONDS = /^(\d+(?:\.\d+)?|\.\d+)$/;
const QUOTED = /^(\d+)["\u2033](\d*)$/;

/** No label is longer; a longer text need not be read. */
const LONGEST_TEXT = 64;
/** Codes for bulb and the like come printed as fractions: 0xFFFFFFFD as `65535/65533`. */
const FIRST_CODE = 0x8000;

/**
 * Reads every spelling of a shutter time that a person or a body uses: `1/125`, `0.3`, `0"3`, `30"`, `30`,
 * `1.6`, `13/10`, `2s`, `0.0100s`, `1/1.3`, `bulb`. Nominal times are not made exact here.
 * @returns its meaning, or undefined if the text is not a time: `auto`, nothing, zero, nonsense
 */
export function parseShutter(text: string): WrittenShutter | undefined {
  if (text.length > LONGEST_TEXT) return undefined;
  const bare = text.trim().replace(/\s*(?:s|sec|seconds?)$/i, '');
  if (/^bulb$/i.test(bare)) return { kind: 'bulb' };
  const seconds = fraction(bare) ?? quoted(bare) ?? plain(bare);
  return seconds !== undefined && seconds > 0 && Number.isFinite(seconds)
    ? { kind: 'time', seconds }
    : undefined;
}

function fraction(text: string): number | undefined {
  const [, top, bottom] = FRACTION.exec(text) ?? [];
  if (top === undefined || bottom === undefined || Number(top) >= FIRST_CODE) return undefined;
  return Number(top) / Number(bottom);
}

function quoted(text: string): number | undefined {
  const [, whole, tenths] = QUOTED.exec(text) ?? [];
  return whole === undefined ? undefined : Number(`${whole}.${tenths || '0'}`);
}

const plain = (text: string): number | undefined => (SECONDS.test(text) ? Number(text) : undefined);
