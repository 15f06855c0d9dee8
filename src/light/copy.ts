// The small copies that everything in this room is judged by, and the curve that 8-bit levels are thought to lie on. Pure.

/** 8-bit red, green and blue, row by row from the top left corner, upright. */
export interface Copy {
  readonly pixels: Uint8Array;
  readonly width: number;
  readonly height: number;
}

/** One channel, 8 bits, row by row. */
export interface Grey {
  readonly levels: Uint8Array;
  readonly width: number;
  readonly height: number;
}

export const isSameShape = (
  one: { readonly width: number; readonly height: number },
  other: { readonly width: number; readonly height: number },
): boolean => one.width === other.width && one.height === other.height;

/** Share of white for each level of sRGB (IEC 61966-2-1). A camera's own curve is not this one; it is near enough to say which part of a frame tells most. */
export const SRGB_LINEAR: Float64Array = Float64Array.from({ length: 256 }, (_, level) => {
  const share = level / 255;
  return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
});

/** @param linear share of white @returns level of sRGB, 0 to 255 (IEC 61966-2-1) */
export function srgbLevel(linear: number): number {
  const share = Math.min(1, Math.max(0, linear));
  return Math.round(255 * (share <= 0.0031308 ? 12.92 * share : 1.055 * share ** (1 / 2.4) - 0.055));
}

/** Shares of red, green and blue in the luminance of linear sRGB (IEC 61966-2-1). */
export const LUMA = [0.2126, 0.7152, 0.0722] as const;

/**
 * Between the noise and the shoulder. A pixel at this level, and below, has one level for 7 % of its light or more (sRGB, IEC 61966-2-1), and in
 * most cameras' pictures more noise than that.
 */
export const FLOOR = 20;
/** Above it, tone curves of cameras flatten towards white: common practice, no source. On sRGB it is 0.2 EV below white. */
export const SHOULDER = 240;
