// The practice body: a camera as a state machine in physical terms (exposures in sixths of an EV, no labels, no wire).
// It has two faces: the practice link reads and sets it by label, the tests' PTP responder by property code. Neither
// face may decide anything that a camera decides; that is done here.
import {
  APERTURE_SCALES,
  leastOf,
  minusSixths,
  mostOf,
  NO_EV,
  plusSixths,
  SHUTTER_SCALES,
  type ShutterSetting,
  type Sixths,
  secondsOf,
  sixths,
  timesSixths,
} from '../../exposure/index.js';
import { develop } from './develop.js';
import {
  type Change,
  type Fires,
  Firing,
  type PlannedFrame,
  type PracticeEvent,
  type PracticeShot,
  type PressAnswer,
  type PressOptions,
} from './firing.js';
import { pause } from './pause.js';
import { meteredTv } from './scene.js';
import {
  A_THIRD,
  type Choices,
  type DriveEntry,
  evs,
  type Place,
  type PracticeOptions,
  type PracticeState,
  SHAPES,
} from './shapes.js';
import { FRAMES_KEPT, type PracticeFile, Store } from './store.js';

export type { PracticeEvent, PracticeShot, PressAnswer, PressOptions } from './firing.js';
export {
  AT_ONCE,
  type DriveEntry,
  LIFELIKE,
  NO_TIME,
  type Place,
  PRACTICE_SHAPES,
  type PracticeOptions,
  type PracticeShape,
  type PracticeShutter,
  type PracticeState,
  type PracticeTiming,
} from './shapes.js';
export type { FileKind, PracticeFile } from './store.js';

import { STILL, type View } from './view.js';

/** @param range in whole EV, either way */
const thirdsUpTo = (range: number): Sixths[] =>
  Array.from({ length: 6 * range + 1 }, (_, index) => timesSixths(A_THIRD, index - 3 * range));

/** Exposures from here on are followed by a dark frame, where noise reduction is on. */
const LONG_SECONDS = 1;

const SHOTS_KEPT = FRAMES_KEPT * 4;
const MOST_OF_A_BURST = 100;

export class PracticeBody {
  readonly options: PracticeOptions;
  readonly choices: Choices;
  readonly model = 'Practice body';
  /** Percent. */
  readonly battery = 80;
  /** Focal length in mm that its zoom lens is set to; nothing else depends on it. */
  focalLength = 24;
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
    burstNumber: 1,
    target: 'memory',
    whiteBalance: 'daylight',
    focus: 'manual',
    format: 'jpeg',
    noiseReduction: 'off',
    mirrorLock: 'off',
  };
  private readonly shutters: readonly ShutterSetting[];
  private turn = 0;
  private readonly store: Store;
  private readonly firing: Firing;
  private mirrorUp = false;
  /** Frames that were planned. */
  private planned = 0;
  /** Milliseconds that its clock is ahead. */
  private clockAhead = 0;
  /** How much brighter the scene has become since it was drawn, in sixths. */
  private lightMoved: Sixths = NO_EV;

  constructor(options: Partial<PracticeOptions> = {}) {
    const { shape = 'amount' } = options;
    this.options = {
      shape,
      picture: 'full',
      view: STILL,
      now: () => new Date(),
      ...SHAPES[shape],
      ...options,
    };
    const { patterns, steps, shortestTv, longestTv } = this.options;
    this.shutters = SHUTTER_SCALES.third.filter(({ tv }) => tv >= longestTv && tv <= shortestTv);
    const isPattern = shape === 'pattern';
    const switches = ['off', 'on'] as const;
    this.choices = {
      mode: ['manual', 'aperture'],
      // Beyond the longest time, if the scale has it.
      shutter: [...(this.options.bulb ? (['bulb'] as const) : []), ...this.shutters.map(({ tv }) => tv)],
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
      burstNumber: Array.from({ length: MOST_OF_A_BURST }, (_, index) => index + 1),
      target: ['memory', 'card'],
      whiteBalance: ['auto', 'daylight'],
      focus: ['manual', 'single'],
      format: ['jpeg', 'raw-and-jpeg', 'raw'],
      noiseReduction: switches,
      mirrorLock: switches,
    };
    if (isPattern) this.settings.bracketStep = steps[0] ?? NO_EV;
    this.store = new Store(this.options);
    this.firing = new Firing(this.asFiring(), this.store);
  }

  get state(): Readonly<PracticeState> {
    return this.settings;
  }

  /** The times of its shutter in sixths, longest first: its choices without bulb. */
  get times(): readonly Sixths[] {
    return this.shutters.map(({ tv }) => tv);
  }

  /** The latest files, oldest first, in memory and on the card: those of the last 32 frames. */
  get files(): PracticeFile[] {
    return this.store.files;
  }

  /** Whether the next exposure lasts as long as the release is held. */
  get isBulb(): boolean {
    return this.settings.mode === 'manual' && this.settings.shutter === 'bulb';
  }

  /** Frames that the card still has room for. */
  get framesLeft(): number {
    return this.store.framesLeft;
  }

  /** Whether it takes no release: while a frame is made, its buffer is full, or it writes. */
  get busy(): boolean {
    return this.firing.busy;
  }

  /** Whether a frame is being made, from the release until its files are in the buffer. */
  get underWay(): boolean {
    return this.firing.underWay;
  }

  /** Whether the release is pressed and not let go. */
  get isHeld(): boolean {
    return this.firing.isHeld;
  }

  /** The auto-bracket that the next release takes a frame of; null if it is off. */
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

  /** Frames of the current bracket that are still to be fired; 0 if it is off. */
  get bracketFramesLeft(): number {
    const length = this.activeBracket?.pattern.length ?? 0;
    return length === 0 ? 0 : length - (this.turn % length);
  }

  /** The time on its clock. */
  get clock(): Date {
    return new Date(this.options.now().getTime() + this.clockAhead);
  }

  moveLight(by: Sixths): void {
    this.lightMoved = plusSixths(this.lightMoved, by);
  }

  setClock(to: Date): void {
    this.clockAhead = to.getTime() - this.options.now().getTime();
  }

  /** @returns false, with nothing changed, if the value is not one of the choices */
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
   * Presses the release and keeps it pressed. While it is held, frames follow each other if the drive is set
   * to that: until the bracket is through, the card is full, or it is let go. Listeners are told what comes
   * of it.
   */
  press(options: PressOptions = {}): PressAnswer {
    return this.firing.press(options);
  }

  /**
   * Lets the release go. The current frame is finished; a bulb exposure ends. Does nothing if it is not held.
   */
  letGo(): void {
    this.firing.letGo();
  }

  /** @returns what ends it */
  heed(listener: (event: PracticeEvent) => void): () => void {
    return this.firing.heed(listener);
  }

  /**
   * Steps between the files of each frame and everybody who is told of them, after those who stepped in before. The files that it returns
   * are told of, and take the places of the others on the card.
   * @returns what takes it out again
   */
  beforeTelling(change: Change): () => void {
    return this.firing.beforeTelling(change);
  }

  /**
   * Presses the release and lets it go at once, as if by hand: listeners are not told.
   * @param options where the files go; if it is left out, where the body is set to keep them
   * @returns the new files: those of one frame, or of a whole bracket if the drive fires it at one press;
   *   none if the mirror only went up, or if the body refuses a frame
   */
  release({ place }: { readonly place?: Place } = {}): Promise<readonly PracticeFile[]> {
    return this.firing.release(place);
  }

  /**
   * A file is about to be sent: waits for the shutter to close, if the body sends nothing while it is open.
   * @returns false if the body is busy instead
   */
  async maySend(): Promise<boolean> {
    const { whileExposing } = this.options;
    for (let closed = this.firing.whenClosed; closed !== null; closed = this.firing.whenClosed) {
      if (whileExposing === 'sends') return true;
      if (whileExposing === 'refuses') return false;
      await closed;
    }
    return true;
  }

  /** A file was fetched from the body's memory, which need not hold it any longer. */
  fetched(file: PracticeFile): void {
    this.store.fetched(file);
  }

  /** @returns false if there is no such file any more */
  delete(file: PracticeFile): boolean {
    return this.store.delete(file);
  }

  /** The parts of the body that its release may use. */
  private asFiring(): Fires {
    const body = this;
    return {
      options: this.options,
      get clock() {
        return body.clock;
      },
      get target() {
        return body.settings.target;
      },
      get follows() {
        return body.follows;
      },
      get firesAll() {
        const { drive } = body.settings;
        return typeof drive === 'object' && drive.press === 'all';
      },
      begin: () => this.begin(),
      planFrame: () => this.planFrame(),
      keep: (shot) => {
        this.shots.push(shot);
        if (this.shots.length > SHOTS_KEPT) this.shots.shift();
      },
    };
  }

  private begin(): boolean {
    const { drive, mirrorLock } = this.settings;
    this.mirrorUp = mirrorLock === 'on' && !this.mirrorUp;
    if (this.mirrorUp) return false;
    if (typeof drive === 'object' && drive.press === 'all') this.turn = 0;
    return true;
  }

  private get follows(): boolean {
    const { drive } = this.settings;
    if (this.isBulb || drive === 'single' || (typeof drive === 'object' && drive.press === 'each'))
      return false;
    const length = this.activeBracket?.pattern.length ?? 0;
    return length === 0 || this.turn % length !== 0 || !this.options.stopsAfterBracket;
  }

  private planFrame(): PlannedFrame {
    const settings = { ...this.settings };
    const { isBulb, focalLength, model, lightMoved: light } = this;
    const bracket = isBulb ? null : this.activeBracket;
    const shot = isBulb ? BULB_SHOT : this.nextShot(bracket);
    const { beyondRange, recordsBracket, serial, picture, pairOrder } = this.options;
    const view = this.viewOf(this.planned);
    this.planned += 1;
    const shotOf = (openSeconds?: number): PracticeShot =>
      openSeconds === undefined ? shot : { ...shot, tv: nearestTv(openSeconds), openSeconds };
    return {
      seconds: isBulb ? null : secondsOf(shot.tv),
      hasDarkFrame: (seconds) => settings.noiseReduction === 'on' && seconds >= LONG_SECONDS,
      isRefused: shot.clamped && beyondRange === 'refused',
      shotOf,
      develop: (takenAt, openSeconds) =>
        develop(
          {
            tv: shotOf(openSeconds).tv,
            ...(openSeconds !== undefined && { openSeconds }),
            av: settings.aperture,
            iso: settings.iso,
            biasSixths: plusSixths(
              recordsBracket ? partOf(bracket, shot.bracketPosition) : NO_EV,
              settings.mode === 'manual' ? NO_EV : settings.compensation,
            ),
            takenAt,
            model,
            serial,
            focalLength,
            manual: settings.mode === 'manual',
            bracketed: bracket !== null,
            light,
            picture,
            view,
          },
          settings.format,
          pairOrder,
        ),
    };
  }

  private viewOf(frame: number): View {
    const { view } = this.options;
    return typeof view === 'function' ? view(frame) : view;
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
    const { scene } = this.viewOf(this.planned);
    const metered = () =>
      minusSixths(plusSixths(meteredTv(aperture, iso, scene), this.lightMoved), compensation);
    const centre = mode === 'manual' && shutter !== 'bulb' ? shutter : metered();
    const wanted = minusSixths(centre, partOf(bracket, bracketPosition));
    const longest = this.shutters[0]?.tv ?? wanted;
    const shortest = this.shutters.at(-1)?.tv ?? wanted;
    const tv = leastOf(shortest, mostOf(longest, wanted));
    return { tv, bracketPosition, clamped: tv !== wanted };
  }
}

/** The part of an exposure that the bracket adds to one of its frames. */
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

/** Its time is known once it is over. */
const BULB_SHOT: PracticeShot = { tv: NO_EV, bracketPosition: 0, clamped: false };

const nearestTv = (seconds: number): Sixths => sixths(Math.round(-6 * Math.log2(Math.max(seconds, 1e-4))));
