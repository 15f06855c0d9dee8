// The one place that owns a body: finds it, says whether it is ready, plans for it, and lets one run or one learning at a time
// have it. Used by the server and by commands alike.
import { randomUUID } from 'node:crypto';
import { mkdtemp, rm, statfs } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { z } from 'zod';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import type { BodyProfile } from '../../shared/profile.js';
import type { ReadinessCode } from '../../shared/readiness.js';
import { parseSetRequest, type SetRequest } from '../../shared/request.js';
import { parseRunRequest, type RunRequest } from '../../shared/run-request.js';
import { attachedBodySchema, type RunState, type RunView, type Unfinished } from '../../shared/state.js';
import { type Body, type BodyIdentity, LOST, type ReadinessAsked } from '../camera/index.js';
import type { BodyLimits } from '../exposure/index.js';
import { exifTool, SetFolder, warmUp } from '../frames/index.js';
import { fromWirePlan, type Plan, planSet, resolveBase } from '../plan/index.js';
import type { EventLog } from './event-log.js';
import { Finder, type FinderOptions } from './finder.js';
import type { Journal, UnfinishedRun } from './journal/index.js';
import { keeperOf, type SetMemo } from './keeper.js';
import { type LearnOptions, learnBody } from './learn.js';
import { Run, type RunOptions } from './run.js';
import { stayAwake } from './stay-awake.js';

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
}

/** Nobody waits for it: a busy computer may take its time. */
const AWAKE_WITHIN_MS = 5000;

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
  private running: Promise<void> | undefined;
  private trouble: EvenrungError | null = null;
  /** Set as soon as a run is asked for, before its folder is made, so that nothing else can come in between. */
  private starting: Promise<Run> | undefined;
  private closed = false;
  /** Something else than a run has the body for a moment. */
  private busy: Promise<void> | undefined;
  private tickedFor = '';
  /** Looks for a camera that is not there. */
  private lookingAgain: NodeJS.Timeout | undefined;
  /** A camera that was lost: no practice body takes its place. */
  private lost: BodyIdentity | null = null;

  constructor(options: StationOptions) {
    this.options = options;
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
   * @param written a SetRequest as in shared/request.ts
   * @throws EvenrungError as parseSetRequest, resolveBase and planSet; no-body
   */
  plan(written: unknown): Plan {
    return this.planFor(parseSetRequest(written));
  }

  /**
   * Begins a run and comes back at once.
   * @throws EvenrungError as plan; run-under-way, folder-not-writable, mode-not-supported
   */
  async start(written: unknown): Promise<Run> {
    this.mustBeFree();
    const request = parseRunRequest(written);
    if (this.looking !== undefined) throw noBody('Evenrung is still looking for a camera: wait a moment.');
    const plan = this.planFor(request.set);
    if (this.options.journal?.unfinishedRun()) throw unfinishedFirst();
    return this.soon(this.begin(plan, this.requireBody(), request));
  }

  /** What a run was cut off from: null where there is none, or nothing is kept. */
  unfinished(): Unfinished | null {
    const left = this.options.journal?.unfinishedRun() ?? null;
    return left === null || this.running !== undefined ? null : shownUnfinished(left);
  }

  /**
   * Tells everyone whether a run was cut off. What had only its end left to be written is ended.
   * @throws EvenrungError storing-failed
   */
  tellUnfinished(): void {
    const { journal, events } = this.options;
    const left = journal?.unfinishedRun() ?? null;
    if (left !== null && left.set === null) {
      const [last] = journal?.sets({ run: left.run.id, limit: 1 }) ?? [];
      const state = last?.state === 'complete' || last?.state === 'stopped' ? last.state : 'halted';
      journal?.endRun(left.run.id, {
        state,
        sentence: last?.sentence ?? 'Nothing was fired.',
        error: last?.error ?? null,
      });
    }
    const unfinished = this.unfinished();
    if (events.state.unfinished?.run !== unfinished?.run) events.tell({ type: 'unfinished', unfinished });
  }

  /**
   * Goes on with the run that was cut off, and comes back at once.
   * @throws EvenrungError nothing-unfinished, run-under-way, no-body, body-not-ready where another body is there,
   *   base-not-offered, folder-not-writable
   */
  async resume(): Promise<Run> {
    const left = this.mustBeUnfinished();
    return this.soon(this.takeUp(left, this.bodyOf(left)));
  }

  /**
   * Ends the run that was cut off: what came back is taken in, and the record says how far it got. Without its body or its folder
   * only the journal says so.
   * @throws EvenrungError nothing-unfinished, run-under-way
   */
  async endUnfinished(): Promise<void> {
    const left = this.mustBeUnfinished();
    try {
      await this.soon(this.takeUp(left, this.bodyOf(left), true));
      await this.settled();
    } catch (cause) {
      const { message } = asEvenrungError(cause);
      this.options.journal?.abandonRun(
        left.run.id,
        `Ended after it was cut off, without a record: ${message}`,
      );
    }
    this.tellUnfinished();
  }

  private mustBeUnfinished(): UnfinishedRun {
    this.mustBeFree();
    const left = this.options.journal?.unfinishedRun() ?? null;
    if (left !== null) return left;
    throw new EvenrungError('nothing-unfinished', 'There is no run that was cut off.');
  }

  /** @throws EvenrungError no-body, body-not-ready */
  private bodyOf({ run }: UnfinishedRun): Body {
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

  private async takeUp({ run, set }: UnfinishedRun, body: Body, onlyToEnd = false): Promise<Run> {
    const { journal, events } = this.options;
    if (set === null || journal === undefined || set.folder === null || run.request === null)
      throw new EvenrungError(
        'nothing-unfinished',
        'Of the run that was cut off nothing is left to go on with.',
      );
    const request = parseSetRequest(run.request);
    const { step, mode, settleSeconds, offsets, conditions } = request;
    this.remember({ mode, frames: offsets.length, fileBytes: conditions.fileBytes ?? null });
    const plan = fromWirePlan(set.plan, { step, mode, settleSeconds }, body.limits);
    const folder = await SetFolder.reopen(set.folder);
    const { memo, id, ordinal, name, note, viewpoint } = set;
    const made = this.makeRun(run.id, { id, ordinal, name, note, viewpoint }, plan, body, folder, {
      ...set,
      memo: (memo ?? null) as SetMemo | null,
    });
    if (onlyToEnd) made.stop();
    events.tell({ type: 'unfinished', unfinished: null });
    this.carryOn(made, body);
    if (!onlyToEnd) made.note(`Gone on with after a restart, at ${new Date().toLocaleTimeString()}.`);
    return made;
  }

  private async soon(beginning: Promise<Run>): Promise<Run> {
    this.starting = beginning;
    try {
      return await beginning;
    } finally {
      this.starting = undefined;
    }
  }

  private async begin(plan: Plan, body: Body, { writtenSet, labels }: RunRequest): Promise<Run> {
    const { into, journal } = this.options;
    const folder = await SetFolder.create(into, new Date());
    if (this.closed) {
      await folder.removeIfEmpty();
      throw ending();
    }
    const id = randomUUID();
    const set = { id: randomUUID(), ordinal: 1, ...labels };
    const run = this.makeRun(id, set, plan, body, folder);
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

  private makeRun(
    id: string,
    set: RunView['set'],
    plan: Plan,
    body: Body,
    folder: SetFolder,
    begun?: RunOptions['begun'],
  ): Run {
    const { events, patienceMs, journal } = this.options;
    return new Run({
      id,
      set,
      plan,
      body,
      folder,
      asked: () => this.readinessAsked(),
      tell: (happening) => events.tell(happening),
      patienceMs,
      keeper: journal === undefined ? undefined : keeperOf(journal, set.id),
      begun,
    });
  }

  /** Comes back at once; the run goes on. */
  private carryOn(run: Run, body: Body): void {
    this.run = run;
    // Belongs into a record, and the run that owed it may have left none.
    if (this.paid !== null) run.noteBefore(this.paid);
    // Whoever only ends a run that was cut off tells it in the next record, too.
    if (!run.isStopping) this.paid = null;
    this.running = this.carryOut(run, body)
      .catch((cause: unknown) =>
        this.options.log(`The run ended with a defect: ${asEvenrungError(cause).message}`),
      )
      .finally(() => {
        this.running = undefined;
      });
  }

  private async carryOut(run: Run, body: Body): Promise<void> {
    // Side by side: the first frame does not wait for it.
    const awake = stayAwake('A bracketed set is being made.', {
      answerWithin: AWAKE_WITHIN_MS,
      onLost: (sentence) => run.note(sentence),
    });
    let isOver = false;
    void awake.then(({ reminder }) => {
      if (reminder !== null && !isOver) run.note(reminder);
    });
    const state = await run.carryOut();
    isOver = true;
    this.endInJournal(run, state);
    // Not waited for: a system that has not answered yet is let go of when it does.
    void awake.then((held) => held.release());
    if (run.error !== null && LOST.has(run.error.code)) this.lose(run.error);
    else {
      await body.recycle();
      await this.tellBody(body);
    }
  }

  /** Where it cannot be written, the run is found unfinished at the next start, with nothing left to do. */
  private endInJournal({ id, error }: Run, state: RunState): void {
    const { journal, events, log } = this.options;
    const outcome = state === 'complete' || state === 'stopped' ? state : 'halted';
    try {
      journal?.endRun(id, {
        state: outcome,
        sentence: events.state.run?.sentence ?? outcome,
        error: error?.code ?? null,
      });
    } catch (cause) {
      log(`The end of the run could not be kept: ${asEvenrungError(cause).message}`);
    }
  }

  /** @throws EvenrungError nothing-to-stop */
  stop(): void {
    if (this.running === undefined) throw new EvenrungError('nothing-to-stop', 'Nothing is being fired.');
    this.run?.stop();
  }

  /** @returns the run under way, or the last one, where it has this id */
  runWithId(id: string): Run | undefined {
    return this.run?.id === id ? this.run : undefined;
  }

  /** @throws EvenrungError folder-not-writable */
  checkFolder(): Promise<void> {
    return SetFolder.check(this.options.into);
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
    this.run?.stop();
    await this.looking;
    await this.running;
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
    const { fNumber, iso, shutterTv } = body.standing();
    const base = resolveBase(request.base, limits);
    return planSet({ offsets, step, mode, settleSeconds, base }, limits, {
      ...conditions,
      noiseReduction: conditions.noiseReduction ?? body.profile?.noiseReduction,
      baseWritten: request.base,
      standingTv: mode === 'manual' ? (shutterTv ?? undefined) : undefined,
      fNumber: fNumber ?? undefined,
      iso: iso ?? undefined,
    });
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
    if (this.running !== undefined || this.starting !== undefined || this.busy !== undefined)
      throw underWay();
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
      if (keyOf(body) !== this.tickedFor) this.ticked.clear();
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

  /** Where the practice body may step in, it would have. */
  private looksAgain(): boolean {
    const { lookAgainMs, choice } = this.options;
    return lookAgainMs !== undefined && choice !== 'practice' && !this.closed;
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
  return {
    run: run.id,
    startedAt: run.createdAt,
    verified,
    frames: frames.length,
    folder: set?.folder ?? null,
    scheduled: run.kind === 'scheduled',
    sentence: `A set was cut off after ${verified} of ${frames.length} frames, when Evenrung was ended or the computer went down. Go on with it, if the camera still stands where it stood; or end it, and what was made stays.`,
  };
}

const unfinishedFirst = () =>
  new EvenrungError(
    'run-unfinished',
    'An earlier set was cut off and is not ended yet. Go on with it or end it, then fire again.',
  );

const underWay = () =>
  new EvenrungError('run-under-way', 'A set is already being fired: wait for its end, or stop it.');
const ending = () => new EvenrungError('ending', 'Evenrung is ending.');
const noShutter = () =>
  new EvenrungError(
    'body-not-ready',
    'The camera does not let its shutter be set: turn its mode dial to M (manual), then look for it again. Or ask for aperture priority.',
  );
const noBody = (sentence: string) => new EvenrungError('no-body', sentence);
