// The worker of this room as it is seen from outside: begun when something is asked, ended when nothing has been asked for a while, so that its
// memory is given back, and begun anew after it fell. Whoever asks is told by `epoch` whether the worker still knows what it was told.
import { fileURLToPath } from 'node:url';
import { Worker } from 'node:worker_threads';
import type { Answer, Answers, Asked } from './protocol.js';

const ENTRY = fileURLToPath(new URL('./light-worker.js', import.meta.url));
const IDLE_MS = 20_000;
/** Of its heap, in MiB; pixels lie outside. */
const HEAP_MIB = 256;

export interface ThreadOptions {
  /** The compiled entry of the worker, where it is not beside this module. */
  readonly entry?: string | undefined;
  /** Milliseconds without a question after which it is ended. */
  readonly idleMs?: number | undefined;
}

interface Waiting {
  readonly resolve: (answer: Answers[keyof Answers]) => void;
  readonly reject: (error: Error) => void;
}

export class LightThread {
  /** Grows with each worker that is begun. */
  epoch = 0;
  private readonly entry: string;
  private readonly idleMs: number;
  private worker: Worker | null = null;
  private beginning: Promise<Worker> | null = null;
  private idle: NodeJS.Timeout | null = null;
  private asked = 0;
  private readonly waiting = new Map<number, Waiting>();

  constructor({ entry = ENTRY, idleMs = IDLE_MS }: ThreadOptions = {}) {
    this.entry = entry;
    this.idleMs = idleMs;
  }

  get isRunning(): boolean {
    return this.worker !== null;
  }

  /** @throws Error if the worker fell, or could not do it */
  async ask<Ask extends Asked>(question: Ask): Promise<Answers[Ask['ask']]> {
    const worker = await this.begun();
    this.asked += 1;
    const id = this.asked;
    const answer = new Promise<Answers[keyof Answers]>((resolve, reject) => {
      this.waiting.set(id, { resolve, reject });
    });
    this.noLongerIdle(worker);
    worker.postMessage({ ...question, id });
    return (await answer) as Answers[Ask['ask']];
  }

  /** Begins the worker if there is none, so that `epoch` is that of the next question. */
  async begun(): Promise<Worker> {
    if (this.worker !== null) return this.worker;
    this.beginning ??= this.begin();
    return this.beginning;
  }

  private async begin(): Promise<Worker> {
    // Its native part has to be loaded before the worker loads it, and stays when the worker ends.
    await import('sharp');
    const worker = new Worker(this.entry, {
      name: 'evenrung-light',
      resourceLimits: { maxOldGenerationSizeMb: HEAP_MIB },
      // The library prints what helps nobody.
      stderr: true,
    });
    worker.stderr.resume();
    worker.on('message', (reply: Answer) => this.answered(worker, reply));
    worker.on('error', (error) => this.ended(worker, error));
    worker.on('exit', () => this.ended(worker, new Error('The worker that looks at pictures has ended.')));
    this.worker = worker;
    this.beginning = null;
    this.epoch += 1;
    return worker;
  }

  private answered(worker: Worker, reply: Answer): void {
    const waiting = this.waiting.get(reply.id);
    this.waiting.delete(reply.id);
    if (this.waiting.size === 0) this.nowIdle(worker);
    if ('error' in reply) waiting?.reject(new Error(reply.error));
    else waiting?.resolve(reply.answer);
  }

  private noLongerIdle(worker: Worker): void {
    if (this.idle !== null) clearTimeout(this.idle);
    this.idle = null;
    worker.ref();
  }

  /** An idle worker keeps no program from ending. */
  private nowIdle(worker: Worker): void {
    worker.unref();
    if (this.idle !== null) clearTimeout(this.idle);
    this.idle = setTimeout(() => void this.end(), this.idleMs);
    this.idle.unref();
  }

  private ended(worker: Worker, error: Error): void {
    if (this.worker !== worker) return;
    this.worker = null;
    if (this.idle !== null) clearTimeout(this.idle);
    const waiting = [...this.waiting.values()];
    this.waiting.clear();
    for (const { reject } of waiting) reject(error);
  }

  /** Ends the worker; the next question begins another. */
  async end(): Promise<void> {
    const { worker } = this;
    if (worker === null) return;
    this.ended(worker, new Error('The worker that looks at pictures was ended.'));
    await worker.terminate();
  }
}
