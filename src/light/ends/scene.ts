// At which exposure each cell of a scene reaches the shoulder, and at which the floor, told from a few frames far apart. Pure.
import { LINEAR_OF_LEVEL } from '../../../shared/srgb.js';
import { FLOOR, isSameShape, SHOULDER } from '../copy.js';
import { type Exposed, highestOf } from '../coverage/exposed.js';
import { shoulderBesideWhite } from './beside-white.js';

/** The light of a scene, cell by cell, row by row. */
export interface SceneCells {
  readonly width: number;
  readonly height: number;
  /** EV from the base at which a frame shows the cell on the shoulder; minus infinity if it is beyond that in every frame. */
  readonly shoulderAt: Float32Array;
  /** EV from the base at which a frame shows the cell on the floor; infinity if it is below that in every frame. */
  readonly floorAt: Float32Array;
}

/**
 * Levels are taken for sRGB, as everywhere here. The nearer to the shoulder, or to the floor, a cell is in
 * the frame that is used for it, the less that matters.
 * @param frames at least one, all of one shape
 * @throws RangeError if there is none, or if their shapes differ
 */
export function sceneOf(frames: readonly Exposed[]): SceneCells {
  const inOrder = frames.toSorted((one, other) => one.offsetEv - other.offsetEv);
  const [first] = inOrder;
  if (first === undefined) throw new RangeError('A scene of no frame.');
  if (!inOrder.every(({ copy }) => isSameShape(copy, first.copy)))
    throw new RangeError('Frames of different shapes.');
  const { width, height } = first.copy;
  const shoulderAt = new Float32Array(width * height).fill(Number.NEGATIVE_INFINITY);
  const floorAt = new Float32Array(width * height).fill(Number.POSITIVE_INFINITY);
  // The darkest frame first: the last that is below the shoulder is the nearest to it, and of the floor the first that is above.
  for (const { offsetEv, copy } of inOrder) {
    const besideWhite = shoulderBesideWhite(copy);
    for (let cell = 0; cell < shoulderAt.length; cell += 1) {
      const level = highestOf(copy, cell);
      if (level <= SHOULDER)
        shoulderAt[cell] = offsetEv + (besideWhite.get(cell) ?? evBetween(level, SHOULDER));
      if (level >= FLOOR && floorAt[cell] === Number.POSITIVE_INFINITY)
        floorAt[cell] = offsetEv + evBetween(level, FLOOR);
    }
  }
  return { width, height, shoulderAt, floorAt };
}

/** @returns EV from one level to another; black counts as the level above it */
const evBetween = (from: number, to: number): number =>
  Math.log2((LINEAR_OF_LEVEL[to] as number) / (LINEAR_OF_LEVEL[Math.max(1, from)] as number));
