// The practice body: a camera as a state machine in physical terms (exposures in sixths of an EV, no labels, no wire).
// It has two faces: the practice link reads and sets it by label, the tests' PTP responder by property code. Neither
// face may decide anything that a camera decides; that is done here.
import {
  APERTURE_SCALES,
  leastOf,
  minusSixths,
  mostOf,
  NO_EV,
  ONE_EV,
  plusSixths,
  SHUTTER_SCALES,
  type ShutterSetting,
  type Sixths,
  secondsOf,
  sixths,
  timesSixths,
} from '../../exposure/index.js';
import { renderFrame } from './render.js';
import { meteredTv, type PictureSize } from './scene.js';

/** How the body says "bracket": the shapes of dialects A, B, C and D. */
export const PRACTICE_SHAPES = ['amount', 'pattern', 'drive-entry', 'none'] as const;
export type PracticeShape = (typeof PRACTICE_SHAPES)[number];

/** One auto-bracket as an entry of the drive: `each` fires a frame a press, `all` the whole bracket at one press. */
export interface DriveEntry {
  readonly press: 'each' | 'all';
  readonly step: Sixths;
  /** Frames in firing order, in steps from the centre. */
  readonly pattern: readonly number[];
}

/** Everything on the body that can be set. What a shape does not have keeps its first value. */
export interface PracticeState {
  mode: 'manual' | 'aperture';
  /** Tv in sixths. In aperture priority the body chooses, and this is ignored. */
  shutter: Sixths;
  /** Av in sixths. */
  aperture: Sixths;
  iso: number;
  compensation: Sixths;
  /** Switches the bracket of the shape `pattern`; that of `amount` is on where the step is not 0. */
  bracket: 'off' | 'on';
  /** What the bracket of the shape `pattern` moves: exposure, or white balance, which leaves the exposure alone. */
  bracketOf: 'exposure' | 'white-balance';
  /** EV between the frames of the auto-bracket. */
  bracketStep: Sixths;
  /** Which of the option's patterns. */
  bracketPattern: number;
  /** The order in which the shape `pattern` fires: as in the option's patterns, or from dark to light. */
  bracketOrder: 'as-listed' | 'dark-first';
  drive: 'single' | 'continuous' | DriveEntry;
  /** Where a frame is kept beside what is sent over the wire. */
  target: 'memory' | 'card';
  whiteBalance: 'auto' | 'daylight';
  focus: 'manual' | 'single';
  format: 'jpeg' | 'raw-and-jpeg';
  /** A dark frame after each exposure of a second and more, as long as the exposure itself. */
  noiseReduction: 'off' | 'on';
  /** With it, a release raises the mirror and brings nothing; the next one opens the shutter. */
  mirrorLock: 'off' | 'on';
}

type Choices = { readonly [K in keyof PracticeState]: readonly PracticeState[K][] };

/** Seconds that the body takes, each beside the exposure itself. */
export interface PracticeTiming {
  readonly change: number;
  /** More for every setting that it passes on its way to the new one: 0 where the body jumps. */
  readonly changePerSetting: number;
  /** From the release to the opening of the shutter. */
  readonly releaseLag: number;
  /** From the closing of the shutter to the file being there; the rendering runs within it. */
  readonly cycle: number;
  /** What an exposure of one second takes: 1 as in life, 0 at once. */
  readonly exposureScale: number;
}

export const LIFELIKE: PracticeTiming = {
  change: 0.02,
  changePerSetting: 0,
  releaseLag: 0.06,
  cycle: 0.12,
  exposureScale: 1,
};
export const NO_TIME: PracticeTiming = {
  change: 0,
  changePerSetting: 0,
  releaseLag: 0,
  cycle: 0,
  exposureScale: 0,
};

export interface PracticeOptions {
  readonly shape: PracticeShape;
  readonly serial: string;
  /** The auto-brackets, each in firing order, in steps from the centre. The shape `amount` has the first one only. */
  readonly patterns: readonly (readonly number[])[];
  /** The steps that its bracket has, in sixths. */
  readonly steps: readonly Sixths[];
  /** Widest step at which the shape `drive-entry` has its brackets of more than five frames. */
  readonly widestLongBracket: Sixths;
  /** The shortest time of the shutter, as Tv in sixths. The longest is 30 s. */
  readonly shortestTv: Sixths;
  /** Whether setting the bracket, even to what it is, starts it at its first frame. */
  readonly restarts: boolean;
  /** Whether step and pattern of the shape `pattern` can be set while the bracket is on only. */
  readonly locksWhileOff: boolean;
  /** Whether the exposure bias in its files holds the bracket's part. */
  readonly recordsBracket: boolean;
  /** What becomes of a bracket frame beyond the shutter: it is made with the time at the end, or not at all. */
  readonly beyondRange: 'clamped' | 'refused';
  readonly timing: PracticeTiming;
  /** Full, where nothing else is said. */
  readonly picture: PictureSize;
  readonly now: () => Date;
}

/** A body that keeps nobody waiting, not for its pictures either. */
export const AT_ONCE = { timing: NO_TIME, picture: 'small' } as const satisfies Partial<PracticeOptions>;

const evs = (count: number): Sixths => timesSixths(ONE_EV, count);
const A_THIRD = sixths(2);
const upTo = (count: number, step: Sixths): Sixths[] =>
  Array.from({ length: count }, (_, index) => timesSixths(step, index + 1));

/** Two thirds and less, and whole EV. */
const COMMON_STEPS = [2, 4, 6, 12, 18].map(sixths);

const THREE_TO_NINE = [
  [0, -1, 1],
  [0, -2, -1, 1, 2],
  [0, -3, -2, -1, 1, 2, 3],
  [0, -4, -3, -2, -1, 1, 2, 3, 4],
];

/** What each shape is where nothing else is said: invented bodies, each with its own counts, steps, order and pace. */
const SHAPES: Readonly<Record<PracticeShape, Omit<PracticeOptions, 'shape' | 'picture' | 'now'>>> = {
  amount: {
    serial: 'PB-0001',
    patterns: [[0, -1, 1]],
    steps: upTo(9, A_THIRD),
    widestLongBracket: NO_EV,
    shortestTv: evs(13),
    restarts: true,
    timing: LIFELIKE,
    locksWhileOff: false,
    recordsBracket: true,
    beyondRange: 'clamped',
  },
  pattern: {
    serial: 'PB-0002',
    patterns: [[0, -1], [0, 1], [0, -2, -1], [0, 1, 2], ...THREE_TO_NINE],
    steps: COMMON_STEPS,
    widestLongBracket: evs(3),
    shortestTv: evs(13),
    restarts: true,
    timing: { ...LIFELIKE, change: 0.03, releaseLag: 0.05, cycle: 0.1 },
    locksWhileOff: false,
    recordsBracket: true,
    beyondRange: 'clamped',
  },
  'drive-entry': {
    serial: 'PB-0003',
    patterns: [
      [0, -1, 1],
      [0, -1, 1, -2, 2],
      [0, -1, 1, -2, 2, -3, 3, -4, 4],
    ],
    steps: COMMON_STEPS,
    widestLongBracket: ONE_EV,
    shortestTv: evs(12),
    restarts: true,
    timing: { ...LIFELIKE, change: 0.06, cycle: 0.09 },
    locksWhileOff: false,
    recordsBracket: true,
    beyondRange: 'clamped',
  },
  none: {
    serial: 'PB-0004',
    patterns: [],
    steps: [],
    widestLongBracket: NO_EV,
    shortestTv: evs(13),
    restarts: true,
    timing: { ...LIFELIKE, releaseLag: 0.08, cycle: 0.2 },
    locksWhileOff: false,
    recordsBracket: true,
    beyondRange: 'clamped',
  },
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

/** @param range in whole EV, either way */
const thirdsUpTo = (range: number): Sixths[] =>
  Array.from({ length: 6 * range + 1 }, (_, index) => timesSixths(A_THIRD, index - 3 * range));

/** Exposures from here on are followed by a dark frame, where noise reduction is on. */
const LONG_SECONDS = 1;

/** The card holds the bytes of this many files; older ones only count. A practice run of thousands must not fill the memory. */
const FILES_KEPT = 32;
const CARD_FRAMES = 20_000;

export class PracticeBody {
  readonly options: PracticeOptions;
  readonly choices: Choices;
  readonly model = 'Practice body';
  /** Percent. */
  readonly battery = 80;
  /** Millimetres at which its zoom lens stands; nothing else depends on it. */
  focalLength = 24;
  /** The latest files, oldest first. */
  readonly files: PracticeFile[] = [];
  readonly shots: PracticeShot[] = [];
  private readonly settings: PracticeState = {
    mode: 'manual',
    shutter: evs(6),
    aperture: evs(6),
    iso: 100,
    compensation: NO_EV,
    bracket: 'off',
    bracketOf: 'exposure',
    bracketStep: NO_EV,
    bracketPattern: 0,
    bracketOrder: 'as-listed',
    drive: 'single',
    target: 'memory',
    whiteBalance: 'daylight',
    focus: 'manual',
    format: 'jpeg',
    noiseReduction: 'off',
    mirrorLock: 'off',
  };
  private readonly shutters: readonly ShutterSetting[];
  private turn = 0;
  private taken = 0;
  private releasing = false;
  private mirrorUp = false;
  /** Milliseconds that its clock is ahead. */
  private clockAhead = 0;
  /** How much lighter the scene has become since it was drawn, in sixths. */
  private lightMoved: Sixths = NO_EV;

  constructor(options: Partial<PracticeOptions> = {}) {
    const { shape = 'amount' } = options;
    this.options = { shape, picture: 'full', now: () => new Date(), ...SHAPES[shape], ...options };
    const { patterns, steps, shortestTv } = this.options;
    this.shutters = SHUTTER_SCALES.third.filter((setting) => setting.tv <= shortestTv);
    const isPattern = shape === 'pattern';
    const switches = ['off', 'on'] as const;
    this.choices = {
      mode: ['manual', 'aperture'],
      shutter: this.shutters.map((setting) => setting.tv),
      aperture: APERTURE_SCALES.third
        .map((setting) => setting.av)
        .filter((av) => av >= evs(3) && av <= evs(9)),
      iso: [100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200],
      compensation: thirdsUpTo(3),
      bracket: isPattern ? switches : ['off'],
      bracketOf: isPattern ? ['exposure', 'white-balance'] : ['exposure'],
      bracketStep: isPattern ? steps : shape === 'amount' ? [NO_EV, ...steps] : [NO_EV],
      bracketPattern: isPattern ? patterns.map((_, index) => index) : [0],
      bracketOrder: isPattern ? ['as-listed', 'dark-first'] : ['as-listed'],
      drive: ['single', 'continuous', ...this.driveEntries()],
      target: ['memory', 'card'],
      whiteBalance: ['auto', 'daylight'],
      focus: ['manual', 'single'],
      format: ['jpeg', 'raw-and-jpeg'],
      noiseReduction: switches,
      mirrorLock: switches,
    };
    if (isPattern) this.settings.bracketStep = steps[0] ?? NO_EV;
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

  /** The auto-bracket that the next release fires of; null where it is off. */
  get activeBracket(): { readonly step: Sixths; readonly pattern: readonly number[] } | null {
    const { drive, bracket, bracketOf, bracketStep, bracketPattern, bracketOrder } = this.settings;
    if (typeof drive === 'object') return drive;
    const pattern = this.options.patterns[bracketPattern] ?? [0];
    switch (this.options.shape) {
      case 'amount':
        return bracketStep === 0 ? null : { step: bracketStep, pattern };
      case 'pattern':
        if (bracket === 'off') return null;
        return {
          step: bracketOf === 'exposure' ? bracketStep : NO_EV,
          pattern: bracketOrder === 'as-listed' ? pattern : [...pattern].sort((a, b) => a - b),
        };
      default:
        return null;
    }
  }

  /** Frames of the running bracket that are still to be fired; 0 where it is off. */
  get bracketFramesLeft(): number {
    const length = this.activeBracket?.pattern.length ?? 0;
    return length === 0 ? 0 : length - (this.turn % length);
  }

  /** What its clock says. */
  get clock(): Date {
    return new Date(this.options.now().getTime() + this.clockAhead);
  }

  moveLight(by: Sixths): void {
    this.lightMoved = plusSixths(this.lightMoved, by);
  }

  setClock(to: Date): void {
    this.clockAhead = to.getTime() - this.options.now().getTime();
  }

  /**
   * @returns false, with nothing changed, where the value is none of the choices
   */
  async change<K extends keyof PracticeState>(name: K, value: PracticeState[K]): Promise<boolean> {
    const to = this.choices[name].indexOf(value);
    if (to < 0 || this.isLocked(name)) return false;
    const { change, changePerSetting } = this.options.timing;
    const passed = Math.abs(to - this.choices[name].indexOf(this.settings[name]));
    await pause(change + changePerSetting * passed);
    this.settings[name] = value;
    if (BRACKET_SETTINGS.has(name) && this.options.restarts) this.turn = 0;
    return true;
  }

  /**
   * Opens the shutter as the settings and the bracket's turn say, and puts the files where a camera would.
   * @returns the new files: one, or those of a whole bracket where the drive fires it at one press; none where the mirror
   *   only went up, or where the body refuses a frame
   */
  async release(): Promise<readonly PracticeFile[]> {
    this.releasing = true;
    try {
      if (this.settings.mirrorLock === 'on' && !this.mirrorUp) {
        this.mirrorUp = true;
        await pause(this.options.timing.releaseLag);
        return [];
      }
      this.mirrorUp = false;
      const { drive } = this.settings;
      const presses = typeof drive === 'object' && drive.press === 'all' ? drive.pattern.length : 1;
      const files: PracticeFile[] = [];
      for (let press = 0; press < presses; press += 1) files.push(...(await this.expose()));
      return files;
    } finally {
      this.releasing = false;
    }
  }

  private async expose(): Promise<PracticeFile[]> {
    const { timing, beyondRange } = this.options;
    // As they are at the release: what is changed while the shutter is open counts from the next frame on.
    const settings = { ...this.settings };
    const bracket = this.activeBracket;
    const shot = this.nextShot(bracket);
    await pause(timing.releaseLag);
    if (shot.clamped && beyondRange === 'refused') return [];
    const takenAt = this.clock;
    const seconds = secondsOf(shot.tv);
    const dark = settings.noiseReduction === 'on' && seconds >= LONG_SECONDS ? seconds : 0;
    await pause((seconds + dark) * timing.exposureScale);
    const cycle = pause(timing.cycle);
    const jpeg = await renderFrame({
      tv: shot.tv,
      av: settings.aperture,
      iso: settings.iso,
      biasSixths: plusSixths(
        this.options.recordsBracket ? partOf(bracket, shot.bracketPosition) : NO_EV,
        settings.mode === 'manual' ? NO_EV : settings.compensation,
      ),
      takenAt,
      model: this.model,
      serial: this.options.serial,
      focalLength: this.focalLength,
      manual: settings.mode === 'manual',
      bracketed: bracket !== null,
      light: this.lightMoved,
      picture: this.options.picture,
    });
    await cycle;
    this.taken += 1;
    const file = { name: `IMG_${String(this.taken % 10_000).padStart(4, '0')}.JPG`, takenAt, jpeg };
    this.shots.push(shot);
    this.files.push(file);
    if (this.files.length > FILES_KEPT) this.files.shift();
    if (this.shots.length > FILES_KEPT * 4) this.shots.shift();
    return [file];
  }

  private isLocked(name: keyof PracticeState): boolean {
    const { shape, locksWhileOff } = this.options;
    const isPart = name === 'bracketStep' || name === 'bracketPattern';
    return locksWhileOff && shape === 'pattern' && isPart && this.settings.bracket === 'off';
  }

  private driveEntries(): DriveEntry[] {
    const { shape, patterns, steps, widestLongBracket } = this.options;
    if (shape !== 'drive-entry') return [];
    const offered = steps.flatMap((step) =>
      patterns
        .filter((pattern) => pattern.length <= 5 || step <= widestLongBracket)
        .map((pattern) => ({ step, pattern })),
    );
    return (['all', 'each'] as const).flatMap((press) => offered.map((entry) => ({ press, ...entry })));
  }

  private nextShot(bracket: PracticeBody['activeBracket']): PracticeShot {
    const { mode, shutter, aperture, iso, compensation } = this.settings;
    const pattern = bracket?.pattern ?? [0];
    const bracketPosition = pattern[this.turn % pattern.length] ?? 0;
    if (bracket !== null) this.turn += 1;
    const metered = () => minusSixths(plusSixths(meteredTv(aperture, iso), this.lightMoved), compensation);
    const centre = mode === 'manual' ? shutter : metered();
    const wanted = minusSixths(centre, partOf(bracket, bracketPosition));
    const longest = this.shutters[0]?.tv ?? wanted;
    const shortest = this.shutters.at(-1)?.tv ?? wanted;
    const tv = leastOf(shortest, mostOf(longest, wanted));
    return { tv, bracketPosition, clamped: tv !== wanted };
  }
}

/** What the bracket adds to the exposure of one of its frames. */
const partOf = (bracket: PracticeBody['activeBracket'], position: number): Sixths =>
  timesSixths(bracket?.step ?? NO_EV, position);

/** A change of any of these starts the bracket anew. */
const BRACKET_SETTINGS: ReadonlySet<keyof PracticeState> = new Set<keyof PracticeState>([
  'bracket',
  'bracketOf',
  'bracketStep',
  'bracketPattern',
  'bracketOrder',
  'drive',
]);

const pause = (seconds: number): Promise<void> =>
  seconds > 0 ? new Promise((resolve) => setTimeout(resolve, seconds * 1000)) : Promise.resolve();
