// The order in which chosen passes are fired, and which of two passes a frame belongs to that both make.
import type { BodyLimits } from '../exposure/index.js';
import type { PossiblePass } from './candidates.js';
import type { Conditions, Pass } from './types.js';

/** From dark to light by the darkest wanted offset that a pass makes. */
export function darkestFirst(passes: readonly PossiblePass[]): PossiblePass[] {
  return [...passes].sort((a, b) => a.centre - b.centre || (a.makes[0] ?? 0) - (b.makes[0] ?? 0));
}

/**
 * If the light changes, neighbours are better fired one after another; if every frame is single, reordering
 * gains nothing.
 */
export const mayReorder = ({ brackets }: BodyLimits, { lightEvPerMinute }: Conditions): boolean =>
  brackets.length > 0 && (lightEvPerMinute ?? 0) === 0;

/**
 * All passes of a shape are fired in one go, so that it is set once, and single frames come last, so that the
 * bracket goes off once. A pass that is centred on the body's present setting comes first, or last if it is a
 * single frame: no change before it, or none after it. A set of brackets then takes two changes more than it
 * has passes, with the way back.
 */
export function withFewestChanges(passes: readonly Pass[], { standingTv }: Conditions): Pass[] {
  const stands = ({ centreShutter }: Pass) => centreShutter.tv === standingTv;
  const groups = new Map<string, Pass[]>();
  for (const pass of passes) {
    const key = pass.shape === null ? '' : `${pass.shape.step}: ${pass.shape.pattern.join()}`;
    groups.set(key, [...(groups.get(key) ?? []), pass]);
  }
  const singles = groups.get('') ?? [];
  groups.delete('');
  const last = passes.at(-1);
  const endsThere = groups.size === 1 && singles.length === 0 && last !== undefined && stands(last);
  if (groups.size === 0 || endsThere) return [...passes];
  const brackets = [...groups.values()].sort((a, b) => Number(b.some(stands)) - Number(a.some(stands)));
  const [first = [], ...others] = brackets;
  const start = first.filter(stands).slice(0, 1);
  const end = singles.filter(stands);
  return [
    ...start,
    ...first.filter((pass) => !start.includes(pass)),
    ...others.flat(),
    ...singles.filter((pass) => !end.includes(pass)),
    ...end,
  ];
}

/**
 * If two passes make the same offset, the first one counts, and the other frame only comes along with its
 * pass.
 */
export function assign(passes: readonly PossiblePass[]): Pass[] {
  const made = new Set<number>();
  return passes.map(({ centre, centreShutter, shape, frames }) => ({
    centre,
    centreShutter,
    shape,
    frames: frames.map(({ offset, shutter, row }) => {
      const wanted = row !== null && !made.has(row);
      if (wanted) made.add(row);
      return { offset, shutter, wanted };
    }),
  }));
}
