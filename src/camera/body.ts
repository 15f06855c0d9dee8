// A body that is ready to be used: a link, the dialect that it speaks, its limits, and its settings as they were found.
// It knows exposures and brackets, and nothing of plans, sets or files beyond the one that a frame comes back in.
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import { LARGEST_STEP, SMALLEST_STEP } from '../../shared/request.js';
import type { BodyView } from '../../shared/state.js';
import {
  type BodyLimits,
  type BracketShape,
  parseAperture,
  type ShutterSetting,
  type Sixths,
  toEv,
} from '../exposure/index.js';
import { type Dialect, recogniseDialect, shutterOutOfReach } from './dialects/index.js';
import { APERTURES, ISO, SHUTTER } from './dialects/names.js';
import {
  type BodyIdentity,
  type FiredFrame,
  type FireOptions,
  LINK_FAILURES,
  type Link,
  type Settings,
} from './link.js';

/** Names under which bodies tell the position of their mode dial. */
const MODE_NAMES = ['autoexposuremode', 'expprogram'];
const DRIVE = 'drivemode';
const TARGET = 'capturetarget';
const FORMAT = 'imageformat';

/** What a run needs of the body for one pass. */
export interface Arming {
  /** The shutter setting of the centre. */
  readonly centre: ShutterSetting;
  /** null fires a single frame with the bracket off. */
  readonly shape: BracketShape | null;
}

/** A setting that was changed: what it was, and what was last written instead. */
export interface Owed {
  readonly found: string;
  readonly written: string;
}

/** By name, in the order of the changes. */
export type Debts = ReadonlyMap<string, Owed>;

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
}

export class Body {
  readonly identity: BodyIdentity;
  readonly limits: BodyLimits;
  private readonly link: Link;
  private readonly dialect: Dialect;
  private settings: Settings;
  /** What is still to be put back, in the order of the changes. */
  private readonly asFound = new Map<string, Owed>();
  /** Values that were read back and have not been put in doubt since. */
  private readonly known = new Map<string, string>();
  /** The bracket that is on, as far as is known; undefined where that is not known. */
  private bracket: BracketShape | null | undefined;
  /** Frames fired since the bracket was at its first frame. */
  private turn = 0;

  /**
   * @param owed settings that an earlier meeting with this body changed and could not put back
   * @throws EvenrungError no-body, usb-not-available, body-lost, body-busy, body-not-ready
   */
  static async meet(link: Link, owed: (identity: BodyIdentity) => Debts = () => new Map()): Promise<Body> {
    const identity = await link.identify();
    const settings = await link.readSettings();
    const dialect = recogniseDialect(settings);
    const limits = dialect.limits(settings, await link.readLimits());
    if (limits.shutters.length === 0) throw shutterOutOfReach();
    const body = new Body(link, identity, settings, dialect, limits);
    for (const [name, debt] of owed(identity)) body.asFound.set(name, debt);
    return body;
  }

  /** What is still to be put back. */
  get debts(): Debts {
    return this.asFound;
  }

  private constructor(
    link: Link,
    identity: BodyIdentity,
    settings: Settings,
    dialect: Dialect,
    limits: BodyLimits,
  ) {
    this.link = link;
    this.identity = identity;
    this.settings = settings;
    this.dialect = dialect;
    this.limits = limits;
  }

  view(): BodyView {
    const brackets = this.limits.brackets.map(({ step, pattern }) => ({
      frames: pattern.length,
      step: toEv(step),
    }));
    return {
      link: this.identity.link,
      model: this.identity.model,
      serial: this.identity.serial,
      shutters: this.limits.shutters.filter((setting) => setting.settable).map((setting) => setting.label),
      steps: stepsOf(this.limits).map(toEv),
      brackets,
      shutter: this.valueOf(SHUTTER),
      aperture: this.apertureLabel(),
      iso: this.valueOf(ISO),
    };
  }

  /** What the aperture and the ISO stand on; null where the body does not tell. */
  standing(): StandingExposure {
    const aperture = this.apertureLabel();
    const iso = Number(this.valueOf(ISO) ?? Number.NaN);
    return {
      aperture,
      fNumber: aperture === null ? null : (parseAperture(aperture) ?? null),
      iso: Number.isFinite(iso) && iso > 0 ? iso : null,
    };
  }

  /**
   * Reads the settings anew and makes the body ready for a run: single drive, files kept on the card too, bracket off.
   * @throws EvenrungError body-not-ready where only the photographer can change what is in the way
   */
  async makeReady(): Promise<void> {
    this.settings = await this.link.readSettings();
    this.known.clear();
    for (const setting of this.settings.values()) this.known.set(setting.name, setting.value);
    this.forgetCorrected();
    refuseUnready(this.settings);
    if (!(await this.choose(DRIVE, /^single(?: frame| shot)?$/i))) {
      throw new EvenrungError(
        'body-not-ready',
        'The camera is not on single drive. Set it on the camera, then fire again.',
      );
    }
    await this.choose(TARGET, /card/i);
    await this.setBracket(null);
  }

  /** Leaves the body so that the next frame fired is the first of the pass. Changes only what has to change. */
  async arm({ centre, shape }: Arming): Promise<void> {
    const atStart = this.turn === 0;
    if (!sameShape(this.bracket, shape) || !atStart) {
      // Only a change puts the bracket back to its first frame; off comes first where it is or may be on.
      if (shape !== null && this.bracket !== null) await this.setBracket(null);
      await this.setBracket(shape);
    }
    await this.dialect.setCentre(this.changes, centre);
  }

  /** Fires one frame with everything as it is. */
  async fire(options: FireOptions): Promise<FiredFrame> {
    try {
      const fired = await this.link.fire(options);
      if (this.bracket) this.turn = (this.turn + 1) % this.bracket.pattern.length;
      return fired;
    } catch (cause) {
      this.doubt();
      throw cause;
    }
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
    // In the middle of a bracket even the value that is set already is written, since that starts the bracket anew.
    if (this.turn !== 0) this.known.clear();
    const done: string[] = [];
    const failed: string[] = [];
    for (const [name, { found }] of [...this.asFound].reverse()) {
      try {
        if (this.known.get(name) !== found) await this.link.changeSetting(name, found);
        this.known.set(name, found);
        this.asFound.delete(name);
        done.push(name);
      } catch (cause) {
        if (LINK_FAILURES.has(asEvenrungError(cause).code)) throw cause;
        failed.push(name);
      }
    }
    this.bracket = undefined;
    this.turn = 0;
    if (failed.length === 0) return done;
    throw new EvenrungError('not-put-back', notPutBack(this.debts), { failed });
  }

  async release(): Promise<void> {
    await this.link.release();
  }

  private readonly changes = {
    changeSetting: async (name: string, value: string): Promise<void> => {
      if (this.known.get(name) === value) return;
      const found = this.asFound.get(name)?.found ?? this.settings.get(name)?.value;
      if (found !== undefined) this.asFound.set(name, { found, written: value });
      try {
        const after = await this.link.changeSetting(name, value);
        this.known.set(name, after.value);
      } catch (cause) {
        this.doubt();
        throw cause;
      }
    },
  };

  /** What stands otherwise than it was last written was changed by hand: the photographer's word counts. */
  private forgetCorrected(): void {
    for (const [name, { written }] of this.asFound) {
      const now = this.settings.get(name)?.value;
      if (now !== undefined && now !== written) this.asFound.delete(name);
    }
  }

  private async setBracket(shape: BracketShape | null): Promise<void> {
    this.bracket = undefined;
    await this.dialect.setBracket(this.changes, shape);
    this.bracket = shape;
    this.turn = 0;
  }

  /** Sets the first choice that matches, where it does not match already. @returns false where there is none */
  private async choose(name: string, wanted: RegExp): Promise<boolean> {
    const setting = this.settings.get(name);
    if (setting === undefined || wanted.test(setting.value)) return true;
    const choice = setting.choices?.find((label) => wanted.test(label));
    if (choice !== undefined) await this.changes.changeSetting(name, choice);
    return choice !== undefined;
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

const sameShape = (a: BracketShape | null | undefined, b: BracketShape | null): boolean =>
  a === b ||
  (a !== undefined && a !== null && b !== null && a.step === b.step && a.pattern.join() === b.pattern.join());

/** A step of which the body has more than a few settings: what lies on another grid meets only at whole stops. */
function stepsOf({ shutters }: BodyLimits): Sixths[] {
  const exists = new Set(shutters.map((setting) => setting.tv));
  const steps = Array.from({ length: LARGEST_STEP - SMALLEST_STEP + 1 }, (_, index) => SMALLEST_STEP + index);
  return steps.filter((step) =>
    shutters.some(({ tv }) => exists.has(tv + step) && exists.has(tv + 2 * step)),
  );
}

function refuseUnready(settings: Settings): void {
  const mode = MODE_NAMES.map((name) => settings.get(name)?.value).find((value) => value !== undefined);
  if (mode !== undefined && !/^(?:m|manual)$/i.test(mode)) {
    throw new EvenrungError(
      'body-not-ready',
      `The camera is in mode ${mode}. Turn its mode dial to M (manual), then fire again.`,
    );
  }
  const iso = settings.get(ISO)?.value;
  if (iso !== undefined && /auto/i.test(iso)) {
    throw new EvenrungError(
      'body-not-ready',
      'The ISO is on automatic and would move between frames. Set a fixed ISO on the camera, then fire again.',
    );
  }
  const format = settings.get(FORMAT)?.value;
  if (format !== undefined && /raw.*\+|\+.*raw/i.test(format)) {
    throw new EvenrungError(
      'body-not-ready',
      `The camera writes two files a frame (${format}), and only one of them comes back over the cable. Set it to raw only or JPEG only, then fire again.`,
    );
  }
}
