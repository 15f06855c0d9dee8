// One set, from the plan to the set folder: it is made ready, walked through release by release, stopped or
// held if somebody asks for that, and ended. Each step is carried out in a file of its own. This file has
// their order, and decides before each step whether it is still taken.
import { setTimeout as sleep } from 'node:timers/promises';
import { lackingAtEnds, lostAtEnds } from '../../shared/clipping.js';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import { ENDED } from '../../shared/fold.js';
import type { Labels } from '../../shared/labels.js';
import type { LightView } from '../../shared/light.js';
import type { SetRecord } from '../../shared/set-record.js';
import type { Happening, RunView } from '../../shared/state.js';
import { type Body, LINK_FAILURES, type ReadinessAsked } from '../camera/index.js';
import { type BodyLimits, NO_EV, parseAperture, type Sixths } from '../exposure/index.js';
import { type Naming, type SetFolder, type SmallPicture, smallPicture } from '../frames/index.js';
import type { StoredSet } from '../journal/index.js';
import type { Judge } from '../light/index.js';
import { type Conditions, type Extension, extendPlan, type Plan, toWirePlan } from '../plan/index.js';
import { reachesOnNote } from './again/added.js';
import { Redo } from './again/redo.js';
import { makingWay } from './again/taken-up.js';
import type { CameSoFar } from './assign/from-before.js';
import { markLone } from './assign/late-partner.js';
import { Book } from './book/book.js';
import { KEEPS_NOTHING, type Keeper, type SetMemo } from './book/keeper.js';
import { endSet, type PutBack, type SetEnded } from './end/ending.js';
import { Hold, KEEP_AWAKE_MS } from './hold.js';
import { InHand } from './in-hand.js';
import { Common } from './judge/common.js';
import { SetLabels } from './labels.js';
import { handJudged } from './light/judged-set.js';
import { SetLight } from './light/light.js';
import { prove } from './light/proof.js';
import { pickUp } from './pick-up.js';
import { InCamera } from './release/in-camera.js';
import { Releases } from './release/release.js';
import { type Arm, armingOf, type Step, type Went, walk } from './release/walk.js';
import { framesOf, isVerified, nameOf, type SetFrame, timesOf } from './set-frame.js';
import { Steady } from './steady.js';

/** How often a set that waits checks whether it was stopped. */
const SETTLE_LOOK_MS = 100;
/**
 * Errors that a body may answer a change with because it is busy for a moment: over some connections it then
 * leaves the change undone without a word, and over others it tells some of its settings without their choices,
 * or not at all.
 */
const MAY_BE_BUSY: ReadonlySet<string> = new Set([
  'setting-not-taken',
  'choice-not-offered',
  'unknown-setting',
]);

export interface RunOptions {
  readonly id: string;
  /** The set's id, and the name that a person gave it. */
  readonly set: RunView['set'];
  readonly plan: Plan;
  readonly body: Body;
  /** Made before the run, so that a folder that cannot be written is known before anything begins. */
  readonly folder: SetFolder;
  /** The conditions that the body's readiness is judged for. */
  readonly asked: () => Promise<ReadinessAsked>;
  readonly tell: (happening: Happening) => void;
  /** Milliseconds to wait for a body that is gone or busy; a minute if it is left out. */
  readonly patienceMs?: number | undefined;
  /** Keeps each step before anybody is told of it. */
  readonly keeper?: Keeper | undefined;
  /** A set that an earlier program began: this run resumes it, in the same folder. */
  readonly begun?: Begun | undefined;
  /** The ISO that its frames share. If it is left out or null, the ISO stays as the camera has it. */
  readonly iso?: number | null | undefined;
  /** How the base was moved for this set by the schedule; written into its record. */
  readonly baseShifts?: SetRecord['baseShifts'];
  /** How its frame files are named; the usual way if it is left out. */
  readonly naming?: Naming | undefined;
  /** What is known of the times of files that this body sent for earlier sets; nothing if it is left out. */
  readonly cameBefore?: (() => Promise<CameSoFar | null>) | undefined;
  /** Who begins or resumes the set; this computer if it is left out. */
  readonly startedBy?: string | undefined;
  /** Before this moment nothing is fired. */
  readonly beginsAt?: Date | null | undefined;
  /** Milliseconds between calls to the body while the run is held, so that the body does not fall asleep. */
  readonly keepAwakeMs?: number | undefined;
  /** The most frames that may be added at each end, if the set clips there; none if it is left out. */
  readonly extend?: number | undefined;
  /** Limits to the body's use for those added frames; all that it can do if they are left out. */
  readonly limits?: BodyLimits | undefined;
  /** The conditions that added frames are planned for. */
  readonly conditions?: Conditions | undefined;
  /** Opens a judge that looks at the light of the pictures. If it is left out, nothing judges them. */
  readonly openJudge?: (() => Judge) | undefined;
}

/**
 * Recorded as the starter of a run if nobody else is named: somebody at the computer that the daemon runs on.
 */
export const THIS_COMPUTER = 'this computer';

/** What is known of a set that an earlier program began. */
export interface Begun
  extends Pick<
    StoredSet,
    'state' | 'base' | 'startedAt' | 'frames' | 'passes' | 'asides' | 'strays' | 'made' | 'notes' | 'light'
  > {
  readonly memo: SetMemo | null;
}

export class Run {
  readonly id: string;
  /** Why the set went wrong; null as long as it has not. */
  error: EvenrungError | null = null;
  private readonly options: RunOptions;
  private readonly hand: InHand;
  private readonly light: SetLight | null;
  private readonly releases: Releases;
  private readonly inCamera: InCamera;
  private readonly held = new Hold();
  private readonly steady: Steady;
  private stopping = false;
  /**
   * Settles when settings that are put back while pictures are still looked at have been put back; never
   * rejects.
   */
  private puttingBack: Promise<void> = Promise.resolve();
  /** The settings that were put back so far. */
  private readonly wasPutBack = new Set<string>();

  constructor(options: RunOptions) {
    this.id = options.id;
    this.options = options;
    const book = bookOf(options);
    this.steady = new Steady({
      patienceMs: options.patienceMs,
      isStopping: () => this.stopping,
      isPuttingBack: () => book.state === 'putting-back',
      checkBody: () => this.checkBody(),
      tell: (trouble) => book.tellTrouble(trouble),
    });
    this.hand = inHand(options, book);
    const judge = options.openJudge?.();
    this.light = judge === undefined ? null : new SetLight(judge, handJudged(this.hand));
    this.hand.light = this.light;
    this.releases = new Releases(this.hand, this.steady);
    this.inCamera = new InCamera(this.hand, this.steady);
  }

  // --- what others may know of the set

  get view(): RunView {
    const { hand, options } = this;
    const { book } = hand;
    return {
      id: this.id,
      set: hand.labels.set,
      state: book.state,
      base: hand.base(),
      plan: toWirePlan(hand.plan),
      passes: [...book.passes],
      frames: hand.frames.map((frame) => frame.view),
      startedAt: hand.startedAt.toISOString(),
      endedAt: null,
      beginsAt: options.beginsAt?.toISOString() ?? null,
      startedBy: options.startedBy ?? THIS_COMPUTER,
      trouble: this.steady.trouble,
      sentence: null,
      error: null,
      folder: null,
      notes: [...book.notes],
      light: hand.light?.view ?? options.begun?.light ?? null,
      isJudged: this.light !== null,
    };
  }

  get isStopping(): boolean {
    return this.stopping;
  }

  /** @returns a small JPEG of a frame, once there is one */
  thumbnail(number: number): Buffer | null {
    return this.hand.frames.find(({ view }) => view.number === number)?.thumbnail ?? null;
  }

  /** @returns a PNG of which parts of the picture its frames hold; null if that is not known */
  get coverageMap(): Buffer | null {
    return this.hand.light?.map ?? null;
  }

  /** Bytes of each verified frame: of its one file, or of both. */
  get fileBytes(): number[] {
    return this.hand.frames.flatMap(({ checksum, view: { partner } }) =>
      checksum === null ? [] : [checksum.bytes + (partner?.state === 'there' ? (partner.bytes ?? 0) : 0)],
    );
  }

  /** How often the shutter was released for its frames. */
  get released(): number {
    return this.hand.frames.reduce((sum, { view }) => sum + view.attempts, 0);
  }

  /**
   * @returns what the files that this body has sent so far tell of their times; null if none does, or if
   *   they came from another body
   */
  cameFrom({ identity: { model, serial } }: Body): CameSoFar | null {
    const own = this.options.body.identity;
    const { came } = this.releases.soFar;
    return own.model === model && own.serial === serial && came.last !== null ? came : null;
  }

  /**
   * @param at an offset; the base if it is left out
   * @returns the verified frame nearest to it; null if there is none, or its picture cannot be looked at
   */
  async middlePicture(at: Sixths = NO_EV): Promise<SmallPicture | null> {
    const [middle] = [...this.hand.frames].sort(
      (a, b) => Math.abs(a.planned.offset - at) - Math.abs(b.planned.offset - at),
    );
    if (middle === undefined || !isVerified(middle)) return null;
    // A frame that was verified before a restart has no small copy in memory.
    const small = middle.thumbnail ?? (await this.hand.pictureOf(middle))?.thumbnail ?? null;
    return small === null ? null : smallPicture(small);
  }

  // --- what others may do with the set

  /**
   * Asks the set to stop: the current frame ends, early if it still has long to go, and settings are put
   * back.
   */
  stop(): void {
    this.stopping = true;
    this.held.letGo();
    void this.cutShort();
  }

  /**
   * The current frame ends; after it nothing is fired until `letGo`.
   * @returns false if nothing more is going to be fired anyway
   */
  hold(): boolean {
    const { state } = this.hand.book;
    if (this.stopping || state === 'putting-back' || ENDED.has(state)) return false;
    this.held.ask();
    return true;
  }

  /** Takes `hold` back. */
  letGo(): void {
    this.held.letGo();
  }

  /**
   * Gives the set another name from now on.
   * @returns whether the set folder will carry that name; false if the folder is handed over already
   */
  relabel(labels: Labels): boolean {
    return this.hand.labels.change(labels);
  }

  /** A note from before the run, told together with its beginning. */
  noteBefore(sentence: string): void {
    this.hand.book.noteBefore(sentence);
  }

  /** Adds a note about this run: everyone who watches hears it, and the record keeps it. */
  note(sentence: string): void {
    this.hand.book.note(sentence);
  }

  // --- from the beginning to the end

  /** Carries the run out. If something goes wrong, it is in `error`; only a defect is thrown. */
  async carryOut(): Promise<SetEnded> {
    try {
      this.tellWhole();
      if (this.light !== null) this.hand.oweProof(true);
      const came = (await this.options.cameBefore?.()) ?? null;
      if (came !== null) this.releases.know({ came });
      await this.pickUp();
      this.hand.light?.lookAtOthers();
      await this.prepare();
      await this.waitToBegin();
      await this.goThrough();
      await this.releases.looks.catchUp();
      await this.reachOn();
      await this.fetchPartners();
    } catch (cause) {
      this.error = asEvenrungError(cause);
    }
    return this.end();
  }

  /**
   * After the end of the set: waits at most so many milliseconds until its pictures are judged. Never
   * rejects.
   * @returns what the pictures tell; null if nothing judges them, or if they are not all judged by then
   */
  async judged(withinMs: number): Promise<LightView | null> {
    await this.light?.settled(withinMs);
    return this.light?.isSettled === true ? this.light.view : null;
  }

  /**
   * After the end of the set: writes what the pictures tell beside the frames, with a proof of what they can
   * become. Whoever takes the set up again waits for this. Never rejects.
   * @param inTurn does the work while nobody else writes into the folder
   */
  async prove(inTurn: (work: () => Promise<void>) => Promise<void>): Promise<void> {
    if (this.light !== null) await prove(handJudged(this.hand), this.light, inTurn);
  }

  /** Whether the request still allows frames to be added at an end that clips. */
  private get mayReachOn(): boolean {
    const { darker, brighter } = this.roomAtEnds();
    return darker + brighter > 0;
  }

  /** @returns how many frames the request still allows to be added at each end */
  private roomAtEnds(): Extension {
    const { extend = 0 } = this.options;
    const { frames, added } = this.hand;
    const isAdded = ({ view }: SetFrame) => added.includes(view.number);
    const first = frames.findIndex((frame) => !isAdded(frame));
    const last = frames.findLastIndex((frame) => !isAdded(frame));
    return {
      darker: Math.max(0, extend - first),
      brighter: Math.max(0, extend - (frames.length - 1 - last)),
    };
  }

  /** Adds frames at an end that clips, as long as it clips and the request allows more. */
  private async reachOn(): Promise<void> {
    const { hand } = this;
    while (!this.stopping && this.mayReachOn && hand.frames.every(isVerified)) {
      await hand.light?.settled();
      const views = hand.frames.map(({ view }) => view);
      const room = this.roomAtEnds();
      const coverage = hand.light?.view?.coverage ?? null;
      const lost = lostAtEnds(views, coverage).filter(
        ({ side }) => (side === 'blown' ? room.darker : room.brighter) > 0,
      );
      const lacking = lackingAtEnds(views, coverage);
      const plan = this.plannedFarther({
        darker: Math.min(room.darker, lacking.darker),
        brighter: Math.min(room.brighter, lacking.brighter),
      });
      if (plan === null) return;
      hand.extend(plan);
      this.tellWhole();
      const added = hand.frames.filter((frame) => !isVerified(frame)).map(({ view }) => view);
      this.note(reachesOnNote(lost, added));
      await this.goThrough();
      await this.releases.looks.catchUp();
    }
  }

  /**
   * @returns the plan with so many more frames at its ends; null if that is none, or if none of them can be
   *   made
   */
  private plannedFarther({ darker, brighter }: Extension): Plan | null {
    const { body, limits = body.limits, conditions } = this.options;
    let { plan } = this.hand;
    for (const by of [
      { darker, brighter: 0 },
      { darker: 0, brighter },
    ]) {
      if (by.darker + by.brighter === 0) continue;
      try {
        plan = extendPlan(plan, by, limits, conditions);
      } catch (cause) {
        // The set that was asked for is complete all the same.
        this.note(`The set could not be extended: ${asEvenrungError(cause).message}`);
      }
    }
    return plan === this.hand.plan ? null : plan;
  }

  /**
   * The set is made. A second file that never came is looked for once; failing to find it does not halt the
   * set.
   */
  private async fetchPartners(): Promise<void> {
    if (this.stopping || !this.hand.body.isApart) return;
    markLone(this.hand);
    await this.inCamera.fetchPartners().catch((cause: unknown) => {
      const error = asEvenrungError(cause);
      if (error.code === 'storing-failed' || error.code === 'set-folder-gone') throw error;
      this.note(`The camera could not be searched for missing second files: ${error.message}`);
    });
  }

  private async pickUp(): Promise<void> {
    const { begun } = this.options;
    if (begun === undefined) return;
    const closesAt = closedAt(begun.frames);
    const before = await pickUp(this.hand, begun.frames, this.releases.soFar.came);
    this.releases.know({ before });
    if (this.hand.body.isApart) await this.untilClosed(closesAt);
  }

  /**
   * An exposure that the earlier program began may still be under way. Its file will be on the card, so the
   * frame need not be fired again.
   */
  private async untilClosed(closesAt: number): Promise<void> {
    while (!this.stopping && Date.now() < closesAt)
      await sleep(Math.min(SETTLE_LOOK_MS, Math.max(1, closesAt - Date.now())));
  }

  private async prepare(): Promise<void> {
    // A run that only ends a set which an earlier program began needs no body that is ready.
    if (this.stopping) return;
    const { body, plan } = this.options;
    if (this.hand.redo.takenUp?.purpose === 'fetch') {
      // The set is only taken up to fetch files: nothing is fired, so no setting is changed.
      await this.steady.use(() => body.refresh());
      this.hand.common.clockDifference = body.clockDifference;
      return;
    }
    await this.makeReady();
    await body.foresee(plan.passes.map((pass) => armingOf(pass, this.hand)));
    this.hand.common.clockDifference = body.clockDifference;
    if (body.makesPairs) this.hand.common.seePairs();
    this.expectWaiting();
    // Making the body ready has just read its aperture and ISO anew.
    this.tellWhole();
  }

  private async makeReady(): Promise<void> {
    const { body, iso = null } = this.options;
    const asked = await this.options.asked();
    await this.steady.use(() => body.makeReady(asked), MAY_BE_BUSY);
    if (iso !== null) await this.steady.use(() => body.useIso(iso), MAY_BE_BUSY);
  }

  /** Pictures of this set that wait in the camera are counted among its strays already. */
  private expectWaiting(): void {
    const { body, book } = this.hand;
    const waiting = body.picturesWaiting ?? 0;
    this.releases.know({ waited: Math.max(0, waiting - book.strays.length) });
    if (waiting === 0) return;
    const many = waiting === 1 ? 'a picture is waiting' : `${waiting} pictures are waiting`;
    book.note(
      `In the camera ${many} that was not fetched: each file comes ${waiting === 1 ? 'one release' : `${waiting} releases`} late, and a set takes more releases. To clear that, switch the camera off and on between two sets.`,
    );
  }

  /** The body is made ready by now. Stopping the run ends the wait. */
  private async waitToBegin(): Promise<void> {
    const { beginsAt = null } = this.options;
    while (!this.stopping && beginsAt !== null && Date.now() < beginsAt.getTime())
      await sleep(Math.min(SETTLE_LOOK_MS, beginsAt.getTime() - Date.now()));
  }

  private async end(): Promise<SetEnded> {
    const { hand, options } = this;
    hand.book.enter('putting-back');
    await this.releases.looks.catchUp().catch((cause: unknown) => {
      this.error ??= asEvenrungError(cause);
    });
    const ended = await endSet({
      hand,
      keeper: options.keeper ?? KEEPS_NOTHING,
      isStopped: () => this.stopping,
      error: this.error,
      putBack: this.putBack(),
      baseShifts: options.baseShifts,
      tellWhole: () => this.tellWhole(),
    });
    this.error = ended.error;
    return ended;
  }

  /** The body may just have been lost: it gets the same chances to come back as during the run. */
  private async putBack(): Promise<PutBack> {
    const { body } = this.hand;
    await this.puttingBack;
    let error: EvenrungError | null = null;
    try {
      await this.steady.use(
        async () => {
          for (const name of await body.putBack()) this.wasPutBack.add(name);
        },
        new Set(['not-put-back']),
      );
    } catch (cause) {
      error = asEvenrungError(cause);
    }
    return { names: [...this.wasPutBack], error };
  }

  private tellWhole(): void {
    this.hand.book.tellWhole(this.view);
  }

  // --- step by step

  private async goThrough(): Promise<void> {
    const { releases, steady } = this;
    const steps = walk(this.hand, {
      comesLate: () => releases.soFar.comesLate,
      fromBefore: () => releases.soFar.fromBefore,
      mayLieInCamera: () => this.inCamera.mayLieThere,
      wasBusy: () => steady.wasBusy,
      patienceMs: () => steady.patienceMs,
    });
    for (let step = steps.next(); step.done !== true; )
      step = steps.next((await this.mayGoOn(step.value)) ? await this.take(step.value) : 'stopped');
  }

  /** Decides before each step whether it is taken. Steps that wait check `stopping` themselves. */
  private async mayGoOn(step: Step): Promise<boolean> {
    if (!this.stopping && 'state' in step) {
      this.hand.book.enter(step.state);
      await this.waitWhileHeld();
    }
    return !this.stopping;
  }

  private async take(step: Step): Promise<Went> {
    switch (step.is) {
      case 'arm':
        return this.arm(step);
      case 'release':
        return this.releases.fire(step);
      case 'hold point':
        return 'done';
      case 'look back':
        await this.lookBack(step.mayBeOver);
        return 'done';
      case 'look in the camera':
        // A file that is still on its way need not be fetched from the card, and one that fails on its way
        // has to be looked for: so wait for both.
        await this.releases.looks.catchUp();
        await this.inCamera.fetch(this.releases.soFar.came);
        return 'done';
      case 'wait':
        await this.steady.pause();
        return 'done';
      case 'give up':
        throw await this.gaveUp(step.frame);
    }
  }

  /**
   * If everything was fired, settings are put back while the last pictures are looked at: usually the
   * pictures turn out good.
   */
  private async lookBack(mayBeOver: boolean): Promise<void> {
    const { hand, releases } = this;
    const isOpen = () => hand.frames.some((frame) => hand.isDue(frame));
    // Whether frames have to be added is known only when the pictures have been looked at.
    const isOver = mayBeOver && !this.stopping && !releases.soFar.comesLate && !isOpen() && !this.mayReachOn;
    if (isOver) this.puttingBack = this.putBackMeanwhile();
    try {
      await releases.looks.catchUp();
    } finally {
      // Whatever the body still has to do, putting back comes first.
      if (isOpen() || this.inCamera.mayLieThere) await this.puttingBack;
    }
    if (!isOver || !isOpen()) return;
    await this.makeReady();
  }

  /**
   * Settings that are not put back here are put back at the end of the set. Files on their way come first:
   * their pictures cannot be looked at before.
   */
  private async putBackMeanwhile(): Promise<void> {
    const { body } = this.hand;
    await this.releases.allHere();
    if (this.stopping) return;
    try {
      for (const name of await body.putBack()) this.wasPutBack.add(name);
    } catch (cause) {
      const error = asEvenrungError(cause);
      if (LINK_FAILURES.has(error.code)) this.steady.failed(error);
    }
  }

  private async arm({ arming, begins }: Arm): Promise<Went> {
    const { body, book } = this.hand;
    if (begins !== null) book.passChanged(begins, 'arming');
    await this.steady.use(() => body.arm(arming), MAY_BE_BUSY);
    this.releases.know({ biases: [] });
    await this.settle();
    return this.stopping ? 'stopped' : 'done';
  }

  /**
   * Waits the settling time that was asked for, until vibration has died down, unless somebody stops the run.
   */
  private async settle(): Promise<void> {
    const until = performance.now() + (this.hand.plan.settleSeconds ?? 0) * 1000;
    while (!this.stopping && performance.now() < until)
      await sleep(Math.min(SETTLE_LOOK_MS, until - performance.now()));
  }

  /**
   * Why a frame could not be made. The body is asked once more, since it may by now report what prevents it.
   */
  private async gaveUp({ view: frame, firedBefore }: SetFrame): Promise<EvenrungError> {
    const { body } = this.hand;
    const stops = await this.steady
      .use(() => body.refresh())
      .then(async () => body.readiness(await this.options.asked()))
      .then((items) => items.filter(({ mark }) => mark === 'stops').map(({ message }) => message))
      .catch(() => []);
    const tried = `${nameOf(frame)} failed in ${frame.attempts - firedBefore} attempts: ${frame.reason ?? 'no file came back.'}`;
    const code = frame.recorded === null ? 'frame-missing' : 'frame-wrong';
    return new EvenrungError(code, [tried, ...stops].join(' '), {
      frame: frame.number,
      offset: frame.offset,
    });
  }

  /**
   * Somebody who stops a set should not have to wait a quarter of an hour for a frame. The file of a
   * shortened exposure records its shorter time, so it is set aside.
   */
  private async cutShort(): Promise<void> {
    // An exposure that cannot be cut short runs to its end.
    const isCut = await this.hand.body.cutShort().catch(() => false);
    if (isCut) this.note('The last exposure was cut short, because the set was stopped.');
  }

  // --- held

  /**
   * If somebody holds the run, nothing is fired until they let it go or stop it. The settings stay as the set
   * has them. Whoever held it may have touched the camera, so the settings that all frames share are set back
   * before the next frame.
   */
  private async waitWhileHeld(): Promise<void> {
    if (!this.held.isAsked || this.stopping) return;
    const { book } = this.hand;
    const before = book.state;
    const since = performance.now();
    book.enter('held');
    while (this.held.isAsked) {
      await this.waitForLetGo();
      if (this.stopping) return;
      await this.checkHeld();
    }
    if (this.stopping) return;
    book.enter(before);
    const seconds = Math.round((performance.now() - since) / 1000);
    if (this.released > 0)
      book.note(`Paused for ${seconds} s between two frames: check whether the light changed.`);
  }

  private async waitForLetGo(): Promise<void> {
    const { body, keepAwakeMs = KEEP_AWAKE_MS } = this.options;
    for (;;) {
      const { change } = this.held;
      if (!this.held.isAsked) return;
      await sleep(keepAwakeMs, undefined, { signal: change }).catch(() => undefined);
      if (!this.held.isAsked) return;
      // A body that is gone now is found again when the run is let go.
      await body.refresh().catch((cause: unknown) => this.steady.failed(asEvenrungError(cause)));
    }
  }

  /**
   * If something is in the way that only the photographer can put right, the run stays held: whoever let it
   * go is there to do it.
   */
  private async checkHeld(): Promise<void> {
    try {
      await this.steady.use(() => this.checkBody('While the set was paused'));
    } catch (cause) {
      const error = asEvenrungError(cause);
      if (error.code !== 'body-not-ready' || this.stopping) throw cause;
      this.held.ask();
      this.note(`Still paused: ${error.message}`);
    }
  }

  /** The body was away: meanwhile somebody may have turned its dials or changed its lens. */
  private async checkBody(since = 'While the camera was away'): Promise<void> {
    const { body, book } = this.hand;
    // Owed settings are put back whatever state the body is in.
    if (book.state === 'putting-back' || book.state === 'preparing') return;
    const names = await body.resume(await this.options.asked());
    if (names.length > 0) this.note(`${since}, ${names.join(', ')} changed: Evenrung set it back.`);
  }
}

/** From the end of an exposure until its file is on the card, for most cameras (common practice, no source). */
const WRITTEN_WITHIN_MS = 1500;

/**
 * @returns when the last exposure ends whose file never came, in milliseconds since the epoch; 0 if there
 *   is none
 */
const closedAt = (frames: Begun['frames']): number =>
  Math.max(
    0,
    ...frames.map(({ view, firedAt }) =>
      view.state === 'fired' && firedAt !== null
        ? Date.parse(firedAt) + view.exposureTime * 1000 + WRITTEN_WITHIN_MS
        : 0,
    ),
  );

function bookOf({ id, plan, keeper = KEEPS_NOTHING, tell, begun }: RunOptions): Book {
  const known = begun && { frames: begun.frames.map(({ view }) => view), strays: begun.strays };
  const frames = framesOf(plan, known);
  for (const frame of frames) {
    const stored = begun?.frames.find(({ view }) => view.number === frame.view.number);
    if (stored === undefined) continue;
    frame.view = stored.view;
    frame.times = timesOf(stored);
    if (stored.sha256 !== null && stored.bytes !== null)
      frame.checksum = { sha256: stored.sha256, bytes: stored.bytes };
    if (begun?.memo?.takenUp) frame.firedBefore = stored.view.attempts;
  }
  return new Book({ run: id, frames, passes: plan.passes.length, keeper, tell, begun });
}

function inHand({ id, set, plan, body, folder, begun, iso = null, naming }: RunOptions, book: Book): InHand {
  const memo = begun?.memo ?? null;
  const redo = new Redo(memo?.takenUp ?? null, begun?.frames ?? []);
  for (const { aside } of makingWay(redo.takenUp)) folder.keepNameAside(aside);
  return new InHand({
    ...{ run: id, plan, body, folder, book, redo, iso },
    added: memo?.added,
    owesProof: memo?.owesProof,
    asThen: memo?.takenUp?.purpose === 'fetch' && begun !== undefined ? standingThen(begun.base) : null,
    labels: new SetLabels(set, memo?.named, naming),
    startedAt: begun === undefined ? (folder.startedAt ?? new Date()) : new Date(begun.startedAt),
    common: (changed) => new Common(memo, changed),
  });
}

/** The aperture and ISO that the frames of an earlier set shared, taken from its base. */
function standingThen({ aperture, iso }: RunView['base']) {
  const number = iso === null ? null : Number(iso);
  return {
    aperture,
    fNumber: aperture === null ? null : (parseAperture(aperture) ?? null),
    iso: number !== null && Number.isFinite(number) ? number : null,
  };
}
