// Finds out from outside what the wire does not tell of a body: fires a short series, reads what the files
// recorded and how long everything took, and works out a profile. It knows nothing of plans and sets; the
// frames are thrown away.
//
// How many frames a bracket has: with the bracket left on, the body begins again after its last frame. All
// positions of a bracket differ, so the first position that comes again is the first frame of the next round.
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import { type BodyProfile, PROFILE_VERSION } from '../../shared/profile.js';
import type { Body } from '../camera/index.js';
import {
  type BracketShape,
  labelledShutters,
  ONE_EV,
  type ShutterSetting,
  sixths,
  toEv,
} from '../exposure/index.js';
import { median, tidy } from './figures.js';
import { notMoved, tooFewTimes, tooQuick } from './not-learnt.js';
import { TestFrames } from './test-frames.js';

/** No body brackets more frames (common practice, no source). */
const MOST_FRAMES = 9;
/**
 * A long time that is worth waiting for: 15 s is really 16 s on most bodies, and the two are far enough apart
 * to be distinguished.
 */
const LONG_SECONDS = 17;
/** An exposure that took less than this of its time was none: bodies differ by a seventh at most (common practice, no source). */
const TOO_QUICK = 0.7;
/** From here on an exposure that took this many times its time was followed by a dark frame. */
const DOUBLED = 1.7;
/** 1/2000 s. Every body has it; some offer shorter times that they do not have. */
const FASTEST_TV = sixths(66);
/**
 * The largest difference at which a frame still counts as being on a step of the bracket: bodies round what
 * they record.
 */
const OFF_ITS_STEP_EV = 0.1;
/** Settings between the two that a far change is timed over: four stops in thirds. */
const FAR = 12;
/** Above this, the additional time for each setting on the way is more than noise. */
const TELLING_SECONDS = 0.01;
const TIMED_CHANGES = 3;
/**
 * Frames that are timed if there was no bracket to learn. The very first frame of a process takes longer, and
 * is left out.
 */
const TIMED_FRAMES = 4;

/** The question that is being answered. */
export interface LearnStep {
  readonly about:
    | 'bracket'
    | 'restart'
    | 'range'
    | 'long-time'
    | 'changes'
    | 'pieces'
    | 'pipelined'
    | 'one-release'
    | 'sends';
  /** Frames fired so far, and the most that it will take. */
  readonly fired: number;
  readonly most: number;
  /** One sentence. */
  readonly message: string;
}

export interface LearnOptions {
  readonly onStep?: (step: LearnStep) => void;
  /** The longest exposure that may be made to time the long ones; 0 makes none. */
  readonly longestSeconds?: number;
  /** Asked before each frame: whether somebody wants it to end. */
  readonly stopping?: () => boolean;
}

export class Lesson {
  private readonly body: Body;
  private readonly frames: TestFrames;
  private readonly options: LearnOptions;
  private readonly shapes: readonly BracketShape[];

  constructor(body: Body, folder: string, options: LearnOptions) {
    this.body = body;
    this.frames = new TestFrames(body, folder, options.stopping);
    this.options = options;
    this.shapes = oneEachPattern(body.limits.brackets);
  }

  async learn(): Promise<BodyProfile> {
    const { model, serial } = this.body.identity;
    const patterns: number[][] = [];
    let restarts: boolean | undefined;
    for (const shape of this.shapes) {
      const pattern = await this.patternOf(shape);
      // Once is enough: it is a habit of the body, not of a bracket.
      restarts ??= await this.restarts(shape, pattern);
      patterns.push(pattern);
    }
    const beyondRange = await this.beyondRange(patterns);
    const timing = await this.timing();
    const long = await this.longTime();
    return {
      version: PROFILE_VERSION,
      model,
      serial,
      learntAt: new Date().toISOString(),
      ...(patterns.length === 0 ? {} : { patterns }),
      ...(restarts === undefined ? {} : { restarts }),
      ...(beyondRange === undefined ? {} : { beyondRange }),
      ...long,
      timing,
    };
  }

  // --- the bracket

  /** @returns the frames of a bracket in firing order, in steps from the centre */
  private async patternOf(shape: BracketShape): Promise<number[]> {
    this.tell('bracket', `Testing the order of a bracket of ${shape.pattern.length} frames.`);
    const centre = this.quickCentre(shape);
    await this.frames.arm(centre, shape);
    const pattern: number[] = [];
    while (pattern.length <= MOST_FRAMES) {
      const position = await this.position(centre, shape);
      if (position === pattern[0]) break;
      if (pattern.includes(position)) throw this.unclear(shape, [...pattern, position]);
      pattern.push(position);
    }
    if (pattern.length === 1) throw notMoved(centre);
    if (pattern.length > MOST_FRAMES) throw this.unclear(shape, pattern);
    return pattern;
  }

  /** The bracket is at its second frame: if it is switched off and on, does it begin with its first? */
  private async restarts(shape: BracketShape, pattern: readonly number[]): Promise<boolean> {
    this.tell('restart', 'Testing whether the bracket starts again if it is turned off and on.');
    const centre = this.quickCentre(shape);
    this.body.doubt();
    await this.frames.arm(centre, shape);
    const position = await this.position(centre, shape);
    if (position !== pattern[0] && position !== pattern[1]) throw this.unclear(shape, [position]);
    return position === pattern[0];
  }

  /** Centred on the shortest time, the darker half of a bracket lies beyond it. */
  private async beyondRange(patterns: readonly (readonly number[])[]): Promise<BodyProfile['beyondRange']> {
    const index = patterns.findIndex((pattern) => pattern.some((position) => position < 0));
    const pattern = patterns[index];
    const shape = this.shapes[index];
    if (pattern === undefined || shape === undefined) return undefined;
    this.tell('range', 'Testing what the camera does past its shortest time.');
    const shortest = await this.armShortest(shape);
    let atTheEnd = 0;
    let beyond = 0;
    let refused = false;
    for (const _ of pattern) {
      try {
        const { tv } = await this.frames.shoot(shortest.seconds);
        const steps = (toEv(shortest.tv) - tv) / toEv(shape.step);
        if (Math.abs(steps) < 0.5) atTheEnd += 1;
        else if (steps < 0) beyond += 1;
      } catch (cause) {
        if (asEvenrungError(cause).code !== 'frame-missing') throw cause;
        refused = true;
        break;
      }
    }
    this.body.doubt();
    if (refused) return 'refused';
    // The centre itself lies at the end, too.
    const darker = pattern.filter((position) => position < 0).length;
    return beyond === 0 && atTheEnd === darker + 1 ? 'clamped' : 'other';
  }

  /** Some bodies offer times that they do not have, and keep the one that they had. */
  private async armShortest(shape: BracketShape): Promise<ShutterSetting> {
    const fastestFirst = this.settable()
      .filter(({ tv }) => tv >= FASTEST_TV)
      .reverse();
    for (const setting of fastestFirst) {
      try {
        this.body.doubt();
        await this.frames.arm(setting, shape);
        return setting;
      } catch (cause) {
        if (asEvenrungError(cause).code !== 'setting-not-taken') throw cause;
      }
    }
    throw tooFewTimes();
  }

  private async position(centre: ShutterSetting, shape: BracketShape): Promise<number> {
    const { tv } = await this.frames.shoot(centre.seconds);
    const steps = (toEv(centre.tv) - tv) / toEv(shape.step);
    const position = Math.round(steps);
    if (Math.abs(steps - position) * toEv(shape.step) <= OFF_ITS_STEP_EV)
      return position === 0 ? 0 : position;
    throw new EvenrungError(
      'not-learnt',
      `A frame of the bracket recorded ${(2 ** -tv).toPrecision(3)} s, not a whole step from its centre at ${centre.label} s. Set the bracket to the shutter and the ISO to a fixed value, then learn again.`,
    );
  }

  private unclear(shape: BracketShape, positions: readonly number[]): EvenrungError {
    return new EvenrungError(
      'not-learnt',
      `The bracket of ${shape.pattern.length} frames fired in an order that makes no sense (${positions.join(', ')}). Leave the camera alone, then learn again.`,
      { positions },
    );
  }

  /** A fast time around which every frame of a bracket has room. */
  private quickCentre({ step, pattern }: BracketShape): ShutterSetting {
    const shortest = Math.min(FASTEST_TV, this.body.limits.shutters.at(-1)?.tv ?? 0);
    const room = Math.max(4, ...pattern.map(Math.abs)) * step;
    const settable = this.settable();
    return settable.filter(({ tv }) => tv <= shortest - room).at(-1) ?? middleOf(settable);
  }

  // --- times

  private async timing(): Promise<NonNullable<BodyProfile['timing']>> {
    this.tell('changes', 'Timing a change of settings.');
    const settable = this.settable().filter(({ tv }) => tv <= FASTEST_TV);
    const from = Math.max(0, settable.length - 2 - FAR);
    const [start, near, far] = [settable[from], settable[from + 1], settable[settable.length - 1]];
    const steps = settable.length - 1 - from;
    if (start === undefined || near === undefined || far === undefined || steps < 2) throw tooFewTimes();
    await this.frames.arm(start, null);
    const nearTimes: number[] = [];
    const farTimes: number[] = [];
    for (let round = 0; round < TIMED_CHANGES; round += 1) {
      nearTimes.push(await this.timed(near), await this.timed(start));
      farTimes.push(await this.timed(far), await this.timed(start));
    }
    if (this.frames.overheads.length === 0) {
      for (let frame = 0; frame < TIMED_FRAMES; frame += 1)
        await this.frames.shoot(start.seconds, { single: start });
      this.frames.overheads.shift();
    }
    const perSetting = (median(farTimes) - median(nearTimes)) / (steps - 1);
    const secondsPerSetting = perSetting > TELLING_SECONDS ? perSetting : 0;
    return {
      secondsPerChange: tidy(Math.max(0, median(nearTimes) - secondsPerSetting)),
      secondsPerSetting: tidy(secondsPerSetting),
      secondsPerFrame: tidy(median(this.frames.overheads.map(({ whole }) => whole))),
    };
  }

  private async timed(setting: ShutterSetting): Promise<number> {
    const started = performance.now();
    await this.frames.arm(setting, null);
    return (performance.now() - started) / 1000;
  }

  private async longTime(): Promise<Pick<BodyProfile, 'longTime' | 'noiseReduction'>> {
    const { longestSeconds = LONG_SECONDS } = this.options;
    const most = Math.min(longestSeconds, this.body.limits.longestSeconds);
    const setting = this.settable().find(({ seconds }) => seconds <= most);
    if (setting === undefined || setting.seconds < 1) return {};
    this.tell('long-time', `Timing an exposure of ${setting.label} s.`);
    await this.frames.arm(setting, null);
    const shot = await this.frames.shoot(setting.seconds, { single: setting, isShort: false });
    if (shot.linkSeconds < setting.seconds * TOO_QUICK) throw tooQuick(setting, shot.linkSeconds);
    const taken = Math.max(0.001, shot.linkSeconds - median(this.frames.overheads.map(({ link }) => link)));
    const noiseReduction = taken > setting.seconds * DOUBLED;
    const seconds = tidy(noiseReduction ? taken / 2 : taken);
    return { longTime: { shutter: setting.label, seconds }, noiseReduction };
  }

  // --- frames

  private settable(): ShutterSetting[] {
    return labelledShutters(this.body.limits).filter((setting) => setting.settable);
  }

  private tell(about: LearnStep['about'], message: string): void {
    const { onStep } = this.options;
    onStep?.({ about, message, fired: this.frames.fired, most: mostFrames(this.body) });
  }
}

/** @returns how many frames learning fires at most */
export function mostFrames(body: Body): number {
  const shapes = oneEachPattern(body.limits.brackets);
  const brackets = shapes.map(({ pattern }) => (body.tellsCounts ? pattern.length + 1 : MOST_FRAMES + 1));
  const extra = shapes.length === 0 ? TIMED_FRAMES + 1 : 2 + MOST_FRAMES;
  return brackets.reduce((sum, count) => sum + count, 0) + extra;
}

/** Each pattern once, with the step nearest to 1 EV that it has. */
function oneEachPattern(brackets: readonly BracketShape[]): BracketShape[] {
  const chosen = new Map<string, BracketShape>();
  for (const shape of brackets) {
    if (shape.isOneRelease === true) continue;
    const key = [...shape.pattern].sort((a, b) => a - b).join();
    const before = chosen.get(key);
    if (before === undefined || offWhole(shape) < offWhole(before)) chosen.set(key, shape);
  }
  return [...chosen.values()].sort((a, b) => a.pattern.length - b.pattern.length);
}

const offWhole = ({ step }: BracketShape): number => Math.abs(step - ONE_EV);

function middleOf(settings: readonly ShutterSetting[]): ShutterSetting {
  const middle = settings[Math.floor(settings.length / 2)];
  if (middle !== undefined) return middle;
  throw tooFewTimes();
}
