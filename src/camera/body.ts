// A body that is ready to be used: a link, the dialect that it speaks, its limits, and its settings as they were found.
// It knows exposures and brackets, and nothing of plans, sets or files beyond the one that a frame comes back in.
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import type { BodyProfile } from '../../shared/profile.js';
import type { ReadinessItem } from '../../shared/readiness.js';
import { LARGEST_STEP, SMALLEST_STEP } from '../../shared/request.js';
import type { BodyView } from '../../shared/state.js';
import {
  type BodyLimits,
  type BracketShape,
  hasOneRelease,
  isSameShape,
  labelledShutters,
  parseAperture,
  parseIso,
  plusSixths,
  SHUTTER_SCALES,
  type ShutterSetting,
  type Sixths,
  sixths,
  timesSixths,
  toEv,
} from '../exposure/index.js';
import {
  APERTURES,
  type Centre,
  type Dialect,
  ISO,
  recogniseDialect,
  SHUTTER,
  shutterOutOfReach,
} from './dialects/index.js';
import {
  type BodyIdentity,
  type Button,
  type ChangeOptions,
  type FiredFrame,
  type FireOptions,
  LINK_FAILURES,
  type Link,
  type LinkWay,
  type ListedFile,
  LOST,
  type MadeFile,
  type Settings,
} from './link.js';
import { withApart, withProfile } from './profile.js';
import { framesLeftOnCard, makesTwoFiles } from './readiness/files.js';
import { batteryCharge, type Charge } from './readiness/power.js';
import {
  clockCorrection,
  clockDifference,
  clockSetting,
  firesOneFrame,
  type ReadinessQuestion,
  readiness,
} from './readiness.js';
import { apartLink, type BroughtFile, type Released, type ReleaseOptions, Shutter } from './shutter.js';

const DRIVES = ['drivemode', 'capturemode'];
const SINGLE = /^single(?: frame| shot)?$/i;
const TARGET = 'capturetarget';
/** Under vendor extension 0x11 it reads `card+sdram`, and cannot be set: the library writes it without a value. */
const CARD = /^memory card$/i;
/** What every frame of a set shares: names under all extensions. */
const SHARED = [...APERTURES, ISO, 'whitebalance', 'focusmode', 'imageformat', 'imagequality'];
/** Under either of them the shutter stands as its wire label. */
const SHUTTER_NAMES = [SHUTTER, 'shutterspeed2'];

/** What a run needs of the body for one pass. */
export interface Arming {
  readonly centre: Centre;
  /** null fires a single frame with the bracket off. */
  readonly shape: BracketShape | null;
}

/** One release of the shutter. */
export interface ShutterRelease
  extends Pick<ReleaseOptions, 'into' | 'exposureSeconds' | 'isFollowed' | 'made' | 'here'> {
  /** How many frames it makes: more than one only if the bracket that is on is fired by one release. */
  readonly frames: number;
}

/** A setting that was changed: what it was, and what may stand there instead. */
export interface Owed {
  readonly found: string;
  /** What was written, or is going to be: whatever else stands there was set by hand. */
  readonly written: readonly string[];
}

/** By name, in the order of the changes. */
export type Debts = ReadonlyMap<string, Owed>;

/** What is asked of a body before a run; the rest of a ReadinessQuestion the body knows itself. */
export type ReadinessAsked = Omit<ReadinessQuestion, 'settings' | 'link' | 'pairs' | 'dialect' | 'now'>;

export interface MeetOptions {
  /** Settings that an earlier meeting with this body changed and could not put back. */
  readonly owed?: (identity: BodyIdentity) => Promise<Debts>;
  /** Called before each change and after what was put back, and waited for: what is still to be put back. */
  readonly keepDebts?: (identity: BodyIdentity, debts: Debts) => Promise<void>;
  /** What the wire does not tell of this body. */
  readonly profile?: (identity: BodyIdentity) => Promise<BodyProfile | null>;
  /** Called if something that was learnt does not hold any more, after it was given up: it is not to be used again. */
  readonly gaveUp?: (identity: BodyIdentity, what: GivenUp, why: string) => void;
  /** By which way it is to be reached and why; left out for the practice body, which has only one. */
  readonly reached?: (profile: BodyProfile | null, library: string | null) => ReachedBy;
}

/** Whole brackets from one release; or all of the link that takes release and fetch apart. */
export type GivenUp = 'one-release' | 'direct';

/** By which way to the library a body is reached. */
export interface ReachedBy {
  readonly way: LinkWay;
  /** One sentence. */
  readonly why: string;
}

/** @returns one sentence for whoever has to do it by hand */
export function notPutBack(debts: Debts): string {
  const list = [...debts].map(([name, { found }]) => `${name} to ${found}`).join(', ');
  return `These settings could not be put back: ${list}. Set them on the camera before the next picture.`;
}

/** What a frame fired now would record beside its time. */
export interface StandingExposure {
  readonly aperture: string | null;
  readonly fNumber: number | null;
  readonly iso: number | null;
  /** Tv in sixths of the shutter; null where the body does not tell, or chooses it itself. */
  readonly shutterTv: Sixths | null;
}

interface Met {
  readonly link: Link;
  readonly reached: ReachedBy | null;
  /** null if the link does both at once. */
  readonly shutter: Shutter | null;
  readonly identity: BodyIdentity;
  readonly settings: Settings;
  readonly dialect: Dialect;
  readonly limits: BodyLimits;
  readonly pairs: boolean;
  readonly gaveUp: NonNullable<MeetOptions['gaveUp']>;
  readonly profile: BodyProfile | null;
  readonly contradictions: readonly string[];
  readonly movesTarget: boolean;
  readonly keepDebts: (identity: BodyIdentity, debts: Debts) => Promise<void>;
}

export class Body {
  readonly identity: BodyIdentity;
  limits: BodyLimits;
  readonly profile: BodyProfile | null;
  /** What the profile says and the wire denies, a sentence each. */
  readonly contradictions: readonly string[];
  /** null for the practice body. */
  reached: ReachedBy | null;
  private readonly link: Link;
  private shutter: Shutter | null;
  /** Whether the link tells of every file that the body makes. */
  private pairs: boolean;
  private readonly gaveUp: NonNullable<MeetOptions['gaveUp']>;
  private readonly dialect: Dialect;
  private readonly movesTarget: boolean;
  private readonly keepDebts: (identity: BodyIdentity, debts: Debts) => Promise<void>;
  private settings: Settings;
  /** When they were read. */
  private readAt = new Date();
  /** What is still to be put back, in the order of the changes. */
  private readonly asFound = new Map<string, Owed>();
  /** What was written, or may have been, since it was last put back. */
  private readonly touched = new Set<string>();
  /** Values that were read back and have not been put in doubt since. */
  private readonly known = new Map<string, string>();
  /** The bracket that is on, as far as is known; undefined where that is not known. */
  private bracket: BracketShape | null | undefined;
  /** Whether the drive may be on for a bracket from one release. */
  private drivesOn = false;
  /** Frames fired since the bracket was at its first frame. */
  private turn = 0;
  /** Seconds that the next frame is held open for, if it was armed for bulb. */
  private holdSeconds: number | null = null;
  /** Whether the shutter may still be open of a bulb exposure that nobody saw the end of. */
  private mayBeOpen = false;
  /** What all frames of a run share, as it stood when the body was made ready. */
  private readonly shared = new Map<string, string>();

  /** @throws EvenrungError no-body, usb-not-available, body-lost, body-busy, body-not-ready */
  static async meet(
    link: Link,
    { owed, profile, keepDebts, reached, gaveUp }: MeetOptions = {},
  ): Promise<Body> {
    const identity = await link.identify();
    const settings = await link.readSettings();
    const dialect = recogniseDialect(settings);
    const linkLimits = await link.readLimits();
    const read = dialect.limits(settings, linkLimits);
    const apart = linkLimits.apart === null ? null : apartLink(link);
    const told = read.shutters.length > 0 ? read : assumingShutters(read);
    const known = (await profile?.(identity)) ?? null;
    const { limits, contradictions } =
      known === null ? { limits: told, contradictions: [] } : withProfile(told, known, dialect.tellsCounts);
    const whole =
      apart === null ? null : withApart({ limits, known, dialect, settings, link: linkLimits.apart });
    const body = new Body({
      link,
      reached: reached?.(known, linkLimits.apart?.library ?? null) ?? null,
      shutter: whole === null || apart === null ? null : new Shutter(apart, whole.link),
      identity,
      settings,
      dialect,
      limits: whole?.limits ?? limits,
      pairs: linkLimits.apart !== null,
      gaveUp: gaveUp ?? (() => undefined),
      profile: known,
      contradictions,
      movesTarget: linkLimits.movesTarget ?? false,
      keepDebts: keepDebts ?? (async () => undefined),
    });
    for (const [name, debt] of (await owed?.(identity)) ?? []) body.asFound.set(name, debt);
    if (body.forgetCorrected()) await body.keepDebts(identity, body.asFound);
    for (const name of body.asFound.keys()) body.touched.add(name);
    return body;
  }

  /** What is still to be put back. */
  get debts(): Debts {
    return new Map([...this.asFound].filter(([name]) => this.touched.has(name)));
  }

  /** Whether the wire tells how many frames a bracket has. */
  get tellsCounts(): boolean {
    return this.dialect.tellsCounts;
  }

  private constructor(met: Met) {
    this.reached = met.reached;
    this.link = met.link;
    this.shutter = met.shutter;
    this.identity = met.identity;
    this.settings = met.settings;
    this.dialect = met.dialect;
    this.limits = met.limits;
    this.pairs = met.pairs;
    this.gaveUp = met.gaveUp;
    this.profile = met.profile;
    this.contradictions = met.contradictions;
    this.movesTarget = met.movesTarget;
    this.keepDebts = met.keepDebts;
  }

  /** @param asked what its readiness is judged for */
  view(asked: ReadinessAsked): BodyView {
    const { limits, identity } = this;
    return {
      link: identity.link,
      model: identity.model,
      serial: identity.serial,
      dialect: this.dialect.name,
      shutters: labelledShutters(limits)
        .filter((setting) => setting.settable)
        .map((setting) => setting.label),
      steps: stepsOf(limits).map(toEv),
      brackets: bracketsOf(limits),
      oneRelease: hasOneRelease(limits),
      compensation: { range: toEv(limits.compensation.range), grid: toEv(limits.compensation.grid) },
      longestSeconds: limits.longestSeconds,
      timing: {
        secondsPerChange: limits.secondsPerChange,
        secondsPerSetting: limits.secondsPerSetting,
        secondsPerFrame: limits.secondsPerFrame,
        apart: limits.apart ?? null,
      },
      reached: this.reached,
      profile: this.profile === null ? 'none' : this.profile.learntAt === undefined ? 'written' : 'learnt',
      shutter: labelledShutters(limits).find(({ tv }) => tv === this.standingShutter())?.label ?? null,
      aperture: this.apertureLabel(),
      iso: this.valueOf(ISO),
      readiness: this.readiness(asked),
    };
  }

  /** The list that a person walks through before firing, as the settings were read last. */
  readiness(asked: ReadinessAsked): ReadinessItem[] {
    return readiness({
      ...asked,
      settings: this.settings,
      link: this.identity.link,
      pairs: this.pairs,
      dialect: this.dialect.name,
      now: this.readAt,
    });
  }

  /** Whether it makes two files of each frame, and both come here, as far as the settings told that were read last. */
  get makesPairs(): boolean {
    return this.pairs && makesTwoFiles(this.settings);
  }

  /** Of the battery, as the settings were read last. */
  get charge(): Charge | null {
    return batteryCharge(this.settings);
  }

  /** How many more frames the card takes, as the settings were read last; null where the body does not tell. */
  get framesLeftOnCard(): number | null {
    return framesLeftOnCard(this.settings);
  }

  /**
   * How many pictures wait in its memory that were taken and not fetched, as the settings were read last: its files come as many
   * releases late. Null where the body does not tell.
   */
  get picturesWaiting(): number | null {
    return this.dialect.picturesWaiting?.(this.settings) ?? null;
  }

  /** The ISO settings that it offers, as it writes them; none where ISO cannot be set. */
  get isoLabels(): readonly string[] {
    return this.settings.get(ISO)?.choices ?? [];
  }

  /** Seconds that the body's clock was ahead when its settings were read last; null where it tells none. */
  get clockDifference(): number | null {
    return clockDifference(this.settings, this.readAt);
  }

  /**
   * Sets the body's clock to this computer's.
   * @throws EvenrungError body-not-ready where it cannot be set over the wire; as Link.changeSetting
   */
  async setClock(now: () => Date): Promise<void> {
    const setting = clockSetting(this.settings, now());
    if (setting === null) {
      throw new EvenrungError(
        'body-not-ready',
        "This camera's clock cannot be set over the cable. Set it in the camera's menu.",
      );
    }
    await this.link.changeSetting(setting.name, setting.value);
    await this.refresh();
    // With some bodies a write comes out an hour off while summer time is in force.
    const correction = clockCorrection(this.settings, this.readAt);
    if (correction === null) return;
    await this.link.changeSetting(correction.name, correction.value);
    await this.refresh();
  }

  /** Reads the settings anew; changes nothing. */
  async refresh(): Promise<void> {
    this.settings = await this.link.readSettings();
    this.readAt = new Date();
    this.known.clear();
    for (const setting of this.settings.values()) this.known.set(setting.name, setting.value);
  }

  /** What the aperture and the ISO stand on; null where the body does not tell. */
  standing(): StandingExposure {
    const aperture = this.apertureLabel();
    const iso = parseIso(this.valueOf(ISO) ?? '');
    return {
      aperture,
      fNumber: aperture === null ? null : (parseAperture(aperture) ?? null),
      iso: typeof iso === 'number' ? iso : null,
      shutterTv: this.standingShutter(),
    };
  }

  /**
   * Reads the settings anew and makes the body ready for a run: single drive, files kept on the card too, bracket off.
   * @throws EvenrungError body-not-ready where only the photographer can change what is in the way
   */
  async makeReady(asked: ReadinessAsked): Promise<void> {
    await this.refresh();
    this.forgetCorrected();
    this.mustBeReady(asked);
    this.shared.clear();
    for (const name of SHARED) {
      const value = this.valueOf(name);
      if (value !== null) this.shared.set(name, value);
    }
    for (const drive of DRIVES) await this.choose(drive, SINGLE, firesOneFrame);
    if (this.movesTarget) await this.keepOnCard();
    else await this.choose(TARGET, CARD, (label) => CARD.test(label));
    await this.setBracket(null);
  }

  /**
   * Where the library itself moved the target when it connected: frames are to stay on the card, too. It need not be put back, since letting
   * go of the body moves it there in any case. Does nothing for other bodies.
   * @throws EvenrungError as Link.changeSetting
   */
  async keepOnCard(): Promise<void> {
    const target = this.settings.get(TARGET);
    const label = target?.choices?.find((choice) => CARD.test(choice));
    if (!this.movesTarget || target === undefined || label === undefined || CARD.test(target.value)) return;
    const after = await this.link.changeSetting(TARGET, label);
    this.settings = new Map(this.settings).set(TARGET, { ...target, value: after.value });
    this.known.set(TARGET, after.value);
  }

  /**
   * Sets the ISO that all frames of a run share; it is put back with the rest. Once the body was made ready.
   * @throws EvenrungError choice-not-offered; as Link.changeSetting
   */
  async useIso(iso: number): Promise<void> {
    if (this.standing().iso === iso) return;
    const label = this.isoLabels.find((choice) => parseIso(choice) === iso);
    if (label === undefined)
      throw new EvenrungError(
        'choice-not-offered',
        `The camera does not offer ISO ${iso} as it is set up now.`,
        {
          name: ISO,
          wanted: String(iso),
        },
      );
    await this.changes.changeSetting(ISO, label);
    await this.refresh();
    this.shared.set(ISO, label);
  }

  /**
   * After the body was away in the middle of a run: reads its settings anew, and sets back what all frames have to share.
   * Nothing of it is owed: it goes back to what the run found.
   * @returns the names of what was set back
   * @throws EvenrungError body-not-ready where only the photographer can
   */
  async resume(asked: ReadinessAsked): Promise<string[]> {
    await this.refresh();
    this.mustBeReady(asked);
    const changed = [...this.shared].filter(([name, value]) => {
      const now = this.valueOf(name);
      return now !== null && now !== value;
    });
    for (const [name, value] of changed) {
      try {
        await this.link.changeSetting(name, value);
      } catch (cause) {
        if (LINK_FAILURES.has(asEvenrungError(cause).code)) throw cause;
        throw new EvenrungError(
          'body-not-ready',
          `While the camera was away, its ${name} went from ${value} to ${this.valueOf(name)}, and it cannot be set back over the cable. Set it on the camera, then fire again.`,
          { name, wanted: value },
        );
      }
    }
    if (changed.length > 0) await this.refresh();
    this.doubt();
    return changed.map(([name]) => name);
  }

  private mustBeReady(asked: ReadinessAsked): void {
    const items = this.readiness(asked).filter(({ mark }) => mark === 'stops');
    if (items.length === 0) return;
    throw new EvenrungError('body-not-ready', items.map(({ message }) => message).join(' '), { items });
  }

  /** Drops the connection, where the link can begin anew: what it remembers of a frame that never came is forgotten. */
  dropConnection(): void {
    this.doubt();
    // The practice body lives in its process: with it, its settings would go.
    if (this.identity.link === 'usb') this.link.kill?.();
  }

  /** Between sets: begins the connection anew where it has grown too large. */
  async recycle(): Promise<void> {
    await this.link.recycleIfLarge?.();
  }

  /**
   * Keeps in one go what these passes are going to change, so that none of them has to wait for the disk.
   * @throws EvenrungError state-not-writable; choice-not-offered
   */
  async foresee(armings: readonly Arming[]): Promise<void> {
    const writes: [string, string][] = [];
    const noted = { changeSetting: async (name: string, value: string) => void writes.push([name, value]) };
    for (const { centre, shape } of armings) {
      await this.dialect.setBracket(noted, shape, this.settings);
      await this.dialect.setCentre(noted, centre, this.settings);
    }
    await this.owe(writes);
  }

  /** Leaves the body so that the next frame fired is the first of the pass. Changes only what has to change. */
  async arm({ centre, shape }: Arming): Promise<void> {
    await this.closeShutter();
    const atStart = this.turn === 0;
    if (this.bracket === undefined || !isSameShape(this.bracket, shape) || !atStart) {
      // Only a change puts the bracket back to its first frame: from one shape to another, else off and on.
      const isChange = this.bracket !== undefined && atStart;
      if (shape !== null && this.bracket !== null && !isChange) await this.setBracket(null);
      await this.setBracket(shape);
    }
    await this.dialect.setCentre(this.changes, centre, this.settings);
    this.holdSeconds =
      centre.by === 'shutter' && centre.shutter.bulb === true ? centre.shutter.seconds : null;
  }

  /** Fires one frame with everything as it is. */
  async fire(options: FireOptions): Promise<FiredFrame> {
    try {
      const fired = await this.link.fire(options);
      if (this.bracket) this.turn = (this.turn + 1) % this.bracket.pattern.length;
      return fired;
    } catch (cause) {
      this.doubt();
      const { code, details } = asEvenrungError(cause);
      // The rest of the file that was not stored is still on its way: whatever is asked next would get it as its answer.
      if (code === 'storing-failed' && details.released === true) this.dropConnection();
      throw cause;
    }
  }

  /** Whether release and fetch are two things: then what was made is known before it is here, and is found on the card later. */
  get isApart(): boolean {
    return this.shutter !== null;
  }

  /** Whether a bracket is fired by one release if it is armed so. */
  get firesWhole(): boolean {
    return this.limits.brackets.some(({ isOneRelease }) => isOneRelease === true);
  }

  /** From now on each frame takes a release of its own. @param why one sentence */
  giveUpOneRelease(why: string): void {
    const brackets = this.limits.brackets.filter(({ isOneRelease }) => isOneRelease !== true);
    this.limits = { ...this.limits, brackets };
    this.gaveUp(this.identity, 'one-release', why);
  }

  /**
   * From now on release and fetch are one thing, over the way that held before.
   * @param why one sentence
   * @returns false if there is no such way, or if it could not bring both files of a frame
   */
  giveUpApart(why: string): boolean {
    if (this.shutter === null || this.makesPairs || this.link.fallBack?.() !== true) return false;
    this.shutter = null;
    this.pairs = false;
    const { apart: _, ...limits } = this.limits;
    const brackets = limits.brackets.filter(({ isOneRelease }) => isOneRelease !== true);
    this.limits = { ...limits, brackets, shutters: labelledShutters(limits) };
    if (this.reached !== null) this.reached = { way: 'binding', why };
    this.doubt();
    this.gaveUp(this.identity, 'direct', why);
    return true;
  }

  /** The library that is called, with its version; null if the link does both at once. */
  get library(): string | null {
    return this.shutter?.library ?? null;
  }

  /** Bytes that are asked for at a time; 0 if files come with their release. */
  get pieceBytes(): number {
    return this.shutter?.pieceBytes ?? 0;
  }

  set pieceBytes(bytes: number) {
    if (this.shutter !== null) this.shutter.pieceBytes = bytes;
  }

  /**
   * One release with everything as it is. Never throws: what came and what went wrong are told together, so that two of three files and
   * then a failure are both known. The one place where it counts what the link can do.
   */
  async releaseShutter(release: ShutterRelease): Promise<Released> {
    const { into, exposureSeconds, frames, isFollowed, made, here } = release;
    if (this.shutter === null)
      try {
        return { files: [await this.fire({ into, exposureSeconds })], failure: null };
      } catch (cause) {
        return { files: [], failure: asEvenrungError(cause) };
      }
    const { bracket } = this;
    const isOneRelease = bracket?.isOneRelease === true;
    const { holdSeconds } = this;
    const button = this.buttonFor(isOneRelease);
    if (button === null && holdSeconds !== null) return { files: [], failure: noBulb() };
    const filesPerFrame = makesTwoFiles(this.settings) ? 2 : 1;
    const pressed = { button, holdSeconds, frames, filesPerFrame, exposureSeconds };
    const released = await this.shutter.release({ ...pressed, into, isFollowed, made, here });
    this.mayBeOpen = holdSeconds !== null && released.failure !== null;
    if (released.failure !== null) this.doubt();
    else if (bracket) this.turn = isOneRelease ? 0 : (this.turn + frames) % bracket.pattern.length;
    return released;
  }

  /**
   * Ends a bulb exposure that would take longer to end by itself than anybody wants to wait: its file records what it became.
   * @returns whether it did; false if none is open, or if it is nearly through
   */
  async cutShort(): Promise<boolean> {
    return (await this.shutter?.cutShort()) ?? false;
  }

  private buttonFor(isOneRelease: boolean): Button | null {
    const { bulb, oneRelease, frameButton } = this.dialect;
    if (this.holdSeconds !== null) return bulb?.(this.settings)?.button ?? null;
    return (isOneRelease ? oneRelease?.button(this.settings) : frameButton?.(this.settings)) ?? null;
  }

  /** A process that was lost in the middle of a bulb exposure cannot end it any more, and a shutter that is open takes no release. */
  private async closeShutter(): Promise<void> {
    if (!this.mayBeOpen) return;
    for (const { name, value } of this.dialect.bulb?.(this.settings)?.button.up ?? [])
      await this.link.changeSetting(name, value).catch((cause: unknown) => {
        // If it is closed already, the body refuses that.
        if (LOST.has(asEvenrungError(cause).code)) throw cause;
      });
    this.mayBeOpen = false;
  }

  /** Files that lie on the card; none if the link cannot look. @throws EvenrungError body-lost, body-busy */
  async listCard(): Promise<readonly ListedFile[]> {
    return (await this.shutter?.list()) ?? [];
  }

  /** @param made called before anything of it is fetched @throws EvenrungError file-not-there; as Link.bring */
  async fetchMade(
    file: MadeFile,
    into: string,
    made: (file: MadeFile, to: string) => void,
  ): Promise<BroughtFile> {
    if (this.shutter !== null) return this.shutter.fetch(file, into, made);
    throw new EvenrungError(
      'file-not-there',
      'Over this connection no file of an earlier release can be fetched.',
    );
  }

  /**
   * After a failure, or a frame that is not what was asked for, nothing is known any more: not the settings (somebody may have
   * turned a dial), not whether the shutter went, not the bracket's turn.
   */
  doubt(): void {
    this.bracket = undefined;
    this.known.clear();
  }

  /**
   * Puts every setting back that was changed since the body was met, the last change first. What fails stays owed, and can be
   * tried again.
   * @returns the names of what was put back
   * @throws EvenrungError not-put-back, after having tried them all; body-lost and the like at once
   */
  async putBack(): Promise<string[]> {
    await this.closeShutter();
    // In the middle of a bracket even the value that is set already is written, since that starts the bracket anew.
    if (this.turn !== 0) this.known.clear();
    const done: string[] = [];
    const failed: string[] = [];
    for (const [name, { found }] of this.inPayingOrder()) {
      try {
        if (this.known.get(name) !== found) await this.writeBack(name, found);
        this.known.set(name, found);
        this.asFound.delete(name);
        if (this.touched.has(name)) done.push(name);
      } catch (cause) {
        if (LINK_FAILURES.has(asEvenrungError(cause).code)) throw cause;
        failed.push(name);
      }
    }
    this.bracket = undefined;
    this.drivesOn = false;
    this.turn = 0;
    for (const name of done) this.touched.delete(name);
    await this.keepDebts(this.identity, this.asFound);
    if (failed.length === 0) return done;
    throw new EvenrungError('not-put-back', notPutBack(this.debts), { failed });
  }

  /** The last change first; but what some bodies lock while the bracket is off before that is switched back. */
  private inPayingOrder(): [string, Owed][] {
    const reversed = [...this.asFound].reverse();
    const isLocked = ([name]: [string, Owed]) => this.dialect.locked?.names.has(name) === true;
    return [...reversed.filter(isLocked), ...reversed.filter((debt) => !isLocked(debt))];
  }

  private async writeBack(name: string, found: string): Promise<void> {
    const { locked } = this.dialect;
    try {
      await this.link.changeSetting(name, found);
    } catch (cause) {
      const mayBeLocked = locked?.names.has(name) && !LINK_FAILURES.has(asEvenrungError(cause).code);
      if (locked === undefined || !mayBeLocked) throw cause;
      await locked.unlock(this.changes);
      await this.link.changeSetting(name, found);
    }
  }

  async letGo(): Promise<void> {
    await this.link.letGo();
  }

  private readonly changes = {
    changeSetting: async (name: string, value: string, options?: ChangeOptions): Promise<void> => {
      if (this.known.get(name) === value) return;
      await this.owe([[name, value]]);
      try {
        const after = await this.link.changeSetting(name, value, options);
        this.known.set(name, after.value);
        this.touched.add(name);
      } catch (cause) {
        this.touched.add(name);
        this.doubt();
        throw cause;
      }
    },
  };

  /** Keeps what is going to be written, before it is: where nothing of it is new, nothing is kept. */
  private async owe(writes: readonly (readonly [name: string, value: string])[]): Promise<void> {
    let isNew = false;
    for (const [name, value] of writes) {
      const owed = this.asFound.get(name);
      const found = owed?.found ?? this.settings.get(name)?.value;
      if (found === undefined || owed?.written.includes(value)) continue;
      this.asFound.set(name, { found, written: [...(owed?.written ?? []), value] });
      isNew = true;
    }
    if (isNew) await this.keepDebts(this.identity, this.asFound);
  }

  /**
   * What stands as none of the values that were written was set by hand: the photographer's word counts.
   * @returns whether anything was forgotten
   */
  private forgetCorrected(): boolean {
    const before = this.asFound.size;
    for (const [name, { found, written }] of this.asFound) {
      const now = this.settings.get(name)?.value;
      if (now === found || (now !== undefined && !written.includes(now))) this.asFound.delete(name);
    }
    return this.asFound.size < before;
  }

  private async setBracket(shape: BracketShape | null): Promise<void> {
    const wasOneRelease = this.drivesOn;
    this.bracket = undefined;
    if (wasOneRelease && shape?.isOneRelease !== true) await this.driveSingle();
    this.drivesOn = shape?.isOneRelease === true;
    await this.dialect.setBracket(this.changes, shape, this.settings);
    this.bracket = shape;
    this.turn = 0;
  }

  /** One frame a release again. A dialect whose brackets are entries of the drive moves it with them. */
  private async driveSingle(): Promise<void> {
    if (this.dialect.name === 'drive-entry') return;
    for (const name of DRIVES) {
      const single = this.settings.get(name)?.choices?.find((label) => SINGLE.test(label));
      if (single !== undefined) await this.changes.changeSetting(name, single);
    }
  }

  /** Sets the first choice that is wanted, where what stands will not do. */
  private async choose(name: string, wanted: RegExp, willDo: (label: string) => boolean): Promise<void> {
    const setting = this.settings.get(name);
    if (setting === undefined || willDo(setting.value)) return;
    const choice = setting.choices?.find((label) => wanted.test(label));
    if (choice !== undefined) await this.changes.changeSetting(name, choice);
  }

  private standingShutter(): Sixths | null {
    const values = SHUTTER_NAMES.map((name) => this.valueOf(name));
    return labelledShutters(this.limits).find(({ wire }) => values.includes(wire))?.tv ?? null;
  }

  /** The bare f-number as text; null where the body does not tell one. */
  private apertureLabel(): string | null {
    const label = APERTURES.map((name) => this.valueOf(name)).find((value) => value !== null) ?? '';
    const fNumber = parseAperture(label);
    return fNumber === undefined ? null : String(fNumber);
  }

  private valueOf(name: string): string | null {
    return this.settings.get(name)?.value ?? null;
  }
}

const noBulb = (): EvenrungError =>
  new EvenrungError(
    'body-not-ready',
    'The camera does not offer bulb as it is set up now: turn its mode dial to M (manual), then fire again.',
    { released: false },
  );

/** Counts of frames and steps, each pair once. */
function bracketsOf({ brackets }: BodyLimits): BodyView['brackets'] {
  const pairs = brackets.map(({ step, pattern }) => ({ frames: pattern.length, step: toEv(step) }));
  return [...new Map(pairs.map((pair) => [`${pair.frames} ${pair.step}`, pair])).values()];
}

/** A step of which the body has more than a few settings: what lies on another grid meets only at whole stops. */
function stepsOf(limits: BodyLimits): Sixths[] {
  const shutters = labelledShutters(limits);
  const exists = new Set(shutters.map((setting) => setting.tv));
  const steps = Array.from({ length: LARGEST_STEP - SMALLEST_STEP + 1 }, (_, index) =>
    sixths(SMALLEST_STEP + index),
  );
  return steps.filter((step) =>
    shutters.some(
      ({ tv }) => exists.has(plusSixths(tv, step)) && exists.has(plusSixths(tv, timesSixths(step, 2))),
    ),
  );
}

/**
 * In an automatic mode some bodies offer no shutter to set; what they can choose is then taken for the commonest range (common
 * practice, no source), and none of it can be set.
 * @throws EvenrungError body-not-ready where compensation is out of reach too
 */
function assumingShutters(limits: BodyLimits): BodyLimits {
  if (limits.compensation.range === 0) throw shutterOutOfReach();
  const shutters = SHUTTER_SCALES.third
    .filter(({ seconds }) => seconds > 1 / 5000)
    .map((setting): ShutterSetting => ({ ...setting, settable: false }));
  return { ...limits, shutters, openEnds: ['longest', 'shortest'] };
}
