// A sounding: fires test frames outwards until they tell how far the light of the scene reaches, and says which set holds it. The body is left as it
// was found, however that went. Knows neither sets nor the journal.
import { mkdir, rm } from 'node:fs/promises';
import path from 'node:path';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import type { SoundRequest } from '../../shared/sounding.js';
import { putBackSteadily } from '../bodies/index.js';
import { type Body, notPutBack, type ReadinessAsked } from '../camera/index.js';
import {
  type BodyLimits,
  fromEv,
  minusSixths,
  NO_EV,
  plusSixths,
  timeAt,
  toEv,
  whiteFromEv100,
} from '../exposure/index.js';
import type { AskedEnds, Judge, Lost, SceneEnds } from '../light/index.js';
import {
  type LostAtEnds,
  MOST_SOUNDING_SECONDS,
  MOST_TEST_FRAMES,
  mustHaveStep,
  type Next,
  nextTest,
  type Proposed,
  type Shown,
  type SoundingAt,
  type TestExposure,
  type TestPurpose,
  testExposures,
} from '../plan/index.js';
import { startOf } from './start.js';
import { fireTest, type TestShot, unreadable } from './test-shot.js';

export interface SoundingOptions {
  readonly body: Body;
  readonly request: SoundRequest;
  /** The limits within which the body may be used. */
  readonly limits: BodyLimits;
  /** What its readiness is judged for. */
  readonly readiness: ReadinessAsked;
  /** The test frames are in a folder of this one while the sounding lasts. */
  readonly stateFolder: string;
  readonly judge: Judge;
  /** Asked before each frame: whether somebody wants it to end. */
  readonly stopping: () => boolean;
  /** Told before each frame, and when it was looked at. */
  readonly tell: (step: SoundingStep) => void;
}

export type SoundingStep =
  | { readonly is: 'firing'; readonly exposure: TestExposure; readonly to: TestPurpose }
  | { readonly is: 'seen'; readonly shot: SeenShot };

export interface SeenShot extends TestShot {
  /** Counted from 1. */
  readonly number: number;
  /** EV from the first one; exact. */
  readonly offsetEv: number;
  /** What this frame alone loses. */
  readonly lost: { readonly bright: Lost; readonly dark: Lost };
}

export type Sounded =
  /** Nothing more was fired: the sun may be in the frame. */
  | { readonly is: 'sun' }
  | {
      readonly is: 'proposed';
      readonly at: SoundingAt;
      readonly proposed: Proposed;
      /** Whether the white in the darkest test frame may be the sun. */
      readonly mayBeSun: boolean;
      readonly lost: LostAtEnds;
      readonly shots: readonly SeenShot[];
    };

/** @returns the folder that takes test frames while a sounding lasts */
const folderIn = (stateFolder: string): string => path.join(stateFolder, 'sounding');

/** Sweeps up the files of a sounding whose program was killed. Never throws. */
export const sweepUp = (stateFolder: string): Promise<void> =>
  rm(folderIn(stateFolder), { recursive: true, force: true }).catch(() => undefined);

/**
 * @throws EvenrungError not-sounded, body-not-ready, base-not-offered, step-not-offered, frame-missing,
 *   frame-wrong, frame-unreadable, ending, and whatever links throw; not-put-back if, in addition, the body
 *   could not be left as found
 */
export async function sound(options: SoundingOptions): Promise<Sounded> {
  const { body, stateFolder, judge, request, readiness } = options;
  await sweepUp(stateFolder);
  const into = folderIn(stateFolder);
  try {
    await mkdir(into, { recursive: true });
    await body.makeReady({ ...readiness, mode: request.mode });
    const sounded = await new Sounding(options, into).carryOut();
    const trouble = await putBackSteadily(body);
    if (trouble !== null) throw new EvenrungError('not-put-back', trouble);
    return sounded;
  } catch (cause) {
    const error = asEvenrungError(cause);
    if (error.code === 'not-put-back' || (await putBackSteadily(body)) === null) throw error;
    throw new EvenrungError('not-put-back', `${error.message} ${notPutBack(body.debts)}`, {
      cause: error.code,
    });
  } finally {
    await judge.close().catch(() => undefined);
    await sweepUp(stateFolder);
  }
}

class Sounding {
  private readonly options: SoundingOptions;
  private readonly into: string;
  private readonly shots: SeenShot[] = [];
  private readonly until = performance.now() + MOST_SOUNDING_SECONDS * 1000;
  private at: SoundingAt;

  constructor(options: SoundingOptions, into: string) {
    const { body, request, limits } = options;
    this.options = options;
    this.into = into;
    const start = startOf(request, body, limits);
    const { step, mode, despiteSun } = request;
    const white = whiteFromEv100(toEv(start.tv), body.standing());
    this.at = { mode, step, limits, start, despiteSun, whiteFromEv100: white };
    mustHaveStep(step, testExposures(this.at));
  }

  async carryOut(): Promise<Sounded> {
    let next: Next = { is: 'fire', exposure: { offset: NO_EV, shutter: this.at.start }, to: 'start' };
    let ends: SceneEnds | null = null;
    while (next.is === 'fire') {
      ends = await this.fire(next.exposure, next.to);
      next = nextTest(this.at, {
        shown: this.shown,
        seen: ends,
        secondsLeft: (this.until - performance.now()) / 1000,
        takes: (exposure) => this.takes(exposure),
      });
    }
    if (next.is === 'sun') return { is: 'sun' };
    if (ends !== null) mustHaveSeen(ends);
    const { proposed, mayBeSun } = next;
    const lost = await this.lostAtEnds(proposed);
    return { is: 'proposed', at: this.at, proposed, mayBeSun, lost, shots: this.shots };
  }

  private get shown(): Shown[] {
    return this.shots.map(({ exposure: { offset }, lost: { bright, dark } }) => ({
      ...{ offset, highlights: bright.share, shadows: dark.share },
    }));
  }

  private async fire(exposure: TestExposure, to: TestPurpose): Promise<SceneEnds> {
    const { body, judge, request, stopping, tell } = this.options;
    if (stopping()) throw new EvenrungError('ending', 'The sounding was stopped, so no set is proposed.');
    if (this.shots.length >= MOST_TEST_FRAMES) throw new EvenrungError('internal', 'Too many test frames.');
    tell({ is: 'firing', exposure, to });
    const shot = await fireTest(body, exposure, { mode: request.mode, into: this.into });
    if (this.shots.length === 0) this.metered(shot);
    const number = this.shots.length + 1;
    const offsetEv = toEv(this.at.start.tv) - shot.tv;
    const read = await judge.frame({ number, offsetEv, picture: shot.picture, compare: false });
    if (!read.isRead) throw unreadable(read.sentence);
    const ends = await this.ends({ highlights: [offsetEv], shadows: [offsetEv] });
    const [bright, dark] = [ends.highlights.at[0], ends.shadows.at[0]];
    if (bright === undefined || dark === undefined)
      throw new EvenrungError('internal', 'What the test frame loses was not told.');
    const seen = { ...shot, number, offsetEv, lost: { bright, dark } };
    this.shots.push(seen);
    tell({ is: 'seen', shot: seen });
    if (!ends.isOneLight) throw lightMoved();
    return ends;
  }

  /** In aperture priority only the first file shows what the camera meters. */
  private metered({ tv }: TestShot): void {
    if (this.at.mode === 'manual') return;
    const white = whiteFromEv100(tv, this.options.body.standing());
    this.at = { ...this.at, start: timeAt(fromEv(tv)), whiteFromEv100: white };
  }

  private async ends(at: AskedEnds): Promise<SceneEnds> {
    const ends = await this.options.judge.ends(at).catch((cause: unknown) => {
      throw unreadable(asEvenrungError(cause).message);
    });
    if (ends === null) throw unreadable('none of them could be read');
    return ends;
  }

  private takes({ shutter: { seconds } }: TestExposure): number {
    const { body, limits } = this.options;
    const doubled = body.profile?.noiseReduction === true && seconds >= 1;
    return seconds * (doubled ? 2 : 1) + limits.secondsPerChange + limits.secondsPerFrame;
  }

  private async lostAtEnds({ offsets }: Proposed): Promise<LostAtEnds> {
    const { step } = this.at;
    const [first, last] = [offsets[0] ?? NO_EV, offsets.at(-1) ?? NO_EV];
    const { highlights, shadows } = await this.ends({
      highlights: [first, plusSixths(first, step)].map(toEv),
      shadows: [last, minusSixths(last, step)].map(toEv),
    });
    const [darkest, insideDarkest] = highlights.at;
    const [brightest, insideBrightest] = shadows.at;
    if (!darkest || !insideDarkest || !brightest || !insideBrightest)
      throw new EvenrungError('internal', 'What the frames of the set would lose was not told.');
    return { darkest, insideDarkest, brightest, insideBrightest };
  }
}

/** This share of the picture counts as all of it. */
const ALL = 0.99;

/** @throws EvenrungError not-sounded */
function mustHaveSeen({ highlights, shadows }: SceneEnds): void {
  if (shadows.heldAt === null && shadows.lost.share >= ALL)
    throw new EvenrungError(
      'not-sounded',
      'Every test frame is black, even the brightest: take the lens cap off, open up or raise the ISO, then sound again.',
    );
  if (highlights.heldAt === null && highlights.lost.share >= ALL)
    throw new EvenrungError(
      'not-sounded',
      'Every test frame is white, even the darkest: stop down, lower the ISO or put a neutral-density filter in front of the lens, then sound again.',
    );
}

const lightMoved = () =>
  new EvenrungError(
    'not-sounded',
    'The test frames do not get brighter as their exposures do: the light changed, or the camera was turned. Wait until the light is steady, then sound again.',
  );
