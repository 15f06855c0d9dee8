// Patience with a body: a call is tried again while the link fails, as long as there is patience; and a body
// that was away is checked before anything else is done with it. It knows neither frames nor plans.
import { asEvenrungError, type EvenrungError } from '../../shared/errors.js';
import type { Trouble } from '../../shared/state.js';
import { LINK_FAILURES } from '../camera/index.js';

/** How long a run waits for a body that is gone or busy, before it halts. */
const PATIENCE_MS = 60_000;
/** Somebody who stops a run does not want to wait as long. */
const PATIENCE_STOPPING_MS = 10_000;
/** A single call may use up all the patience: even then it is tried again. */
const FEWEST_TRIES = 3;
/** A body that is there and refuses something will not change its mind for quite a while. */
const PATIENCE_REFUSED_MS = 3000;
const RECONNECT_PAUSE_MS = 250;
/** The body is there, and cannot be used at the moment. */
const WAITING: ReadonlySet<string> = new Set([
  'body-busy',
  'setting-not-taken',
  'choice-not-offered',
  'unknown-setting',
  'not-put-back',
]);

export interface SteadyOptions {
  /** A minute if it is left out. */
  readonly patienceMs: number | undefined;
  readonly isStopping: () => boolean;
  /** Whether settings are being put back: that is worth waiting for, even for somebody who stops the run. */
  readonly isPuttingBack: () => boolean;
  /** Sets a body right that was away: somebody may have turned its dials. */
  readonly checkBody: () => Promise<void>;
  readonly tell: (trouble: Trouble | null) => void;
}

export class Steady {
  /** What keeps the run from continuing at the moment; null if nothing does. */
  trouble: Trouble | null = null;
  private readonly options: SteadyOptions;
  /** Why the link failed last, until the body was checked after it. */
  private away: EvenrungError | null = null;

  constructor(options: SteadyOptions) {
    this.options = options;
  }

  /** Whether the body was busy when it was used last. */
  get wasBusy(): boolean {
    return this.away?.code === 'body-busy';
  }

  /** Milliseconds that are waited for a body that is gone or busy. */
  get patienceMs(): number {
    const { patienceMs = PATIENCE_MS, isStopping } = this.options;
    return isStopping() ? Math.min(patienceMs, PATIENCE_STOPPING_MS) : patienceMs;
  }

  /** Something failed outside of `use`: the body is checked before it is used again. */
  failed(error: EvenrungError): void {
    this.away = error;
  }

  /** Before something is tried once more. */
  pause(): Promise<void> {
    return new Promise((resolve) => setTimeout(resolve, RECONNECT_PAUSE_MS));
  }

  /**
   * Does something on the body. After a lost connection it is tried again, since the next call starts the
   * camera process anew.
   * @param also other failures after which trying again makes sense
   */
  async use<T>(work: () => Promise<T>, also: ReadonlySet<string> = new Set()): Promise<T> {
    const { isStopping, isPuttingBack } = this.options;
    const since = performance.now();
    for (let tries = 1; ; tries += 1) {
      try {
        if (this.away !== null) await this.comeBack(this.away);
        const value = await work();
        this.tell(null);
        return value;
      } catch (cause) {
        const error = asEvenrungError(cause);
        if (!LINK_FAILURES.has(error.code) && !also.has(error.code)) throw cause;
        const isOver = performance.now() - since > this.patienceWith(error) && tries >= FEWEST_TRIES;
        if (isOver || (isStopping() && !isPuttingBack())) throw cause;
        this.away = error;
        await this.pause();
      }
    }
  }

  private async comeBack(why: EvenrungError): Promise<void> {
    // A single frame that has to be made up is no trouble with the body.
    if (why.code !== 'frame-missing')
      this.tell({
        doing: WAITING.has(why.code) ? 'waiting' : 'reconnecting',
        code: why.code,
        sentence: why.message,
        next: this.whatComes(this.patienceWith(why)),
      });
    await this.options.checkBody();
    this.away = null;
  }

  /** Milliseconds. Settings that are not put back are worth as long a wait as a body that is gone. */
  private patienceWith({ code }: EvenrungError): number {
    const isRefused = !LINK_FAILURES.has(code) && !this.options.isPuttingBack();
    return isRefused ? Math.min(PATIENCE_REFUSED_MS, this.patienceMs) : this.patienceMs;
  }

  private whatComes(patienceMs: number): string {
    const tries = `Evenrung tries again for ${Math.round(patienceMs / 1000)} s.`;
    return this.options.isPuttingBack()
      ? `${tries} If that fails, the camera's settings are put back when it is next connected.`
      : `${tries} If that fails, the set ends; verified frames are kept.`;
  }

  private tell(trouble: Trouble | null): void {
    if (trouble?.code === this.trouble?.code && trouble?.sentence === this.trouble?.sentence) return;
    this.trouble = trouble;
    this.options.tell(trouble);
  }
}
