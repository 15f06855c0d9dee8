// Joins the rooms: has a body found, plans for it, and lets one set, one series or one lesson at a time have
// it. The server and the commands use it alike. How each of these things is done is in a file of its own.
import { setTimeout as sleep } from 'node:timers/promises';
import { isDeepStrictEqual } from 'node:util';
import type { Asked } from '../../shared/asked.js';
import { EvenrungError } from '../../shared/errors.js';
import type { Again, Extend, Relabel } from '../../shared/kept.js';
import type { ReadinessCode } from '../../shared/readiness.js';
import { isMetered, parseSetRequest, type SetRequest } from '../../shared/request.js';
import { parseRunRequest, type SpanRequest } from '../../shared/run-request.js';
import type { ForeseenSchedule, Unfinished } from '../../shared/state.js';
import { Finder, isSameBody, type LearnOptions, type Learnt } from '../bodies/index.js';
import { exifTool } from '../frames/index.js';
import type { StoredRun } from '../journal/index.js';
import type { Plan } from '../plan/index.js';
import { type SpanLimits, spanLimits } from '../series/index.js';
import { type Run, THIS_COMPUTER } from '../set/index.js';
import { chooseSet, type Wanted } from './again/choose.js';
import { takeUpAgain } from './again/take-up-again.js';
import { beginSeries } from './begin-series.js';
import { beginSet } from './begin-set.js';
import { endWhatIsOver, mustBeCutOff, shown } from './cut-off.js';
import type { BegunRun } from './firing.js';
import { learnAll } from './learning.js';
import type { Parts } from './parts.js';
import { partsOf, type StationOptions } from './put-together.js';
import { relabel } from './relabel.js';
import { bodyOf } from './remake.js';
import { beganBy, endCutOff, type Resuming, resume } from './resume.js';
import type { BegunSounding } from './sounder.js';

/**
 * How long the end of the program waits for a proof that is being written: without its proof a set is still
 * whole.
 */
const PROVED_WITHIN_MS = 5000;

export class Station {
  private readonly parts: Parts;
  private readonly finder: Pick<Finder, 'find' | 'profiles'> & Partial<Pick<Finder, 'findDirectly'>>;

  constructor(options: StationOptions) {
    this.finder = options.finder ?? new Finder(options);
    this.parts = partsOf(options, this.finder);
  }

  // --- the body

  /**
   * Lets go of the body, if there is one, and looks for one anew. What was found is told as an event.
   * @param camera serial number or model, if another camera is wanted from now on
   * @throws EvenrungError run-under-way
   */
  look(camera?: string): Promise<void> {
    const { one, bodies } = this.parts;
    one.mustBeFree();
    return bodies.look(camera);
  }

  /**
   * Reads the body's settings anew, and tells how ready it is.
   * @throws EvenrungError run-under-way, no-body, body-lost, body-busy
   */
  async check(): Promise<void> {
    const { one, bodies } = this.parts;
    await one.errand(() => bodies.withBody((body) => body.refresh()));
  }

  /** @throws EvenrungError as check; body-not-ready if the clock cannot be set over the wire */
  async setClock(): Promise<void> {
    const { one, bodies } = this.parts;
    await one.errand(() => bodies.withBody((body) => body.setClock(() => new Date())));
  }

  /**
   * A person confirms something that cannot be read over the wire.
   * @throws EvenrungError no-body
   */
  async tick(code: ReadinessCode, isSo: boolean): Promise<void> {
    await this.parts.bodies.tick(code, isSo);
  }

  /**
   * Finds out what the wire does not tell of the body, by firing some frames, and keeps it.
   * @returns what was learnt, where it is kept, and which settings could not be put back
   * @throws EvenrungError run-under-way, no-body, not-learnt, body-not-ready, and whatever links throw
   */
  async learn(options: LearnOptions = {}): Promise<Learnt> {
    const { one, idle } = this.parts;
    const stopping = () => one.isEnding || (options.stopping?.() ?? false);
    return one.errand(() =>
      idle.during(() => learnAll(this.parts, this.finder.profiles, { ...options, stopping })),
    );
  }

  // --- soundings

  /**
   * Fires a few test frames, and proposes a set that holds all of the scene's light; returns at once.
   * @param written a SoundRequest as in shared/sounding.ts
   * @throws EvenrungError as Sounder.begin
   */
  sound(written: unknown, startedBy = THIS_COMPUTER): BegunSounding {
    return this.parts.sounder.begin(written, startedBy);
  }

  /**
   * The current test frame ends, then nothing more is fired.
   * @throws EvenrungError nothing-to-stop
   */
  stopSounding(): void {
    this.parts.sounder.stop();
  }

  /** Drops the last sounding with its pictures; a sounding that is under way stays. */
  putSoundingAway(): void {
    this.parts.sounder.forget();
  }

  /** @returns a small picture of a test frame of the last sounding; null if there is none */
  testFrame(sounding: string, frame: number): Buffer | null {
    return this.parts.sounder.thumbnail(sounding, frame);
  }

  /** Why there is no body, if looking for one failed. */
  get problem(): EvenrungError | null {
    return this.parts.bodies.problem;
  }

  // --- requests

  /**
   * Tells everyone what somebody asks for, so that all panels show it; nothing is planned or fired.
   * @throws EvenrungError as parseRunRequest
   */
  ask(asked: Asked): void {
    // Things that are to be done at the camera by hand are no part of a run request.
    const { byHand: _, ...request } = asked;
    parseRunRequest(request);
    const { events } = this.parts;
    if (!isDeepStrictEqual(asked, events.state.asked)) events.tell({ type: 'asked', asked });
  }

  /**
   * @param written a SetRequest as in shared/request.ts
   * @throws EvenrungError as parseSetRequest and planWritten; no-body
   */
  plan(written: unknown): Plan {
    return this.parts.planner.plan(parseSetRequest(written));
  }

  /**
   * Works out a schedule before it begins.
   * @param written a RunRequest with a schedule
   * @throws EvenrungError as plan, and as foreseeSchedule
   */
  async foresee(written: unknown): Promise<ForeseenSchedule> {
    const { planner } = this.parts;
    const { set, schedule, light, followSpan } = parseRunRequest(written);
    if (schedule === null)
      throw new EvenrungError('malformed-request', 'There is no schedule in what was asked for.');
    const resolved = planner.resolve(set);
    const span = this.spanFor(followSpan, resolved);
    const foreseen = planner.foresee(planner.plan(resolved), resolved, schedule, span);
    if (light !== null) planner.mustFollow(resolved, light, foreseen);
    return foreseen;
  }

  // --- a run

  /**
   * Begins a run, and returns at once.
   * @param startedBy who begins it, as a person would name them
   * @throws EvenrungError as plan; run-under-way, folder-not-writable, mode-not-supported
   */
  async start(written: unknown, startedBy = THIS_COMPUTER): Promise<BegunRun> {
    const { parts } = this;
    const { one, bodies, planner, journal, sounder } = parts;
    one.mustBeFree();
    const askedAt = Date.now();
    const request = parseRunRequest(written);
    const { schedule, light, followSpan, delay } = request;
    bodies.mustNotBeLooking();
    // Readings are placed once, by the present settings of the camera: all sets of a schedule share base and
    // frames.
    if (isMetered(request.set)) await this.check();
    // A set begins by reading the settings, and planning takes about as long.
    if (schedule === null) bodies.body?.readAhead();
    const set = planner.resolve(request.set);
    const plan = planner.plan(set);
    journal?.catchUp();
    if (journal?.unfinishedRun()) throw unfinishedFirst();
    const body = bodies.must();
    sounder.forget();
    if (schedule === null) {
      const beginsAt = delay > 0 ? new Date(askedAt + delay * 1000) : null;
      return one.begin(startedBy, () => beginSet(parts, { request, plan, body, beginsAt, startedBy }));
    }
    const span = this.spanFor(followSpan, set);
    const foreseen = planner.foresee(plan, set, schedule, span);
    if (light !== null) planner.mustFollow(set, light, foreseen);
    const asked = { ...request, set };
    return one.begin(startedBy, () => beginSeries(parts, asked, span, foreseen, { body, startedBy }));
  }

  /** @throws EvenrungError as spanLimits; light-not-judged */
  private spanFor(followSpan: SpanRequest | null, { offsets }: SetRequest): SpanLimits | null {
    if (followSpan === null) return null;
    const limits = spanLimits(followSpan, offsets.length);
    if (!this.parts.firing.isJudging) throw nobodyJudges();
    return limits;
  }

  /** @throws EvenrungError nothing-to-stop */
  stop(): void {
    this.parts.one.stop();
  }

  /**
   * The current frame ends, then nothing is fired until `letGo`; slots of a schedule pass.
   * @throws EvenrungError nothing-to-hold
   */
  hold(): void {
    this.parts.one.hold();
  }

  /**
   * Takes `hold` back; changes nothing if the run is not held.
   * @throws EvenrungError nothing-to-hold
   */
  letGo(): void {
    this.parts.one.letGo();
  }

  /** Whether a run is under way. */
  get isRunning(): boolean {
    return this.parts.one.isFiring;
  }

  /** Waits for the end of the run under way. */
  async settled(): Promise<void> {
    await this.parts.one.settled();
  }

  // --- a run that was cut off

  /** The run that was cut off, as it is shown to people; null if there is none, or if no journal is kept. */
  unfinished(): Unfinished | null {
    const { journal, one } = this.parts;
    const left = journal?.unfinishedRun() ?? null;
    return left === null || one.isFiring ? null : shown(left);
  }

  /**
   * Tells everyone whether a run was cut off. A run of which everything but its end was written is ended.
   * @throws EvenrungError storing-failed
   */
  tellUnfinished(): void {
    const { journal, events } = this.parts;
    if (journal !== undefined) endWhatIsOver(journal);
    const unfinished = this.unfinished();
    if (events.state.unfinished?.run !== unfinished?.run) events.tell({ type: 'unfinished', unfinished });
  }

  /**
   * Resumes the run that was cut off, and returns at once. If `startedBy` is left out, the run keeps the name
   * of whoever began it.
   * @throws EvenrungError nothing-unfinished, run-under-way, no-body, body-not-ready if another body is
   *   there, base-not-offered, folder-not-writable
   */
  async resume({ startedBy, staysHeld = false }: Partial<Resuming> = {}): Promise<BegunRun> {
    const { parts } = this;
    parts.one.mustBeFree();
    const left = mustBeCutOff(parts.journal);
    const by = startedBy ?? beganBy(left);
    return parts.one.begin(by, () => resume(parts, left, { startedBy: by, staysHeld }));
  }

  /**
   * Ends the run that was cut off: files that came back are taken in, and the record says how far the set
   * got. Without its body or its folder, only the journal says so.
   * @throws EvenrungError nothing-unfinished, run-under-way
   */
  async endUnfinished(): Promise<void> {
    const { parts } = this;
    parts.one.mustBeFree();
    await endCutOff(parts, mustBeCutOff(parts.journal));
    this.tellUnfinished();
  }

  // --- a set that has ended

  /**
   * Fires frames of a set that has ended once more, and returns at once. The earlier files are kept; if the
   * new frame cannot be made, they stay in the set.
   * @param set its id, or the beginning of it
   * @throws EvenrungError run-under-way, run-unfinished, no-such-set, frames-out-of-range, no-body,
   *   folder-not-writable, set-damaged, set-folder-gone, base-not-offered; nothing-to-complete if nothing of
   *   it was stored; body-not-ready if another body is there, or if its settings have to be put right first
   */
  async again(set: string, frames: Again, startedBy = THIS_COMPUTER): Promise<Run> {
    return this.takeUpAgain(set, frames, startedBy);
  }

  /**
   * Makes the missing frames of a set that has ended, and returns at once.
   * @throws EvenrungError as again; nothing-to-complete also if all its frames are verified
   */
  async complete(set: string, startedBy = THIS_COMPUTER): Promise<Run> {
    return this.takeUpAgain(set, 'complete', startedBy);
  }

  /**
   * Makes frames beyond the ends of a set that has ended, and frames that it lacks, in the set's own folder;
   * returns at once. Frames beyond its ends that cannot be made do not become part of the set.
   * @param by how many at each end; if it is empty, one frame at each end that has lost something
   * @throws EvenrungError as again and extendPlan; nothing-to-complete also if `by` is empty and no end has
   *   lost anything
   */
  async extend(set: string, by: Extend = {}, startedBy = THIS_COMPUTER): Promise<Run> {
    return this.takeUpAgain(set, { extend: by }, startedBy);
  }

  /**
   * Looks in the camera for files of a set that has ended and that never came, and fetches them; returns at
   * once. Nothing is fired.
   * @throws EvenrungError as again; nothing-to-complete if none is missing; body-not-ready also if this
   *   link cannot look
   */
  async fetch(set: string, startedBy = THIS_COMPUTER): Promise<Run> {
    return this.takeUpAgain(set, 'fetch', startedBy);
  }

  /** Whether the body that made the run is here, and its card can be searched for files that never came. */
  canLookFor({ body }: Pick<StoredRun, 'body'>): boolean {
    const { body: here } = this.parts.bodies;
    return here?.isApart === true && isSameBody(here.identity, body);
  }

  private async takeUpAgain(set: string, wanted: Wanted, startedBy: string): Promise<Run> {
    const { parts } = this;
    const { one, bodies, journal } = parts;
    one.mustBeFree();
    if (journal === undefined)
      throw new EvenrungError(
        'no-such-set',
        'This Evenrung keeps no journal, so there is no set to continue.',
      );
    journal.catchUp();
    const chosen = chooseSet(journal, set, wanted);
    bodies.mustNotBeLooking();
    const body = bodyOf(bodies, chosen.run);
    return one.begin(startedBy, () => takeUpAgain(parts, journal, chosen, { body, startedBy }));
  }

  /**
   * Gives a set another name, note or viewpoint, in its folder as well.
   * @throws EvenrungError as relabel; no-such-set
   */
  async relabel(id: string, change: Relabel): Promise<void> {
    const { one, journal, events, firing } = this.parts;
    // A set that is just being taken up again has no run yet.
    await one.begun();
    if (journal === undefined) throw new EvenrungError('no-such-set', `There is no set with the id '${id}'.`);
    await relabel(id, change, { journal, events, run: () => firing.run });
  }

  /** @returns the run under way, or else the last one, if it has this id */
  runWithId(id: string): Run | undefined {
    const { run } = this.parts.firing;
    return run?.id === id ? run : undefined;
  }

  // --- the whole

  /** @throws EvenrungError folder-not-writable */
  async checkFolder(): Promise<void> {
    const { folders, sounder } = this.parts;
    await folders.check();
    await sounder.sweepUp();
    folders.sweepUnused();
  }

  /**
   * Waits for what is still being written of sets that have ended: what their pictures tell, and their
   * proofs.
   */
  async proved(): Promise<void> {
    await this.parts.firing.proved();
  }

  /**
   * @returns how many proofs are missing of sets that have ended, and can be made; none if pictures are not judged
   * @throws EvenrungError storing-failed
   */
  proofsMissing(): Promise<number> {
    return this.parts.lateProofs.missing();
  }

  /**
   * Makes the proofs that are missing because a program ended before they were written. In the background, while nothing is
   * fired. Never rejects.
   * @param most of them at the most; left out, all
   * @returns once that is done
   */
  proveLate(most?: number): Promise<void> {
    return this.parts.lateProofs.make(most);
  }

  /**
   * Stops what is under way, puts settings back, lets go of the body. Nothing can be begun afterwards. Never
   * throws.
   */
  async close(): Promise<void> {
    const { one, bodies, folders, lateProofs } = this.parts;
    bodies.endLooking();
    const written = [lateProofs.end(), one.end().then(() => this.proved())];
    await one.end();
    await Promise.race([Promise.all(written), sleep(PROVED_WITHIN_MS, undefined, { ref: false })]);
    await folders.swept();
    await bodies.close();
    await exifTool.end();
  }
}

const nobodyJudges = () =>
  new EvenrungError(
    'light-not-judged',
    'The span cannot follow the scene: this Evenrung does not judge pictures by their light (EVENRUNG_LIGHT=off). Use a fixed span.',
    { field: 'followSpan' },
  );

const unfinishedFirst = () =>
  new EvenrungError(
    'run-unfinished',
    'An earlier set was interrupted: resume it or end it, then fire again.',
  );
