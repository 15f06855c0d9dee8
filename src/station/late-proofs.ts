// Proofs of sets that ended without one, because the program or the computer went down, or the disk was full:
// made in the background while nothing is fired, one after another, the newest set first. As soon as something
// is to be fired, the work gives way, and starts again later.
import { asEvenrungError } from '../../shared/errors.js';
import type { Journal } from '../journal/index.js';
import type { Judge } from '../light/index.js';
import { lacksProof, proveLate } from '../set/index.js';
import { inTurn } from '../system/index.js';
import type { EventLog } from './event-log.js';
import type { Idle } from './idle.js';
import { turnOf } from './relabel.js';

export interface LateProofsOptions {
  readonly journal: Journal | undefined;
  /** If it is left out, no picture is judged, and no proof is made. */
  readonly openJudge: (() => Judge) | undefined;
  readonly events: EventLog;
  readonly idle: Idle;
  /** Waits for the proofs of the sets that have just ended: they come first. */
  readonly ownProofs: () => Promise<void>;
  /** Waits until what a killed program left half written is swept up. */
  readonly swept: () => Promise<void>;
  readonly log: (line: string) => void;
}

/** How many sets are looked at, the newest first. */
const SETS_LOOKED_AT = 20;
/** How often a proof may give way, as in the short gaps of a schedule, before it is left to the next program. */
const TRIES = 5;

export class LateProofs {
  private readonly options: LateProofsOptions;
  private readonly ending = new AbortController();
  private all: Promise<void> = Promise.resolve();
  private inHand: { readonly set: string; readonly over: Promise<void> } | null = null;
  /** Sets that were taken up again meanwhile: their proof comes with their new end. */
  private readonly withdrawn = new Map<string, AbortController>();

  constructor(options: LateProofsOptions) {
    this.options = options;
  }

  /**
   * Makes the missing proofs. Never rejects.
   * @param most how many, at most; if it is left out, all
   * @returns once that is done
   */
  make(most = Number.POSITIVE_INFINITY): Promise<void> {
    this.all = this.all.then(() => this.makeAll(most)).catch((cause: unknown) => this.notMade(cause));
    return this.all;
  }

  /** @returns how many proofs are missing and can be made @throws EvenrungError storing-failed */
  async missing(): Promise<number> {
    return (await this.owed()).length;
  }

  /** A set is taken up again. Waits until nothing is being written into its folder. Never rejects. */
  async withdraw(set: string): Promise<void> {
    this.withdrawnBy(set).abort();
    if (this.inHand?.set === set) await this.inHand.over;
  }

  /** Begins nothing more, and waits for the proof that is being written. Never rejects. */
  async end(): Promise<void> {
    this.ending.abort();
    this.options.idle.end();
    await this.all;
  }

  private async owed(): Promise<string[]> {
    const { journal, openJudge } = this.options;
    if (journal === undefined || openJudge === undefined) return [];
    const owed: string[] = [];
    for (const { id } of journal.sets({ limit: SETS_LOOKED_AT }))
      if (await lacksProof(journal, id)) owed.push(id);
    return owed;
  }

  private async makeAll(most: number): Promise<void> {
    await this.options.swept();
    let made = 0;
    for (const set of await this.owed()) {
      for (let tries = 0; tries < TRIES && made < most; tries += 1) {
        const outcome = await this.makeWhileIdle(set);
        if (outcome === 'made') made += 1;
        if (outcome !== 'gave way') break;
      }
    }
  }

  private async makeWhileIdle(set: string): Promise<'made' | 'not made' | 'gave way'> {
    const { idle, ownProofs } = this.options;
    let busy = await idle.idle();
    // A set that was fired meanwhile comes first with its own proof.
    for (await ownProofs(); busy.aborted && !this.ending.signal.aborted; await ownProofs())
      busy = await idle.idle();
    const withdrawn = this.withdrawnBy(set).signal;
    const signal = AbortSignal.any([busy, withdrawn, this.ending.signal]);
    if (signal.aborted) return busy.aborted ? 'gave way' : 'not made';
    const made = this.makeOne(set, signal);
    const over = made.then(() => undefined);
    this.inHand = { set, over };
    const isMade = await made;
    this.inHand = null;
    if (isMade) return 'made';
    return busy.aborted && !withdrawn.aborted && !this.ending.signal.aborted ? 'gave way' : 'not made';
  }

  private async makeOne(set: string, signal: AbortSignal): Promise<boolean> {
    const { journal, openJudge, events } = this.options;
    if (journal === undefined || openJudge === undefined) return false;
    try {
      const isMade = await proveLate(set, {
        ...{ journal, openJudge, signal },
        inTurn: (work) => inTurn(turnOf(journal, set), work),
        tell: (run, id, light) => events.tell({ type: 'light', run, set: id, light }),
      });
      const { folder = null } = journal.set(set) ?? {};
      if (isMade) this.options.log(`The proof that the set in ${folder} lacked is written.`);
      return isMade;
    } catch (cause) {
      this.notMade(cause);
      return false;
    }
  }

  private withdrawnBy(set: string): AbortController {
    const known = this.withdrawn.get(set) ?? new AbortController();
    this.withdrawn.set(set, known);
    return known;
  }

  private notMade(cause: unknown): void {
    this.options.log(`A proof that a set lacks could not be written: ${asEvenrungError(cause).message}`);
  }
}
