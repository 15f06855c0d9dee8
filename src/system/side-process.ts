// A process beside the program, as the program sees it: started when something is asked, ended when nothing
// has been asked for a while, so that its memory is given back, and started again after it died. Questions
// and answers are plain data; only the two ends know their meaning.
import { type ChildProcess, fork } from 'node:child_process';
import { existsSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';

export interface SideProcessOptions {
  /** Its compiled entry. */
  readonly entry: string;
  /** As sentences call it, such as `The process that looks at pictures`. */
  readonly name: string;
  /** Milliseconds without a question after which it is ended. */
  readonly idleMs: number;
  /** Milliseconds for a question, from when it is asked to when it is answered: past them the process is ended. */
  readonly deadlineMs: number;
  /** After so many questions the process is replaced by another; if it is left out, it never is. */
  readonly mostQuestions?: number | undefined;
  /** If it fell so many times within so many milliseconds, none is begun until that time is over; left out, another one always is. */
  readonly rests?: { readonly afterFalls: number; readonly withinMs: number } | undefined;
  /** Whether it has less right to the processor than what fires; left out, it has the program's own. */
  readonly givesWay?: boolean | undefined;
  /** Node's own arguments. */
  readonly execArgv?: readonly string[] | undefined;
  /** In addition to the program's own environment. */
  readonly env?: Readonly<Record<string, string>> | undefined;
  /** Node itself, unless it is another. */
  readonly execPath?: string | undefined;
}

/** The process ended before it answered, whatever ended it. */
export class ProcessFell extends Error {
  /** False if there was none: the system would not start it, or its program is not there. */
  readonly began: boolean;

  constructor(message: string, began = true) {
    super(message);
    this.began = began;
  }
}

/** The process's reply to a question. */
export type SideReply<Answers> =
  | { readonly id: number; readonly answer: Answers[keyof Answers] }
  | { readonly id: number; readonly error: string };

export class SideProcess<Asked extends { readonly ask: keyof Answers }, Answers> {
  /** Grows with each process that is begun. */
  epoch = 0;
  private readonly options: SideProcessOptions;
  /** The one that takes questions. */
  private one: OneSide<Asked, Answers> | null = null;
  /** When the last ones fell by themselves, by a clock that nobody sets. */
  private falls: number[] = [];
  /** Its forerunners that have still to answer. */
  private readonly leaving = new Set<OneSide<Asked, Answers>>();

  constructor(options: SideProcessOptions) {
    this.options = options;
  }

  get isRunning(): boolean {
    return this.one !== null;
  }

  get pid(): number | undefined {
    return this.one?.child.pid;
  }

  /** @throws ProcessFell, or Error if it could not do it */
  async ask<Ask extends Asked>(question: Ask): Promise<Answers[Ask['ask']]> {
    const { mostQuestions = Number.POSITIVE_INFINITY } = this.options;
    const one = this.current();
    const answer = one.ask(question);
    if (one.asked >= mostQuestions && this.one === one) this.leave(one);
    return answer as Promise<Answers[Ask['ask']]>;
  }

  /** Starts the process if there is none, so that `epoch` is that of the next question. */
  begun(): ChildProcess {
    return this.current().child;
  }

  /** Ends it; the next question begins another. It has nothing to put in order. */
  async end(): Promise<void> {
    const all = [...this.leaving, ...(this.one === null ? [] : [this.one])];
    await Promise.all(all.map((one) => one.end()));
  }

  private current(): OneSide<Asked, Answers> {
    this.one ??= this.begin();
    return this.one;
  }

  private begin(): OneSide<Asked, Answers> {
    this.mustNotRest();
    this.epoch += 1;
    return new OneSide(this.options, (gone, isFall) => {
      if (isFall) this.falls.push(performance.now());
      this.leaving.delete(gone);
      if (this.one === gone) this.one = null;
    });
  }

  /** @throws ProcessFell */
  private mustNotRest(): void {
    const { rests, name } = this.options;
    if (rests === undefined) return;
    this.falls = this.falls.filter((at) => performance.now() - at < rests.withinMs);
    if (this.falls.length < rests.afterFalls) return;
    const words = `ended ${this.falls.length} times by itself within ${Math.round(rests.withinMs / 1000)} s`;
    throw new ProcessFell(`${name} ${words}, and is not begun again for a while.`, false);
  }

  private leave(one: OneSide<Asked, Answers>): void {
    this.one = null;
    this.leaving.add(one);
    one.endAfterAnswers();
  }
}

interface Waiting<Answers> {
  readonly resolve: (answer: Answers[keyof Answers]) => void;
  readonly reject: (error: Error) => void;
  readonly late: NodeJS.Timeout;
}

/** One process, from its start to its end. */
class OneSide<Asked, Answers> {
  readonly child: ChildProcess;
  /** How many questions were asked so far. */
  asked = 0;
  private readonly options: SideProcessOptions;
  private readonly ended: (gone: OneSide<Asked, Answers>, isFall: boolean) => void;
  private readonly waiting = new Map<number, Waiting<Answers>>();
  private idle: NodeJS.Timeout | null = null;
  private isLeaving = false;
  private isOver = false;

  /** @throws ProcessFell if the system would not start one */
  constructor(options: SideProcessOptions, ended: (gone: OneSide<Asked, Answers>, isFall: boolean) => void) {
    this.options = options;
    this.ended = ended;
    this.child = this.fork();
    if (options.givesWay === true) giveWay(this.child);
    this.child.on('message', (reply: SideReply<Answers>) => this.answered(reply));
    this.child.on('exit', () => this.fell('has ended', true));
  }

  private fork(): ChildProcess {
    const { entry, execArgv = [], env = {}, execPath } = this.options;
    if (!existsSync(entry)) throw this.notBegun(`there is no ${path.basename(entry)}`);
    let child: ChildProcess;
    try {
      child = fork(entry, [], {
        serialization: 'advanced',
        execArgv: [...execArgv],
        env: { ...process.env, ...env },
        // Libraries print what helps nobody.
        stdio: ['ignore', 'ignore', 'ignore', 'ipc'],
        ...(execPath === undefined ? {} : { execPath }),
      });
    } catch (cause) {
      throw this.notBegun(cause);
    }
    child.on('error', (error) => this.fell(error.message, true));
    if (child.pid === undefined) throw this.notBegun('the system starts no process');
    return child;
  }

  private notBegun(cause: unknown): ProcessFell {
    const words = cause instanceof Error ? cause.message : String(cause);
    return new ProcessFell(`${this.options.name} cannot be begun: ${words}.`, false);
  }

  ask(question: Asked): Promise<Answers[keyof Answers]> {
    this.asked += 1;
    const id = this.asked;
    this.noLongerIdle();
    return new Promise((resolve, reject) => {
      const late = setTimeout(() => this.end('took too long, and was ended'), this.options.deadlineMs);
      late.unref();
      this.waiting.set(id, { resolve, reject, late });
      this.child.send({ ...question, id }, (error) => {
        if (error !== null) this.fell(error.message, true);
      });
    });
  }

  endAfterAnswers(): void {
    this.isLeaving = true;
    if (this.waiting.size === 0) void this.end();
  }

  /** @param how the process ended, in words for those who wait for an answer */
  async end(how = 'was ended'): Promise<void> {
    const { child } = this;
    this.fell(how);
    if (child.exitCode !== null || child.signalCode !== null || child.pid === undefined) return;
    const gone = new Promise((resolve) => child.once('exit', resolve));
    // Somebody who waits for this must be kept from ending first.
    child.ref();
    child.kill('SIGKILL');
    await gone;
  }

  private answered(reply: SideReply<Answers>): void {
    const waiting = this.waiting.get(reply.id);
    this.waiting.delete(reply.id);
    if (this.waiting.size === 0) this.nowIdle();
    if (waiting === undefined) return;
    clearTimeout(waiting.late);
    if ('error' in reply) waiting.reject(new Error(reply.error));
    else waiting.resolve(reply.answer);
  }

  private noLongerIdle(): void {
    if (this.idle !== null) clearTimeout(this.idle);
    this.idle = null;
    this.child.ref();
    this.child.channel?.ref();
  }

  /** An idle process keeps no program from ending, and ends with it. */
  private nowIdle(): void {
    this.child.unref();
    this.child.channel?.unref();
    if (this.isLeaving) {
      void this.end();
      return;
    }
    if (this.idle !== null) clearTimeout(this.idle);
    this.idle = setTimeout(() => void this.end(), this.options.idleMs);
    this.idle.unref();
  }

  /** @param isFall whether nobody has ended it */
  private fell(how: string, isFall = false): void {
    if (this.isOver) return;
    this.isOver = true;
    if (this.idle !== null) clearTimeout(this.idle);
    const waiting = [...this.waiting.values()];
    this.waiting.clear();
    this.ended(this, isFall);
    const error = new ProcessFell(`${this.options.name} ${how}.`);
    for (const { reject, late } of waiting) {
      clearTimeout(late);
      reject(error);
    }
  }
}

/**
 * Less right to the processor than what fires; a program that has little right itself passes that on. EVENRUNG_GIVE_WAY=no leaves it
 * as it is: on a machine that is busy with many tests, nothing would ever be judged.
 */
function giveWay({ pid }: ChildProcess): void {
  if (pid === undefined || process.env.EVENRUNG_GIVE_WAY === 'no') return;
  try {
    os.setPriority(pid, Math.max(os.getPriority(), os.constants.priority.PRIORITY_BELOW_NORMAL));
  } catch {
    // It has ended already, or the system does not allow it: it is as quick as others then, and does the same.
  }
}
