// How a body's readiness is laid out: what comes first, and what may be folded away. Pure; the findings and
// their sentences are the daemon's.
import type { ReadinessItem } from '../../shared/readiness.js';

export interface Counts {
  readonly stops: number;
  readonly attention: number;
  readonly fine: number;
}

export interface Sorted {
  /** Items that stop the run, then items to check; within each in the daemon's order. */
  readonly open: readonly ReadinessItem[];
  /**
   * Items that may be folded away. A ticked item stays where it is: the box must not move away from the
   * finger.
   */
  readonly folded: readonly ReadinessItem[];
}

export function countsOf(items: readonly ReadinessItem[]): Counts {
  const counts = { stops: 0, attention: 0, fine: 0 };
  for (const { mark } of items) counts[mark] += 1;
  return counts;
}

export function sorted(items: readonly ReadinessItem[]): Sorted {
  const isFolded = ({ mark, ticked }: ReadinessItem) => mark === 'fine' && ticked === null;
  const stops = items.filter(({ mark }) => mark === 'stops');
  const others = items.filter((item) => item.mark !== 'stops' && !isFolded(item));
  return { open: [...stops, ...others], folded: items.filter(isFolded) };
}
