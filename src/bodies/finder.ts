// Finds bodies: the only one attached, the one that was chosen, or all of them. Each comes with what is known
// of it from before: its profile, and the settings still owed to it.
import path from 'node:path';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import type { BodyProfile } from '../../shared/profile.js';
import type { AttachedBody } from '../../shared/state.js';
import {
  Body,
  type BodyIdentity,
  type GivenUp,
  type LinkKind,
  type LinkWay,
  SupervisedLink,
  type SupervisedLinkOptions,
} from '../camera/index.js';
import { AsFoundStore } from './as-found.js';
import { ProfileStore } from './profiles.js';
import { BY_HAND, NO_BINDING, type Reached, type WayChoice, wayFor } from './way.js';

export const BODY_CHOICES = ['practice', 'usb', 'auto'] as const;
/** The kind of body that is wanted; `auto` is a camera if there is one, otherwise the practice body. */
export type BodyChoice = (typeof BODY_CHOICES)[number];

export interface FinderOptions {
  readonly choice: BodyChoice;
  /** The way by which cameras are reached; if it is left out, the one that was learnt for each. */
  readonly way?: WayChoice | undefined;
  /**
   * Holds files that outlive the program: the HOME of the camera process, and the settings owed to bodies.
   */
  readonly stateFolder: string;
  /** Holds the profiles of bodies. */
  readonly configFolder: string;
  /** Takes remarks on files in those folders, and each line that the camera process prints. */
  readonly log: (line: string) => void;
  /** Takes the lines of the camera process in place of `log`, if it is given. */
  readonly logAt?: SupervisedLinkOptions['logAt'];
  readonly link?: Partial<SupervisedLinkOptions>;
}

/** A body that was met, and what should be said about it. */
export interface Found {
  readonly body: Body;
  readonly notes: readonly string[];
}

/** One of the attached bodies: met, or the reason why not. */
export type Surveyed = Found | { readonly attached: AttachedBody; readonly error: EvenrungError };

interface Known extends AttachedBody {
  readonly port: string;
}

/** Longest reason that is kept, in characters. */
const MOST_OF_WHY = 500;
const NO_CAMERA: ReadonlySet<string> = new Set(['no-body', 'usb-not-available']);

export class Finder {
  readonly profiles: ProfileStore;
  private readonly options: FinderOptions;
  private readonly asFound: AsFoundStore;
  /** The way by which a camera is tried first: which camera it is becomes known only when it is met. */
  private first: LinkWay | null = null;
  /** Whether the binding was found missing on this computer. */
  private isBindingMissing = false;

  constructor(options: FinderOptions) {
    this.options = options;
    const { stateFolder, configFolder, log } = options;
    this.asFound = new AsFoundStore(path.join(stateFolder, 'as-found'), (aside) =>
      log(`The list of settings to put back could not be read; it is kept as ${aside}.`),
    );
    this.profiles = new ProfileStore(path.join(configFolder, 'bodies'), (kept) =>
      log(`The earlier profile could not be used; it is kept as ${kept}.`),
    );
  }

  /**
   * The practice body steps in only if no camera is found; a camera that is there but claimed or asleep is an
   * error.
   * @param wanted serial number or model of the camera; null takes the only one
   * @param choice if it differs from the one in the options
   * @throws EvenrungError no-body, several-bodies, usb-not-available, body-lost, body-busy, body-not-ready
   */
  async find(wanted: string | null, choice: BodyChoice = this.options.choice): Promise<Found> {
    if (choice === 'practice') return this.mustBe(wanted, await this.meet('practice'));
    try {
      return await this.findCamera(wanted);
    } catch (cause) {
      const error = asEvenrungError(cause);
      if (choice === 'usb' || wanted !== null || !NO_CAMERA.has(error.code)) throw error;
      const { body, notes } = await this.meet('practice');
      return { body, notes: [error.message, ...notes] };
    }
  }

  /** Meets every attached camera, one after another. The caller has to let go of them. */
  async survey(): Promise<Surveyed[]> {
    const { choice } = this.options;
    if (choice === 'practice') return [await this.meet('practice')];
    const ports = await this.ports();
    const surveyed: Surveyed[] = [];
    for (const { port, model } of ports) {
      try {
        surveyed.push(await this.meet('usb', async () => port));
      } catch (cause) {
        surveyed.push({ attached: { model, serial: null }, error: asEvenrungError(cause) });
      }
    }
    return surveyed;
  }

  private async findCamera(wanted: string | null): Promise<Found> {
    try {
      return await this.mustBe(wanted, await this.meet('usb'));
    } catch (cause) {
      const error = asEvenrungError(cause);
      if (error.code !== 'several-bodies') throw error;
    }
    const known = await this.identifyAll();
    const fitting = wanted === null ? known : known.filter((one) => isWanted(one, wanted));
    const [only, ...others] = fitting;
    if (only === undefined) throw notAttached(wanted ?? '', known);
    if (others.length > 0) throw several(fitting);
    return this.meet('usb', this.follow(only));
  }

  /** @throws EvenrungError no-body if another one is wanted */
  private async mustBe(wanted: string | null, found: Found): Promise<Found> {
    if (wanted === null || isWanted(found.body.identity, wanted)) return found;
    await found.body.letGo();
    throw notAttached(wanted, [found.body.identity]);
  }

  /** Follows the chosen body to its port, even if it was plugged in again somewhere else. */
  private follow(chosen: Known): () => Promise<string | null> {
    let first: string | null = chosen.port;
    return async () => {
      const port = first;
      first = null;
      if (port !== null) return port;
      const ports = await this.ports();
      if (ports.length === 0) return null;
      // Needed even if only one body is there now: it may be the other one, and the chosen one may come back
      // before it is opened.
      const known = await this.identifyAll(ports);
      const now = known.find(({ model, serial }) => model === chosen.model && serial === chosen.serial);
      if (now === undefined) throw notAttached(chosen.serial ?? chosen.model, known);
      return now.port;
    };
  }

  private async ports() {
    return this.overEither(async (way) => {
      const link = this.open('usb', way);
      try {
        return await link.attached();
      } finally {
        link.kill();
      }
    });
  }

  /**
   * Does something over the way that is tried first, or over the other one if the first is missing on this
   * computer.
   */
  private async overEither<T>(work: (way: LinkWay) => Promise<T>): Promise<T> {
    this.first ??= await this.wayToTryFirst();
    const { first } = this;
    try {
      return await work(first);
    } catch (cause) {
      const error = asEvenrungError(cause);
      if (error.code !== 'usb-not-available' || this.byHand !== null) throw error;
      const other = first === 'binding' ? 'direct' : 'binding';
      this.isBindingMissing ||= first === 'binding';
      try {
        const value = await work(other);
        this.first = other;
        return value;
      } catch (again) {
        // If both ways are missing, the error of the direct way says what to install: that way needs less.
        throw asEvenrungError(again).code === 'usb-not-available' && other === 'binding' ? error : again;
      }
    }
  }

  private get byHand(): LinkWay | null {
    const { way = 'auto' } = this.options;
    return way === 'auto' ? null : way;
  }

  private async wayToTryFirst(): Promise<LinkWay> {
    if (this.byHand !== null) return this.byHand;
    const profiles = await this.profiles.all();
    return profiles.some((profile) => wayFor(profile, null).way === 'direct') ? 'direct' : 'binding';
  }

  /** A body that does not answer is listed under the name that the link has for it. */
  private async identifyAll(ports?: readonly { port: string; model: string }[]): Promise<Known[]> {
    const known: Known[] = [];
    for (const { port, model } of ports ?? (await this.ports())) {
      const link = this.open('usb', this.first ?? 'binding', async () => port);
      try {
        const identity = await link.identify();
        known.push({ port, model: identity.model, serial: identity.serial });
      } catch {
        known.push({ port, model, serial: null });
      } finally {
        await link.letGo();
      }
    }
    return known;
  }

  private open(
    kind: LinkKind,
    way: LinkWay,
    port?: () => Promise<string | null>,
    mayFallBack = false,
  ): SupervisedLink {
    const { stateFolder, log, logAt, link } = this.options;
    const home = path.join(stateFolder, 'camera-home');
    return new SupervisedLink({
      home,
      log,
      ...(logAt === undefined ? {} : { logAt }),
      ...link,
      kind,
      way,
      mayFallBack,
      ...(port === undefined ? {} : { port }),
    });
  }

  private async meet(kind: LinkKind, port?: () => Promise<string | null>): Promise<Found> {
    if (kind === 'practice') return this.meetOver(kind, 'binding', port, null);
    return this.overEither((way) => this.meetCamera(way, port));
  }

  /**
   * Which body it is becomes known only when it is met; then it may have to be met again over the other way.
   */
  private async meetCamera(way: LinkWay, port: (() => Promise<string | null>) | undefined): Promise<Found> {
    const isFirst = this.first === way;
    const found = await this.meetOver('usb', way, port, (profile, library) => {
      if (this.byHand !== null) return { way, why: BY_HAND };
      return isFirst || way === 'binding' ? wayFor(profile, library) : { way, why: NO_BINDING };
    });
    const { reached } = found.body;
    if (reached === null || reached.way === way) return found;
    await found.body.letGo();
    try {
      return await this.meetOver('usb', reached.way, port, () => reached);
    } catch (cause) {
      if (asEvenrungError(cause).code !== 'usb-not-available') throw cause;
      return this.meetOver('usb', way, port, () => ({ way, why: NO_BINDING }));
    }
  }

  /**
   * Meets a body over the direct way before that has been learnt, so that it can be learnt.
   * @throws EvenrungError as `find`
   */
  async findDirectly(wanted: string | null): Promise<Found> {
    const meet = (port?: () => Promise<string | null>) =>
      this.meetOver('usb', 'direct', port, () => ({
        way: 'direct',
        why: 'Evenrung is learning this camera.',
      }));
    if (wanted === null) return meet();
    const known = await this.identifyAll();
    const [only, ...others] = known.filter((one) => isWanted(one, wanted));
    if (only === undefined) throw notAttached(wanted, known);
    if (others.length > 0) throw several([only, ...others]);
    return meet(this.follow(only));
  }

  /** Something that no longer holds is not used again until it has been learnt again. Never rejects. */
  private async writeDown(identity: BodyIdentity, what: GivenUp, why: string): Promise<void> {
    const { profile } = await this.profiles.read(identity);
    if (profile?.direct === undefined) return;
    const direct =
      what === 'one-release'
        ? { ...profile.direct, oneRelease: false }
        : { ...profile.direct, failed: { at: new Date().toISOString(), why: why.slice(0, MOST_OF_WHY) } };
    await this.profiles.write({ ...profile, direct }).catch((cause: unknown) => {
      this.options.log(asEvenrungError(cause).message);
    });
  }

  private async meetOver(
    kind: LinkKind,
    way: LinkWay,
    port: (() => Promise<string | null>) | undefined,
    reached: ((profile: BodyProfile | null, library: string | null) => Reached) | null,
  ): Promise<Found> {
    const opened = this.open(kind, way, port, this.byHand === null && !this.isBindingMissing);
    const notes: string[] = [];
    try {
      const body = await Body.meet(opened, {
        owed: (identity) => this.asFound.read(identity),
        keepDebts: (identity, debts) => this.asFound.write(identity, debts),
        profile: async (identity) => {
          const { profile, trouble } = await this.profiles.read(identity);
          if (trouble !== null) notes.push(trouble);
          return profile;
        },
        ...(reached === null ? {} : { reached }),
        gaveUp: (identity, what, why) => void this.writeDown(identity, what, why),
      });
      return { body, notes: [...notes, ...body.contradictions] };
    } catch (cause) {
      await opened.letGo();
      throw cause;
    }
  }
}

const same = (one: string, other: string): boolean => one.trim().toLowerCase() === other.trim().toLowerCase();

function isWanted({ model, serial }: AttachedBody | BodyIdentity, wanted: string): boolean {
  return same(model, wanted) || (serial !== null && same(serial, wanted));
}

const inWords = (bodies: readonly AttachedBody[]): string =>
  bodies
    .map(({ model, serial }) => (serial === null ? model : `${model} (serial number ${serial})`))
    .join(', ');

const shown = (bodies: readonly AttachedBody[]): AttachedBody[] =>
  bodies.map(({ model, serial }) => ({ model, serial }));

function several(bodies: readonly AttachedBody[]): EvenrungError {
  return new EvenrungError(
    'several-bodies',
    `${bodies.length} cameras are attached: ${inWords(bodies)}. Choose one in the panel, or give its serial number or model with --camera.`,
    { choices: shown(bodies) },
  );
}

function notAttached(wanted: string, bodies: readonly AttachedBody[]): EvenrungError {
  const there = bodies.length === 0 ? '' : ` Attached: ${inWords(bodies)}.`;
  return new EvenrungError(
    'no-body',
    `No camera with the serial number or model '${wanted}' is attached.${there}`,
    {
      choices: shown(bodies),
    },
  );
}
