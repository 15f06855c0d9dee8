// The daemon's side of the camera process: a Link whose every call has a deadline. Past it the process is killed, and the
// next call starts another. It knows when a call took too long or the process died; what that means for a frame is
// decided elsewhere.
import { type ChildProcess, fork } from 'node:child_process';
import { mkdirSync } from 'node:fs';
import { createInterface } from 'node:readline';
import type { Readable } from 'node:stream';
import { fileURLToPath } from 'node:url';
import { EvenrungError } from '../../../shared/errors.js';
import {
  type AttachedPort,
  type BodyIdentity,
  type FiredFrame,
  type FireOptions,
  type Link,
  type LinkKind,
  type LinkLimits,
  LOST,
  type Setting,
  type Settings,
} from '../link.js';
import type { Answer, Call, LinkMethod } from './protocol.js';

export interface SupervisedLinkOptions {
  readonly kind: LinkKind;
  /**
   * Says where the body is, each time that a camera process starts: it may be somewhere else after the cable was out.
   * Left out, or null, it is the only one.
   */
  readonly port?: () => Promise<string | null>;
  /** HOME of the camera process; made where it is missing. libgphoto2 remembers things there. */
  readonly home: string;
  /** Takes each line that the process or the native code in it prints. */
  readonly log: (line: string) => void;
  /** The compiled entry of the camera process, where it is not beside this module. */
  readonly entry?: string;
  readonly env?: Readonly<Record<string, string>>;
  readonly deadlines?: Partial<Deadlines>;
}

/** Milliseconds that a call may take. */
export interface Deadlines {
  /** Any call but fire; the first also starts the process and opens the body. A change may take as long as a walk besides. */
  readonly call: number;
  /** What fire may take beside twice the exposure (a body may double a long one by noise reduction). */
  readonly fire: number;
  /** Letting go. */
  readonly release: number;
}

const DEADLINES: Deadlines = { call: 15_000, fire: 20_000, release: 2000 };

/** Settings of the longest scale that a body has: shutter times in thirds. */
const FARTHEST_WALK = 61;

const ENTRY = fileURLToPath(new URL('./camera-process.js', import.meta.url));

interface Pending {
  readonly resolve: (value: unknown) => void;
  readonly reject: (error: EvenrungError) => void;
}

export class SupervisedLink implements Link {
  readonly options: SupervisedLinkOptions;
  private readonly deadlines: Deadlines;
  private readonly pending = new Map<number, Pending>();
  private child: ChildProcess | undefined;
  private starting: Promise<ChildProcess> | undefined;
  private lastId = 0;
  /** What a walk over all settings of a scale may take, on a body that walks. */
  private walkSeconds = 0;

  constructor(options: SupervisedLinkOptions) {
    this.options = options;
    this.deadlines = { ...DEADLINES, ...options.deadlines };
  }

  /** The process id of the camera process, while there is one. */
  get pid(): number | undefined {
    return this.child?.pid;
  }

  /** @returns what a link of this kind could be opened to. Nothing else may be called on the same process. */
  attached(): Promise<readonly AttachedPort[]> {
    return this.call('attached', []);
  }

  identify(): Promise<BodyIdentity> {
    return this.call('identify', []);
  }

  async readLimits(): Promise<LinkLimits> {
    const limits = await this.call<LinkLimits>('readLimits', []);
    this.walkSeconds = limits.secondsPerSetting * FARTHEST_WALK;
    return limits;
  }

  readSettings(): Promise<Settings> {
    return this.call('readSettings', []);
  }

  changeSetting(name: string, value: string): Promise<Setting> {
    return this.call('changeSetting', [name, value], this.deadlines.call + this.walkSeconds * 1000);
  }

  fire(options: FireOptions): Promise<FiredFrame> {
    return this.call('fire', [options], this.deadlines.fire + options.exposureSeconds * 2000);
  }

  /** Lets go of the body and ends the process, whatever state it is in. Never throws. */
  async release(): Promise<void> {
    await this.starting?.catch(() => undefined);
    if (this.child === undefined) return;
    try {
      await this.call('release', [], this.deadlines.release);
    } catch {
      // It ends all the same.
    }
    this.kill();
  }

  /** Ends the process at once. Calls that are waiting fail with body-lost. */
  kill(): void {
    const child = this.child;
    if (child === undefined) return;
    child.kill('SIGKILL');
    this.forget(child, new EvenrungError('body-lost', 'The camera process was ended.'));
  }

  private async call<T>(
    method: LinkMethod,
    args: readonly unknown[],
    deadline = this.deadlines.call,
  ): Promise<T> {
    const child = this.child ?? (await this.startOnce());
    this.lastId += 1;
    const id = this.lastId;
    const answered = new Promise<unknown>((resolve, reject) => this.pending.set(id, { resolve, reject }));
    const timer = setTimeout(() => {
      child.kill('SIGKILL');
      const seconds = Math.round(deadline / 100) / 10;
      this.forget(
        child,
        new EvenrungError(
          'call-timed-out',
          `The camera did not answer within ${seconds} s. The connection is started anew; if it happens again, switch the camera off and on.`,
          { method },
        ),
      );
    }, deadline);
    try {
      const call: Call = { id, method, args };
      child.send(call, (error) => {
        if (error) this.forget(child, lostWhileSending(error));
      });
      return (await answered) as T;
    } finally {
      clearTimeout(timer);
      this.pending.delete(id);
    }
  }

  private startOnce(): Promise<ChildProcess> {
    this.starting ??= this.start().finally(() => {
      this.starting = undefined;
    });
    return this.starting;
  }

  private async start(): Promise<ChildProcess> {
    const { kind, port, home, env, entry } = this.options;
    makeHome(home);
    const at = (await port?.()) ?? null;
    const child = fork(entry ?? ENTRY, at === null ? [kind] : [kind, at], {
      env: { ...process.env, ...env, HOME: home },
      // With the collector at hand the link can drop the native camera object, which closes the session.
      execArgv: ['--expose-gc'],
      serialization: 'advanced',
      stdio: ['ignore', 'pipe', 'pipe', 'ipc'],
    });
    this.logLines(child.stdout);
    this.logLines(child.stderr);
    child.on('message', (said: Answer) => this.settle(child, said));
    child.on('error', (error) => this.forget(child, lostWhileSending(error)));
    child.on('exit', (code, signal) => this.forget(child, ended(code, signal)));
    this.child = child;
    return child;
  }

  private logLines(stream: Readable | null): void {
    if (stream === null) return;
    createInterface({ input: stream, crlfDelay: Number.POSITIVE_INFINITY }).on('line', this.options.log);
  }

  private settle(child: ChildProcess, said: Answer): void {
    const waiting = this.pending.get(said.id);
    if (said.ok) {
      waiting?.resolve(said.value);
      return;
    }
    const error = new EvenrungError(said.code, said.message, said.details);
    waiting?.reject(error);
    // A body that was lost is not found again by the process that lost it.
    if (!LOST.has(said.code)) return;
    child.kill('SIGKILL');
    this.forget(child, error);
  }

  /** The process is gone or given up: whoever waits for it hears why, and the next call starts another. */
  private forget(child: ChildProcess, why: EvenrungError): void {
    if (this.child !== child) return;
    this.child = undefined;
    for (const { reject } of this.pending.values()) reject(why);
  }
}

/** @throws EvenrungError state-not-writable */
function makeHome(home: string): void {
  try {
    mkdirSync(home, { recursive: true });
  } catch (cause) {
    const words = cause instanceof Error ? cause.message : String(cause);
    throw new EvenrungError(
      'state-not-writable',
      `The folder ${home} cannot be made: ${words}. Give a state folder that can be written, in XDG_STATE_HOME.`,
    );
  }
}

function ended(code: number | null, signal: NodeJS.Signals | null): EvenrungError {
  return new EvenrungError(
    'body-lost',
    `The camera process ended unexpectedly (${signal ?? `exit ${code}`}).`,
    { signal, code },
  );
}

function lostWhileSending(error: Error): EvenrungError {
  return new EvenrungError('body-lost', `The camera process cannot be reached: ${error.message}.`);
}
