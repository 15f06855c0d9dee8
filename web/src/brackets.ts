// The brackets of a body, grouped for a sentence. Pure.
import { formatEv, fromEv, type Sixths } from '../../shared/ev.js';
import type { BodyView } from '../../shared/state.js';

/** Counts of frames that have the same steps. */
export interface Brackets {
  /** Ascending. */
  readonly frames: readonly number[];
  /** EV as people write them, ascending. */
  readonly steps: readonly string[];
}

/** @returns those of the fewest frames first; none if the body brackets nothing */
export function bracketsOf({ brackets }: BodyView): Brackets[] {
  const stepsOf = new Map<number, Set<Sixths>>();
  for (const { frames, step } of brackets) {
    stepsOf.set(frames, (stepsOf.get(frames) ?? new Set()).add(fromEv(step)));
  }
  const gathered = new Map<string, { frames: number[]; steps: string[] }>();
  for (const [frames, steps] of [...stepsOf].sort(([a], [b]) => a - b)) {
    const written = [...steps].sort((a, b) => a - b).map((step) => formatEv(step, false));
    const same = gathered.get(written.join());
    if (same === undefined) gathered.set(written.join(), { frames: [frames], steps: written });
    else same.frames.push(frames);
  }
  return [...gathered.values()];
}
