// A body that is ready to be used: a link, the dialect that it speaks, its limits, and its settings as they
// were found. It knows exposures and brackets, but no plans and no sets, and of files only the one that a
// frame comes back in.
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import type { BodyProfile } from '../../shared/profile.js';
import type { ReadinessItem } from '../../shared/readiness.js';
import type { FileKind } from '../../shared/reading.js';
import type { BodyView } from '../../shared/state.js';
import {
  type BodyLimits,
  type BracketShape,
  isSameShape,
  labelledShutters,
  parseAperture,
  parseIso,
  SHUTTER_SCALES,
  type ShutterSetting,
  type Sixths,
} from '../exposure/index.js';
import { viewOf } from './body-view.js';
import {
  APERTURES,
  type Centre,
  type Dialect,
  ISO,
  recogniseDialect,
  SHUTTER,
  shutterOutOfReach,
} from './dialects/index.js';
import type { BroughtFile } from './fetching.js';
import { Firing, type ShutterRelease } from './firing.js';
import {
  type BodyIdentity,
  type FiredFrame,
  type FireOptions,
  LINK_FAILURES,
  type Link,
  type LinkWay,
  type ListedFile,
  type MadeFile,
  type Settings,
} from './link.js';
import { type Debts, type KeepDebts, OwedChanges } from './owed.js';
import { withApart, withProfile } from './profile.js';
import { filesOf, framesLeftOnCard, makesTwoFiles } from './readiness/files.js';
import { batteryCharge, type Charge } from './readiness/power.js';
import {
  clockCorrection,
  clockDifference,
  clockSetting,
  firesOneFrame,
  type ReadinessQuestion,
  readiness,
} from './readiness.js';
import { apartLink, type Released, Shutter } from './shutter.js';

const DRIVES = ['drivemode', 'capturemode'];
const SINGLE = /^single(?: frame| shot)?$/i;
const TARGET = 'capturetarget';
/**
 * Under vendor extension 0x11 the setting reads `card+sdram`, and that value cannot be set: the library would
 * write it without a value.
 */
const CARD = /^memory card$/i;
/** Settings that every frame of a set shares, by their names under all extensions. */
const SHARED = [...APERTURES, ISO, 'whitebalance', 'focusmode', 'imageformat', 'imagequality'];
/** Under either of these names the shutter's setting has its wire label. */
const SHUTTER_NAMES = [SHUTTER, 'shutterspeed2'];

/** How the body has to be set for one pass. */
export interface Arming {
  readonly centre: Centre;
  /** Null for a single frame with the bracket off. */
  readonly shape: BracketShape | null;
}

/** What the caller adds to a ReadinessQuestion; the body knows the rest itself. */
export type ReadinessAsked = Omit<ReadinessQuestion, 'settings' | 'link' | 'pairs' | 'dialect' | 'now'>;

export interface MeetOptions {
  /** The settings that an earlier meeting with this body changed and could not put back. */
  readonly owed?: (identity: BodyIdentity) => Promise<Debts>;
  readonly keepDebts?: KeepDebts;
  /** What was learnt or noted of this body because the wire does not tell it. */
  readonly profile?: (identity: BodyIdentity) => Promise<BodyProfile | null>;
  /**
   * Called after something that was learnt was given up because it no longer holds, so that it is not used
   * again.
   */
  readonly gaveUp?: (identity: BodyIdentity, what: GivenUp, why: string) => void;
  /**
   * Decides the way by which the body is reached, and why; left out for the practice body, which has only
   * one.
   */
  readonly reached?: (profile: BodyProfile | null, library: string | null) => ReachedBy;
}

/**
 * What a body can give up: firing whole brackets from one release, or the link that takes release and fetch
 * apart.
 */
export type GivenUp = 'one-release' | 'direct';

/** The way to the library by which a body is reached. */
export interface ReachedBy {
  readonly way: LinkWay;
  /** The reason, in one sentence. */
  readonly why: string;
}

/** What a frame that is fired now would record apart from its time. */
export interface StandingExposure {
  readonly aperture: string | null;
  readonly fNumber: number | null;
  readonly iso: number | null;
  /** Tv of the shutter, in sixths; null if the body does not tell it, or chooses the shutter itself. */
  readonly shutterTv: Sixths | null;
}

interface Met {
  readonly link: Link;
  readonly reached: ReachedBy | null;
  readonly firing: Firing;
  readonly identity: BodyIdentity;
  readonly settings: Settings;
  readonly dialect: Dialect;
  readonly limits: BodyLimits;
  readonly gaveUp: NonNullable<MeetOptions['gaveUp']>;
  readonly profile: BodyProfile | null;
  readonly contradictions: readonly string[];
  readonly movesTarget: boolean;
  readonly keepDebts: KeepDebts;
}

/** Settings, and when they were read. */
interface Read {
  readonly settings: Settings;
  readonly at: Date;
}

/** Settings that were read longer ago are read again: somebody may have turned a dial. */
const FRESH_MS = 1000;

export class Body {
  readonly identity: BodyIdentity;
  limits: BodyLimits;
  readonly profile: BodyProfile | null;
  /** Entries of the profile that the wire contradicts, a sentence each. */
  readonly contradictions: readonly string[];
  /** Null for the practice body. */
  reached: ReachedBy | null;
  private readonly link: Link;
  private readonly firing: Firing;
  private readonly changes: OwedChanges;
  private readonly gaveUp: NonNullable<MeetOptions['gaveUp']>;
  private readonly dialect: Dialect;
  private readonly movesTarget: boolean;
  private settings: Settings;
  /** When the settings were read. */
  private readAt = new Date();
  /** Settings that are being read ahead for the next `refresh`. */
  private ahead: { readonly since: number; readonly read: Promise<Read> } | null = null;
  /** The bracket that is on; null if none is, undefined if that is not known. */
  private bracket: BracketShape | null | undefined;
  /** Whether the drive may be set to fire a bracket from one release. */
  private drivesOn = false;
  /** How many frames were fired since the bracket stood at its first frame. */
  private turn = 0;
  /** The settings that all frames of a run share, as they stood when the body was made ready. */
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
      firing: new Firing({
        link,
        dialect,
        shutter: whole === null || apart === null ? null : new Shutter(apart, whole.link),
        pairs: linkLimits.apart !== null,
      }),
      identity,
      settings,
      dialect,
      limits: whole?.limits ?? limits,
      gaveUp: gaveUp ?? (() => undefined),
      profile: known,
      contradictions,
      movesTarget: linkLimits.movesTarget ?? false,
      keepDebts: keepDebts ?? (async () => undefined),
    });
    await body.changes.takeOver((await owed?.(identity)) ?? new Map());
    return body;
  }

  /** Settings that still have to be put back. */
  get debts(): Debts {
    return this.changes.debts;
  }

  /** The kind of files that its frames become; null if the body does not tell. */
  get files(): FileKind | null {
    return filesOf(this.settings);
  }

  /** Whether the wire tells how many frames a bracket has. */
  get tellsCounts(): boolean {
    return this.dialect.tellsCounts;
  }

  private constructor(met: Met) {
    this.reached = met.reached;
    this.link = met.link;
    this.firing = met.firing;
    this.identity = met.identity;
    this.settings = met.settings;
    this.dialect = met.dialect;
    this.limits = met.limits;
    this.gaveUp = met.gaveUp;
    this.profile = met.profile;
    this.contradictions = met.contradictions;
    this.movesTarget = met.movesTarget;
    this.changes = new OwedChanges({
      link: met.link,
      identity: met.identity,
      keepDebts: met.keepDebts,
      settings: () => this.settings,
      failed: () => this.doubt(),
    });
  }

  /** @param asked what its readiness is judged by */
  view(asked: ReadinessAsked): BodyView {
    const { profile } = this;
    return viewOf({
      identity: this.identity,
      dialect: this.dialect.name,
      limits: this.limits,
      reached: this.reached,
      profile: profile === null ? 'none' : profile.learntAt === undefined ? 'written' : 'learnt',
      shutterTv: this.standingShutter(),
      aperture: this.apertureLabel(),
      iso: this.valueOf(ISO),
      files: this.files ?? undefined,
      readiness: this.readiness(asked),
    });
  }

  /**
   * The readiness list that a person goes through before firing, from the settings as they were last read.
   */
  readiness(asked: ReadinessAsked): ReadinessItem[] {
    return readiness({
      ...asked,
      settings: this.settings,
      link: this.identity.link,
      pairs: this.firing.pairs,
      dialect: this.dialect.name,
      now: this.readAt,
    });
  }

  /**
   * Whether the body makes two files of each frame and both come over this link, by the settings as they were
   * last read.
   */
  get makesPairs(): boolean {
    return this.firing.pairs && makesTwoFiles(this.settings);
  }

  /** The battery's charge, by the settings as they were last read. */
  get charge(): Charge | null {
    return batteryCharge(this.settings);
  }

  /**
   * How many more frames the card takes, by the settings as they were last read; null if the body does not
   * tell.
   */
  get framesLeftOnCard(): number | null {
    return framesLeftOnCard(this.settings);
  }

  /**
   * How many pictures wait in the body's memory that were taken and not fetched, by the settings as they were
   * last read. Files come as many releases late. Null if the body does not tell.
   */
  get picturesWaiting(): number | null {
    return this.dialect.picturesWaiting?.(this.settings) ?? null;
  }

  /** The ISO settings that the body offers, in its own notation; none if ISO cannot be set. */
  get isoLabels(): readonly string[] {
    return this.settings.get(ISO)?.choices ?? [];
  }

  /**
   * Seconds by which the body's clock was ahead when its settings were last read; null if it tells no time.
   */
  get clockDifference(): number | null {
    return clockDifference(this.settings, this.readAt);
  }

  /**
   * Sets the body's clock to this computer's.
   * @throws EvenrungError body-not-ready if it cannot be set over the wire; as Link.changeSetting
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
    // On some bodies, a time that is written while summer time is in force comes out an hour off.
    const correction = clockCorrection(this.settings, this.readAt);
    if (correction === null) return;
    await this.link.changeSetting(correction.name, correction.value);
    await this.refresh();
  }

  /**
   * Begins to read the settings for a `refresh` that follows in a moment, so that the caller can do other
   * things meanwhile.
   */
  readAhead(): void {
    const read = this.read();
    // If this fails, `refresh` reads them once more.
    read.catch(() => undefined);
    this.ahead = { since: performance.now(), read };
  }

  /** Reads the settings anew, and changes nothing. */
  async refresh(): Promise<void> {
    const { ahead } = this;
    this.ahead = null;
    const isFresh = ahead !== null && performance.now() - ahead.since < FRESH_MS;
    const { settings, at } = await (isFresh ? ahead.read.catch(() => this.read()) : this.read());
    this.settings = settings;
    this.readAt = at;
    this.changes.doubt();
    for (const { name, value } of this.settings.values()) this.changes.stands(name, value);
  }

  /** The aperture and the ISO as they are set; null for what the body does not tell. */
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
   * Reads the settings anew and makes the body ready for a run: single drive, files kept on the card as well,
   * bracket off.
   * @throws EvenrungError body-not-ready if something is in the way that only the photographer can change
   */
  async makeReady(asked: ReadinessAsked): Promise<void> {
    await this.refresh();
    this.changes.forgetCorrected();
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
   * Moves the capture target back, if the library itself moved it when it connected, so that frames stay on
   * the card as well. It need not be put back, since letting go of the body moves it there anyway. Does
   * nothing for other bodies.
   * @throws EvenrungError as Link.changeSetting
   */
  async keepOnCard(): Promise<void> {
    const target = this.settings.get(TARGET);
    const label = target?.choices?.find((choice) => CARD.test(choice));
    if (!this.movesTarget || target === undefined || label === undefined || CARD.test(target.value)) return;
    const after = await this.link.changeSetting(TARGET, label);
    this.settings = new Map(this.settings).set(TARGET, { ...target, value: after.value });
    this.changes.stands(TARGET, after.value);
  }

  /**
   * Sets the ISO that all frames of a run share; it is put back with the rest. To be called after
   * `makeReady`.
   * @throws EvenrungError choice-not-offered; as Link.changeSetting
   */
  async useIso(iso: number): Promise<void> {
    if (this.standing().iso === iso) return;
    const label = this.isoLabels.find((choice) => parseIso(choice) === iso);
    if (label === undefined)
      throw new EvenrungError(
        'choice-not-offered',
        `The camera does not offer ISO ${iso} as it is set now.`,
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
   * After the body was away in the middle of a run: reads its settings anew, and sets back those that all
   * frames have to share. These changes are not owed, since they go back to what the run found.
   * @returns the names of the settings that were set back
   * @throws EvenrungError body-not-ready if something is in the way that only the photographer can change
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
          `While the camera was away, its ${name} changed from ${value} to ${this.valueOf(name)}, and it cannot be set back over the cable. Set it on the camera, then fire again.`,
          { name, wanted: value },
        );
      }
    }
    if (changed.length > 0) await this.refresh();
    this.doubt();
    return changed.map(([name]) => name);
  }

  private async read(): Promise<Read> {
    const settings = await this.link.readSettings();
    return { settings, at: new Date() };
  }

  private mustBeReady(asked: ReadinessAsked): void {
    const items = this.readiness(asked).filter(({ mark }) => mark === 'stops');
    if (items.length === 0) return;
    throw new EvenrungError('body-not-ready', items.map(({ message }) => message).join(' '), { items });
  }

  /** Drops the connection, if the link can reconnect, so that it forgets a frame that never came. */
  dropConnection(): void {
    this.doubt();
    // The practice body lives in its process, and its settings would go with the process.
    if (this.identity.link === 'usb') this.link.kill?.();
  }

  /** Between two sets: if the link's process has grown too large, begins the connection anew. */
  async recycle(): Promise<void> {
    await this.link.recycleIfLarge?.();
  }

  /**
   * Journals in one go all settings that these passes are going to change, so that no pass has to wait for
   * the disk.
   * @throws EvenrungError state-not-writable; choice-not-offered
   */
  async foresee(armings: readonly Arming[]): Promise<void> {
    const writes: [string, string][] = [];
    const noted = { changeSetting: async (name: string, value: string) => void writes.push([name, value]) };
    for (const { centre, shape } of armings) {
      await this.dialect.setBracket(noted, shape, this.settings);
      await this.dialect.setCentre(noted, centre, this.settings);
    }
    await this.changes.owe(writes);
  }

  /**
   * Sets the body so that the next frame it fires is the first of the pass. Changes only settings that
   * differ.
   */
  async arm({ centre, shape }: Arming): Promise<void> {
    await this.firing.closeShutter(this.settings);
    const atStart = this.turn === 0;
    if (this.bracket === undefined || !isSameShape(this.bracket, shape) || !atStart) {
      // The bracket goes back to its first frame only if it is changed: from one shape to another, or off and
      // on again.
      const isChange = this.bracket !== undefined && atStart;
      if (shape !== null && this.bracket !== null && !isChange) await this.setBracket(null);
      await this.setBracket(shape);
    }
    await this.dialect.setCentre(this.changes, centre, this.settings);
    this.firing.arm(centre);
  }

  /** Fires one frame with all settings as they are. */
  async fire(options: FireOptions): Promise<FiredFrame> {
    try {
      const fired = await this.link.fire(options);
      if (this.bracket) this.turn = (this.turn + 1) % this.bracket.pattern.length;
      return fired;
    } catch (cause) {
      this.doubt();
      const { code, details } = asEvenrungError(cause);
      // The rest of the file that could not be stored is still on its way, and would be taken for the answer
      // to the next call.
      if (code === 'storing-failed' && details.released === true) this.dropConnection();
      throw cause;
    }
  }

  /**
   * Whether release and fetch are two things: then the files that a release made are known before they are
   * here, and can be found on the card later.
   */
  get isApart(): boolean {
    return this.firing.isApart;
  }

  /** Whether a bracket that is armed so is fired by one release. */
  get firesWhole(): boolean {
    return this.limits.brackets.some(({ isOneRelease }) => isOneRelease === true);
  }

  /**
   * From now on each frame gets a release of its own.
   * @param why one sentence
   */
  giveUpOneRelease(why: string): void {
    const brackets = this.limits.brackets.filter(({ isOneRelease }) => isOneRelease !== true);
    this.limits = { ...this.limits, brackets };
    this.gaveUp(this.identity, 'one-release', why);
  }

  /**
   * From now on release and fetch are one thing, over the way that worked before.
   * @param why one sentence
   * @returns false if there is no such way, or if it could not bring both files of a frame
   */
  giveUpApart(why: string): boolean {
    if (this.makesPairs || !this.firing.fallBack()) return false;
    const { apart: _, ...limits } = this.limits;
    const brackets = limits.brackets.filter(({ isOneRelease }) => isOneRelease !== true);
    this.limits = { ...limits, brackets, shutters: labelledShutters(limits) };
    if (this.reached !== null) this.reached = { way: 'binding', why };
    this.doubt();
    this.gaveUp(this.identity, 'direct', why);
    return true;
  }

  /** The library that is called, with its version; null if the link releases and fetches at once. */
  get library(): string | null {
    return this.firing.library;
  }

  /** Bytes that are asked for at a time; 0 if files come with their release. */
  get pieceBytes(): number {
    return this.firing.pieceBytes;
  }

  set pieceBytes(bytes: number) {
    this.firing.pieceBytes = bytes;
  }

  /**
   * One release with all settings as they are. It never throws: files and failure are returned together, so
   * that after two of three files and then a failure both are known. What the link can do matters here and
   * nowhere else.
   */
  async releaseShutter(release: ShutterRelease): Promise<Released> {
    const { into, exposureSeconds, frames } = release;
    if (!this.isApart)
      try {
        return { files: [await this.fire({ into, exposureSeconds })], failure: null };
      } catch (cause) {
        return { files: [], failure: asEvenrungError(cause) };
      }
    const { bracket } = this;
    const isOneRelease = bracket?.isOneRelease === true;
    const released = await this.firing.release(release, this.settings, isOneRelease);
    if (released.failure !== null) this.doubt();
    else if (bracket) this.turn = isOneRelease ? 0 : (this.turn + frames) % bracket.pattern.length;
    return released;
  }

  /**
   * Ends a bulb exposure early if it would still take longer than anybody wants to wait; its file records the
   * time that it was open.
   * @returns whether it did; false if no such exposure is open, or if it is nearly over
   */
  async cutShort(): Promise<boolean> {
    return this.firing.cutShort();
  }

  /**
   * Lists files on the card; none if the link cannot look.
   * @throws EvenrungError body-lost, body-busy
   */
  async listCard(): Promise<readonly ListedFile[]> {
    return this.firing.list();
  }

  /**
   * Fetches a file that is in the camera.
   * @param made called before any of it is fetched
   * @throws EvenrungError file-not-there; as Link.bring
   */
  async fetchMade(
    file: MadeFile,
    into: string,
    made: (file: MadeFile, to: string) => void,
  ): Promise<BroughtFile> {
    return this.firing.fetch(file, into, made);
  }

  /**
   * After a failure, or a frame that is not the one asked for, nothing is known of the body any more: not its
   * settings (somebody may have turned a dial), not whether the shutter was released, not the bracket's turn.
   */
  doubt(): void {
    this.bracket = undefined;
    this.changes.doubt();
  }

  /**
   * Puts back every setting that was changed since the body was met, the last change first. Settings that
   * cannot be put back stay owed, and can be tried again.
   * @returns the names of the settings that were put back
   * @throws EvenrungError not-put-back, after all of them were tried; body-lost and the like at once
   */
  async putBack(): Promise<string[]> {
    await this.firing.closeShutter(this.settings);
    // In the middle of a bracket, even a value that is set already is written, since that starts the bracket
    // anew.
    if (this.turn !== 0) this.changes.doubt();
    const { done, failed } = await this.changes.putBack(this.dialect.locked);
    this.bracket = undefined;
    this.drivesOn = false;
    this.turn = 0;
    await this.changes.keep();
    this.changes.mustBePutBack(failed);
    return done;
  }

  async letGo(): Promise<void> {
    await this.link.letGo();
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

  /**
   * Sets the drive to one frame a release. If the dialect's brackets are entries of the drive, it moves the
   * drive together with them.
   */
  private async driveSingle(): Promise<void> {
    if (this.dialect.name === 'drive-entry') return;
    for (const name of DRIVES) {
      const single = this.settings.get(name)?.choices?.find((label) => SINGLE.test(label));
      if (single !== undefined) await this.changes.changeSetting(name, single);
    }
  }

  /** If the setting's value will not do, sets the first choice that matches. */
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

  /** The bare f-number as text; null if the body does not tell one. */
  private apertureLabel(): string | null {
    const label = APERTURES.map((name) => this.valueOf(name)).find((value) => value !== null) ?? '';
    const fNumber = parseAperture(label);
    return fNumber === undefined ? null : String(fNumber);
  }

  private valueOf(name: string): string | null {
    return this.settings.get(name)?.value ?? null;
  }
}

/**
 * In an automatic mode, some bodies offer no shutter to set. The times that such a body can choose are then
 * taken to be the commonest range (common practice, no source), and none of them can be set.
 * @throws EvenrungError body-not-ready if compensation cannot be set either
 */
function assumingShutters(limits: BodyLimits): BodyLimits {
  if (limits.compensation.range === 0) throw shutterOutOfReach();
  const shutters = SHUTTER_SCALES.third
    .filter(({ seconds }) => seconds > 1 / 5000)
    .map((setting): ShutterSetting => ({ ...setting, settable: false }));
  return { ...limits, shutters, openEnds: ['longest', 'shortest'] };
}
