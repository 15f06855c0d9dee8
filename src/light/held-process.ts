// The process that looks at pictures as it is seen from outside: begun when something is asked, ended when nothing has been asked for a while, so that
// its memory is given back, and begun anew after it fell. Whoever asks is told by `epoch` whether it still knows what it was told.
import { type ChildProcess, fork } from 'node:child_process';
import os from 'node:os';
import { fileURLToPath } from 'node:url';
import type { Answer, Answers, Asked } from './protocol.js';

const ENTRY = fileURLToPath(new URL('./light-process.js', import.meta.url));
const IDLE_MS = 20_000;
/** A picture takes a second; a machine that is busy with other things, or several that wait, take longer. */
const DEADLINE_MS = 300_000;
/** Its heap, and the part of it for what is new, in MiB: pixels lie outside. */
const HEAP = ['--max-old-space-size=256', '--max-semi-space-size=2', '--expose-gc'];
/** Buffers from this size on are given back to the system as soon as they are let go of, and smaller ones share one place (mallopt(3), glibc). */
const MEMORY = { MALLOC_MMAP_THRESHOLD_: String(64 * 1024), MALLOC_ARENA_MAX: '1' };

export interface ProcessOptions {
  /** The compiled entry of the process, where it is not beside this module. */
  readonly entry?: string | undefined;
  /** Milliseconds without a question after which it is ended. */
  readonly idleMs?: number | undefined;
}

interface Waiting {
  readonly resolve: (answer: Answers[keyof Answers]) => void;
  readonly reject: (error: Error) => void;
}

export class HeldProcess {
  /** Grows with each process that is begun. */
  epoch = 0;
  private readonly entry: string;
  private readonly idleMs: number;
  private child: ChildProcess | null = null;
  private idle: NodeJS.Timeout | null = null;
  private asked = 0;
  private readonly waiting = new Map<number, Waiting>();

  constructor({ entry = ENTRY, idleMs = IDLE_MS }: ProcessOptions = {}) {
    this.entry = entry;
    this.idleMs = idleMs;
  }

  get isRunning(): boolean {
    return this.child !== null;
  }

  get pid(): number | undefined {
    return this.child?.pid;
  }

  /** @throws Error if the process fell, or could not do it */
  ask<Ask extends Asked>(question: Ask): Promise<Answers[Ask['ask']]> {
    const child = this.begun();
    this.asked += 1;
    const id = this.asked;
    const answer = new Promise<Answers[keyof Answers]>((resolve, reject) => {
      this.waiting.set(id, { resolve, reject });
    });
    this.noLongerIdle(child);
    const late = setTimeout(() => this.tooLate(child), DEADLINE_MS);
    late.unref();
    const done = () => clearTimeout(late);
    answer.then(done, done);
    child.send({ ...question, id }, (error) => {
      if (error !== null) this.ended(child, error);
    });
    return answer as Promise<Answers[Ask['ask']]>;
  }

  /** A decoder that hangs answers nobody. */
  private tooLate(child: ChildProcess): void {
    this.ended(child, new Error('The process that looks at pictures took too long, and was ended.'));
    child.kill('SIGKILL');
  }

  /** Begins the process if there is none, so that `epoch` is that of the next question. */
  begun(): ChildProcess {
    return this.child ?? this.begin();
  }

  private begin(): ChildProcess {
    const child = fork(this.entry, [], {
      serialization: 'advanced',
      execArgv: HEAP,
      env: { ...process.env, ...MEMORY },
      // The library prints what helps nobody.
      stdio: ['ignore', 'ignore', 'ignore', 'ipc'],
    });
    giveWay(child);
    child.on('message', (reply: Answer) => this.answered(child, reply));
    child.on('error', (error) => this.ended(child, error));
    child.on('exit', () => this.ended(child, new Error('The process that looks at pictures has ended.')));
    this.child = child;
    this.epoch += 1;
    return child;
  }

  private answered(child: ChildProcess, reply: Answer): void {
    const waiting = this.waiting.get(reply.id);
    this.waiting.delete(reply.id);
    if (this.waiting.size === 0) this.nowIdle(child);
    if ('error' in reply) waiting?.reject(new Error(reply.error));
    else waiting?.resolve(reply.answer);
  }

  private noLongerIdle(child: ChildProcess): void {
    if (this.idle !== null) clearTimeout(this.idle);
    this.idle = null;
    child.ref();
    child.channel?.ref();
  }

  /** An idle process keeps no program from ending, and ends with it. */
  private nowIdle(child: ChildProcess): void {
    child.unref();
    child.channel?.unref();
    if (this.idle !== null) clearTimeout(this.idle);
    this.idle = setTimeout(() => void this.end(), this.idleMs);
    this.idle.unref();
  }

  private ended(child: ChildProcess, error: Error): void {
    if (this.child !== child) return;
    this.child = null;
    if (this.idle !== null) clearTimeout(this.idle);
    const waiting = [...this.waiting.values()];
    this.waiting.clear();
    for (const { reject } of waiting) reject(error);
  }

  /** Ends the process; the next question begins another. It has nothing to put in order. */
  async end(): Promise<void> {
    const { child } = this;
    if (child === null) return;
    this.ended(child, new Error('The process that looks at pictures was ended.'));
    if (child.exitCode !== null || child.signalCode !== null || child.pid === undefined) return;
    const gone = new Promise((resolve) => child.once('exit', resolve));
    child.kill('SIGKILL');
    await gone;
  }
}

/** Less right to the processor than what fires; whoever asks with little right himself passes that on. */
function giveWay({ pid }: ChildProcess): void {
  if (pid === undefined) return;
  try {
    os.setPriority(pid, Math.max(os.getPriority(), os.constants.priority.PRIORITY_BELOW_NORMAL));
  } catch {
    // It has ended already, or the system does not allow it: it is as quick as others then, and does the same.
  }
}
