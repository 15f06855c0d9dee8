// The daemon's side of the camera process: a Link whose every call has a deadline. Past it the process is killed, and the
// next call starts another, which must reach the body that was met. It knows when a call took too long or the process
// died; what that means for a frame is decided elsewhere.
//
// Of one link at most one process is alive at any time: the next is started only when the one before is gone.
import { setTimeout as pause } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { asEvenrungError, EvenrungError } from '../../../shared/errors.js';
import type {
  AttachedPort,
  BodyIdentity,
  BringOptions,
  ChangeOptions,
  FiredFrame,
  FireOptions,
  Heard,
  Link,
  LinkKind,
  LinkLimits,
  LinkWay,
  ListedFile,
  Piece,
  PressOptions,
  Setting,
  Settings,
} from '../link.js';
import { makeHome } from './home.js';
import { OneProcess, within } from './one-process.js';
import type { PrintedLevel } from './printed.js';
import type { LinkMethod } from './protocol.js';
import { residentMemory } from './resident-memory.js';

export interface SupervisedLinkOptions {
  readonly kind: LinkKind;
  /** The way to the library; over the binding if it is left out. It has no meaning for the practice body. */
  readonly way?: LinkWay;
  /** Whether `fallBack` may go over to the binding. */
  readonly mayFallBack?: boolean;
  /**
   * Tells where the body is, each time that a camera process starts, since it may be somewhere else after the
   * cable was out. If it is left out, or returns null, the body is the only one.
   */
  readonly port?: () => Promise<string | null>;
  /** HOME of the camera process; made if it is missing. libgphoto2 remembers things there. */
  readonly home: string;
  /** Takes each line that the process or the native code in it prints. */
  readonly log: (line: string) => void;
  /** Takes the lines in place of `log`, each with its level, if it is given. */
  readonly logAt?: (level: PrintedLevel, line: string) => void;
  /** The compiled entry of the camera process, if it is not beside this module. */
  readonly entry?: string;
  readonly env?: Readonly<Record<string, string>>;
  readonly deadlines?: Partial<Deadlines>;
  /** Bytes that a process may have resident before `recycleIfLarge` ends it; 512 MiB if it is left out. */
  readonly memoryBound?: number;
}

/** Milliseconds that a call may take. */
export interface Deadlines {
  /**
   * Any call but fire; the first also starts the process and opens the body. A change may take as long as a walk besides.
   * A call after which another process is started may take this much longer: the body is asked who it is before.
   */
  readonly call: number;
  /** Additional time for the first call of a process, for its start; 0 if it is left out. */
  readonly start: number;
  /** Time for `fire` in addition to twice the exposure (a body may double a long one by noise reduction). */
  readonly fire: number;
  /** Letting go, also of a body that is busy at first. */
  readonly release: number;
}

const DEADLINES: Deadlines = { call: 15_000, start: 0, fire: 20_000, release: 3000 };

const MEMORY_BOUND = 512 * 1024 * 1024;

/**
 * Milliseconds between the end of a process that fell and the start of the next, by how many fell with no call succeeding in
 * between. A second at most: a body that comes back must be armed again within three, and start and reading take one.
 */
const BACK_OFF = [0, 0, 250, 500, 1000];

/** A listing may take as long as so many other calls: a full card has thousands of files. */
const LISTING_CALLS = 4;

/** Settings of the longest scale that a body has: shutter times in thirds. */
const FARTHEST_WALK = 61;

const ENTRY = fileURLToPath(new URL('./camera-process.js', import.meta.url));

/** A process that is being started, and the body that it reaches, if it was asked. */
interface Started {
  readonly process: OneProcess;
  readonly identity: BodyIdentity | undefined;
}

interface Starting {
  readonly started: Promise<Started>;
  /** Calls that wait for it fail. */
  readonly giveUp: (why: EvenrungError) => void;
}

export class SupervisedLink implements Link {
  readonly options: SupervisedLinkOptions;
  private way: LinkWay;
  private readonly deadlines: Deadlines;
  /** Takes calls. */
  private current: OneProcess | undefined;
  /** The one that was started last; it may be ending. */
  private last: OneProcess | undefined;
  private starting: Starting | undefined;
  /** Who was met first: no other body is taken for it later. */
  private met: BodyIdentity | undefined;
  private fallen = 0;
  private fellAt = 0;
  private isReleased = false;
  /** Seconds for a body that steps through all values, from one end of a scale to the other. */
  private walkSeconds = 0;

  constructor(options: SupervisedLinkOptions) {
    this.options = options;
    this.way = options.way ?? 'binding';
    this.deadlines = { ...DEADLINES, ...options.deadlines };
  }

  /** The process id of the camera process, while there is one. */
  get pid(): number | undefined {
    return this.current?.pid;
  }

  /**
   * @returns the bodies that a link of this kind could be opened to. Nothing else may be called on the same
   *   process.
   */
  attached(): Promise<readonly AttachedPort[]> {
    return this.call('attached', []);
  }

  async identify(): Promise<BodyIdentity> {
    const { process, identity } = await this.ready();
    const said = identity ?? (await this.ask<BodyIdentity>(process, 'identify', []));
    this.met ??= said;
    this.fallen = 0;
    return said;
  }

  async readLimits(): Promise<LinkLimits> {
    const limits = await this.call<LinkLimits>('readLimits', [], this.deadlines.call * LISTING_CALLS);
    this.walkSeconds = limits.secondsPerSetting * FARTHEST_WALK;
    return limits;
  }

  readSettings(): Promise<Settings> {
    return this.call('readSettings', []);
  }

  changeSetting(name: string, value: string, options: ChangeOptions = {}): Promise<Setting> {
    return this.call('changeSetting', [name, value, options], this.deadlines.call + this.walkSeconds * 1000);
  }

  fire(options: FireOptions): Promise<FiredFrame> {
    return this.call('fire', [options], this.deadlines.fire + options.exposureSeconds * 2000);
  }

  press(options: PressOptions): Promise<void> {
    return this.call('press', [options], this.deadlines.fire + options.exposureSeconds * 2000);
  }

  unpress(): Promise<void> {
    return this.call('unpress', []);
  }

  listen(ms: number): Promise<Heard> {
    return this.call('listen', [ms], this.deadlines.call + ms);
  }

  bring(options: BringOptions): Promise<Piece> {
    return this.call('bring', [options]);
  }

  list(): Promise<readonly ListedFile[]> {
    return this.call('list', [], this.deadlines.call * LISTING_CALLS);
  }

  /** Lets go of the body and ends the process, whatever state it is in. Nothing starts another. Never throws. */
  async letGo(): Promise<void> {
    this.isReleased = true;
    this.starting?.giveUp(closed());
    await this.last?.letGo(this.deadlines.release);
  }

  /** @returns whether the next process takes the binding */
  fallBack(): boolean {
    if (this.way === 'binding' || this.options.mayFallBack !== true) return false;
    this.way = 'binding';
    this.kill();
    return true;
  }

  /** Ends the process at once. Calls that are waiting fail with body-lost. The next one starts another. */
  kill(): void {
    const why = new EvenrungError('body-lost', 'The camera process was ended.');
    this.starting?.giveUp(why);
    this.last?.end(why);
  }

  /**
   * Ends a process that has grown large, gently; the next call starts another. A process that is busy is left alone.
   * @returns whether it was ended
   */
  async recycleIfLarge(): Promise<boolean> {
    const process = this.current;
    const mayEnd = () => this.starting === undefined && this.current === process && !process?.isBusy;
    if (process?.pid === undefined || !mayEnd()) return false;
    const bytes = (await residentMemory(process.pid)) ?? (await this.ownWord(process));
    if (bytes <= (this.options.memoryBound ?? MEMORY_BOUND) || !mayEnd()) return false;
    this.current = undefined;
    await process.letGo(this.deadlines.release);
    return true;
  }

  /**
   * The process's own figure for its memory; a process that does not answer counts as small, and has been
   * ended.
   */
  private ownWord(process: OneProcess): Promise<number> {
    return process.call<number>('memory', [], this.deadlines.call).catch(() => 0);
  }

  private async call<T>(method: LinkMethod, args: readonly unknown[], deadline?: number): Promise<T> {
    const { process } = await this.ready();
    const value = await this.ask<T>(process, method, args, deadline);
    this.fallen = 0;
    return value;
  }

  private ask<T>(
    process: OneProcess,
    method: LinkMethod,
    args: readonly unknown[],
    deadline = this.deadlines.call,
  ): Promise<T> {
    return process.call<T>(method, args, deadline);
  }

  /** @returns a process that takes calls; a new one has been asked who it reaches */
  private async ready(): Promise<Started> {
    if (this.isReleased) throw closed();
    if (this.starting !== undefined) return this.starting.started;
    if (this.current !== undefined) return { process: this.current, identity: undefined };
    let giveUp: (why: EvenrungError) => void = () => undefined;
    const stop = new AbortController();
    const givenUp = new Promise<never>((_, reject) => {
      giveUp = (why) => {
        if (this.starting === starting) this.starting = undefined;
        reject(why);
        stop.abort(why);
      };
    });
    const started = Promise.race([this.start(stop.signal), givenUp])
      .catch((cause) => {
        throw asEvenrungError(cause);
      })
      .finally(() => {
        if (this.starting === starting) this.starting = undefined;
      });
    const starting: Starting = { started, giveUp };
    this.starting = starting;
    return started;
  }

  private async start(signal: AbortSignal): Promise<Started> {
    const { way } = this;
    const { kind, port, home, env, entry, log, logAt } = this.options;
    await this.lastIsGone();
    const wait =
      this.fellAt + (BACK_OFF[Math.min(this.fallen, BACK_OFF.length - 1)] ?? 0) - performance.now();
    if (wait > 0) await pause(wait, undefined, { signal });
    await makeHome(home);
    const at = (await port?.()) ?? null;
    // Another start may have come first meanwhile.
    signal.throwIfAborted();
    const process = new OneProcess({
      entry: entry ?? ENTRY,
      args: at === null ? [kind, way] : [kind, way, at],
      startMs: this.deadlines.start,
      env: { ...globalThis.process.env, ...env, HOME: home },
      print: logAt ?? ((_, line) => log(line)),
      ended: (how) => this.forget(process, how),
    });
    this.current = process;
    this.last = process;
    return { process, identity: await this.checked(process) };
  }

  /**
   * After a restart: the body that the process reaches.
   * @throws EvenrungError body-lost if it is not the body that was met
   */
  private async checked(process: OneProcess): Promise<BodyIdentity | undefined> {
    const { met } = this;
    if (met === undefined) return undefined;
    const found = await this.ask<BodyIdentity>(process, 'identify', []);
    if (found.model === met.model && found.serial === met.serial) return found;
    const why = new EvenrungError(
      'body-lost',
      `A different camera answers: ${inWords(found)}. Connect the one from before: ${inWords(met)}.`,
      { found: { model: found.model, serial: found.serial } },
    );
    process.end(why);
    throw why;
  }

  /** A process that is killed inside the system's USB driver may stay; no other may be started beside it. */
  private async lastIsGone(): Promise<void> {
    if (this.last === undefined || (await within(this.last.gone, this.deadlines.call))) return;
    throw new EvenrungError(
      'call-timed-out',
      "The camera process was ended, but the system does not let go of it. Pull the camera's cable, and plug it in again.",
      { pid: this.last.pid },
    );
  }

  /** The process is gone or given up: the next call starts another. */
  private forget(process: OneProcess, how: 'fell' | 'told'): void {
    if (this.current === process) this.current = undefined;
    if (how === 'told') return;
    this.fallen += 1;
    this.fellAt = performance.now();
  }
}

const closed = () => new EvenrungError('body-lost', 'The connection to the camera was closed.');

const inWords = ({ model, serial }: BodyIdentity): string =>
  serial === null ? `${model}, which reports no serial number` : `${model}, serial number ${serial}`;
