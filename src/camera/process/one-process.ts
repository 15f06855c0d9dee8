// One camera process, from its start to its end: passes calls, counts their time, and knows when it is gone. It starts no
// other one after it, and knows nothing of which body it reaches.
import { type ChildProcess, fork } from 'node:child_process';
import { asEvenrungError, EvenrungError } from '../../../shared/errors.js';
import { LOST } from '../link.js';
import { eachLine, levelOf, type PrintedLevel } from './printed.js';
import type { Answer, Call, LinkMethod } from './protocol.js';

export interface OneProcessOptions {
  readonly entry: string;
  readonly args: readonly string[];
  readonly env: Readonly<Record<string, string | undefined>>;
  /** Added to the deadline of the first call. */
  readonly startMs: number;
  readonly print: (level: PrintedLevel, line: string) => void;
  /**
   * Called once, when no more calls are taken; says whether it died by itself or past a deadline, or was told
   * to end.
   */
  readonly ended: (how: 'fell' | 'told') => void;
}

interface Waiting {
  readonly method: LinkMethod;
  readonly deadlineMs: number;
  readonly resolve: (value: unknown) => void;
  readonly reject: (error: EvenrungError) => void;
}

export class OneProcess {
  /** Settles when the kernel has taken the process away: until then it may still hold the body. */
  readonly gone: Promise<void>;
  private readonly child: ChildProcess;
  private readonly ended: OneProcessOptions['ended'];
  private readonly startMs: number;
  /** Oldest first, which is the order in which they are answered. */
  private readonly waiting = new Map<number, Waiting>();
  private timer: NodeJS.Timeout | undefined;
  /** The call that is on the clock. */
  private timed: number | undefined;
  private lastId = 0;
  /** Why it takes no more calls. */
  private over: EvenrungError | undefined;
  private farewell: Promise<void> | undefined;

  /** @throws EvenrungError internal if no process can be started */
  constructor({ entry, args, startMs, env, print, ended }: OneProcessOptions) {
    this.ended = ended;
    this.startMs = startMs;
    try {
      this.child = fork(entry, [...args], {
        env: { ...env },
        // With the collector at hand the link can drop the native camera object, which closes the session.
        execArgv: ['--expose-gc'],
        serialization: 'advanced',
        stdio: ['ignore', 'pipe', 'pipe', 'ipc'],
      });
    } catch (cause) {
      throw asEvenrungError(cause);
    }
    const { child } = this;
    for (const name of ['stdout', 'stderr'] as const) {
      const stream = child[name];
      if (stream !== null) eachLine(stream, (line) => print(levelOf(name, line), line));
    }
    this.gone = new Promise((resolve) => {
      child.once('exit', () => resolve());
      // A process that could not be started does not exit.
      child.once('error', () => {
        if (child.pid === undefined) resolve();
      });
    });
    child.on('message', (said: Answer) => this.settle(said));
    child.on('error', (error) => this.unreachable(error));
    child.on('exit', (code, signal) => this.finish('fell', endedByItself(code, signal)));
  }

  get pid(): number | undefined {
    return this.child.pid;
  }

  /** Whether a call has not been answered yet. */
  get isBusy(): boolean {
    return this.waiting.size > 0;
  }

  /** @param deadlineMs counted from when the calls before it have been answered */
  call<T>(method: LinkMethod, args: readonly unknown[], deadlineMs: number): Promise<T> {
    if (this.over !== undefined) return Promise.reject(this.over);
    this.lastId += 1;
    const call: Call = { id: this.lastId, method, args };
    const allowed = call.id === 1 ? deadlineMs + this.startMs : deadlineMs;
    return new Promise<T>((resolve, reject) => {
      this.waiting.set(call.id, {
        method,
        deadlineMs: allowed,
        resolve: resolve as (value: unknown) => void,
        reject,
      });
      try {
        this.child.send(call, (error) => {
          if (error) this.unreachable(error);
        });
      } catch (cause) {
        // A value that cannot be cloned is not sent; that is not the process's fault.
        this.waiting.delete(call.id);
        reject(asEvenrungError(cause));
      }
      this.countTime();
    });
  }

  /** Ends it at once. Calls that are waiting fail with the error. */
  end(why: EvenrungError): void {
    this.finish('told', why);
  }

  /** Lets go of the body, ends the process whatever state it is in, and waits until it is gone, a while. Never throws. */
  letGo(deadlineMs: number): Promise<void> {
    this.farewell ??= this.sayFarewell(deadlineMs);
    return this.farewell;
  }

  private async sayFarewell(deadlineMs: number): Promise<void> {
    const until = performance.now() + deadlineMs;
    // The release's own time runs from now on, whatever it waits for.
    const busyMs = Math.max(0, deadlineMs - FAREWELL_MS);
    const released = this.call('letGo', [busyMs], Number.POSITIVE_INFINITY).catch(() => undefined);
    await within(released, deadlineMs);
    this.end(new EvenrungError('body-lost', 'The connection to the camera was closed.'));
    await within(this.gone, Math.max(0, until - performance.now()) + GONE_MS);
  }

  private settle(said: Answer): void {
    const call = this.waiting.get(said.id);
    if (call === undefined) return;
    this.waiting.delete(said.id);
    this.countTime();
    if (said.ok) {
      call.resolve(said.value);
      return;
    }
    const error = new EvenrungError(said.code, said.message, said.details);
    call.reject(error);
    // A body that was lost is not found again by the process that lost it.
    if (LOST.has(said.code)) this.finish('told', error);
  }

  /** The process does one call at a time: only the oldest is on the clock. */
  private countTime(): void {
    const [oldest] = this.waiting;
    if (this.timer !== undefined && oldest?.[0] === this.timed) return;
    clearTimeout(this.timer);
    this.timer = undefined;
    this.timed = oldest?.[0];
    if (oldest === undefined || !Number.isFinite(oldest[1].deadlineMs)) return;
    const { method, deadlineMs } = oldest[1];
    this.timer = setTimeout(() => this.finish('fell', tooLate(method, deadlineMs)), deadlineMs);
  }

  /** One that was killed a moment ago cannot be written to, and its end says more. */
  private unreachable(error: Error): void {
    const isGone = this.child.pid === undefined;
    setTimeout(() => this.finish('fell', cannotBeReached(error)), isGone ? 0 : EXIT_SOON_MS);
  }

  private finish(how: 'fell' | 'told', why: EvenrungError): void {
    if (this.over !== undefined) return;
    this.over = why;
    clearTimeout(this.timer);
    this.child.kill('SIGKILL');
    const waiting = [...this.waiting.values()];
    this.waiting.clear();
    this.ended(how);
    for (const { reject } of waiting) reject(why);
  }
}

/** From when a killed process cannot be written to until its end is told. */
const EXIT_SOON_MS = 200;
/**
 * How long it may take to let go of a body that is not busy: over the virtual port 40 ms, and 330 if the
 * library first looks for events that nobody took (plain PTP and 0x11, over the direct way).
 */
const FAREWELL_MS = 600;
/** How long the kernel may take to clear away a killed process on a busy computer. */
const GONE_MS = 1000;

/** Waits for a promise that does not reject, but not longer. @returns whether it settled */
export async function within(promise: Promise<unknown>, milliseconds: number): Promise<boolean> {
  let timer: NodeJS.Timeout | undefined;
  const tooLong = new Promise<false>((resolve) => {
    timer = setTimeout(resolve, milliseconds, false);
  });
  try {
    return await Promise.race([promise.then(() => true), tooLong]);
  } finally {
    clearTimeout(timer);
  }
}

function tooLate(method: LinkMethod, deadlineMs: number): EvenrungError {
  const seconds = Math.round(deadlineMs / 100) / 10;
  const what =
    method === 'fire'
      ? `The camera was told to fire, and did not answer within ${seconds} s. Set the lens to manual focus, and check that the card is neither full nor write-protected.`
      : `The camera did not answer within ${seconds} s.`;
  return new EvenrungError(
    'call-timed-out',
    `${what} Evenrung connects again; if this happens again, switch the camera off and on.`,
    { method },
  );
}

function endedByItself(code: number | null, signal: NodeJS.Signals | null): EvenrungError {
  return new EvenrungError(
    'body-lost',
    `The camera process ended unexpectedly (${signal ?? `exit ${code}`}).`,
    { signal, code },
  );
}

function cannotBeReached(error: Error): EvenrungError {
  return new EvenrungError('body-lost', `The camera process cannot be reached: ${error.message}.`);
}
