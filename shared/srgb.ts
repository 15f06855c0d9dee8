// The curve of sRGB, and how much light each of its colours gives (IEC 61966-2-1). Pure.

/** @param coded 0 to 1, as 8-bit levels over 255 are @returns linear light, 0 to 1 */
export const linearOf = (coded: number): number =>
  coded <= 0.04045 ? coded / 12.92 : ((coded + 0.055) / 1.055) ** 2.4;

/** @param linear light, 1 is white @returns the coded value, 0 to 1 for light from 0 to 1 */
export const codedOf = (linear: number): number =>
  linear <= 0.0031308 ? 12.92 * linear : 1.055 * linear ** (1 / 2.4) - 0.055;

/** Linear light, 0 to 1, of each 8-bit level. */
export const LINEAR_OF_LEVEL: Float64Array = Float64Array.from({ length: 256 }, (_, level) =>
  linearOf(level / 255),
);

/** @param linear light, 1 is white; whatever lies outside counts as black or white @returns the nearest 8-bit level */
export const levelOf = (linear: number): number =>
  Math.round(255 * codedOf(Math.min(1, Math.max(0, linear))));

/** Shares of linear red, green and blue in the luminance. */
export const LUMA = [0.2126, 0.7152, 0.0722] as const;
