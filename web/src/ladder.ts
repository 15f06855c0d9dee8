// The picture of a set as data: rungs, and beside them the braces that join the frames of one pass. Pure, the
// same for a plan and for a run. Must know nothing of the screen but how many lanes fit.
import { isSameEv } from '../../shared/ev.js';
import type { WirePass, WirePlan } from '../../shared/plan.js';
import type { FrameState, FrameView, RunView } from '../../shared/state.js';

export interface Rung {
  /** The frame's number in the set: from dark to light, apart from frames that were added later. */
  readonly number: number;
  /** Counted from 1, the darkest. */
  readonly place: number;
  readonly offset: number;
  readonly shutter: string;
  readonly pass: number;
  /** Whether the body's own exposure is set to this frame for its pass. */
  readonly centre: boolean;
  readonly state: FrameState;
  readonly attempts: number;
  readonly reason: string | null;
  readonly clipped: FrameView['clipped'];
  /** EV by which the base had moved when it was made; null if it had not, or if a note says so already. */
  readonly baseMoved: number | null;
  /** Whether it was verified and its file is not there any more. */
  readonly isMissing: boolean;
  /** Other things that a person should know of it. */
  readonly marks: FrameView['marks'];
  /** From 0 for the darkest frame to 1 for the brightest. */
  readonly tone: number;
}

/** @returns the darkest first */
export function rungsOfPlan(plan: WirePlan): Rung[] {
  return plan.offsets.map((offset, index) => {
    const makes = (frame: WirePass['frames'][number]) => frame.wanted && isSameEv(frame.offset, offset);
    const at = plan.passes.findIndex((pass) => pass.frames.some(makes));
    const frame = plan.passes[at]?.frames.find(makes);
    return {
      number: index + 1,
      place: index + 1,
      offset,
      shutter: frame?.shutter ?? '',
      pass: at + 1,
      centre: isCentre(plan, at + 1, offset),
      state: 'planned',
      attempts: 0,
      reason: null,
      clipped: null,
      baseMoved: null,
      isMissing: false,
      marks: [],
      tone: toneOf(index, plan.offsets.length),
    };
  });
}

/** @param missing numbers of the frames whose file is not there any more @returns the darkest first */
export function rungsOfRun(run: RunView, missing: readonly number[]): Rung[] {
  return run.frames.map((frame, index) => ({
    number: frame.number,
    place: index + 1,
    offset: frame.offset,
    shutter: frame.shutter,
    pass: frame.pass,
    centre: isCentre(run.plan, frame.pass, frame.offset),
    state: frame.state,
    attempts: frame.attempts,
    reason: frame.reason,
    clipped: frame.clipped,
    baseMoved: frame.baseMoved,
    isMissing: missing.includes(frame.number),
    // A mark that the rung shows by itself is not repeated.
    marks: frame.marks.filter(({ code }) => code !== 'base-moved' || frame.baseMoved === null),
    tone: toneOf(index, run.frames.length),
  }));
}

function isCentre(plan: WirePlan, pass: number, offset: number): boolean {
  const centre = plan.passes[pass - 1]?.centre;
  return centre !== undefined && isSameEv(centre, offset);
}

const toneOf = (index: number, frames: number) => (frames < 2 ? 0.5 : index / (frames - 1));

/** The part of a lane beside one rung. */
export interface LanePart {
  readonly pass: number;
  /** `beside`: the brace runs on past a rung of another pass. */
  readonly shape: 'top' | 'middle' | 'foot' | 'alone' | 'beside';
  /** The pass's number is beside this rung: at its centre, if a rung is its centre. */
  readonly tag: 'centre' | 'plain' | null;
}

/** One row of lanes for each rung, in the order of the rungs given, the lane at the ladder last; a lane without a brace there is null. */
export type Lanes = readonly (readonly (LanePart | null)[])[];

/** Passes side by side need a lane each; more than this do not fit beside the rungs of a narrow screen. */
const MOST_LANES = 3;

/** @param rungs the darkest first, as the functions above give them */
export function lanesOf(rungs: readonly Rung[]): Lanes {
  // From the ladder outwards.
  const lanes: Brace[][] = [];
  for (const brace of bracesOf(rungs)) {
    const free = lanes.find((lane) => (lane.at(-1)?.top ?? -1) < brace.foot);
    if (free === undefined) lanes.push([brace]);
    else free.push(brace);
  }
  lanes.reverse();
  if (lanes.length > MOST_LANES) return rungs.map((rung) => [numbered(rung)]);
  return rungs.map((rung, row) =>
    lanes.map((lane) => {
      const brace = lane.find((other) => other.foot <= row && row <= other.top);
      return brace === undefined ? null : partOf(brace, rung, row);
    }),
  );
}

interface Brace {
  readonly pass: number;
  /** Rows, counted from the darkest. */
  readonly foot: number;
  readonly top: number;
  readonly tagRow: number;
}

function bracesOf(rungs: readonly Rung[]): Brace[] {
  const rows = new Map<number, number[]>();
  rungs.forEach((rung, row) => {
    rows.set(rung.pass, [...(rows.get(rung.pass) ?? []), row]);
  });
  return [...rows]
    .map(([pass, mine]) => ({
      pass,
      foot: mine[0] ?? 0,
      top: mine.at(-1) ?? 0,
      tagRow: mine.find((row) => rungs[row]?.centre) ?? mine[Math.floor(mine.length / 2)] ?? 0,
    }))
    .sort((a, b) => a.foot - b.foot);
}

function partOf(brace: Brace, rung: Rung, row: number): LanePart {
  const tag = row !== brace.tagRow ? null : rung.centre ? 'centre' : 'plain';
  return { pass: brace.pass, shape: shapeOf(brace, rung, row), tag };
}

function shapeOf(brace: Brace, rung: Rung, row: number): LanePart['shape'] {
  if (brace.foot === brace.top) return 'alone';
  if (row === brace.foot) return 'foot';
  if (row === brace.top) return 'top';
  return rung.pass === brace.pass ? 'middle' : 'beside';
}

const numbered = (rung: Rung): LanePart => ({
  pass: rung.pass,
  shape: 'alone',
  tag: rung.centre ? 'centre' : 'plain',
});
