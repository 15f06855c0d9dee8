// The practice body: a camera as a state machine in physical terms (exposures in sixths of an EV, no labels, no wire).
// It has two faces: the practice link reads and sets it by label, the tests' PTP responder by property code. Neither
// face may decide anything that a camera decides; that is done here.
import {
  APERTURE_SCALES,
  SHUTTER_SCALES,
  type ShutterSetting,
  type Sixths,
  secondsOf,
} from '../../exposure/index.js';
import { renderFrame } from './render.js';
import { meteredTv } from './scene.js';

/** How the body brackets: by an amount setting, or not at all. */
export type PracticeShape = 'amount' | 'none';

/** Everything on the body that can be set. */
export interface PracticeState {
  mode: 'manual' | 'aperture';
  /** Tv in sixths. In aperture priority the body chooses, and this is ignored. */
  shutter: Sixths;
  /** Av in sixths. */
  aperture: Sixths;
  iso: number;
  compensation: Sixths;
  /** EV between the frames of the auto-bracket; 0 is off. Setting it, even to the same value, starts at the first frame. */
  bracketStep: Sixths;
  drive: 'single' | 'continuous';
  /** Where a frame is kept beside what is sent over the wire. */
  target: 'memory' | 'card';
  whiteBalance: 'auto' | 'daylight';
  focus: 'manual' | 'single';
}

type Choices = { readonly [K in keyof PracticeState]: readonly PracticeState[K][] };

/** Seconds that the body takes, each beside the exposure itself. */
export interface PracticeTiming {
  readonly change: number;
  /** From the release to the opening of the shutter. */
  readonly releaseLag: number;
  /** From the closing of the shutter to the file being there; the rendering runs within it. */
  readonly cycle: number;
  /** What an exposure of one second takes: 1 as in life, 0 at once. */
  readonly exposureScale: number;
}

export const LIFELIKE: PracticeTiming = { change: 0.02, releaseLag: 0.06, cycle: 0.12, exposureScale: 1 };
export const AT_ONCE: PracticeTiming = { change: 0, releaseLag: 0, cycle: 0, exposureScale: 0 };

export interface PracticeOptions {
  readonly shape: PracticeShape;
  readonly serial: string;
  /** Frames of the auto-bracket in firing order, in steps from the centre. */
  readonly bracketPattern: readonly number[];
  readonly timing: PracticeTiming;
  readonly now: () => Date;
}

const DEFAULTS: PracticeOptions = {
  shape: 'amount',
  serial: 'PB-0001',
  bracketPattern: [0, -1, 1],
  timing: LIFELIKE,
  now: () => new Date(),
};

/** A file on the card or in the body's memory. */
export interface PracticeFile {
  /** As a camera names it: `IMG_0001.JPG`. */
  readonly name: string;
  readonly takenAt: Date;
  readonly jpeg: Buffer;
}

/** What the shutter did: kept so that tests can compare the frames with the truth. */
export interface PracticeShot {
  readonly tv: Sixths;
  /** Where in its bracket the frame was, in steps from the centre; 0 with the bracket off. */
  readonly bracketPosition: number;
  /** True where the bracket asked for a time that the body has not: it is clamped, silently. */
  readonly clamped: boolean;
}

const EV = 6;
const thirdsUpTo = (range: number): Sixths[] =>
  Array.from({ length: range * EV + 1 }, (_, index) => index * 2 - range * EV);

const SHUTTERS: readonly ShutterSetting[] = SHUTTER_SCALES.third.filter((setting) => setting.tv <= 13 * EV);

/** The card holds the bytes of this many files; older ones only count. A practice run of thousands must not fill the memory. */
const FILES_KEPT = 32;
const CARD_FRAMES = 20_000;

export class PracticeBody {
  readonly options: PracticeOptions;
  readonly choices: Choices;
  readonly model = 'Practice body';
  /** The latest files, oldest first. */
  readonly files: PracticeFile[] = [];
  readonly shots: PracticeShot[] = [];
  private readonly settings: PracticeState = {
    mode: 'manual',
    shutter: 6 * EV,
    aperture: 6 * EV,
    iso: 100,
    compensation: 0,
    bracketStep: 0,
    drive: 'single',
    target: 'memory',
    whiteBalance: 'daylight',
    focus: 'manual',
  };
  private turn = 0;
  private taken = 0;
  private releasing = false;

  constructor(options: Partial<PracticeOptions> = {}) {
    this.options = { ...DEFAULTS, ...options };
    this.choices = {
      mode: ['manual', 'aperture'],
      shutter: SHUTTERS.map((setting) => setting.tv),
      aperture: APERTURE_SCALES.third
        .map((setting) => setting.av)
        .filter((av) => av >= 3 * EV && av <= 9 * EV),
      iso: [100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200],
      compensation: thirdsUpTo(3),
      bracketStep:
        this.options.shape === 'amount' ? Array.from({ length: 10 }, (_, index) => index * 2) : [0],
      drive: ['single', 'continuous'],
      target: ['memory', 'card'],
      whiteBalance: ['auto', 'daylight'],
      focus: ['manual', 'single'],
    };
  }

  get state(): Readonly<PracticeState> {
    return this.settings;
  }

  /** Frames that the card still has room for. */
  get framesLeft(): number {
    return CARD_FRAMES - this.taken;
  }

  /** From the release until the file is there: a body takes no second release in that time. */
  get busy(): boolean {
    return this.releasing;
  }

  /**
   * @returns false, with nothing changed, where the value is none of the choices
   */
  async change<K extends keyof PracticeState>(name: K, value: PracticeState[K]): Promise<boolean> {
    if (!this.choices[name].includes(value)) return false;
    await pause(this.options.timing.change);
    this.settings[name] = value;
    if (name === 'bracketStep') this.turn = 0;
    return true;
  }

  /** Opens the shutter once, as the settings and the bracket's turn say, and puts the file where a camera would. */
  async release(): Promise<PracticeFile> {
    this.releasing = true;
    try {
      return await this.expose();
    } finally {
      this.releasing = false;
    }
  }

  private async expose(): Promise<PracticeFile> {
    const { timing, now } = this.options;
    // As they are at the release: what is changed while the shutter is open counts from the next frame on.
    const settings = { ...this.settings };
    const shot = this.nextShot();
    await pause(timing.releaseLag);
    const takenAt = now();
    await pause(secondsOf(shot.tv) * timing.exposureScale);
    const cycle = pause(timing.cycle);
    const jpeg = await renderFrame({
      tv: shot.tv,
      av: settings.aperture,
      iso: settings.iso,
      biasSixths:
        shot.bracketPosition * settings.bracketStep +
        (settings.mode === 'manual' ? 0 : settings.compensation),
      takenAt,
      model: this.model,
      serial: this.options.serial,
      manual: settings.mode === 'manual',
      bracketed: settings.bracketStep !== 0,
    });
    await cycle;
    this.taken += 1;
    const file = { name: `IMG_${String(this.taken % 10_000).padStart(4, '0')}.JPG`, takenAt, jpeg };
    this.shots.push(shot);
    this.files.push(file);
    if (this.files.length > FILES_KEPT) this.files.shift();
    if (this.shots.length > FILES_KEPT * 4) this.shots.shift();
    return file;
  }

  private biasOfCompensation(): Sixths {
    return this.settings.mode === 'manual' ? 0 : this.settings.compensation;
  }

  private nextShot(): PracticeShot {
    const { mode, shutter, aperture, iso, bracketStep } = this.settings;
    const pattern = this.options.bracketPattern;
    const bracketPosition = bracketStep === 0 ? 0 : (pattern[this.turn % pattern.length] ?? 0);
    if (bracketStep !== 0) this.turn += 1;
    const base = mode === 'manual' ? shutter : meteredTv(aperture, iso);
    const wanted = base - this.biasOfCompensation() - bracketPosition * bracketStep;
    const longest = SHUTTERS[0]?.tv ?? wanted;
    const shortest = SHUTTERS.at(-1)?.tv ?? wanted;
    const tv = Math.min(shortest, Math.max(longest, wanted));
    return { tv, bracketPosition, clamped: tv !== wanted };
  }
}

const pause = (seconds: number): Promise<void> =>
  seconds > 0 ? new Promise((resolve) => setTimeout(resolve, seconds * 1000)) : Promise.resolve();
