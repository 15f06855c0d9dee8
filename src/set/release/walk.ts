// Which release comes next: the passes of the plan in their order, and after each pass the frames that it
// left open, singly. A generator: it yields exactly where a set may be stopped or held, names the step to
// take there, and is told how the step went. It never waits, and it tells the book how the passes stand.
import type { RunState } from '../../../shared/state.js';
import type { Arming, Centre } from '../../camera/index.js';
import type { ShutterSetting, Sixths } from '../../exposure/index.js';
import type { Pass, PlannedFrame } from '../../plan/index.js';
import type { InHand } from '../in-hand.js';
import { isOpen, type SetFrame } from '../set-frame.js';

/**
 * One release. Frame by frame it expects one frame; if a pass is one release, it expects all frames of the
 * pass.
 */
export interface Release {
  readonly is: 'release';
  /** The state of the set during this step. */
  readonly state: RunState;
  /**
   * In firing order; null for a turn of the bracket that has to be fired although its frame is not needed:
   * its file is set aside.
   */
  readonly expects: readonly (SetFrame | null)[];
  /** The frames that the files may turn out to be: all of the pass, or the single one. */
  readonly pass: readonly SetFrame[];
  /** Whether the frame is fired by itself, with the bracket off. */
  readonly isSingle: boolean;
}

export interface Arm {
  readonly is: 'arm';
  readonly state: RunState;
  readonly arming: Arming;
  /** The pass that begins with this step, counted from 1; null for a repeated pass or a single frame. */
  readonly begins: number | null;
}

export type Step =
  | Arm
  | Release
  /** A set that is held waits here, before it is decided which frames are still due. */
  | { readonly is: 'hold point'; readonly state: RunState }
  /**
   * Waits until the pictures so far have been looked at, since a rejected frame has to be made up. With
   * `mayBeOver`, there is nothing else left to fire.
   */
  | { readonly is: 'look back'; readonly mayBeOver: boolean }
  /**
   * Files that earlier releases made are looked for in the camera and fetched, so that their frames are not
   * fired again.
   */
  | { readonly is: 'look in the camera' }
  /** A body that was busy is given a moment. */
  | { readonly is: 'wait' }
  | { readonly is: 'give up'; readonly frame: SetFrame };

/** `lost`: nobody knows any more which frame the bracket would fire next. */
export type Went = 'done' | 'lost' | 'stopped';

/** What the walk asks about the set while it goes. */
export interface Conditions {
  /**
   * Whether files come one release late: then a frame that a pass seems to miss comes with the next release.
   */
  readonly comesLate: () => boolean;
  /** How many pictures so far turned out to be taken before their release. */
  readonly fromBefore: () => number;
  /** Whether the camera may hold files of earlier releases that nobody has looked for yet. */
  readonly mayLieInCamera: () => boolean;
  /** Whether the body was busy at its last call. */
  readonly wasBusy: () => boolean;
  /** How many milliseconds to wait for a busy body. */
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
    // If the set was extended for a while by this pass, none of its frames may be wanted any more.
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

/** Fires the whole bracket with one release. Frames that it does not bring are made up. */
function* fireAtOnce(pass: Pass, state: RunState, hand: InHand): Walk {
  const own = hand.framesOfPass(pass);
  if ((yield { is: 'hold point', state }) === 'stopped') return 'stopped';
  if (!own.some((frame) => hand.isDue(frame))) return 'done';
  const expects = pass.frames.map((turn) => openFrame(own, turn));
  return yield { is: 'release', state, expects, pass: own, isSingle: false };
}

/**
 * Fires the bracket turn by turn as long as frames of the pass are due. The remaining turns are not needed.
 */
function* fireTurns(pass: Pass, state: RunState, hand: InHand): Walk {
  if (armingOf(pass, hand).shape?.isOneRelease === true) return yield* fireAtOnce(pass, state, hand);
  const own = hand.framesOfPass(pass);
  for (const turn of pass.frames) {
    if ((yield { is: 'hold point', state }) === 'stopped') return 'stopped';
    // While the set was held, a picture may have been rejected, or frames may have come.
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
 * Makes the frames that the passes so far left open, singly, with the bracket off. A frame whose shutter
 * cannot be set on its own is made by repeating its pass.
 * @param passes how many passes were fired
 */
function* makeUp(passes: number, madeUp: Map<number, number>, hand: InHand, conditions: Conditions): Walk {
  if ((yield* lookInCamera(conditions)) === 'stopped') return 'stopped';
  for (const frame of hand.frames.filter(({ view }) => view.pass <= passes)) {
    const since = performance.now();
    const { number } = frame.view;
    const count = (by: number) => madeUp.set(number, (madeUp.get(number) ?? 0) + by);
    while (hand.isDue(frame)) {
      // The file of an earlier attempt may have failed on its way only now.
      if ((yield* lookInCamera(conditions)) === 'stopped') return 'stopped';
      if (!hand.isDue(frame)) break;
      if ((madeUp.get(number) ?? 0) >= MOST_MAKE_UPS + (hand.body.picturesWaiting ?? 0)) {
        if ((yield { is: 'give up', frame }) === 'stopped') return 'stopped';
      }
      count(1);
      const fromBefore = conditions.fromBefore();
      const went = canBeSingle(frame, hand) ? yield* single(frame, hand) : yield* repeat(frame.pass, hand);
      if (went === 'stopped' || (yield { is: 'look back', mayBeOver: false }) === 'stopped') return 'stopped';
      // A picture from before the release came instead, so this was no attempt at the frame.
      if (conditions.fromBefore() > fromBefore) count(-1);
      // A busy body did not try to fire, so the attempt does not count; such a body is waited for as long as
      // one that is gone.
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

/**
 * Repeats a pass. Frames that are good already are fired once more on the way; their repeats are set aside
 * and replace nothing.
 */
function* repeat(pass: Pass, hand: InHand): Walk {
  const arm = { is: 'arm', state: 'making-up', arming: armingOf(pass, hand), begins: null } as const;
  if ((yield arm) === 'stopped') return 'stopped';
  return yield* fireTurns(pass, 'making-up', hand);
}

/** If the link cannot fire a bracket with one release, each of its frames gets a release of its own. */
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
