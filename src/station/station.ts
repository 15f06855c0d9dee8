// The one place that owns a body: finds it, says whether it is ready, plans for it, and lets one run or one learning at a time
// have it. Used by the server and by commands alike.
import { randomUUID } from 'node:crypto';
import { mkdtemp, rm, statfs } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { isDeepStrictEqual } from 'node:util';
import { z } from 'zod';
import type { Asked } from '../../shared/asked.js';
import { asEvenrungError, type ErrorCode, EvenrungError } from '../../shared/errors.js';
import { LINE_SETS } from '../../shared/fold.js';
import type { Again, Relabel } from '../../shared/kept.js';
import type { BodyProfile } from '../../shared/profile.js';
import type { ReadinessCode } from '../../shared/readiness.js';
import { parseSetRequest, type SetRequest } from '../../shared/request.js';
import { type LightRequest, parseRunRequest, type RunRequest } from '../../shared/run-request.js';
import type { ScheduleRequest } from '../../shared/schedule.js';
import {
  attachedBodySchema,
  type ForeseenSchedule,
  type RunView,
  type Unfinished,
} from '../../shared/state.js';
import { Finder, type FinderOptions, type LearnOptions, learnBody } from '../bodies/index.js';
import { type Body, type BodyIdentity, LOST, type ReadinessAsked } from '../camera/index.js';
import { type BodyLimits, type Sixths, toEv } from '../exposure/index.js';
import { defaultNaming, exifTool, type Naming, SetFolder, warmUp } from '../frames/index.js';
import type { Journal, UnfinishedRun } from '../journal/index.js';
import { type Conditions, fromWirePlan, type Plan, planWritten } from '../plan/index.js';
import {
  type EndedSet,
  followerFor,
  foreseeSchedule,
  type Hands,
  isoSettings,
  SCHEDULED_OPTIONS_VERSION,
  type ScheduledMemo,
  type ScheduledOptions,
  ScheduledSets,
  Sequence,
  type SequenceOptions,
  type SetMaker,
  type Sleep,
  Stock,
  scheduledIn,
  scheduledMemoIn,
  zoneHere,
} from '../series/index.js';
import { keeperOf, Run, type RunOptions, type SetMemo, THIS_COMPUTER } from '../set/index.js';
import { type Clock, hourAndMinute, stayAwake, systemClock } from '../system/index.js';
import {
  abandon,
  type ChosenSet,
  chooseSet,
  endOfLast,
  endRun,
  isoToSet,
  isTakenUp,
  mustFit,
  mustStandAsThen,
  shiftsIn,
  shownTakenUp,
  takeUpAgain,
} from './again.js';
import type { Alarm, Halt } from './alarm.js';
import type { EventLog } from './event-log.js';
import { newestSets } from './kept-sets.js';
import { lastCame } from './last-came.js';
import { relabel } from './relabel.js';

export interface StationOptions extends FinderOptions {
  /** The folder that takes set folders. */
  readonly into: string;
  readonly events: EventLog;
  /** Serial number or model of the camera, where several may be attached. */
  readonly camera?: string | undefined;
  /** Narrows what the body offers to what was asked for. */
  readonly narrow?: (limits: BodyLimits) => BodyLimits;
  /** Milliseconds between looks for a camera that is not there; left out, nobody looks until told to. */
  readonly lookAgainMs?: number;
  /** Finds the body, where that is not to be done by a Finder with these options. */
  readonly finder?: Pick<Finder, 'find' | 'profiles'>;
  /** Keeps what runs do; whoever gives it owns the state folder. Left out, nothing is kept. */
  readonly journal?: Journal | undefined;
  /** As RunOptions.patienceMs. */
  readonly patienceMs?: number;
  /** How set folders and frames are called; by default as they are anywhere. */
  readonly naming?: Naming | undefined;
  /** Calls for somebody when a run ends early. */
  readonly alarm?: Pick<Alarm, 'raise'> | undefined;
  /** The clocks that schedules go by; the computer's where they are left out. */
  readonly clock?: Clock;
  readonly sleep?: Sleep;
}

/** What differs from run to run. */
type MadeRun = Pick<
  RunOptions,
  'id' | 'set' | 'plan' | 'body' | 'folder' | 'begun' | 'iso' | 'baseShifts' | 'beginsAt'
>;

/** Nobody waits for it: a busy computer may take its time. */
const AWAKE_WITHIN_MS = 5000;

/** How a run that was cut off is gone on with. */
export interface Resuming {
  readonly startedBy?: string;
  /** Where it was held, it stays so: nobody has said that it may fire. */
  readonly staysHeld?: boolean;
}

/** A run that was begun, or gone on with. */
export interface UnderWay {
  readonly id: string;
  /** How it went wrong, once it did. */
  readonly error: EvenrungError | null;
}

export interface Learnt {
  readonly profile: BodyProfile;
  readonly path: string;
  /** What could not be put back, in a sentence; null where the body is as it was found. */
  readonly trouble: string | null;
}

export class Station {
  private readonly options: StationOptions;
  private readonly finder: Pick<Finder, 'find' | 'profiles'>;
  private body: Body | undefined;
  /** What was said about the body when it was found. */
  private note: string | null = null;
  /** How large files came out since the program began, and how the battery fell. */
  private stock = new Stock();
  /** What was put back that an earlier run had owed, until it is in a record. */
  private paid: string | null = null;
  /** Serial number or model of the camera that was chosen. */
  private camera: string | null;
  /** What a person has ticked on the body that is there. */
  private readonly ticked = new Set<ReadinessCode>();
  /** What was asked for last: its readiness is judged for that. */
  private asked: Pick<ReadinessAsked, 'mode' | 'frames' | 'fileBytes'> = {
    mode: 'manual',
    frames: null,
    fileBytes: null,
  };
  private freeBytes: number | null = null;
  private looking: Promise<void> | undefined;
  private run: Run | undefined;
  /** Who began what is under way. */
  private startedBy = THIS_COMPUTER;
  /** The run on a schedule that is under way. */
  private sequence: Sequence | undefined;
  private running: Promise<void> | undefined;
  private trouble: EvenrungError | null = null;
  /** Set as soon as a run is asked for, before its folder is made, so that nothing else can come in between. */
  private starting: Promise<UnderWay> | undefined;
  private closed = false;
  private sweeping: Promise<void> | undefined;
  /** Something else than a run has the body for a moment. */
  private busy: Promise<void> | undefined;
  private tickedFor = '';
  /** Looks for a camera that is not there. */
  private lookingAgain: NodeJS.Timeout | undefined;
  /** A camera that was lost: no practice body takes its place. */
  private lost: BodyIdentity | null = null;

  private readonly clock: Clock;

  constructor(options: StationOptions) {
    this.options = options;
    this.clock = options.clock ?? systemClock();
    this.finder = options.finder ?? new Finder(options);
    this.camera = options.camera ?? null;
  }

  /**
   * Lets go of the body, if there is one, and looks for one anew. What was found is told as an event; never throws.
   * @param camera serial number or model, where another one is wanted from now on
   * @throws EvenrungError run-under-way
   */
  look(camera?: string): Promise<void> {
    this.mustBeFree();
    const isOther = camera !== undefined && camera !== this.camera;
    if (camera !== undefined) this.camera = camera;
    // A look that is under way may be after another one.
    const before = isOther ? this.looking : undefined;
    if (this.looking !== undefined && before === undefined) return this.looking;
    const looking = (before ?? Promise.resolve())
      .then(() => this.lookOnce())
      .finally(() => {
        if (this.looking === looking) this.looking = undefined;
      });
    this.looking = looking;
    return looking;
  }

  /**
   * Reads the body's settings anew and tells how ready it is.
   * @throws EvenrungError run-under-way, no-body, body-lost, body-busy
   */
  async check(): Promise<void> {
    await this.withBody((body) => body.refresh());
  }

  /** @throws EvenrungError as check; body-not-ready where the clock cannot be set over the wire */
  async setClock(): Promise<void> {
    await this.withBody((body) => body.setClock(() => new Date()));
  }

  /** A person says that something is so which the wire cannot tell. @throws EvenrungError no-body */
  async tick(code: ReadinessCode, isSo: boolean): Promise<void> {
    const body = this.requireBody();
    if (isSo) this.ticked.add(code);
    else this.ticked.delete(code);
    await this.tellBody(body);
  }

  /**
   * Finds out what the wire does not tell, and keeps it: fires some frames.
   * @returns what was learnt, where it lies, and what could not be put back
   * @throws EvenrungError run-under-way, no-body, not-learnt, body-not-ready, and what links throw
   */
  async learn(options: LearnOptions = {}): Promise<Learnt> {
    const folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-learn-'));
    try {
      return await this.withBody(async (body) => {
        const asked = await this.readinessAsked();
        const stopping = () => this.closed || (options.stopping?.() ?? false);
        const { profile, trouble } = await learnBody(body, { ...asked, mode: 'manual' }, folder, {
          ...options,
          stopping,
        });
        return { profile, trouble, path: await this.finder.profiles.write(profile) };
      });
    } finally {
      await rm(folder, { recursive: true, force: true });
    }
  }

  /**
   * Tells what somebody asks for, so that all panels show it; nothing is planned or fired by it.
   * @throws EvenrungError as parseRunRequest
   */
  ask(asked: Asked): void {
    // What is to be done at the camera changes nothing of what is fired.
    const { byHand: _, ...request } = asked;
    parseRunRequest(request);
    if (isDeepStrictEqual(asked, this.options.events.state.asked)) return;
    this.options.events.tell({ type: 'asked', asked });
  }

  /**
   * @param written a SetRequest as in shared/request.ts
   * @throws EvenrungError as parseSetRequest and planWritten; no-body
   */
  plan(written: unknown): Plan {
    return this.planFor(parseSetRequest(written));
  }

  /**
   * Begins a run and comes back at once.
   * @param startedBy who does, as a person would name them
   * @throws EvenrungError as plan; run-under-way, folder-not-writable, mode-not-supported
   */
  async start(written: unknown, startedBy = THIS_COMPUTER): Promise<UnderWay> {
    this.mustBeFree();
    const askedAt = Date.now();
    const request = parseRunRequest(written);
    if (this.looking !== undefined) throw noBody('Evenrung is still looking for a camera: wait a moment.');
    const plan = this.planFor(request.set);
    this.options.journal?.catchUp();
    if (this.options.journal?.unfinishedRun()) throw unfinishedFirst();
    const body = this.requireBody();
    this.startedBy = startedBy;
    const beginsAt = request.delay > 0 ? new Date(askedAt + request.delay * 1000) : null;
    if (request.schedule === null) return this.soon(this.begin(plan, body, request, beginsAt));
    const foreseen = this.foreseeFor(plan, request.schedule);
    if (request.light !== null) this.mustFollow(request.set, request.light, foreseen);
    return this.soon(this.beginScheduled(request, foreseen, body));
  }

  /**
   * What a schedule comes to, before it is begun.
   * @param written a RunRequest with a schedule
   * @throws EvenrungError as plan, and as foreseeSchedule
   */
  async foresee(written: unknown): Promise<ForeseenSchedule> {
    const { set, schedule, light } = parseRunRequest(written);
    if (schedule === null)
      throw new EvenrungError('malformed-request', 'There is no schedule in what was asked for.');
    const foreseen = this.foreseeFor(this.planFor(set), schedule);
    if (light !== null) this.mustFollow(set, light, foreseen);
    return foreseen;
  }

  /** Limits of a base that follows the light have to be settings of this body. @throws EvenrungError base-not-offered */
  private mustFollow(request: SetRequest, light: LightRequest, { schedule }: ForeseenSchedule): void {
    const body = this.requireBody();
    followerFor(request, light, schedule, body, this.conditionsOf(request, body));
  }

  private foreseeFor({ estimate }: Plan, schedule: ScheduleRequest): ForeseenSchedule {
    return foreseeSchedule(schedule, estimate, { now: new Date(this.clock.wall()), timeZone: zoneHere() });
  }

  /** What a run was cut off from: null where there is none, or nothing is kept. */
  unfinished(): Unfinished | null {
    const left = this.options.journal?.unfinishedRun() ?? null;
    if (left === null || this.running !== undefined) return null;
    return shownTakenUp(left) ?? shownUnfinished(left);
  }

  /**
   * Tells everyone whether a run was cut off. What had only its end left to be written is ended.
   * @throws EvenrungError storing-failed
   */
  tellUnfinished(): void {
    const { journal, events } = this.options;
    const left = journal?.unfinishedRun() ?? null;
    const isOver = left?.set === null && (left.run.kind === 'once' || isTakenUp(left.run));
    if (journal !== undefined && isOver) endRun(journal, left.run.id, endOfLast(journal, left.run));
    const unfinished = this.unfinished();
    if (events.state.unfinished?.run !== unfinished?.run) events.tell({ type: 'unfinished', unfinished });
  }

  /**
   * Goes on with the run that was cut off, and comes back at once.
   * @throws EvenrungError nothing-unfinished, run-under-way, no-body, body-not-ready where another body is there,
   *   base-not-offered, folder-not-writable
   */
  async resume({ startedBy = THIS_COMPUTER, staysHeld = false }: Resuming = {}): Promise<UnderWay> {
    const left = this.mustBeUnfinished();
    this.startedBy = startedBy;
    const scheduled = isTakenUp(left.run) ? null : scheduledIn(left.run);
    if (scheduled !== null) return this.soon(this.resumeScheduled(left, scheduled, staysHeld));
    return this.soon(this.resumeSet(left, this.bodyOf(left), { staysHeld }));
  }

  /**
   * Ends the run that was cut off: what came back is taken in, and the record says how far it got. Without its body or its folder
   * only the journal says so.
   * @throws EvenrungError nothing-unfinished, run-under-way
   */
  async endUnfinished(): Promise<void> {
    const left = this.mustBeUnfinished();
    try {
      await this.soon(this.resumeSet(left, this.bodyOf(left), { onlyToEnd: true }));
      await this.settled();
    } catch (cause) {
      const { journal } = this.options;
      const { message } = asEvenrungError(cause);
      if (journal !== undefined)
        abandon(journal, left, `Ended after it was cut off, without a record: ${message}`);
    }
    this.tellUnfinished();
  }

  /**
   * Fires frames of a set that has ended once more, and comes back at once. The earlier ones are kept, and stay in the set where
   * nothing comes of it.
   * @param set its id, or the beginning of it
   * @throws EvenrungError run-under-way, run-unfinished, no-such-set, frames-out-of-range, no-body, folder-not-writable, set-damaged, set-folder-gone,
   *   base-not-offered; nothing-to-complete where nothing of it was stored; body-not-ready where another body is there, or it has to
   *   be set back first
   */
  async again(set: string, chosen: Again, startedBy = THIS_COMPUTER): Promise<Run> {
    return this.takeUpAgain(set, chosen, startedBy);
  }

  /**
   * Makes the frames that a set lacks which has ended, and comes back at once.
   * @throws EvenrungError as again; nothing-to-complete also where all are verified
   */
  async complete(set: string, startedBy = THIS_COMPUTER): Promise<Run> {
    return this.takeUpAgain(set, null, startedBy);
  }

  private async takeUpAgain(written: string, asked: Again | null, startedBy: string): Promise<Run> {
    this.mustBeFree();
    const { journal } = this.options;
    journal?.catchUp();
    const chosen = chooseSet(journal, written, asked);
    if (this.looking !== undefined) throw noBody('Evenrung is still looking for a camera: wait a moment.');
    const body = this.bodyOf(chosen);
    this.startedBy = startedBy;
    return this.soon(this.beginAgain(chosen, body, journal as Journal));
  }

  private async beginAgain(chosen: ChosenSet, body: Body, journal: Journal): Promise<Run> {
    const { mode, offsets, conditions } = parseSetRequest(chosen.run.request);
    this.remember({ mode, frames: offsets.length, fileBytes: conditions.fileBytes ?? null });
    try {
      await mustFit(chosen, body, await this.readinessAsked());
    } catch (cause) {
      const error = asEvenrungError(cause);
      if (LOST.has(error.code)) this.lose(error);
      throw error;
    }
    if (this.closed) throw ending();
    const left = await takeUpAgain(journal, chosen);
    try {
      const run = await this.remake(left, body);
      this.forgetSchedule();
      this.carryOn(run, body);
      return run;
    } catch (cause) {
      abandon(journal, left, `Nothing was fired: ${asEvenrungError(cause).message}`);
      throw cause;
    }
  }

  private mustBeUnfinished(): UnfinishedRun {
    this.mustBeFree();
    this.options.journal?.catchUp();
    const left = this.options.journal?.unfinishedRun() ?? null;
    if (left !== null) return left;
    throw new EvenrungError('nothing-unfinished', 'There is no run that was cut off.');
  }

  /** @throws EvenrungError no-body, body-not-ready */
  private bodyOf({ run }: Pick<UnfinishedRun, 'run'>): Body {
    const body = this.requireBody();
    const { model, serial, link } = body.identity;
    if (run.body.model === model && run.body.serial === serial && run.body.link === link) return body;
    const name =
      run.body.serial === null ? run.body.model : `${run.body.model}, serial number ${run.body.serial}`;
    throw new EvenrungError(
      'body-not-ready',
      `The run was begun with another body: ${name}. Connect that one to go on, or end the run.`,
    );
  }

  private async resumeSet(
    left: UnfinishedRun,
    body: Body,
    { onlyToEnd = false, staysHeld = false }: { onlyToEnd?: boolean; staysHeld?: boolean },
  ): Promise<Run> {
    const { run, set } = left;
    if (!onlyToEnd && set !== null && isTakenUp(run)) {
      await body.refresh();
      mustStandAsThen({ run, set }, body);
    }
    const made = await this.remake(left, body);
    if (onlyToEnd) made.stop();
    if (staysHeld && set?.state === 'held') made.hold();
    this.forgetSchedule();
    this.options.events.tell({ type: 'unfinished', unfinished: null });
    this.carryOn(made, body);
    if (!onlyToEnd) made.note(goneOnWith());
    return made;
  }

  /** The set that was in hand, as its journal left it. @throws EvenrungError nothing-unfinished, folder-not-writable */
  private async remake(
    { run, set }: UnfinishedRun,
    body: Body,
    isoOfSet: number | null = null,
  ): Promise<Run> {
    const { journal } = this.options;
    if (set === null || journal === undefined || set.folder === null || run.request === null)
      throw new EvenrungError(
        'nothing-unfinished',
        'Of the run that was cut off nothing is left to go on with.',
      );
    const request = parseSetRequest(run.request);
    const { step, mode, settleSeconds, offsets, conditions } = request;
    this.remember({ mode, frames: offsets.length, fileBytes: conditions.fileBytes ?? null });
    const plan = fromWirePlan(set.plan, { step, mode, settleSeconds }, body.limits);
    const baseShifts = await shiftsIn(set.folder);
    const folder = await SetFolder.reopen(set.folder);
    const { memo, id, ordinal, name, note, viewpoint } = set;
    const iso = isTakenUp(run) ? isoToSet({ run, set }) : isoOfSet;
    return this.makeRun({
      ...{ id: run.id, set: { id, ordinal, name, note, viewpoint }, plan, body, folder, iso, baseShifts },
      begun: { ...set, memo: (memo ?? null) as SetMemo | null },
    });
  }

  private async soon<T extends UnderWay>(beginning: Promise<T>): Promise<T> {
    this.starting = beginning;
    try {
      return await beginning;
    } finally {
      this.starting = undefined;
    }
  }

  private async begin(
    plan: Plan,
    body: Body,
    { writtenSet, labels }: RunRequest,
    beginsAt: Date | null,
  ): Promise<Run> {
    const { into, journal } = this.options;
    const id = randomUUID();
    const set = { id: randomUUID(), ordinal: 1, ...labels };
    const folder = await this.newFolder(id, set);
    if (this.closed) {
      await folder.removeIfEmpty();
      throw ending();
    }
    const run = this.makeRun({ id, set, plan, body, folder, beginsAt });
    this.forgetSchedule();
    try {
      journal?.together(() => {
        const { base, frames, startedAt, plan: wire } = run.view;
        journal.beginRun({
          id,
          kind: 'once',
          request: writtenSet,
          options: { version: 1, content: {} },
          body: body.identity,
          into: path.resolve(into),
        });
        journal.beginSet({
          ...{ id: set.id, run: id, ...labels, folder: folder.path },
          ...{ plan: wire, base, frames, startedAt },
        });
      });
    } catch (cause) {
      await folder.removeIfEmpty();
      throw cause;
    }
    this.carryOn(run, body);
    return run;
  }

  /** @throws EvenrungError folder-not-writable */
  private async newFolder(run: string, { ordinal, name, viewpoint }: RunView['set']): Promise<SetFolder> {
    const { into, journal, stateFolder, naming = defaultNaming() } = this.options;
    this.sweepUnused();
    return SetFolder.create(
      into,
      { run, set: ordinal, startedAt: new Date(), name, viewpoint },
      { template: naming.set, keeper: journal === undefined ? null : path.resolve(stateFolder) },
    );
  }

  /** What earlier programs left behind there without a frame: once, and nobody waits for it. */
  private sweepUnused(): void {
    const { into, journal, stateFolder, log } = this.options;
    if (journal === undefined) return;
    const hasSet = (folder: string) => [...newestSets(journal)].some(({ set }) => set?.folder === folder);
    this.sweeping ??= SetFolder.sweepUnused(into, path.resolve(stateFolder), hasSet).catch((cause: unknown) =>
      log(`What was left behind in ${into} stays: ${asEvenrungError(cause).message}`),
    );
  }

  /** A set by itself is on no schedule. */
  private forgetSchedule(): void {
    const { events } = this.options;
    if (events.state.schedule !== null) events.tell({ type: 'schedule', schedule: null });
  }

  private makeRun(made: MadeRun): Run {
    const { events, patienceMs, journal, naming } = this.options;
    const before = this.run;
    return new Run({
      ...made,
      // A picture of the set before may wait in the body.
      cameBefore: async () =>
        before?.cameFrom(made.body) ?? (journal === undefined ? null : lastCame(journal, made.body.identity)),
      naming,
      asked: () => this.readinessAsked(),
      tell: (happening) => events.tell(happening),
      patienceMs,
      startedBy: this.startedBy,
      keeper: journal === undefined ? undefined : keeperOf(journal, made.set.id),
    });
  }

  /** Comes back at once; the run goes on. */
  private carryOn(run: Run, body: Body): void {
    this.run = run;
    // Belongs into a record, and the run that owed it may have left none.
    if (this.paid !== null) run.noteBefore(this.paid);
    // Whoever only ends a run that was cut off tells it in the next record, too.
    if (!run.isStopping) this.paid = null;
    this.runs(async () => {
      const ended = await this.whileAwake('A bracketed set is being made.', run, () =>
        this.fireSet(run, body),
      );
      this.endInJournal(run.id, ended);
    });
  }

  /** Comes back at once; from now on a run is under way, until the work is done. */
  private runs(work: () => Promise<void>): void {
    this.running = work()
      .catch((cause: unknown) =>
        this.options.log(`The run ended with a defect: ${asEvenrungError(cause).message}`),
      )
      .finally(() => {
        this.running = undefined;
        this.sequence = undefined;
      });
  }

  /** The computer does not fall asleep meanwhile. */
  private async whileAwake<T>(
    what: string,
    teller: { note(sentence: string): void },
    work: () => Promise<T>,
  ): Promise<T> {
    // Side by side: the first frame does not wait for it.
    const awake = stayAwake(what, {
      answerWithin: AWAKE_WITHIN_MS,
      onLost: (sentence) => teller.note(sentence),
    });
    let isOver = false;
    void awake.then(({ reminder }) => {
      if (reminder !== null && !isOver) teller.note(reminder);
    });
    try {
      return await work();
    } finally {
      isOver = true;
      // Not waited for: a system that has not answered yet is let go of when it does.
      void awake.then((held) => held.release());
    }
  }

  private async fireSet(run: Run, body: Body): Promise<EndedSet> {
    const { events, alarm } = this.options;
    const { state, verified, endedAt, sentence, error } = await run.carryOut();
    const ended: EndedSet = { state, verified, endedAt, sentence, error: error?.code ?? null };
    if (state === 'halted') alarm?.raise(haltOf(run.id, 'halted', ended, events.state.run));
    this.stock.setMade(run.fileBytes, run.released);
    if (run.error !== null && LOST.has(run.error.code)) this.lose(run.error);
    else {
      await body.recycle();
      await this.tellBody(body);
    }
    return ended;
  }

  /** Where it cannot be written before this program ends, the run is found unfinished at the next start. */
  private endInJournal(id: string, { state, sentence, error }: Omit<EndedSet, 'verified' | 'endedAt'>): void {
    const { journal, log } = this.options;
    const outcome = state === 'complete' || state === 'stopped' ? state : 'halted';
    const refused = journal?.keepOrLater(() => endRun(journal, id, { state: outcome, sentence, error }));
    if (refused) log(`The end of the run is not kept yet: ${refused.message}`);
  }

  // --- runs on a schedule

  private async beginScheduled(
    request: RunRequest,
    foreseen: ForeseenSchedule,
    body: Body,
  ): Promise<UnderWay> {
    const { into, journal } = this.options;
    await SetFolder.check(into);
    if (this.closed) throw ending();
    const id = randomUUID();
    const { light, maySleep, labels, writtenSet } = request;
    const kept: ScheduledOptions = { foreseen, light, maySleep, labels };
    const sets = this.scheduledSets(id, request.set, kept, body);
    const sequence = this.sequenceOf(id, kept, sets);
    journal?.together(() => {
      const options = { version: SCHEDULED_OPTIONS_VERSION, content: kept };
      journal.beginRun({
        ...{ id, kind: 'scheduled', request: writtenSet, options, body: body.identity },
        into: path.resolve(into),
      });
      sets.keep(sequence.memo);
    });
    return this.runSequence(id, sequence);
  }

  private async resumeScheduled(
    left: UnfinishedRun,
    kept: ScheduledOptions,
    staysHeld: boolean,
  ): Promise<UnderWay> {
    const { run, set } = left;
    const memo = scheduledMemoIn(run.memo);
    if (run.request === null || memo === null)
      throw new EvenrungError(
        'nothing-unfinished',
        'Of the run that was cut off nothing is left to go on with.',
      );
    const request = parseSetRequest(run.request);
    const body = this.bodyOf(left);
    const sets = this.scheduledSets(run.id, request, kept, body, memo);
    const slot = Math.max(0, memo.sequence.slots.nextIndex - 1);
    const iso = kept.light === null || set === null ? null : Number(set.base.iso) || null;
    const inHand = set === null ? null : await this.remake(left, body, iso);
    if (inHand !== null) this.run = inHand;
    const sequence = this.sequenceOf(run.id, kept, sets, {
      // The memo is as old as the last set; how that ended, the journal knows.
      memo: {
        ...memo.sequence,
        complete: this.options.journal?.completeSets(run.id) ?? memo.sequence.complete,
      },
      inHand: inHand === null ? null : sets.resume(inHand, body, slot),
    });
    if (staysHeld && memo.sequence.held === true) sequence.hold();
    const { events } = this.options;
    events.tell({ type: 'unfinished', unfinished: null });
    events.tell({ type: 'schedule', schedule: sequence.view });
    this.tellLine(run.id, kept, body);
    const underWay = this.runSequence(run.id, sequence);
    sequence.note(goneOnWith());
    return underWay;
  }

  private runSequence(id: string, sequence: Sequence): UnderWay {
    const { events, alarm } = this.options;
    this.sequence = sequence;
    const underWay: { id: string; error: EvenrungError | null } = { id, error: null };
    this.runs(async () => {
      const end = await this.whileAwake('Bracketed sets are being made.', sequence, () =>
        sequence.carryOut(),
      );
      if (end.error !== null) underWay.error = new EvenrungError(end.error, end.sentence);
      this.endInJournal(id, end);
      if (end.early)
        alarm?.raise(haltOf(id, end.state === 'halted' ? 'halted' : 'stopped', end, events.state.run));
      // From now on it is told what is left for single sets.
      this.sequence = undefined;
      if (this.body !== undefined) await this.tellBody(this.body);
    });
    return underWay;
  }

  private sequenceOf(
    id: string,
    { foreseen, maySleep }: ScheduledOptions,
    maker: SetMaker & Pick<ScheduledSets, 'keep'>,
    begun?: SequenceOptions['begun'],
  ): Sequence {
    const { events, journal, log, sleep } = this.options;
    return new Sequence({
      ...{ run: id, foreseen, maySleep, maker, clock: this.clock, sleep },
      tell: (happening) => events.tell(happening),
      keepNote: (note) => {
        try {
          journal?.addRunNote(id, note);
        } catch (cause) {
          log(`A note of the run could not be kept: ${asEvenrungError(cause).message}`);
        }
      },
      keepMemo: (memo) => {
        try {
          maker.keep(memo);
        } catch (cause) {
          log(`Whether the run is held could not be kept: ${asEvenrungError(cause).message}`);
        }
      },
      ...(begun === undefined ? {} : { begun }),
    });
  }

  private scheduledSets(
    id: string,
    request: SetRequest,
    { foreseen: { schedule }, light, labels }: ScheduledOptions,
    body: Body,
    memo?: ScheduledMemo,
  ): ScheduledSets {
    const { events, journal, into } = this.options;
    const hands: Hands = {
      body: () => this.bodyAnew(body.identity),
      look: () => this.bodyIfAwake(body.identity),
      plan: (asked) => this.planFor(asked),
      conditionsOf: (asked) => this.conditionsOf(asked, this.requireBody()),
      folder: (set) => this.newFolder(id, set),
      makeRun: (made) => this.makeRun({ id, ...made }),
      carryOut: (run, on) => {
        this.run = run;
        if (this.paid !== null) run.noteBefore(this.paid);
        this.paid = null;
        // Somebody may have stopped it while the set was being begun.
        if (this.closed || this.sequence?.isStopping === true) run.stop();
        if (this.sequence?.isHeld === true) run.hold();
        return this.fireSet(run, on);
      },
      freeBytes: () => freeBytesIn(into),
      tellWatch: (watch) => events.tell({ type: 'watch', watch }),
    };
    return new ScheduledSets({ run: id, request, labels, schedule, light, hands, journal, memo });
  }

  /** The sets of the run that an earlier program has made. */
  private tellLine(
    id: string,
    { foreseen: { schedule } }: ScheduledOptions,
    { limits, isoLabels }: Body,
  ): void {
    const { journal, events } = this.options;
    const listed = journal?.sets({ run: id, limit: LINE_SETS }) ?? [];
    const isos = isoSettings(isoLabels);
    let before: Sixths | null = null;
    for (const { id: set } of [...listed].reverse()) {
      const stored = journal?.set(set) ?? null;
      if (stored === null) continue;
      const { base, ordinal, startedAt, endedAt, state, verified, frames, sentence } = stored;
      const tv = limits.shutters.find(({ label }) => label === base.shutter)?.tv ?? 0;
      const sv = isos.find(({ iso }) => String(iso) === base.iso)?.sv ?? 0;
      const shift = before === null ? 0 : toEv(sv - tv - before);
      before = sv - tv;
      const slot = Math.floor(
        (Date.parse(startedAt) - Date.parse(schedule.start)) / (schedule.everySeconds * 1000),
      );
      events.tell({
        type: 'line-set',
        run: id,
        set: {
          ...{ set, ordinal, startedAt, endedAt, state, verified, sentence, shift },
          ...{ slot: Math.max(0, slot), frames: frames.length, shutter: base.shutter, iso: base.iso },
        },
      });
    }
  }

  /** @throws EvenrungError no-body where there is none, or another one */
  private async bodyAnew({ model, serial, link }: BodyIdentity): Promise<Body> {
    if (this.body === undefined) {
      this.looking ??= this.lookOnce(true).finally(() => {
        this.looking = undefined;
      });
      await this.looking;
    }
    if (this.body === undefined && this.trouble !== null) throw noBody(this.trouble.message);
    const { identity } = this.requireBody();
    if (identity.model === model && identity.serial === serial && identity.link === link)
      return this.requireBody();
    throw noBody(`The run was begun with another camera than the one that is attached: ${model}.`);
  }

  private async bodyIfAwake(identity: BodyIdentity): Promise<Body | null> {
    try {
      const body = await this.bodyAnew(identity);
      await body.refresh();
      return body;
    } catch (cause) {
      const error = asEvenrungError(cause);
      if (this.body !== undefined && LOST.has(error.code) && error.code !== 'no-body') this.lose(error);
      return null;
    }
  }

  /** @throws EvenrungError nothing-to-stop */
  stop(): void {
    if (this.running === undefined) throw new EvenrungError('nothing-to-stop', 'Nothing is being fired.');
    this.sequence?.stop();
    this.run?.stop();
  }

  /** The frame in hand ends, then nothing is fired until `letGo`; the slots of a schedule pass. @throws EvenrungError nothing-to-hold */
  hold(): void {
    this.mustBeUnderWay();
    const isHeld = this.run?.hold() === true;
    if (this.sequence?.hold() === true || isHeld) return;
    throw new EvenrungError('nothing-to-hold', 'The run is ending already: nothing more is fired.');
  }

  /** Takes `hold` back; changes nothing where nobody holds it. @throws EvenrungError nothing-to-hold */
  letGo(): void {
    this.mustBeUnderWay();
    this.sequence?.letGo();
    this.run?.letGo();
  }

  private mustBeUnderWay(): void {
    if (this.running === undefined) throw new EvenrungError('nothing-to-hold', 'Nothing is being fired.');
  }

  /** Gives a set another name, note or viewpoint, in its folder too. @throws EvenrungError as relabel; no-such-set */
  async relabel(id: string, change: Relabel): Promise<void> {
    const { journal, events } = this.options;
    // One that is being taken up is not in hand yet.
    await this.starting?.catch(() => undefined);
    if (journal === undefined) throw new EvenrungError('no-such-set', `There is no set with the id '${id}'.`);
    await relabel(id, change, { journal, events, run: () => this.run });
  }

  /** @returns the run under way, or the last one, where it has this id */
  runWithId(id: string): Run | undefined {
    return this.run?.id === id ? this.run : undefined;
  }

  /** @throws EvenrungError folder-not-writable */
  async checkFolder(): Promise<void> {
    await SetFolder.check(this.options.into);
    this.sweepUnused();
  }

  /** Whether a run is under way. */
  get isRunning(): boolean {
    return this.running !== undefined;
  }

  /** Why there is no body, where looking for one failed. */
  get problem(): EvenrungError | null {
    return this.trouble;
  }

  /** Waits for the end of the run under way. */
  async settled(): Promise<void> {
    await this.running;
  }

  /** Stops what is under way, puts settings back, lets go of the body. Nothing can be begun after. Never throws. */
  async close(): Promise<void> {
    this.closed = true;
    clearTimeout(this.lookingAgain);
    await this.starting?.catch(() => undefined);
    this.sequence?.stop();
    this.run?.stop();
    await this.looking;
    await this.running;
    await this.sweeping;
    await this.busy;
    await this.body?.release();
    this.body = undefined;
    await exifTool.end();
  }

  private planFor(request: SetRequest): Plan {
    const body = this.requireBody();
    const limits = this.options.narrow?.(body.limits) ?? body.limits;
    const { offsets, step, mode, settleSeconds, conditions } = request;
    this.remember({ mode, frames: offsets.length, fileBytes: conditions.fileBytes ?? null });
    if (mode === 'manual' && !limits.shutters.some(({ settable }) => settable)) throw noShutter();
    const { base } = request;
    return planWritten(
      { offsets, step, mode, settleSeconds, base },
      limits,
      this.conditionsOf(request, body),
    );
  }

  private conditionsOf({ conditions, base, mode }: SetRequest, body: Body): Conditions {
    const { fNumber, iso, shutterTv } = body.standing();
    return {
      ...conditions,
      fileBytes: conditions.fileBytes ?? this.stock.fileBytes,
      noiseReduction: conditions.noiseReduction ?? body.profile?.noiseReduction,
      baseWritten: base,
      standingTv: mode === 'manual' ? (shutterTv ?? undefined) : undefined,
      fNumber: fNumber ?? undefined,
      iso: iso ?? undefined,
    };
  }

  /** How ready the body is depends on what is asked of it: where that changes the answer, it is told anew. */
  private remember(asked: typeof this.asked): void {
    const { mode, frames, fileBytes } = this.asked;
    const changed = asked.mode !== mode || asked.frames !== frames || asked.fileBytes !== fileBytes;
    this.asked = asked;
    if (changed && this.body !== undefined && this.running === undefined) void this.tellBody(this.body);
  }

  private async readinessAsked(): Promise<ReadinessAsked> {
    this.freeBytes = await freeBytesIn(this.options.into);
    return { ...this.asked, freeBytes: this.freeBytes, ticked: this.ticked };
  }

  private mustBeFree(): void {
    if (this.running !== undefined || this.starting !== undefined) throw underWay(this.startedBy);
    if (this.busy !== undefined) throw underWay(null);
    if (this.closed) throw ending();
  }

  /** Does something with the body while nothing else may, and tells how it stands after. */
  private async withBody<T>(work: (body: Body) => Promise<T>): Promise<T> {
    this.mustBeFree();
    if (this.looking !== undefined) throw noBody('Evenrung is still looking for a camera: wait a moment.');
    const body = this.requireBody();
    let done = () => {};
    this.busy = new Promise<void>((resolve) => {
      done = resolve;
    });
    try {
      return await work(body);
    } catch (cause) {
      const error = asEvenrungError(cause);
      if (LOST.has(error.code)) this.lose(error);
      throw error;
    } finally {
      if (this.body === body) await this.tellBody(body);
      this.busy = undefined;
      done();
    }
  }

  private requireBody(): Body {
    if (this.body !== undefined) return this.body;
    throw noBody('No body is connected yet: plug the camera in, switch it on, and look for it again.');
  }

  /** @param quietly where nobody asked for it: only what is found is told */
  private async lookOnce(quietly = false): Promise<void> {
    const { events } = this.options;
    clearTimeout(this.lookingAgain);
    if (!quietly) events.tell({ type: 'body', body: { state: 'looking' } });
    await this.body?.release();
    this.body = undefined;
    try {
      // Only saves time later; what fails here fails again, and is told, where it is needed.
      const warm = warmUp().catch(() => undefined);
      const { body, notes } = await this.findBody();
      await warm;
      this.paid = await payBack(body);
      this.note = joined(...notes, this.paid);
      if (keyOf(body) !== this.tickedFor) {
        this.ticked.clear();
        this.stock = new Stock();
      }
      this.tickedFor = keyOf(body);
      this.body = body;
      this.lost = null;
      this.trouble = null;
      await this.tellBody(body);
    } catch (cause) {
      const error = asEvenrungError(cause);
      const isNews = error.message !== this.trouble?.message;
      this.trouble = error;
      if (!quietly || isNews) this.tellAbsent(error);
      this.lookAgain();
    }
  }

  /** Somebody who looks for a camera while one was lost means any that is there. */
  private findBody() {
    const { lost } = this;
    if (lost === null || lost.link === 'practice') return this.finder.find(this.camera);
    return this.finder.find(this.camera, 'usb');
  }

  private tellAbsent(error: EvenrungError): void {
    const choices = z.array(attachedBodySchema).safeParse(error.details.choices);
    this.options.events.tell({
      type: 'body',
      body: {
        state: 'absent',
        sentence: error.message,
        error: error.code,
        next: this.looksAgain()
          ? `Evenrung looks for it every ${(this.options.lookAgainMs ?? 0) / 1000} s, and puts back what it owes.`
          : null,
        choices: choices.success ? choices.data : [],
      },
    });
  }

  /** Also for the practice body: its camera process may have been killed as it was met. */
  private looksAgain(): boolean {
    return this.options.lookAgainMs !== undefined && !this.closed;
  }

  private lookAgain(): void {
    clearTimeout(this.lookingAgain);
    if (!this.looksAgain()) return;
    this.lookingAgain = setTimeout(() => {
      if (this.looking !== undefined || this.body !== undefined || this.closed) return;
      const looking = this.lookOnce(true).finally(() => {
        if (this.looking === looking) this.looking = undefined;
      });
      this.looking = looking;
    }, this.options.lookAgainMs);
  }

  private async tellBody(body: Body): Promise<void> {
    const view = body.view(await this.readinessAsked());
    this.options.events.tell({ type: 'body', body: { state: 'ready', body: view, note: this.note } });
    this.tellWatch(body);
  }

  /** Told where it has changed. A run on a schedule knows how many sets are to come, and tells it itself. */
  private tellWatch(body: Body): void {
    const { events } = this.options;
    if (this.sequence !== undefined) return;
    const watch = this.stock.look(body, {
      framesPerSet: this.asked.frames ?? 1,
      setsToCome: null,
      freeBytes: this.freeBytes,
      statedBytes: this.asked.fileBytes,
    });
    if (!isDeepStrictEqual(watch, events.state.watch)) events.tell({ type: 'watch', watch });
  }

  private lose(error: EvenrungError): void {
    this.lost = this.body?.identity ?? null;
    this.trouble = error;
    this.tellAbsent(error);
    void this.body?.release();
    this.body = undefined;
    this.lookAgain();
  }
}

/**
 * What an earlier run could not put back is put back first; what fails again stays owed, and the next run tries again.
 * @returns what came of it, in one sentence; null where nothing was owed
 */
async function payBack(body: Body): Promise<string | null> {
  if (body.debts.size === 0) return null;
  try {
    const names = await body.putBack();
    return `What an earlier run had changed is put back: ${names.join(', ')}.`;
  } catch (cause) {
    return asEvenrungError(cause).message;
  }
}

/** @returns what is free where the sets go; null where nobody can tell */
async function freeBytesIn(folder: string): Promise<number | null> {
  for (let at = path.resolve(folder); ; at = path.dirname(at)) {
    try {
      const { bavail, bsize } = await statfs(at);
      return bavail * bsize;
    } catch {
      // Not made yet: the folder above it is on the same disk.
      if (path.dirname(at) === at) return null;
    }
  }
}

const joined = (...notes: (string | null)[]): string | null =>
  notes.filter((note) => note !== null).join(' ') || null;

const keyOf = ({ identity: { model, serial } }: Body): string => JSON.stringify([model, serial]);

function shownUnfinished({ run, set }: UnfinishedRun): Unfinished {
  const frames = set?.frames ?? [];
  const verified = frames.filter(({ view }) => view.state === 'verified').length;
  const count = scheduledIn(run)?.foreseen.schedule.count ?? null;
  const when = 'when Evenrung was ended or the computer went down';
  const after = `after ${verified} of ${frames.length} frames`;
  const what =
    count === null
      ? `A set was cut off ${after}, ${when}.`
      : `A run on a schedule was cut off in set ${run.sets} of ${count}${set === null ? '' : ` ${after}`}, ${when}.`;
  return {
    ...{ run: run.id, set: set?.id ?? null },
    startedAt: run.createdAt,
    verified,
    frames: frames.length,
    folder: set?.folder ?? null,
    scheduled: count !== null,
    sentence: `${what} Go on with it, if the camera still stands where it stood; or end it, and what was made stays.`,
  };
}

const goneOnWith = (): string => `Gone on with after a restart, at ${hourAndMinute(new Date())}.`;

const haltOf = (
  run: string,
  state: Halt['state'],
  { error, sentence }: { error: ErrorCode | null; sentence: string },
  view: RunView | null,
): Halt => ({
  ...{ run, state, error, sentence },
  folder: view?.folder ?? null,
  verified: view?.frames.filter((frame) => frame.state === 'verified').length ?? 0,
  frames: view?.frames.length ?? 0,
});

const unfinishedFirst = () =>
  new EvenrungError(
    'run-unfinished',
    'An earlier set was cut off and is not ended yet. Go on with it or end it, then fire again.',
  );

/** @param by null where the body is used for something else */
function underWay(by: string | null): EvenrungError {
  const who = by === null || by === THIS_COMPUTER ? (by ?? '') : `"${by}"`;
  return by === null
    ? new EvenrungError('run-under-way', 'The camera is being used just now: wait a moment.')
    : new EvenrungError(
        'run-under-way',
        `A set is already being fired by ${who}: wait for its end, or stop it.`,
        { startedBy: by },
      );
}
const ending = () => new EvenrungError('ending', 'Evenrung is ending.');
const noShutter = () =>
  new EvenrungError(
    'body-not-ready',
    'The camera does not let its shutter be set: turn its mode dial to M (manual), then look for it again. Or ask for aperture priority.',
  );
const noBody = (sentence: string) => new EvenrungError('no-body', sentence);
