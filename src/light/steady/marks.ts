// The marks of a frame that does not lie on its neighbour, with a sentence each for the photographer. Pure.
import type { Compared } from './compare.js';
import type { Moved } from './moved.js';

export interface LightMark {
  readonly code: 'camera-moved' | 'subject-moved' | 'less-sharp';
  /** The frame that it is about. */
  readonly number: number;
  readonly sentence: string;
}

export interface Neighbours {
  /** The frame that was looked at, and the one that it was compared with. */
  readonly number: number;
  readonly against: number;
  /** How many pixels of the full picture one pixel of the copies stands for. */
  readonly scale: number;
}

/**
 * In pixels of the copies. Measured on the practice scene with nothing moved: shifts stay below 0.1, blur below 0.3 (noise differs from frame
 * to frame, and looks like sharpness).
 */
export const LEAST_SHIFT = 0.35;
export const LEAST_BLUR = 0.6;

export function marksOf(compared: Compared, { number, against, scale }: Neighbours): LightMark[] {
  const { shift, blur, moved } = compared;
  const away = Math.hypot(shift.right, shift.down);
  const marks: LightMark[] = [];
  if (away >= LEAST_SHIFT)
    marks.push({
      ...{ code: 'camera-moved', number },
      sentence: `The camera moved between frame ${against} and this one: the picture is shifted by ${pixels(away * scale)}.`,
    });
  if (Math.abs(blur) >= LEAST_BLUR) marks.push(blurMark(blur, { number, against, scale }));
  if (moved.box !== null)
    marks.push({
      ...{ code: 'subject-moved', number },
      sentence: `Something moved between frame ${against} and this one, ${placeOf(moved.box)}: ${percent(moved.share)} of what can be compared.`,
    });
  return marks;
}

/** The softer of the two has it. */
function blurMark(blur: number, { number, against, scale }: Neighbours): LightMark {
  const [softer, sharper] = blur > 0 ? [number, against] : [against, number];
  return {
    ...{ code: 'less-sharp', number: softer },
    sentence: `It is softer than frame ${sharper}, by a blur of ${pixels(Math.abs(blur) * scale)}: check the focus, and that nothing shakes the camera.`,
  };
}

/** @returns in which part of the picture a box lies */
function placeOf({ left, right, top, bottom }: NonNullable<Moved['box']>): string {
  const across = placeAlong(left, right, ['on the left', 'on the right']);
  const down = placeAlong(top, bottom, ['at the top', 'at the bottom']);
  if (across === null && down === null)
    return right - left > WIDE || bottom - top > WIDE ? 'in many parts of the picture' : 'in the middle';
  return [down, across].filter((word) => word !== null).join(' ');
}

const WIDE = 0.6;

function placeAlong(from: number, to: number, [first, second]: readonly [string, string]): string | null {
  const middle = (from + to) / 2;
  if (middle < 0.36) return first;
  return middle > 0.64 ? second : null;
}

export const pixels = (count: number): string =>
  count < 9.5 ? `about ${Number(count.toFixed(1))} pixels` : `about ${Math.round(count)} pixels`;

const percent = (share: number): string => (share < 0.01 ? 'less than 1%' : `${Math.round(share * 100)}%`);
