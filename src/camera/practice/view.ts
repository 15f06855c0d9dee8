// The view of the boathouse: in which light, from where, and what has moved since the first frame. Everything
// is invented. Knows no formula.

/**
 * `dusk`: dark inside, its doors open on a bright lake. `day`: brighter outside, and the inside filled by the daylight. `lamp`: night
 * outside, a lamp under the roof. `flat`: fog, 5 EV from end to end. `spot`: dusk with a tiny bright lamp.
 */
export const PRACTICE_SCENES = ['dusk', 'day', 'lamp', 'flat', 'spot'] as const;
export type PracticeScene = (typeof PRACTICE_SCENES)[number];

export interface View {
  readonly scene: PracticeScene;
  /** Pixels of the full picture by which everything in it lies further right, and further down: the camera has turned. */
  readonly right: number;
  readonly down: number;
  /** Metres that the boat has drifted to the right. */
  readonly drift: number;
  /** Standard deviation of the lens's blur, in pixels of the full picture: 0 is in focus. */
  readonly defocus: number;
}

export const STILL: View = { scene: 'dusk', right: 0, down: 0, drift: 0, defocus: 0 };

/** @returns a name by which the same view is found again */
export const keyOf = ({ scene, right, down, drift, defocus }: View): string =>
  [scene, right, down, drift, defocus].join(' ');

/** @returns the scene if nothing has moved and the lens is in focus; otherwise undefined */
export const stillScene = ({ scene, right, down, drift, defocus }: View): PracticeScene | undefined =>
  right === 0 && down === 0 && drift === 0 && defocus === 0 ? scene : undefined;
