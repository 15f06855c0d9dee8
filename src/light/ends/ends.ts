// How far the light of a scene reaches, told from a few frames: the exposure of the frame that just holds the highlights, that of the frame that
// just lifts the shadows, and what would be lost at any other. By the same limits as the coverage of a whole set. Pure.
import { NOT_MISSED } from '../../../shared/clipping.js';
import { areasOf, MOST_IN_SMALL } from '../coverage/areas.js';
import { CELL } from '../coverage/exposed.js';
import type { SceneCells } from './scene.js';

/** How much a frame loses at one end. */
export interface Lost {
  /** Share of the picture, 0 to 1, in areas; small parts are not in it. */
  readonly share: number;
  /** Lost parts too small to be an area: lamps and glints at the bright end. */
  readonly small: { readonly count: number; readonly share: number };
}

export type SceneEnd = 'highlights' | 'shadows';

/** @param atEv EV from the base of the frame that would be fired */
export function lostAt(scene: SceneCells, end: SceneEnd, atEv: number): Lost {
  const { width, height, shoulderAt, floorAt } = scene;
  const of =
    end === 'highlights'
      ? Uint8Array.from(shoulderAt, (ev) => (ev < atEv ? CELL.bright : CELL.two))
      : Uint8Array.from(floorAt, (ev) => (ev > atEv ? CELL.dark : CELL.two));
  const { share, small } = areasOf({ width, height, of }, end === 'highlights' ? CELL.bright : CELL.dark);
  return { share, small };
}

/** Farther from any frame than a scene reaches. */
const FARTHEST_EV = 40;
const EXACT_EV = 1 / 24;

/**
 * @param fromEv EV from the base of the frame that was fired farthest towards this end
 * @returns EV from the base of the frame nearest to the other end that still holds this one; null if the frame at `fromEv` does not
 */
export function heldAt(scene: SceneCells, end: SceneEnd, fromEv: number): number | null {
  const towards = end === 'highlights' ? 1 : -1;
  const cells = end === 'highlights' ? scene.shoulderAt : scene.floorAt;
  const holds = (by: number) => {
    const atEv = fromEv + towards * by;
    let count = 0;
    for (const ev of cells) if (end === 'highlights' ? ev < atEv : ev > atEv) count += 1;
    // How they hang together only matters in between.
    if (count <= NOT_MISSED * cells.length) return true;
    if (count > (MOST_IN_SMALL + NOT_MISSED) * cells.length) return false;
    return lostAt(scene, end, atEv).share <= NOT_MISSED;
  };
  if (!holds(0)) return null;
  let [held, not] = [0, FARTHEST_EV];
  while (not - held > EXACT_EV) {
    const middle = (held + not) / 2;
    if (holds(middle)) held = middle;
    else not = middle;
  }
  return fromEv + towards * held;
}
