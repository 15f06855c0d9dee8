// One set fired with the body in hand: its run made, carried out, and its end kept. When it is fired, and what for, it does not know.
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
  /** Judges the pictures of a set by their light; left out, nobody does. */
  readonly openJudge?: (() => Judge) | undefined;
}

/** What differs from run to run. */
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
  /** The one before it, and none beyond: a run keeps the small copies of its frames. */
  private before: Run | undefined;
  /** By the id of its set, what is still written of it after its end. */
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
      // A picture of the set before may wait in the body.
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

  /** Fires a set that is a run by itself, and comes back at once. @param by who asked for it */
  begin(by: string, run: Run, body: Body): void {
    this.options.one.fire(by, { is: 'set', run }, async () => {
      const ended = await whileAwake('A bracketed set is being made.', run, () => this.fire(run, body));
      this.endInJournal(run.id, ended);
    });
  }

  /** Fires a set. Never rejects but for defects. */
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

  /** The next set does not wait for what the pictures of this one can become. */
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

  /** Waits for what is still written of sets that have ended: of one, or of all. */
  async proved(set?: string): Promise<void> {
    const proofs = set === undefined ? [...this.proofs.values()] : [this.proofs.get(set)];
    await Promise.all(proofs);
  }

  /** Belongs into a record, and the run that owed it may have left none. */
  private notePaid(run: Run): void {
    const { bodies } = this.options;
    if (bodies.paidBack !== null) run.noteBefore(bodies.paidBack);
    // Whoever only ends a run that was cut off tells it in the next record, too.
    if (!run.isStopping) bodies.paidIsKept();
  }

  /** Where it cannot be written before this program ends, the run is found unfinished at the next start. */
  endInJournal(id: string, { state, sentence, error }: Pick<EndedSet, 'state' | 'sentence' | 'error'>): void {
    const { journal, log } = this.options;
    const refused = journal?.keepOrLater(() => endRun(journal, id, { state, sentence, error }));
    if (refused) log(`The end of the run is not kept yet: ${refused.message}`);
  }
}

/** A set by itself is on no schedule. */
export function forgetSchedule(events: EventLog): void {
  if (events.state.schedule !== null) events.tell({ type: 'schedule', schedule: null });
}

/** A run that was begun, or gone on with. */
export interface BegunRun {
  readonly id: string;
  /** How it went wrong, once it did. */
  readonly error: EvenrungError | null;
}
