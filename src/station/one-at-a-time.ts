// Only one set, one series of sets or one errand has the body at a time. This file knows which, who began it,
// and how to stop it, but not what it does with the body.
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import type { Sequence } from '../series/index.js';
import { type Run, THIS_COMPUTER } from '../set/index.js';

/** What is being fired. */
export type Fired =
  | { readonly is: 'set'; readonly run: Run }
  | { readonly is: 'series'; readonly sequence: Sequence };

type Now =
  | { readonly is: 'nothing' }
  /** Its settings are read, its clock is set, or it is learnt. */
  | { readonly is: 'errand'; readonly done: Promise<void> }
  /** Something was asked for, and its folder is not made yet. */
  | { readonly is: 'beginning'; readonly by: string; readonly done: Promise<void> }
  | (Fired & { readonly by: string; readonly done: Promise<void> });

const NOTHING: Now = { is: 'nothing' };

export class OneAtATime {
  private readonly log: (line: string) => void;
  private now: Now = NOTHING;
  private closed = false;

  constructor(log: (line: string) => void) {
    this.log = log;
  }

  /** Whether the program is ending, so that nothing can be begun any more. */
  get isEnding(): boolean {
    return this.closed;
  }

  /** Whether a set or a series is under way. */
  get isFiring(): boolean {
    return this.fired !== null;
  }

  /** Whether a series is under way. */
  get isInSeries(): boolean {
    return this.now.is === 'series' && !this.now.sequence.isOver;
  }

  /** @throws EvenrungError run-under-way, ending */
  mustBeFree(): void {
    const { now } = this;
    if (now.is === 'errand') throw inUse();
    if (now.is !== 'nothing') throw firedBy(now.by);
    this.mustNotBeEnding();
  }

  /** @throws EvenrungError ending */
  mustNotBeEnding(): void {
    if (this.closed) throw new EvenrungError('ending', 'Evenrung is ending.');
  }

  /** @throws EvenrungError run-under-way, ending, and whatever the work throws */
  async errand<T>(work: () => Promise<T>): Promise<T> {
    this.mustBeFree();
    const { done, settle } = settled();
    return this.until({ is: 'errand', done }, work, settle);
  }

  /**
   * Keeps everything else out until the work fails or something is fired.
   * @param by who asks for it
   * @throws EvenrungError whatever the work throws
   */
  async begin<T>(by: string, work: () => Promise<T>): Promise<T> {
    const { done, settle } = settled();
    return this.until({ is: 'beginning', by, done }, work, settle);
  }

  private async until<T>(now: Now, work: () => Promise<T>, settle: () => void): Promise<T> {
    this.now = now;
    try {
      return await work();
    } finally {
      if (this.now === now) this.now = NOTHING;
      settle();
    }
  }

  /** Returns at once. The set or series counts as under way until the work is done. */
  fire(by: string, fired: Fired, work: () => Promise<void>): void {
    const { done, settle } = settled();
    const now: Now = { ...fired, by, done };
    this.now = now;
    void work()
      .catch((cause: unknown) => this.log(`The set ended with a defect: ${asEvenrungError(cause).message}`))
      .finally(() => {
        if (this.now === now) this.now = NOTHING;
        settle();
      });
  }

  /** @throws EvenrungError nothing-to-stop */
  stop(): void {
    if (this.fired === null) throw new EvenrungError('nothing-to-stop', 'Nothing is being fired.');
    this.fired.stop();
  }

  /** @throws EvenrungError nothing-to-hold */
  hold(): void {
    if (this.mustFire().hold()) return;
    throw new EvenrungError('nothing-to-hold', 'The set is ending already: nothing more is fired.');
  }

  /** @throws EvenrungError nothing-to-hold */
  letGo(): void {
    this.mustFire().letGo();
  }

  private get fired(): Run | Sequence | null {
    const { now } = this;
    if (now.is === 'set') return now.run;
    return now.is === 'series' ? now.sequence : null;
  }

  private mustFire(): Run | Sequence {
    if (this.fired !== null) return this.fired;
    throw new EvenrungError('nothing-to-hold', 'Nothing is being fired.');
  }

  /** Waits until a request that is being handled is fired or refused. */
  async begun(): Promise<void> {
    if (this.now.is === 'beginning') await this.now.done;
  }

  /** Waits for the end of the run under way. */
  async settled(): Promise<void> {
    const { now } = this;
    if (now.is === 'set' || now.is === 'series') await now.done;
  }

  /** Stops what is under way, and waits for its end. Nothing can be begun afterwards. Never throws. */
  async end(): Promise<void> {
    this.closed = true;
    await this.begun();
    this.fired?.stop();
    const { now } = this;
    if (now.is !== 'nothing') await now.done;
  }
}

function settled(): { done: Promise<void>; settle: () => void } {
  let settle = () => {};
  const done = new Promise<void>((resolve) => {
    settle = resolve;
  });
  return { done, settle };
}

const inUse = () => new EvenrungError('run-under-way', 'The camera is in use: wait a moment.');

const firedBy = (by: string) =>
  new EvenrungError(
    'run-under-way',
    `A set is already being shot, started from ${by === THIS_COMPUTER ? by : `"${by}"`}. Wait for its end, or stop it.`,
    { startedBy: by },
  );
