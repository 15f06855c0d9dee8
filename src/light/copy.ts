// The small copies that everything in this room is judged by. Their levels are thought to lie on the curve of sRGB: a camera's own is not this one,
// but near enough to say which part of a frame tells most. Pure.

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

/**
 * Between the noise and the shoulder. A pixel at this level, and below, has one level for 7 % of its light or more (sRGB, IEC 61966-2-1), and in
 * most cameras' pictures more noise than that.
 */
export const FLOOR = 20;
/** Above it, tone curves of cameras flatten towards white: common practice, no source. On sRGB it is 0.2 EV below white. */
export const SHOULDER = 240;
