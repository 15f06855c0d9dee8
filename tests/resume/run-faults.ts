// Which faults meet with a run on a schedule, and when: drawn from a seed. It strikes nothing.
import type { BodyName } from '../faults/cell.js';

export const KINDS = [
  'program killed',
  'camera process killed',
  'cable out',
  'busy',
  'frame missing',
  'frame late',
  'frame twice',
  'file cut short',
  'frame clamped',
] as const;
export type Kind = (typeof KINDS)[number];

/** Where in the time of a slot. */
export type Moment =
  /** Seen from the slot's start. */
  | { readonly by: 'time'; readonly milliseconds: number }
  /** So many releases after the slot's start, and a moment more. */
  | { readonly by: 'release'; readonly releases: number; readonly milliseconds: number };

export interface DrawnFault {
  readonly kind: Kind;
  /** Counted from 0. */
  readonly slot: number;
  readonly moment: Moment;
  /** Milliseconds that it lasts, if it lasts at all. */
  readonly lasts: number;
}

/** Faults that can hit the practice body, which lives in the camera process. */
const WITHOUT_A_CABLE: readonly Kind[] = ['program killed', 'camera process killed'];
/** Faults of the frame that is fired next. */
const OF_A_FRAME: ReadonlySet<Kind> = new Set<Kind>([
  'frame missing',
  'frame late',
  'frame twice',
  'file cut short',
  'frame clamped',
]);
/** The program gives up on a frame that does not come only after 20 s: once a run is enough. */
const ONCE_A_RUN: ReadonlySet<Kind> = new Set<Kind>(['frame missing', 'file cut short']);
const LONGEST_MS: Partial<Record<Kind, number>> = {
  // Until somebody, or the system, starts it again.
  'program killed': 2000,
  'cable out': 4000,
};
const IN_A_SLOT = 0.6;
const ANOTHER_IN_IT = 0.25;
const SLOT_MS = 5000;
const FRAMES = 9;
/** From the release to the file in its place it takes less. */
const AFTER_A_RELEASE_MS = 300;

/** @param random numbers from 0 up to 1 */
export function drawFaults(random: () => number, body: BodyName, slots: number): DrawnFault[] {
  const below = (most: number) => Math.floor(random() * most);
  const drawn: DrawnFault[] = [];
  const draw = (slot: number) => {
    const possible = (body === 'practice' ? WITHOUT_A_CABLE : KINDS).filter(
      (kind) => !ONCE_A_RUN.has(kind) || drawn.every((one) => one.kind !== kind),
    );
    const kind = possible[below(possible.length)] ?? 'program killed';
    const isByRelease = body !== 'practice' && (OF_A_FRAME.has(kind) || random() < 0.6);
    // A fault of the next frame needs one that comes after.
    const moment: Moment = isByRelease
      ? {
          by: 'release',
          releases: below(OF_A_FRAME.has(kind) ? FRAMES : FRAMES + 1),
          milliseconds: OF_A_FRAME.has(kind) || random() < 0.5 ? 0 : below(AFTER_A_RELEASE_MS),
        }
      : { by: 'time', milliseconds: below(SLOT_MS) };
    drawn.push({ kind, slot, moment, lasts: below(LONGEST_MS[kind] ?? 0) });
  };
  for (let slot = 0; slot < slots; slot += 1) {
    if (random() >= IN_A_SLOT) continue;
    draw(slot);
    if (random() < ANOTHER_IN_IT) draw(slot);
  }
  return drawn;
}
