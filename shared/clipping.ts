// Where a set as a whole has lost something of the scene to black or to white: one rule for the panel, for the marks and for the
// record. Pure.

export interface Clipping {
  readonly side: 'black' | 'blown';
  /** From 0 to 1. */
  readonly share: number;
}

/** From here on the scene reaches farther than the set; less is a lamp or a glint. A rule of thumb, no source. */
export const LOST_SHARE = 0.005;

/**
 * Clipping is what a set is for, save where no frame is left to hold what was lost: light in the darkest frame, shadow in
 * the lightest.
 * @param frame its place counts from 1, the darkest, whatever number it has
 * @returns what the set as a whole has lost in this one of its `frames` frames
 */
export function lostIn(
  { place, clipped }: { place: number; clipped: { dark: number; light: number } | null },
  frames: number,
): Clipping[] {
  if (clipped === null) return [];
  const lost: Clipping[] = [];
  if (place === 1) lost.push({ side: 'blown', share: clipped.light });
  if (place === frames) lost.push({ side: 'black', share: clipped.dark });
  return lost.filter(({ share }) => share >= LOST_SHARE);
}

/** @param frames the darkest first @returns what the ends of a set have lost, as far as its frames there are verified */
export const lostAtEnds = (
  frames: readonly { readonly state: string; readonly clipped: Parameters<typeof lostIn>[0]['clipped'] }[],
): Clipping[] =>
  frames.flatMap(({ state, clipped }, index) =>
    state === 'verified' ? lostIn({ place: index + 1, clipped }, frames.length) : [],
  );

/** @param frames the darkest first @returns how many frames would hold what was lost: one at each end that has lost something */
export function lackingAtEnds(frames: Parameters<typeof lostAtEnds>[0]): {
  readonly darker: number;
  readonly brighter: number;
} {
  const sides = lostAtEnds(frames).map(({ side }) => side);
  return { darker: sides.includes('blown') ? 1 : 0, brighter: sides.includes('black') ? 1 : 0 };
}
