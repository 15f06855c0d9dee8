// Judges that report what a test tells them to, of a scene whose ends are known; no picture is looked at.
import type { Coverage, CoverageAnswer, Judge, JudgedFrame } from '../../src/light/index.js';

/** The offsets in EV of the darkest and the brightest frame that are needed to hold the scene. */
export interface InventedScene {
  readonly from: number;
  readonly to: number;
  /** Whether the pictures get brighter as their exposures do; true if it is left out. */
  readonly isInStep?: boolean;
}

export interface InventedJudge {
  /** Null if the judge can tell nothing. */
  readonly scene: () => InventedScene | null;
  /** Each answer waits for this. */
  readonly ready?: () => Promise<unknown>;
  /** Merges its frames; left out, nothing is merged. */
  readonly merge?: Judge['merge'];
}

/** @returns a function that opens a judge for each set */
export const judging =
  ({ scene, ready = async () => undefined, merge = nothingMerged }: InventedJudge) =>
  (): Judge => {
    const frames = new Map<number, JudgedFrame>();
    return {
      frame: async (frame) => {
        frames.set(frame.number, frame);
        await ready();
        const size = { width: 1200, height: 800 };
        return { isRead: true, number: frame.number, size, steadiness: null, marks: [] };
      },
      drop: async (number) => void frames.delete(number),
      coverage: async () => answerOf([...frames.values()], scene()),
      merge,
      ends: async () => null,
      close: async () => undefined,
    };
  };

const nothingMerged: Judge['merge'] = async () => ({ isMerged: false, sentence: 'Nothing is merged here.' });

function answerOf(frames: readonly JudgedFrame[], scene: InventedScene | null): CoverageAnswer {
  const sentence = 'Invented.';
  if (scene === null) return { coverage: null, map: null, sentence };
  const { from, to, isInStep = true } = scene;
  const inOrder = frames.toSorted((a, b) => a.offsetEv - b.offsetEv);
  const missing = (stops: number) => ({
    ...{ share: stops > 0 ? 0.02 : 0, stops: Math.max(0, stops), small: { count: 0, share: 0 } },
  });
  const highlights = missing((inOrder[0]?.offsetEv ?? 0) - from);
  const shadows = missing(to - (inOrder.at(-1)?.offsetEv ?? 0));
  const coverage: Coverage = {
    ...{ holds: highlights.share + shadows.share === 0, isInStep, between: 0, highlights, shadows, sentence },
    shares: { none: highlights.share + shadows.share, one: 0.5, twoOrMore: 0.5 },
    frames: inOrder.map(({ number, offsetEv }) => ({
      ...{ number, exposed: 0.4, alone: offsetEv < from || offsetEv > to ? 0 : 0.05 },
    })),
  };
  return { coverage, map: null, sentence };
}
