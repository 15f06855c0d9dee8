// How far the light of a scene reaches, as a few frames show it, all in one answer. Pure.

import { CELL, type Exposed, highestOf } from '../coverage/exposed.js';
import { partsOf } from '../coverage/parts.js';
import { heldAt, type Lost, lostAt, type SceneEnd } from './ends.js';
import { areOfOneLight } from './in-step.js';
import { sceneOf } from './scene.js';

export interface EndTold {
  /** EV from the base of the frame that just holds this end; null if the outermost frame does not. */
  readonly heldAt: number | null;
  /** How much the outermost frame loses at this end. */
  readonly lost: Lost;
  /** How much frames at the exposures that were asked about would lose, in their order. */
  readonly at: readonly Lost[];
}

export interface SceneEnds {
  readonly highlights: EndTold;
  readonly shadows: EndTold;
  /** Whether the frames can be of one light; if not, nothing else here counts. */
  readonly isOneLight: boolean;
  /** Parts of the darkest frame that are white, too large to be a broken pixel; none if they make up more of the picture than a lamp or the sun would. */
  readonly whiteParts: number;
}

/** EV from the base of frames that might be fired. */
export interface AskedEnds {
  readonly highlights: readonly number[];
  readonly shadows: readonly number[];
}

/** At this level and above a channel is white, even after noise and compression. */
const WHITE = 250;
/** In cells: the sun through a wide lens, 104 degrees across, is a disc of 4 or 5 of 480 by 320 cells. */
const FEWEST_WHITE = 3;
/** Share of the picture: the sun through a lens of 1000 mm on a frame of 36 by 24 mm is 8 %, and its glare may be three times that. */
const MOST_WHITE = 0.25;

/** @throws RangeError if there is no frame, or if their shapes differ */
export function endsOf(frames: readonly Exposed[], asked: AskedEnds): SceneEnds {
  const scene = sceneOf(frames);
  const inOrder = frames.toSorted((one, other) => one.offsetEv - other.offsetEv);
  const told = (end: SceneEnd, outermost: number): EndTold => ({
    heldAt: heldAt(scene, end, outermost),
    lost: lostAt(scene, end, outermost),
    at: asked[end].map((ev) => lostAt(scene, end, ev)),
  });
  const [darkest, lightest] = [inOrder[0] as Exposed, inOrder.at(-1) as Exposed];
  return {
    highlights: told('highlights', darkest.offsetEv),
    shadows: told('shadows', lightest.offsetEv),
    isOneLight: areOfOneLight(frames),
    whiteParts: whitePartsOf(darkest),
  };
}

function whitePartsOf({ copy }: Exposed): number {
  const { width, height } = copy;
  const of = Uint8Array.from({ length: width * height }, (_, cell) =>
    highestOf(copy, cell) >= WHITE ? CELL.bright : CELL.two,
  );
  const { parts } = partsOf({ width, height, of }, CELL.bright);
  const white = parts.reduce((all, { size }) => all + size, 0);
  if (white > MOST_WHITE * of.length) return 0;
  return parts.filter(({ size }) => size >= FEWEST_WHITE).length;
}
