// A brighter frame shown as dark as its darker neighbour. The factor is applied in linear light: each sRGB
// value is decoded, scaled and coded again (IEC 61966-2-1), and all 256 values make one table. Pure. The
// effect of the camera's tone curve stays in the picture.

import { codedOf, linearOf } from '../../shared/srgb.js';

/** @param ev by which it is made brighter; less than 0 is darker @returns what each of the values from 0 to 1 becomes */
export const evenedTable = (ev: number): number[] =>
  Array.from({ length: 256 }, (_, value) => Math.min(1, codedOf(linearOf(value / 255) * 2 ** ev)));
