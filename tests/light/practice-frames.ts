// Frames of the practice scene for the tests of pictures: their content, and how the camera stood, are known
// exactly.
import { type Sixths, sixths } from '../../shared/ev.js';
import { renderFrame } from '../../src/camera/practice/render.js';
import { meteredTv, PICTURE } from '../../src/camera/practice/scene.js';
import { STILL, type View } from '../../src/camera/practice/view.js';
import { secondsOf } from '../../src/exposure/index.js';
import type { Copy, Grey } from '../../src/light/copy.js';
import { readCopies, readCopy } from '../../src/light/read/copies.js';
import { isUnreadable } from '../../src/light/read/unreadable.js';

export const F8 = sixths(36);
/** Pixels of the full picture that one of the copies stands for. */
export const SCALE = PICTURE.width / 1024;

export interface Shot extends Partial<View> {
  /** Whole EV from the metered exposure. */
  readonly offset: number;
  /** Another seed is other noise. */
  readonly seed?: number;
  /** EV by which the scene is brighter than it was. */
  readonly light?: number;
}

export const tvOf = ({ offset, scene = 'dusk' }: Shot): Sixths =>
  sixths(meteredTv(F8, 100, scene) - 6 * offset);

/** @returns JPEG, 1200 x 800 */
export const shoot = ({ offset, seed = 0, light = 0, ...view }: Shot): Promise<Buffer> =>
  renderFrame({
    ...{ tv: tvOf({ offset, ...view }), av: F8, iso: 100, biasSixths: sixths(0) },
    ...{ takenAt: new Date(1_000_000 + seed), model: 'Practice', serial: '1', manual: true },
    // As good as more light: the shutter stays open for longer.
    openSeconds: secondsOf(tvOf({ offset, ...view })) * 2 ** light,
    view: { ...STILL, ...view },
  });

export async function copiesOf(jpeg: Buffer): Promise<{ readonly grey: Grey; readonly small: Copy }> {
  const read = await readCopies({ jpeg, turn: 0 });
  if (isUnreadable(read)) throw new Error(read.sentence);
  return read;
}

export async function copyOf(jpeg: Buffer, side: number): Promise<Copy> {
  const read = await readCopy({ jpeg, turn: 0 }, side);
  if (isUnreadable(read)) throw new Error(read.sentence);
  return read;
}

export const NINE = [-4, -3, -2, -1, 0, 1, 2, 3, 4] as const;

/** @returns JPEG, 1200 x 800, of a scene at f/8 and ISO 100 */
export const pictureAt = (scene: View['scene'], tv: Sixths): Promise<Buffer> =>
  renderFrame({
    ...{ tv, av: F8, iso: 100, biasSixths: sixths(0), takenAt: new Date(0), model: 'Practice', serial: '1' },
    ...{ manual: true, view: { ...STILL, scene } },
  });
