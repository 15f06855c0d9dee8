// Which release comes next: the passes of the plan in their order, and after each what it left open, singly. A generator that stops exactly
// where a set may be stopped or held, tells what is to be done there, and hears how it went. It waits for nothing, and tells the book how
// the passes stand.
import type { RunState } from '../../../shared/state.js';
import type { Arming, Centre } from '../../camera/index.js';
import type { ShutterSetting, Sixths } from '../../exposure/index.js';
import type { Pass, PlannedFrame } from '../../plan/index.js';
import type { InHand } from '../in-hand.js';
import { isOpen, type SetFrame } from '../set-frame.js';

/** One release: frame by frame it expects one frame, and a burst all of its pass. */
export interface Release {
  readonly is: 'release';
  /** How the set stands meanwhile. */
  readonly state: RunState;
  /** In firing order; null for a turn of the bracket that has to be fired for nothing: its file is set aside. */
  readonly expects: readonly (SetFrame | null)[];
  /** The frames that may come of it: all of the pass, or the single one. */
  readonly pass: readonly SetFrame[];
  /** Whether the bracket is off. */
  readonly isSingle: boolean;
}

export interface Arm {
  readonly is: 'arm';
  readonly state: RunState;
  readonly arming: Arming;
  /** The pass that begins with it, counted from 1; null if it is fired once more, or a single frame. */
  readonly begins: number | null;
}

export type Step =
  | Arm
  | Release
  /** A set that is held waits here, before it is known what is due. */
  | { readonly is: 'hold point'; readonly state: RunState }
  /** The pictures so far are waited for: what is rejected has to be made up. With `mayBeOver` nothing else is left to fire. */
  | { readonly is: 'look back'; readonly mayBeOver: boolean }
  /** Files that earlier releases made are looked for in the camera, and fetched: what is there is not fired again. */
  | { readonly is: 'look in the camera' }
  /** A body that was busy is given a moment. */
  | { readonly is: 'wait' }
  | { readonly is: 'give up'; readonly frame: SetFrame };

/** `lost`: nobody knows where the bracket stands. */
export type Went = 'done' | 'lost' | 'stopped';

/** What the walk asks of the set while it goes. */
export interface Conditions {
  /** Whether files come one release late: then what a pass misses comes with the next one. */
  readonly comesLate: () => boolean;
  /** How many pictures from before came so far. */
  readonly fromBefore: () => number;
  /** Whether files of earlier releases may lie in the camera where nobody has looked for them yet. */
  readonly mayLieInCamera: () => boolean;
  /** Whether the body was busy when it was used last. */
  readonly wasBusy: () => boolean;
  /** Milliseconds that a busy body is waited for. */
  readonly patienceMs: () => number;
}

/** How often a frame is made up before the set halts. */
const MOST_MAKE_UPS = 2;

type Walk = Generator<Step, Went, Went>;

export function* walk(hand: InHand, conditions: Conditions): Walk {
  const { passes } = hand.plan;
  /** How often each frame was made up, by its number. */
  const madeUp = new Map<number, number>();
  if ((yield* lookInCamera(conditions)) === 'stopped') return 'stopped';
  for (const [index, pass] of passes.entries()) {
    const own = hand.framesOfPass(pass);
    // Of a pass that the set was extended by for a while, nothing may be wanted any more.
    const isWhole =
      own.length > 0 && own.every((frame) => frame.view.state === 'planned' && hand.isDue(frame));
    if (isWhole && (yield* firePass(pass, index + 1, hand)) === 'stopped') return 'stopped';
    if (!conditions.comesLate() && (yield* makeUp(index + 1, madeUp, hand, conditions)) === 'stopped')
      return 'stopped';
  }
  if ((yield { is: 'look back', mayBeOver: true }) === 'stopped') return 'stopped';
  return yield* makeUp(passes.length, madeUp, hand, conditions);
}

function* firePass(pass: Pass, number: number, hand: InHand): Walk {
  const arm = { is: 'arm', state: 'firing', arming: armingOf(pass, hand), begins: number } as const;
  if ((yield arm) === 'stopped') return 'stopped';
  hand.book.passChanged(number, 'firing');
  const went = yield* fireTurns(pass, 'firing', hand);
  hand.book.passChanged(number, 'done');
  return went;
}

function* lookInCamera(conditions: Conditions): Walk {
  return conditions.mayLieInCamera() ? yield { is: 'look in the camera' } : 'done';
}

/** The whole bracket from one release. What is missing of it is made up. */
function* fireAtOnce(pass: Pass, state: RunState, hand: InHand): Walk {
  const own = hand.framesOfPass(pass);
  if ((yield { is: 'hold point', state }) === 'stopped') return 'stopped';
  if (!own.some((frame) => hand.isDue(frame))) return 'done';
  const expects = pass.frames.map((turn) => openFrame(own, turn));
  return yield { is: 'release', state, expects, pass: own, isSingle: false };
}

/** Fires the bracket turn by turn, as long as frames of the pass are due. What is left of the bracket then is not needed. */
function* fireTurns(pass: Pass, state: RunState, hand: InHand): Walk {
  if (armingOf(pass, hand).shape?.isOneRelease === true) return yield* fireAtOnce(pass, state, hand);
  const own = hand.framesOfPass(pass);
  for (const turn of pass.frames) {
    if ((yield { is: 'hold point', state }) === 'stopped') return 'stopped';
    // A picture may have been rejected while the set was held.
    if (!own.some((frame) => hand.isDue(frame))) return 'done';
    const expects = [openFrame(own, turn)];
    const went = yield { is: 'release', state, expects, pass: own, isSingle: false };
    if (went !== 'done') return went;
  }
  return 'done';
}

/** @returns the frame of this turn; null if it is there already, or if this pass need not make it */
const openFrame = (own: readonly SetFrame[], turn: PlannedFrame): SetFrame | null =>
  own.find((frame) => isOpen(frame) && frame.planned === turn) ?? null;

/**
 * What the passes so far left open is made singly, bracket off; if its shutter cannot be set, the pass is repeated.
 * @param passes how many were fired
 */
function* makeUp(passes: number, madeUp: Map<number, number>, hand: InHand, conditions: Conditions): Walk {
  if ((yield* lookInCamera(conditions)) === 'stopped') return 'stopped';
  for (const frame of hand.frames.filter(({ view }) => view.pass <= passes)) {
    const since = performance.now();
    const { number } = frame.view;
    const count = (by: number) => madeUp.set(number, (madeUp.get(number) ?? 0) + by);
    while (hand.isDue(frame)) {
      // Its file may have failed on the way only now.
      if ((yield* lookInCamera(conditions)) === 'stopped') return 'stopped';
      if (!hand.isDue(frame)) break;
      if ((madeUp.get(number) ?? 0) >= MOST_MAKE_UPS + (hand.body.picturesWaiting ?? 0)) {
        if ((yield { is: 'give up', frame }) === 'stopped') return 'stopped';
      }
      count(1);
      const fromBefore = conditions.fromBefore();
      const went = canBeSingle(frame, hand) ? yield* single(frame, hand) : yield* repeat(frame.pass, hand);
      if (went === 'stopped' || (yield { is: 'look back', mayBeOver: false }) === 'stopped') return 'stopped';
      // What came was no attempt of it.
      if (conditions.fromBefore() > fromBefore) count(-1);
      // A body that was busy did not try: it is given as long as one that is gone.
      if (!conditions.wasBusy() || performance.now() - since > conditions.patienceMs()) continue;
      count(-1);
      yield { is: 'wait' };
    }
  }
  return 'done';
}

function* single(frame: SetFrame, hand: InHand): Walk {
  const { planned, shutter } = frame;
  const arming = { centre: centreAt(planned.offset, shutter, hand), shape: null };
  if ((yield { is: 'arm', state: 'making-up', arming, begins: null }) === 'stopped') return 'stopped';
  return yield { is: 'release', state: 'making-up', expects: [frame], pass: [frame], isSingle: true };
}

/** Frames that are already good are fired once more on the way; the repeats are kept aside and replace nothing. */
function* repeat(pass: Pass, hand: InHand): Walk {
  const arm = { is: 'arm', state: 'making-up', arming: armingOf(pass, hand), begins: null } as const;
  if ((yield arm) === 'stopped') return 'stopped';
  return yield* fireTurns(pass, 'making-up', hand);
}

/** Over a link that cannot fire a bracket by one release, each of its frames takes one of its own. */
export const armingOf = ({ centre, centreShutter, shape }: Pass, hand: InHand): Arming => ({
  centre: centreAt(centre, centreShutter, hand),
  shape: shape?.isOneRelease === true && !hand.body.firesWhole ? { ...shape, isOneRelease: false } : shape,
});

const centreAt = (offset: Sixths, shutter: ShutterSetting, { plan }: InHand): Centre =>
  plan.mode === 'manual' ? { by: 'shutter', shutter } : { by: 'compensation', compensation: offset };

function canBeSingle({ shutter, planned: { offset } }: SetFrame, { plan, body }: InHand): boolean {
  if (plan.mode === 'manual') return shutter.settable;
  const { range, grid } = body.limits.compensation;
  return Math.abs(offset) <= range && offset % grid === 0;
}
