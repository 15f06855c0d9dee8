// Links to a practice body in this process that can be made to fail. They know nothing of sets and stations.
import { EvenrungError } from '../../shared/errors.js';
import type {
  BringOptions,
  FiredFrame,
  FireOptions,
  Heard,
  Piece,
  PressOptions,
  Setting,
  Settings,
} from '../../src/camera/index.js';
import { AT_ONCE, PracticeBody, type PracticeOptions } from '../../src/camera/practice/model.js';
import { PracticeLink } from '../../src/camera/practice/practice-link.js';

/** Lets everything through unless told otherwise. */
export class TestLink extends PracticeLink {
  readonly of: PracticeBody;
  /** How often the shutter was asked to be released. */
  releases = 0;
  /** How often settings were read. */
  reads = 0;
  readonly changes: string[] = [];
  /**
   * Called before each frame, counted from 1. If it throws, the error is the link's answer, and the shutter
   * stays closed.
   */
  beforeFire: (count: number) => void | Promise<void> = () => undefined;
  /** Called after each frame. If it throws, the file is lost; it may also change the file. */
  afterFire: (count: number, file: string) => void | Promise<void> = () => undefined;
  /** Called before each change. If it throws, the error is the link's answer, and nothing is changed. */
  beforeChange: (name: string, value: string) => void | Promise<void> = () => undefined;
  beforeRead: () => void = () => undefined;
  /** Alters the settings as they are read from the body. */
  told: (settings: Settings) => Settings = (settings) => settings;
  /** Whether the link tells the size of a file: to be switched off if afterFire changes the file. */
  saysSize = true;

  /** @param of a body, or the options in which a new body differs */
  constructor(of: PracticeBody | Partial<PracticeOptions> = {}) {
    const body = of instanceof PracticeBody ? of : new PracticeBody({ ...AT_ONCE, ...of });
    super(body);
    this.of = body;
  }

  override async readSettings(): Promise<Settings> {
    this.reads += 1;
    this.beforeRead();
    return this.told(await super.readSettings());
  }

  override async changeSetting(name: string, value: string): Promise<Setting> {
    await this.beforeChange(name, value);
    this.changes.push(`${name}=${value}`);
    return super.changeSetting(name, value);
  }

  override async fire(options: FireOptions): Promise<FiredFrame> {
    this.releases += 1;
    const count = this.releases;
    await this.beforeFire(count);
    const frame = await super.fire(options);
    await this.afterFire(count, frame.path);
    return this.saysSize ? frame : { path: frame.path, seconds: frame.seconds };
  }
}

/**
 * The link of a program that dies: so many frames come back, and after that the shutter call never returns.
 */
export class DyingLink extends PracticeLink {
  private left: number;

  constructor(of: PracticeBody, frames: number) {
    super(of);
    this.left = frames;
  }

  override fire(options: FireOptions): Promise<FiredFrame> {
    this.left -= 1;
    return this.left < 0 ? new Promise<never>(() => undefined) : super.fire(options);
  }
}

/**
 * Takes release and fetch apart; lets everything through unless told otherwise. If a hook throws, the error
 * is the link's answer.
 */
export class ApartTestLink extends PracticeLink {
  readonly of: PracticeBody;
  presses = 0;
  pieces = 0;
  listings = 0;
  readonly changes: string[] = [];
  /** Called before each press, counted from 1; the shutter stays closed if it throws. */
  beforePress: (count: number) => void | Promise<void> = () => undefined;
  /** Alters what the body tells. */
  hear: (heard: Heard) => Heard | Promise<Heard> = (heard) => heard;
  /** Whether the link can change to releasing and fetching at once, and whether it did. */
  hasOtherWay = false;
  fellBack = false;
  /** Called before each piece that is brought. */
  beforeBring: (options: BringOptions, count: number) => void | Promise<void> = () => undefined;

  constructor(of: PracticeBody) {
    super(of, { isApart: true });
    this.of = of;
  }

  override async changeSetting(name: string, value: string): Promise<Setting> {
    this.changes.push(`${name}=${value}`);
    return super.changeSetting(name, value);
  }

  override async press(options: PressOptions): Promise<void> {
    this.presses += 1;
    await this.beforePress(this.presses);
    await super.press(options);
  }

  override async listen(ms: number): Promise<Heard> {
    return this.hear(await super.listen(ms));
  }

  override async bring(options: BringOptions): Promise<Piece> {
    this.pieces += 1;
    await this.beforeBring(options, this.pieces);
    return super.bring(options);
  }

  fallBack(): boolean {
    this.fellBack ||= this.hasOtherWay;
    return this.fellBack;
  }

  override async list() {
    this.listings += 1;
    return super.list();
  }
}

/**
 * The cable is pulled as soon as the last of five releases is told of, or while its file comes, and nobody
 * plugs it in again.
 */
export class PulledLink extends ApartTestLink {
  private readonly when: 'before it is told' | 'while it comes';
  private isGone = false;

  constructor(of: PracticeBody, when: 'before it is told' | 'while it comes') {
    super(of);
    this.when = when;
    this.hear = (heard) => {
      if (when === 'before it is told' && of.shots.length === 5 && heard.made.length > 0) this.pull();
      return heard;
    };
    this.beforeBring = ({ from }) => {
      if (this.when === 'while it comes' && of.shots.length === 5 && from > 0) this.pull();
      this.mustBeThere();
    };
    this.beforePress = () => this.mustBeThere();
  }

  private pull(): never {
    this.isGone = true;
    throw pulled();
  }

  private mustBeThere(): void {
    if (this.isGone) throw pulled();
  }

  override async readSettings() {
    this.mustBeThere();
    return super.readSettings();
  }

  override async changeSetting(name: string, value: string) {
    this.mustBeThere();
    return super.changeSetting(name, value);
  }

  override async list() {
    this.mustBeThere();
    return super.list();
  }
}

const pulled = () => new EvenrungError('body-lost', 'The cable was pulled.');
