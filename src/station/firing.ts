// Fires one set with the body that the daemon holds: makes its run, carries it out, and writes its end to the
// journal. When and for what the set is fired is decided elsewhere.
import type { EvenrungError } from '../../shared/errors.js';
import type { BodyInHand, BodyReport } from '../bodies/index.js';
import type { Body } from '../camera/index.js';
import { type Naming, readyForPictures } from '../frames/index.js';
import type { Journal } from '../journal/index.js';
import type { Judge } from '../light/index.js';
import type { EndedSet } from '../series/index.js';
import { keeperOf, lastCame, Run, type RunOptions } from '../set/index.js';
import { inTurn } from '../system/index.js';
import { endRun } from './again/kept.js';
import type { Alarm } from './alarm.js';
import type { EventLog } from './event-log.js';
import type { Idle } from './idle.js';
import type { OneAtATime } from './one-at-a-time.js';
import { turnOf } from './relabel.js';
import { whileAwake } from './while-awake.js';

export interface FiringOptions {
  readonly one: Pick<OneAtATime, 'fire'>;
  readonly idle: Pick<Idle, 'during'>;
  readonly bodies: Pick<BodyInHand, 'paidBack' | 'paidIsKept' | 'backAgain'>;
  readonly report: Pick<BodyReport, 'readinessAsked' | 'stockOf'>;
  readonly events: EventLog;
  readonly journal: Journal | undefined;
  readonly naming?: Naming | undefined;
  /** As RunOptions.patienceMs. */
  readonly patienceMs?: number | undefined;
  /** Calls for somebody when a set halts. */
  readonly alarm?: Pick<Alarm, 'raise'> | undefined;
  readonly log: (line: string) => void;
  /** Opens a judge that looks at the light of a set's pictures. If it is left out, nothing judges them. */
  readonly openJudge?: (() => Judge) | undefined;
}

/** The options that differ from run to run. */
export type MadeRun = Pick<
  RunOptions,
  | 'id'
  | 'set'
  | 'plan'
  | 'body'
  | 'folder'
  | 'begun'
  | 'iso'
  | 'baseShifts'
  | 'beginsAt'
  | 'extend'
  | 'limits'
  | 'conditions'
> & { readonly startedBy: string };

export class Firing {
  private readonly options: FiringOptions;
  private last: Run | undefined;
  /** The run before the last one. No more are kept, since a run holds the small copies of its frames. */
  private before: Run | undefined;
  /** By the id of a set: what is still being written of it after its end. */
  private readonly proofs = new Map<string, Promise<void>>();

  constructor(options: FiringOptions) {
    this.options = options;
  }

  /** The run of the set that is under way, or of the last one. */
  get run(): Run | undefined {
    return this.last;
  }

  /** Whether pictures are judged by their light. */
  get isJudging(): boolean {
    return this.options.openJudge !== undefined;
  }

  makeRun(made: MadeRun): Run {
    const { events, patienceMs, journal, naming, report, openJudge } = this.options;
    return new Run({
      ...made,
      // A picture of the set before may still wait in the body.
      cameBefore: async () =>
        this.before?.cameFrom(made.body) ??
        (journal === undefined ? null : lastCame(journal, made.body.identity)),
      naming,
      asked: () => report.readinessAsked(),
      tell: (happening) => {
        // The next set of the run has frames of the same numbers: marks that come after the end of this one are not theirs.
        if (happening.type !== 'frame' || events.state.run?.set.id === made.set.id) events.tell(happening);
      },
      patienceMs,
      openJudge,
      keeper: journal === undefined ? undefined : keeperOf(journal, made.set.id),
    });
  }

  /**
   * Fires a set that is a run by itself, and returns at once.
   * @param by who asked for it
   */
  begin(by: string, run: Run, body: Body): void {
    this.options.one.fire(by, { is: 'set', run }, async () => {
      const ended = await whileAwake('A bracketed set is being shot.', run, () => this.fire(run, body));
      this.endInJournal(run.id, ended);
    });
  }

  /** Fires a set. Rejects only for defects. */
  fire(run: Run, body: Body): Promise<EndedSet> {
    return this.options.idle.during(() => this.fireNow(run, body));
  }

  private async fireNow(run: Run, body: Body): Promise<EndedSet> {
    const { bodies, report, alarm } = this.options;
    this.before = this.last;
    this.last = run;
    this.notePaid(run);
    void readyForPictures();
    const { error, folder, frames, ...ended } = await run.carryOut();
    const { state, sentence, verified } = ended;
    const code = error?.code ?? null;
    if (state === 'halted')
      alarm?.raise({ run: run.id, state, error: code, sentence, folder, verified, frames });
    report.stockOf(body.identity).setMade(run.fileBytes, run.released);
    this.prove(run);
    await bodies.backAgain(body, error);
    return { ...ended, error: code };
  }

  /** The proof is written meanwhile: the next set does not wait for it. */
  private prove(run: Run): void {
    const { journal } = this.options;
    const { id } = run.view.set;
    const inFolder = (work: () => Promise<void>) =>
      journal === undefined ? work() : inTurn(turnOf(journal, id), work);
    const proof = run.prove(inFolder).finally(() => {
      if (this.proofs.get(id) === proof) this.proofs.delete(id);
    });
    this.proofs.set(id, proof);
  }

  /** Waits for what is still being written of sets that have ended: of one, or of all. */
  async proved(set?: string): Promise<void> {
    const proofs = set === undefined ? [...this.proofs.values()] : [this.proofs.get(set)];
    await Promise.all(proofs);
  }

  /** That settings from an earlier run were put back belongs in a record, and that run may have left none. */
  private notePaid(run: Run): void {
    const { bodies } = this.options;
    if (bodies.paidBack !== null) run.noteBefore(bodies.paidBack);
    // A run that only ends one which was cut off does not count: the next record says it, too.
    if (!run.isStopping) bodies.paidIsKept();
  }

  /** If the end cannot be written before this program ends, the next start finds the run unfinished. */
  endInJournal(id: string, { state, sentence, error }: Pick<EndedSet, 'state' | 'sentence' | 'error'>): void {
    const { journal, log } = this.options;
    const refused = journal?.keepOrLater(() => endRun(journal, id, { state, sentence, error }));
    if (refused) log(`The end of the set is not written down yet: ${refused.message}`);
  }
}

/** A set that is a run by itself is on no schedule. */
export function forgetSchedule(events: EventLog): void {
  if (events.state.schedule !== null) events.tell({ type: 'schedule', schedule: null });
}

/** A run that was begun or resumed. */
export interface BegunRun {
  readonly id: string;
  /** Why the run went wrong; null as long as it has not. */
  readonly error: EvenrungError | null;
}
