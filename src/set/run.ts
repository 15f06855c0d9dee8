// A run: one set, from the plan to the set folder. It walks the plan frame by frame, has each file judged, makes up what is
// missing or wrong, can be stopped at any time, and always puts the body's settings back.
import path from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import { ENDED } from '../../shared/fold.js';
import { SET_RECORD_VERSION, type SetRecord } from '../../shared/set-record.js';
import type { FrameState, FrameView, Happening, Labels, RunState, RunView } from '../../shared/state.js';
import {
  type Arming,
  type Body,
  type Centre,
  type FiredFrame,
  LINK_FAILURES,
  notPutBack,
  type ReadinessAsked,
  type StandingExposure,
} from '../camera/index.js';
import { fromEv, nearestSetting, type ShutterSetting, type Sixths, toEv } from '../exposure/index.js';
import {
  compareLight,
  defaultNaming,
  frameStem,
  isOfHandOver,
  isSameSize,
  judge,
  judgeMetered,
  mustBeWhole,
  type Naming,
  type Picture,
  type PixelSize,
  parseTemplate,
  quickDigest,
  type RecordedExposure,
  readPicture,
  readPixelSize,
  readRecorded,
  relabelSet,
  type SetFolder,
  type SmallPicture,
  sidecarNames,
  smallPicture,
} from '../frames/index.js';
import type { Aside, FrameFile, FrameTimes, StoredSet, Stray } from '../journal/index.js';
import { assertWay, FRAME_WAYS, RUN_WAYS } from '../journal/index.js';
import { type Pass, type Plan, type PlannedFrame, toWirePlan } from '../plan/index.js';
import { type CameSoFar, cameIn, NOTHING_CAME_YET, type Origin, originOf } from './from-before.js';
import { Hold, KEEP_AWAKE_MS } from './hold.js';
import { hasHappened, KEEPS_NOTHING, type Keeper, type SetMemo } from './keeper.js';
import { type Marked, marksOf, neighbourMarks, type TakenBefore, withNeighbourMarks } from './marks.js';
import {
  firedLater,
  framesOf,
  isOpen,
  isVerified,
  NO_TIMES,
  nameOf,
  ofFrame,
  type SetFrame,
  seen,
  stray,
  timesAfter,
  timesOf,
} from './set-frame.js';
import { Steady } from './steady.js';
import {
  againSentence,
  earlierOf,
  firedAgain,
  incompleteEnd,
  isInHand,
  knownBeside,
  laterNote,
  makingWay,
  replacedBy,
  type TakenUp,
  wasMade,
} from './taken-up.js';

/** How often a frame is made up before the run halts. */
const MOST_MAKE_UPS = 2;
/** Pictures from before that are told by their time: more of them in one set, and it is the clock that is not to be believed. */
const MOST_FROM_BEFORE = 4;
/** By so much less the clocks are believed for a file that lay there after a restart. */
const DOUBTED_AFTER_RESTART_MS = 1500;
/** Files that may wait to be looked at while the next frames are fired. */
const MOST_LOOKS = 8;
/** Bodies record whole millimetres, and some of them waver by a tenth. */
const LENS_MOVED = 0.03;
/** How often a settling run looks whether it was stopped. */
const SETTLE_LOOK_MS = 100;
/** A release that ended so may have raised the mirror only. */
const NOTHING_CAME: Readonly<Record<string, 'nothing' | 'cut off'>> = {
  'frame-missing': 'nothing',
  'call-timed-out': 'cut off',
};
/** Of one frame; what is to be done about it the run says. */
const NOWHERE_TO_STORE = 'It could not be stored: the set folder is gone.';
/** What a body that is busy for a moment may say to a change: over some connections it only leaves it undone. */
const MAY_BE_BUSY: ReadonlySet<string> = new Set(['setting-not-taken']);

export interface RunOptions {
  readonly id: string;
  /** The set, and what a person calls it. */
  readonly set: RunView['set'];
  readonly plan: Plan;
  readonly body: Body;
  /** Made beforehand: a folder that cannot be written must be known before a run begins. */
  readonly folder: SetFolder;
  /** What the body's readiness is judged for. */
  readonly asked: () => Promise<ReadinessAsked>;
  readonly tell: (happening: Happening) => void;
  /** Milliseconds that it waits for a body that is gone or busy; a minute where it is left out. */
  readonly patienceMs?: number | undefined;
  /** Keeps each step before it is told. */
  readonly keeper?: Keeper | undefined;
  /** A set that an earlier program began: it is gone on with, in the same folder. */
  readonly begun?: Begun | undefined;
  /** The ISO that its frames share; left out or null, as it stands. */
  readonly iso?: number | null | undefined;
  /** How the base was moved for this set, for its record. */
  readonly baseShifts?: SetRecord['baseShifts'];
  /** How its frames are called; by default as they are anywhere. */
  readonly naming?: Naming | undefined;
  /** What the files that this body sent for earlier sets told of their times; left out, nothing is known of any. */
  readonly cameBefore?: (() => Promise<CameSoFar | null>) | undefined;
  /** Who begins it, or goes on with it; left out, this computer. */
  readonly startedBy?: string | undefined;
  /** Before this moment nothing is fired. */
  readonly beginsAt?: Date | null | undefined;
  /** Milliseconds between looks at a body that is held, so that it does not fall asleep. */
  readonly keepAwakeMs?: number | undefined;
}

/** Whoever asks for nothing else sits at the machine that the daemon runs on. */
export const THIS_COMPUTER = 'this computer';

/** What is known of a set that an earlier program began. */
export interface Begun
  extends Pick<StoredSet, 'state' | 'startedAt' | 'frames' | 'passes' | 'asides' | 'strays' | 'notes'> {
  readonly memo: SetMemo | null;
}

/** How a set ended, before its record is written. */
interface Done {
  readonly complete: boolean;
  readonly outcome: RunState;
  readonly putBack: string[];
}

/** A file that came back, read as far as the next frame has to wait for. */
interface Arrival {
  readonly path: string;
  readonly kind: string | undefined;
  readonly recorded: RecordedExposure | null;
  /** Why it can be no frame at all. */
  readonly broken: string | null;
  /** The size that the body said it has, in bytes; null if it said none, or if the file came before a restart. */
  readonly saidBytes: number | null;
  /** When it was released and when it was there, ISO 8601; null where that was before a restart. */
  readonly times: Omit<FrameTimes, 'verifiedAt'> | null;
  /** The file that came before it. */
  readonly before: TakenBefore | null;
  /** Tells it from other files: one that is sent twice is known by that. */
  readonly digest: string | null;
  /** Milliseconds by which it may have been taken before its release; null if nothing speaks for that. */
  readonly perhapsEarlyMs: number | null;
}

export class Run {
  readonly id: string;
  /** How it went wrong, where it did. */
  error: EvenrungError | null = null;
  private readonly options: RunOptions;
  private readonly frames: SetFrame[];
  /** How the plan's passes stand, in firing order. */
  private readonly passes: RunView['passes'];
  private readonly setAside: SetRecord['setAside'] = [];
  private readonly startedAt: Date;
  /** The set, and what a person calls it. */
  private set: RunView['set'];
  /** What it is called in its folder, from when that is handed over. */
  private handed: RunView['set'] | null = null;
  private isHandedOver = false;
  private readonly keeper: Keeper;
  private state: RunState = 'preparing';
  private stopping = false;
  private readonly held = new Hold();
  private readonly steady: Steady;
  /** Millimetres that the lens stood at for the first frame, and what was said where it moved since. */
  private lens: { readonly at: number; said: boolean } | null = null;
  /** Releases whose file never came. */
  private readonly strays: SetRecord['strays'] = [];
  private readonly notes: string[] = [];
  /** Seconds that the body's clock was ahead at the start. */
  private clockDifference: number | null = null;
  /** In aperture priority: Tv in EV of the base that the first verified frame stands for. */
  private meteredTv: number | null = null;
  /** Files whose pictures are being looked at while the run goes on. */
  private readonly looks = new Set<Promise<void>>();
  private lookFailure: EvenrungError | null = null;
  /** In aperture priority: the biases that the files of the bracket under way have recorded. */
  private biases: number[] = [];
  /** What there was before, where the set was taken up again after its end. */
  private takenUp: TakenUp | null = null;
  /** When the last frame of such a set was made. */
  private madeAt: Date | null = null;
  /** What came back, release by release. */
  private readonly releases: ('came' | 'nothing' | 'cut off' | 'unclear')[] = [];
  /** Of the first verified frame, in pixels: frames of two sizes cannot be merged. */
  private size: PixelSize | null = null;
  /** By what its frames are named: one name would else be given otherwise once the set is called otherwise. */
  private readonly named: NonNullable<SetMemo['named']>;
  private isNamedKept = false;
  /** What the last file that came tells of its time. */
  private before: TakenBefore | null = null;
  /** What the files so far told of their times, in this set and in those before. */
  private came: CameSoFar = NOTHING_CAME_YET;
  /** Pictures that waited in the body when the set began, and come first. */
  private waited = 0;
  /** Pictures from before that came. */
  private fromBefore = 0;
  /** Whether the last file that came was of an earlier release: then each may come one release late. */
  private comesLate = false;
  private ratios: SetRecord['ratios'] = [];

  constructor(options: RunOptions) {
    this.id = options.id;
    this.options = options;
    this.set = options.set;
    this.keeper = options.keeper ?? KEEPS_NOTHING;
    this.steady = new Steady({
      patienceMs: options.patienceMs,
      isStopping: () => this.stopping,
      isPuttingBack: () => this.state === 'putting-back',
      checkBody: () => this.checkBody(),
      tell: (trouble) => this.tell({ type: 'trouble', run: this.id, trouble }),
    });
    this.frames = framesOf(options.plan);
    this.passes = options.plan.passes.map((_, index) => options.begun?.passes[index] ?? 'planned');
    const { begun } = options;
    this.startedAt =
      begun === undefined ? (options.folder.startedAt ?? new Date()) : new Date(begun.startedAt);
    this.named = begun?.memo?.named ?? namedBy(options);
    if (begun === undefined) return;
    this.state = begun.state;
    for (const frame of this.frames) {
      const stored = begun.frames.find(({ view }) => view.number === frame.view.number);
      if (stored !== undefined) frame.view = stored.view;
      if (stored?.sha256 && stored.bytes !== null)
        frame.checksum = { sha256: stored.sha256, bytes: stored.bytes };
      if (stored !== undefined) frame.times = timesOf(stored);
    }
    this.size = begun.memo?.size ?? null;
    this.setAside.push(...begun.asides);
    this.strays.push(...begun.strays);
    this.notes.push(...begun.notes);
    this.meteredTv = begun.memo?.meteredTv ?? null;
    const lensAt = begun.memo?.lensAt ?? null;
    if (lensAt !== null) this.lens = { at: lensAt, said: false };
    this.takeUp(begun.memo?.takenUp ?? null, begun.frames);
  }

  private takeUp(takenUp: TakenUp | null, stored: Begun['frames']): void {
    this.takenUp = takenUp;
    if (takenUp === null) return;
    for (const frame of this.frames) frame.firedBefore = frame.view.attempts;
    for (const { aside } of makingWay(takenUp)) this.options.folder.keepNameAside(aside);
    // Before a restart.
    const made = stored.flatMap(({ view, verifiedAt }) =>
      verifiedAt !== null && wasMade(takenUp, view) ? [verifiedAt] : [],
    );
    const last = made.sort().at(-1);
    if (last !== undefined) this.madeAt = new Date(last);
  }

  /** What it is, before anything of it is done. */
  get view(): RunView {
    return this.whole();
  }

  get isStopping(): boolean {
    return this.stopping;
  }

  /** Asks the run to stop: the frame in hand ends, settings are put back. */
  stop(): void {
    this.stopping = true;
    this.held.letGo();
  }

  /** The frame in hand ends, then nothing is fired until `goOn`. @returns false where nothing more is going to be fired */
  hold(): boolean {
    if (this.stopping || this.state === 'putting-back' || ENDED.has(this.state)) return false;
    this.held.ask();
    return true;
  }

  /** Takes `hold` back. */
  goOn(): void {
    this.held.letGo();
  }

  /** @returns a small JPEG of a frame, once there is one */
  thumbnail(number: number): Buffer | null {
    return this.frames[number - 1]?.thumbnail ?? null;
  }

  /** Bytes of each verified frame's file. */
  get fileBytes(): number[] {
    return this.frames.flatMap(({ checksum }) => (checksum === null ? [] : [checksum.bytes]));
  }

  /** @returns what the files that this body sent so far told of their times; null if nothing, or if it was another body */
  cameFrom({ identity: { model, serial } }: Body): CameSoFar | null {
    const own = this.options.body.identity;
    return own.model === model && own.serial === serial && this.came.last !== null ? this.came : null;
  }

  /** How often the shutter was released for its frames. */
  get released(): number {
    return this.frames.reduce((sum, { view }) => sum + view.attempts, 0);
  }

  /** @returns the verified frame nearest to the base; null where there is none, or its picture cannot be looked at */
  async middlePicture(): Promise<SmallPicture | null> {
    const [middle] = this.frames
      .filter(isVerified)
      .sort((a, b) => Math.abs(a.view.offset) - Math.abs(b.view.offset));
    if (middle === undefined || middle.view.offset !== this.nearestOffset()) return null;
    const file = path.join(this.options.folder.path, middle.view.file ?? '');
    // One that was verified before a restart has no small copy at hand.
    const small =
      middle.thumbnail ??
      (await readPicture(file, path.extname(file).slice(1)).catch(() => null))?.thumbnail ??
      null;
    return small === null ? null : smallPicture(small);
  }

  private nearestOffset(): number {
    const offsets = this.frames.map(({ view }) => view.offset);
    return offsets.reduce((best, offset) => (Math.abs(offset) < Math.abs(best) ? offset : best));
  }

  /** The set is called otherwise from now on. @returns whether its folder is going to say so; false where that is handed over */
  relabel(labels: Labels): boolean {
    this.set = { ...this.set, ...labels };
    return !this.isHandedOver;
  }

  /** A note from before the run, which is told with its beginning. */
  noteBefore(sentence: string): void {
    if (!this.notes.includes(sentence)) this.notes.push(sentence);
  }

  /** Tells everyone who watches, and the record, something about this run. */
  note(sentence: string): void {
    // A set that is taken up again may be told the same once more.
    if (this.notes.includes(sentence)) return;
    this.notes.push(sentence);
    this.tell({ type: 'note', run: this.id, note: sentence });
  }

  /** Carries the run out. Never throws: how it ended is in the state, and in `error`. */
  async carryOut(): Promise<RunState> {
    try {
      this.tellWhole();
      this.came = (await this.options.cameBefore?.()) ?? this.came;
      await this.pickUp();
      await this.prepare();
      await this.waitToBegin();
      for (const [index, pass] of this.options.plan.passes.entries()) {
        if (this.stopping) break;
        if (this.framesOfPass(pass).every((frame) => frame.view.state === 'planned' && this.isDue(frame)))
          await this.firePass(pass, index + 1);
        // What is missing of the pass comes with the next one.
        if (!this.comesLate) await this.makeUp(index + 1);
      }
      await this.catchUp(0);
      await this.makeUp(this.options.plan.passes.length);
    } catch (cause) {
      this.error = asEvenrungError(cause);
    }
    return this.end();
  }

  private async prepare(): Promise<void> {
    // Whoever only wants a set ended that was begun needs no body that is ready.
    if (this.stopping) return;
    const { body, plan } = this.options;
    const asked = await this.options.asked();
    await this.steady.use(() => body.makeReady(asked), MAY_BE_BUSY);
    const { iso = null } = this.options;
    if (iso !== null) await this.steady.use(() => body.useIso(iso), MAY_BE_BUSY);
    await body.foresee(plan.passes.map((pass) => this.armingOf(pass)));
    this.clockDifference = body.clockDifference;
    this.expectWaiting();
    // What the aperture and the ISO stand on was read anew just now.
    this.tellWhole();
  }

  /** What waits there of this set is among its strays. */
  private expectWaiting(): void {
    const waiting = this.options.body.picturesWaiting ?? 0;
    this.waited = Math.max(0, waiting - this.strays.length);
    if (waiting === 0) return;
    const many = waiting === 1 ? 'a picture waits' : `${waiting} pictures wait`;
    this.note(
      `In the camera ${many} that nobody has fetched: each file comes ${waiting === 1 ? 'one release' : `${waiting} releases`} late, and a set takes more releases. Between two sets, switch the camera off and on to clear that.`,
    );
  }

  /** The body is ready meanwhile; whoever stops it does not wait. */
  private async waitToBegin(): Promise<void> {
    const { beginsAt = null } = this.options;
    while (!this.stopping && beginsAt !== null && Date.now() < beginsAt.getTime())
      await pause(Math.min(SETTLE_LOOK_MS, beginsAt.getTime() - Date.now()));
  }

  // --- held

  /**
   * Where somebody holds the run, nothing is fired until they let it go on, or stop it. The settings stay as the set has them. Whoever
   * held it may have been at the camera: what all frames share is set back before the next one.
   */
  private async waitWhileHeld(): Promise<void> {
    if (!this.held.isAsked || this.stopping) return;
    const before = this.state;
    const since = performance.now();
    this.enter('held');
    while (this.held.isAsked) {
      await this.waitForLetGo();
      if (this.stopping) return;
      await this.checkHeld();
    }
    if (this.stopping) return;
    this.enter(before);
    const seconds = Math.round((performance.now() - since) / 1000);
    if (this.released > 0) this.note(`Held for ${seconds} s between two frames: the light may have moved.`);
  }

  private async waitForLetGo(): Promise<void> {
    const { body, keepAwakeMs = KEEP_AWAKE_MS } = this.options;
    for (;;) {
      const { change } = this.held;
      if (!this.held.isAsked) return;
      await sleep(keepAwakeMs, undefined, { signal: change }).catch(() => undefined);
      if (!this.held.isAsked) return;
      // One that is gone meanwhile is met again when the run goes on.
      await body.refresh().catch((cause: unknown) => this.steady.failed(asEvenrungError(cause)));
    }
  }

  /** What only the photographer can set right keeps it held: somebody is there. */
  private async checkHeld(): Promise<void> {
    try {
      await this.steady.use(() => this.checkBody('While the run was held'));
    } catch (cause) {
      const error = asEvenrungError(cause);
      if (error.code !== 'body-not-ready' || this.stopping) throw cause;
      this.held.ask();
      this.note(`Still held: ${error.message}`);
    }
  }

  // --- going on with a set that was begun

  /**
   * Brings what is known of the frames and what lies in the folder together: whatever came back is taken up, what was fired and
   * never came is open again, and what was verified has to be what it was.
   */
  private async pickUp(): Promise<void> {
    if (this.options.begun === undefined) return;
    this.enter('preparing');
    for (const frame of this.frames) {
      if (frame.view.state === 'armed') this.change(frame, 'planned');
      if (frame.view.state === 'verified') await this.checkKept(frame);
    }
    const { folder } = this.options;
    const known = new Set([
      ...this.frames.flatMap(({ view }) =>
        view.state === 'verified' && view.file !== null ? [view.file] : [],
      ),
      ...knownBeside(this.takenUp),
      ...this.setAside.map(({ file }) => file),
    ]);
    for (const file of await folder.strangers(known)) {
      const arrival = await this.read({ path: file, seconds: 0 }, null);
      if (this.isOlder(arrival)) {
        await this.putFromBefore(arrival);
        continue;
      }
      const owner = this.frames.find((frame) => !isVerified(frame) && this.mismatch(arrival, frame) === null);
      if (owner === undefined) {
        await this.putAside(arrival, this.cameWrong(arrival), this.frames);
        continue;
      }
      if (owner.view.state !== 'fired' && owner.view.state !== 'stored') this.strayCame(owner);
      if (owner.view.state !== 'stored') {
        const times = { ...owner.times, storedAt: null, verifiedAt: null };
        this.change(owner, 'stored', { reason: null, ...seen(arrival.recorded) }, { times });
      }
      await this.accept(arrival, owner, this.frames, this.movedBase(arrival, owner));
    }
    for (const frame of this.frames) {
      if (frame.view.state === 'fired') this.lostWithTheProgram(frame);
      if (frame.view.state === 'stored')
        this.change(frame, 'rejected', { reason: 'Its file was not there any more after a restart.' });
    }
    for (const [index, pass] of this.options.plan.passes.entries())
      if (this.framesOfPass(pass).every(isVerified)) this.tellPass(index + 1, 'done');
    this.before = await this.lastTaken();
  }

  /**
   * A picture from before may have come just as the program ended. For which release a file came nobody knows any more: the first whose
   * file is missing may have brought it. If in doubt it is set aside: that costs a release, and no more.
   */
  private isOlder({ recorded, digest }: Arrival): boolean {
    const came = cameIn(recorded, digest);
    if (came === null) return false;
    const { setStartedAt } = this;
    const releases = [
      ...this.frames.map((frame) => (isVerified(frame) ? null : frame.times.firedAt)),
      ...this.strays.map(({ releasedAt }) => releasedAt),
    ];
    const owedSince = releases.filter((at) => at !== null && at >= setStartedAt).sort()[0] ?? setStartedAt;
    const firedAt = new Date(Date.parse(owedSince) + DOUBTED_AFTER_RESTART_MS).toISOString();
    const { clockDifference } = this.options.body;
    const known = { ...this.came, last: null, owedSince: null, clockDifference };
    const release = { firedAt, storedAt: new Date().toISOString(), setStartedAt: firedAt, ...known };
    return originOf(came, release).is === 'from-before';
  }

  /** @returns what the frame that was fired last before a restart tells of its time */
  private async lastTaken(): Promise<TakenBefore | null> {
    const last = this.frames
      .filter((frame) => isVerified(frame) && frame.times.firedAt !== null)
      .reduce<SetFrame | null>((latest, one) => (firedLater(one, latest) ? one : latest), null);
    if (last === null) return null;
    const recorded = await readRecorded(this.pathOf(last)).catch(() => null);
    const takenAt = recorded?.takenAt ?? null;
    return takenAt === null ? null : { number: last.view.number, takenAt };
  }

  private pathOf({ view }: SetFrame): string {
    return path.join(this.options.folder.path, view.file ?? '');
  }

  private lostWithTheProgram(frame: SetFrame): void {
    const reason = 'Evenrung was ended while the frame was being made.';
    this.addStray(stray(frame.view, this.firedAt(frame.view.number), reason));
    this.change(frame, 'rejected', { reason });
  }

  /** @returns the frame that was fired last before a restart, if this whole file is what came of it, and is not as it was asked for */
  private cameWrong(arrival: Arrival): SetFrame | null {
    const fired = this.frames.find(({ view }) => view.state === 'fired');
    if (fired === undefined || arrival.recorded === null) return null;
    if (this.frames.some((frame) => isVerified(frame) && this.mismatch(arrival, frame) === null)) return null;
    const reason = this.mismatch(arrival, fired) ?? '';
    this.change(fired, 'rejected', { reason, ...seen(arrival.recorded) });
    return fired;
  }

  private firedAt(number: number): Date {
    const stored = this.options.begun?.frames.find(({ view }) => view.number === number);
    return stored?.firedAt ? new Date(stored.firedAt) : new Date();
  }

  private async checkKept(frame: SetFrame): Promise<void> {
    const { file } = frame.view;
    const now = file === null ? null : await this.options.folder.checksumOf(file);
    if (now !== null && (frame.checksum === null || now.sha256 === frame.checksum.sha256)) return;
    frame.checksum = null;
    const reason =
      now === null
        ? 'Its file was gone after a restart.'
        : 'Its file was not what it had been after a restart.';
    this.change(frame, 'rejected', { reason, file: null, recorded: null });
  }

  // --- passes

  private async firePass(pass: Pass, number: number): Promise<void> {
    this.enter('firing');
    await this.waitWhileHeld();
    if (this.stopping) return;
    this.tellPass(number, 'arming');
    await this.armPass(pass);
    await this.settle();
    if (this.stopping) return;
    this.tellPass(number, 'firing');
    this.biases = [];
    await this.fireTurns(pass);
    this.tellPass(number, 'done');
  }

  private armPass(pass: Pass): Promise<void> {
    return this.steady.use(() => this.options.body.arm(this.armingOf(pass)), MAY_BE_BUSY);
  }

  private armingOf({ centre, centreShutter, shape }: Pass): Arming {
    return { centre: this.centreAt(centre, centreShutter), shape };
  }

  private centreAt(offset: Sixths, shutter: ShutterSetting): Centre {
    return this.options.plan.mode === 'manual'
      ? { by: 'shutter', shutter }
      : { by: 'compensation', compensation: offset };
  }

  /** Waits for what trembles to come to rest, as long as was asked for, unless somebody stops the run. */
  private async settle(): Promise<void> {
    const until = performance.now() + (this.options.plan.settleSeconds ?? 0) * 1000;
    while (!this.stopping && performance.now() < until)
      await pause(Math.min(SETTLE_LOOK_MS, until - performance.now()));
  }

  /** Fires the bracket turn by turn, as long as the pass has open frames. */
  private async fireTurns(pass: Pass): Promise<void> {
    const own = this.framesOfPass(pass);
    for (const turn of pass.frames) {
      await this.waitWhileHeld();
      // What is left of the bracket is not needed.
      if (this.stopping || !own.some((frame) => this.isDue(frame))) return;
      if (!(await this.shoot(this.openFrame(own, turn), own))) return;
    }
  }

  /** Whether it has still to be made, and is to be made now. */
  private isDue(frame: SetFrame): boolean {
    return isOpen(frame) && isInHand(this.takenUp, frame.view.number);
  }

  private framesOfPass(pass: Pass): SetFrame[] {
    return this.frames.filter((frame) => frame.pass === pass);
  }

  /**
   * What the passes so far left open is made singly, bracket off; where its shutter cannot be set, the pass is repeated.
   * @param passes how many were fired
   */
  private async makeUp(passes: number): Promise<void> {
    for (const frame of this.frames.filter(({ view }) => view.pass <= passes)) {
      const since = performance.now();
      while (this.isDue(frame) && !this.stopping) {
        if (frame.madeUp >= MOST_MAKE_UPS + (this.options.body.picturesWaiting ?? 0))
          throw await this.gaveUp(frame);
        frame.madeUp += 1;
        this.enter('making-up');
        const { fromBefore } = this;
        if (this.canBeSingle(frame)) await this.shootSingly(frame);
        else await this.repeat(frame.pass);
        await this.catchUp(0);
        // What came was no attempt of it.
        if (this.fromBefore > fromBefore) frame.madeUp -= 1;
        // A body that was busy did not try: it is given as long as one that is gone.
        if (!this.steady.wasBusy || performance.now() - since > this.steady.patienceMs) continue;
        frame.madeUp -= 1;
        await this.steady.pause();
      }
    }
  }

  /** The last word on a frame: the body may have told meanwhile what is in its way. */
  private async gaveUp({ view: frame, firedBefore }: SetFrame): Promise<EvenrungError> {
    const { body } = this.options;
    const stops = await this.steady
      .use(() => body.refresh())
      .then(async () => body.readiness(await this.options.asked()))
      .then((items) => items.filter(({ mark }) => mark === 'stops').map(({ message }) => message))
      .catch(() => []);
    const missing = frame.recorded === null;
    return new EvenrungError(
      missing ? 'frame-missing' : 'frame-wrong',
      [
        `${nameOf(frame)} could not be made in ${frame.attempts - firedBefore} attempts: ${frame.reason ?? 'nothing came back.'}`,
        ...stops,
      ].join(' '),
      { frame: frame.number, offset: frame.offset },
    );
  }

  private canBeSingle({ shutter, view }: SetFrame): boolean {
    const { plan, body } = this.options;
    if (plan.mode === 'manual') return shutter.settable;
    const { range, grid } = body.limits.compensation;
    const offset = fromEv(view.offset);
    return Math.abs(offset) <= range && offset % grid === 0;
  }

  private async shootSingly(frame: SetFrame): Promise<void> {
    const centre = this.centreAt(fromEv(frame.view.offset), frame.shutter);
    await this.waitWhileHeld();
    if (this.stopping) return;
    await this.steady.use(() => this.options.body.arm({ centre, shape: null }), MAY_BE_BUSY);
    await this.settle();
    await this.waitWhileHeld();
    if (this.stopping) return;
    await this.shoot(frame, [frame], true);
  }

  /** Frames that are already good are fired once more on the way; the repeats are kept aside and replace nothing. */
  private async repeat(pass: Pass): Promise<void> {
    await this.waitWhileHeld();
    if (this.stopping) return;
    await this.armPass(pass);
    await this.settle();
    this.biases = [];
    await this.fireTurns(pass);
  }

  /** @returns the frame of this turn; null where it is there already, or where this pass need not make it */
  private openFrame(own: readonly SetFrame[], turn: PlannedFrame): SetFrame | null {
    return own.find((frame) => isOpen(frame) && frame.view.offset === toEv(turn.offset)) ?? null;
  }

  // --- frames

  /**
   * Fires one frame and has its file judged. Where the file proves to be another open frame of the pass, it counts as that
   * one: bodies differ in the order in which they fire.
   * @param expected null where the turn of the bracket has to be fired for nothing: then the file is set aside
   * @param isSingle whether the bracket is off
   * @returns false where nothing came back, so that nobody knows where the bracket stands
   */
  private async shoot(
    expected: SetFrame | null,
    pass: readonly SetFrame[],
    isSingle = false,
  ): Promise<boolean> {
    let fired: FiredFrame;
    let releasedAt = new Date();
    try {
      await this.options.folder.mustHaveRoom();
      if (expected !== null) {
        this.change(expected, 'armed', { attempts: expected.view.attempts + 1, reason: null });
        this.change(expected, 'fired');
      }
      releasedAt = new Date();
      fired = await this.fire(pass);
      this.releases.push('came');
    } catch (cause) {
      const error = await this.options.folder.whyNotStored(asEvenrungError(cause));
      this.releases.push(NOTHING_CAME[error.code] ?? 'unclear');
      if (expected?.view.state === 'fired') {
        const reason = error.code === 'set-folder-gone' ? NOWHERE_TO_STORE : error.message;
        if (error.details.released !== false) this.addStray(stray(expected.view, releasedAt, reason));
        this.change(expected, 'rejected', { reason });
      }
      const linkFailed = LINK_FAILURES.has(error.code);
      if (error.code !== 'frame-missing' && !linkFailed) throw ofFrame(expected?.view, error);
      if (this.everyOtherRelease()) throw mirrorLocked();
      this.steady.failed(error);
      // Its file may still come: over this connection it would be taken for the next one.
      if (!linkFailed) this.options.body.dropConnection();
      return false;
    }
    const arrival = await this.read(fired, releasedAt);
    const origin = this.originOf(arrival);
    if (origin.is === 'from-before') return this.takeFromBefore(arrival, expected, releasedAt);
    this.mustTellFrames(arrival, isSingle);
    const perhapsEarlyMs = origin.is === 'doubtful' ? origin.earlyMs : null;
    await this.takeIn({ ...arrival, perhapsEarlyMs }, expected, pass, isSingle, releasedAt);
    return true;
  }

  /** Whether a picture that had waited in the camera came in place of the one that was released. */
  private originOf({ recorded, times, digest }: Arrival): Origin {
    const { came } = this;
    const file = cameIn(recorded, digest);
    this.came = { ...came, last: file ?? came.last };
    if (this.waited > 0) {
      this.waited -= 1;
      return { is: 'from-before' };
    }
    const { firedAt = null, storedAt = null } = times ?? {};
    if (file === null || firedAt === null || storedAt === null) return { is: 'its-own' };
    const { clockDifference, owedSince, setStartedAt } = this;
    const origin = originOf(file, { firedAt, storedAt, setStartedAt, owedSince, clockDifference, ...came });
    if (origin.is === 'from-before' && this.fromBefore < MOST_FROM_BEFORE) return origin;
    const { exposureTime = null } = recorded ?? {};
    this.came = { last: file, anchor: { takenAt: file.takenAt, exposureTime, firedAt, storedAt } };
    return origin.is === 'from-before' ? { is: 'its-own' } : origin;
  }

  private get setStartedAt(): string {
    return this.takenUp?.since ?? this.startedAt.toISOString();
  }

  /** Since when a file of this set may still come; null if each release has brought its own. */
  private get owedSince(): string | null {
    const since = this.setStartedAt;
    if (this.comesLate) return since;
    return (
      this.strays
        .map(({ releasedAt }) => releasedAt)
        .filter((at) => at >= since)
        .sort()[0] ?? null
    );
  }

  /** @returns whether it is known where the bracket stands */
  private async takeFromBefore(
    arrival: Arrival,
    expected: SetFrame | null,
    releasedAt: Date,
  ): Promise<boolean> {
    const { body } = this.options;
    this.fromBefore += 1;
    this.comesLate = true;
    const reason = 'A picture from before came in its place.';
    if (expected !== null) {
      this.addStray(stray(expected.view, releasedAt, reason));
      this.change(expected, 'rejected', { reason });
    }
    await this.putFromBefore(arrival);
    // Where the body keeps what waits, another connection does not help: its files come late, and are told by what they record.
    if (body.picturesWaiting !== null) return true;
    this.beginAnew(reason);
    return false;
  }

  private async putFromBefore({ path: arrived, kind }: Arrival): Promise<void> {
    const file = await this.options.folder.setAside(arrived, null, kind);
    this.addAside({ file, reason: 'It had waited in the camera since before it was fired for.' });
  }

  /** What is on its way, or waits to be sent, would be taken for the next frames. */
  private beginAnew(why: string): void {
    this.steady.failed(new EvenrungError('frame-missing', why, { released: true }));
    this.options.body.dropConnection();
  }

  /**
   * In aperture priority a frame is told by the bias that its file records. Where two frames of one bracket record the same, the
   * bracket's part is missing, and which frame a file is can only be told by the order: that must have been learnt.
   * @throws EvenrungError mode-not-supported
   */
  private mustTellFrames({ recorded }: Arrival, isSingle: boolean): void {
    const { plan, body } = this.options;
    if (plan.mode === 'manual' || isSingle || recorded === null || body.profile?.patterns !== undefined)
      return;
    if (recorded.bias !== null && this.biases.includes(recorded.bias)) {
      throw new EvenrungError(
        'mode-not-supported',
        'In aperture priority the files of this camera do not tell which frame of the bracket they are, and the frames of this pass cannot be relied on. Let Evenrung learn the camera once (the command `learn`), so that the order is known; or use manual mode.',
      );
    }
    if (recorded.bias !== null) this.biases.push(recorded.bias);
  }

  /** With mirror lock-up on, one release raises the mirror and brings nothing, and the next one brings a frame. */
  private everyOtherRelease(): boolean {
    const { releases } = this;
    // A call that is cut off may have other reasons: then it takes one more time to be believed.
    const enough = releases.includes('cut off') ? 5 : 3;
    return (
      releases.length === enough &&
      releases.every((what, index) =>
        index % 2 === 1 ? what === 'came' : what === 'nothing' || what === 'cut off',
      )
    );
  }

  private async takeIn(
    came: Arrival,
    expected: SetFrame | null,
    pass: readonly SetFrame[],
    isSingle: boolean,
    releasedAt: Date,
  ): Promise<void> {
    // A file that comes late is a frame that was fired before.
    const fired = this.frames.filter(({ view, firedBefore }) => view.attempts > firedBefore);
    const possible = [...(expected === null ? [] : [expected]), ...pass, ...fired];
    const owner = possible.find((frame) => isOpen(frame) && this.mismatch(came, frame) === null);
    const isOfEarlier =
      owner === undefined
        ? fired.some((frame) => frame !== expected && this.mismatch(came, frame) === null)
        : fired.includes(owner);
    if (owner !== undefined && owner === expected) this.comesLate = false;
    else if (expected !== null && isOfEarlier) this.comesLate = true;
    // A file that proves to be of an earlier release is no doubtful one.
    const perhapsEarlyMs = isOfEarlier && owner !== expected ? null : came.perhapsEarlyMs;
    const arrival = { ...came, before: this.before, perhapsEarlyMs };
    const takenAt = arrival.recorded?.takenAt ?? null;
    if (takenAt !== null) this.before = { number: owner?.view.number ?? null, takenAt };
    this.watchLens(arrival);
    if (owner !== undefined && owner === expected) {
      this.change(owner, 'stored', seen(arrival.recorded));
      await this.lookAt(arrival, owner, pass);
      return;
    }
    // The file that was missing has come, if only to be set aside; now that of this release is missing, and may come late, too.
    const isOwed = isOfEarlier && this.lateCame(came, expected);
    if (expected !== null) {
      const reason =
        owner === undefined
          ? (this.mismatch(arrival, expected) ?? '')
          : `Its file proved to be frame ${owner.view.number}.`;
      const isUnsure = owner === undefined && (isSingle || expected.pass.shape === null);
      // A body that counts what waits has told before that a file is late.
      const mayBeOwed =
        isUnsure &&
        (isOfEarlier || came.perhapsEarlyMs !== null) &&
        this.options.body.picturesWaiting === null;
      if (isOwed || mayBeOwed) this.addStray(stray(expected.view, releasedAt, cameInstead(isOfEarlier)));
      this.change(expected, 'stored');
      this.change(expected, 'rejected', { reason, ...(owner === undefined ? seen(arrival.recorded) : {}) });
      // Somebody may have turned a dial, so that what was believed to be set is set again; or each file comes one release late.
      if (isUnsure) this.beginAnew(reason);
    }
    if (owner !== undefined) {
      // Another one was told to be fired; or it was fired before, and its file comes late.
      const times = { ...NO_TIMES, ...arrival.times };
      const attempts = owner.view.attempts + (isOfEarlier ? 0 : 1);
      const view = { attempts, reason: null, ...seen(arrival.recorded) };
      this.change(owner, 'stored', view, { times });
      await this.lookAt(arrival, owner, pass);
    } else {
      await this.putAside(arrival, expected, pass);
    }
  }

  /** Frames of a zoom lens that moved do not lie over each other: that is said once, and decided by whoever looks at them. */
  private watchLens({ recorded }: Arrival): void {
    const now = recorded?.focalLength ?? null;
    if (now === null) return;
    if (this.lens === null) {
      this.lens = { at: now, said: false };
      this.remember();
    }
    if (this.lens.said || Math.abs(now / this.lens.at - 1) <= LENS_MOVED) return;
    this.lens.said = true;
    this.note(
      `The lens moved in the middle of the set: it stood at ${this.lens.at} mm, and now stands at ${now} mm. Frames from before and after do not lie over each other: set it back, and fire the set again.`,
    );
  }

  /** The deadline is sized by the longest exposure of the pass: bodies differ in the order in which they fire. */
  private fire(pass: readonly SetFrame[]): Promise<FiredFrame> {
    const planned = pass.flatMap((frame) => frame.pass.frames);
    const exposureSeconds = Math.max(...planned.map((frame) => frame.shutter.seconds));
    return this.options.body.fire({ into: this.options.folder.incoming, exposureSeconds });
  }

  private async read(fired: FiredFrame, releasedAt: Date | null): Promise<Arrival> {
    const now = new Date().toISOString();
    const times = releasedAt === null ? null : { firedAt: releasedAt.toISOString(), storedAt: now };
    const digest = await quickDigest(fired.path);
    const { saidBytes = null } = fired;
    const known = { path: fired.path, times, before: null, saidBytes, digest, perhapsEarlyMs: null };
    const kind = await this.options.folder.kindOf(fired.path);
    try {
      if (kind === undefined)
        throw new EvenrungError('frame-unreadable', 'The file that came back is no picture.');
      return { ...known, kind, recorded: await readRecorded(fired.path), broken: null };
    } catch (cause) {
      return { ...known, kind, recorded: null, broken: asEvenrungError(cause).message };
    }
  }

  /** @returns why this file is not that frame, or null where it is */
  private mismatch(arrival: Arrival, frame: SetFrame): string | null {
    if (arrival.recorded === null) return arrival.broken;
    const { fNumber, iso } = this.standing();
    const verdict =
      this.options.plan.mode === 'manual'
        ? judge(arrival.recorded, { shutter: frame.shutter, fNumber, iso })
        : this.judgeMetered(arrival.recorded, frame);
    return verdict.right ? null : verdict.reasons.join(' ');
  }

  private judgeMetered(recorded: RecordedExposure, frame: SetFrame) {
    const { plan, body } = this.options;
    const { shutters, openEnds = [] } = body.limits;
    const times = shutters.map(({ tv }) => toEv(tv));
    const { fNumber, iso } = this.standing();
    return judgeMetered(recorded, {
      offset: fromEv(frame.view.offset),
      compensation: frame.pass.centre,
      step: plan.step,
      baseTv: this.meteredTv,
      longestTv: openEnds.includes('longest') ? null : Math.min(...times),
      shortestTv: openEnds.includes('shortest') ? null : Math.max(...times),
      fNumber,
      iso,
    });
  }

  /** @returns what a frame in aperture priority tells of the base; the first one sets it */
  private movedBase(arrival: Arrival, frame: SetFrame): number | null {
    if (this.options.plan.mode === 'manual' || arrival.recorded === null) return null;
    const verdict = this.judgeMetered(arrival.recorded, frame);
    if (!verdict.right) return null;
    if (this.meteredTv === null) {
      this.meteredTv = verdict.baseTv;
      this.remember();
    }
    return verdict.moved;
  }

  /**
   * Whether a picture is whole takes longer to see than the next frame can wait: it is looked at meanwhile, and the frame is
   * verified, or rejected, when that is done.
   */
  private async lookAt(arrival: Arrival, frame: SetFrame, pass: readonly SetFrame[]): Promise<void> {
    const baseMoved = this.movedBase(arrival, frame);
    const look = this.accept(arrival, frame, pass, baseMoved)
      .catch((cause: unknown) => {
        this.lookFailure ??= asEvenrungError(cause);
      })
      .finally(() => this.looks.delete(look));
    this.looks.add(look);
    await this.catchUp(MOST_LOOKS);
  }

  /** Waits until no more than so many pictures are still being looked at. @throws EvenrungError what went wrong with one */
  private async catchUp(most: number): Promise<void> {
    while (this.looks.size > most) await Promise.race(this.looks);
    const failure = this.lookFailure;
    this.lookFailure = null;
    if (failure !== null) throw failure;
  }

  private async accept(
    arrival: Arrival,
    frame: SetFrame,
    pass: readonly SetFrame[],
    baseMoved: number | null,
  ): Promise<void> {
    const { number } = frame.view;
    const kind = arrival.kind ?? 'unknown';
    let picture: Picture | null;
    let doubt: string | null;
    try {
      doubt = await mustBeWhole(arrival.path, arrival);
      picture = await readPicture(arrival.path, kind);
    } catch (cause) {
      const broken = asEvenrungError(cause).message;
      this.change(frame, 'rejected', { reason: broken, recorded: null });
      await this.putAside({ ...arrival, recorded: null, broken }, frame, pass);
      return;
    }
    const other = this.otherSize(await readPixelSize(arrival.path, kind));
    if (other !== null) {
      this.change(frame, 'rejected', { reason: other });
      await this.putAside(arrival, frame, pass);
      return;
    }
    const { folder } = this.options;
    const checksum = await folder.checksumOf(path.relative(folder.path, arrival.path));
    const file = await folder.keep(arrival.path, this.stemOf(frame), kind);
    this.showPicture(frame, picture);
    frame.checksum = checksum;
    const clipped = picture?.clipped ?? null;
    const marks = this.marksOf(frame, arrival, { clipped, baseMoved, doubt });
    const more = { file, clipped, baseMoved, marks };
    const earlier = earlierOf(this.takenUp, number)?.view.file ?? null;
    if (earlier === null) this.change(frame, 'verified', more, checksum ?? {});
    else
      await this.replace(earlier, frame, more, checksum ?? {}).catch(async (cause: unknown) => {
        await this.putAsideUnkept(file, frame, kind, cause);
        throw cause;
      });
    this.madeAt = new Date();
  }

  /** @returns why a frame of this size is none of the set; the first one says which size that is */
  private otherSize(size: PixelSize | null): string | null {
    if (size === null) return null;
    this.size ??= size;
    return isSameSize(size, this.size)
      ? null
      : `The picture has ${size.width} x ${size.height} pixels, and the frames of this set have ${this.size.width} x ${this.size.height}: frames of two sizes cannot be merged. Set the camera's image size back.`;
  }

  /** What it goes by is kept before the first frame has its name. */
  private stemOf({ view: { number, offset, shutter } }: SetFrame): string {
    if (!this.isNamedKept) this.remember();
    this.isNamedKept = true;
    const { template, name, viewpoint } = this.named;
    return frameStem(
      parseTemplate(template, 'frame'),
      { run: this.id, set: this.set.ordinal, startedAt: this.startedAt, name, viewpoint },
      { number, offsetEv: offset, shutter },
    );
  }

  private showPicture(frame: SetFrame, picture: Picture | null): void {
    frame.thumbnail = picture?.thumbnail ?? null;
    frame.light = picture?.light ?? null;
    frame.looked = true;
  }

  private marksOf(
    { view: { number }, times }: SetFrame,
    { recorded, before, perhapsEarlyMs }: Arrival,
    found: Pick<Marked, 'clipped' | 'baseMoved' | 'doubt'>,
  ): FrameView['marks'] {
    const takenAt = recorded?.takenAt ?? null;
    const { clockDifference } = this;
    const frames = this.frames.length;
    const known = { takenAt, times, clockDifference, before, perhapsEarlyMs };
    return marksOf({ ...found, number, frames, ...known });
  }

  /** The earlier file stays where it is until the record tells of the new one: the record is right at any moment. */
  private async replace(
    earlier: string,
    frame: SetFrame,
    more: Partial<FrameView>,
    checksum: FrameFile,
  ): Promise<void> {
    const { number } = frame.view;
    const aside = {
      file: await this.options.folder.nameAside(earlier, number),
      reason: firedAgain(new Date()),
    };
    const takenUp = this.takenUp === null ? null : replacedBy(this.takenUp, number, aside.file);
    this.change(frame, 'verified', more, checksum, () => {
      this.keeper.aside(aside);
      this.keeper.memo(this.memo(takenUp));
    });
    this.takenUp = takenUp;
    this.setAside.push(aside);
  }

  /** What is no frame of the set: a wrong one, a repeat of one that is already good, or one that only came with its pass. */
  private async putAside(
    arrival: Arrival,
    expected: SetFrame | null,
    pass: readonly SetFrame[],
  ): Promise<void> {
    const repeated = pass.find((frame) => this.mismatch(arrival, frame) === null);
    const reason =
      expected?.view.reason ??
      arrival.broken ??
      (repeated === undefined
        ? 'Not needed: it came with its pass.'
        : `A repeat of frame ${repeated.view.number}, which was already good.`);
    const number = (expected ?? repeated)?.view.number ?? null;
    const file = await this.options.folder.setAside(arrival.path, number, arrival.kind);
    this.addAside({ file, reason });
  }

  /** The frame stays what it was. Whoever goes on with a set whose end could not be kept finds the new file there. */
  private async putAsideUnkept(
    file: string,
    { view }: SetFrame,
    kind: string,
    cause: unknown,
  ): Promise<void> {
    const { folder } = this.options;
    const aside = await folder.setAside(path.join(folder.path, file), view.number, kind);
    this.addAside({ file: aside, reason: asEvenrungError(cause).message });
  }

  // --- the end

  private async end(): Promise<RunState> {
    this.enter('putting-back');
    await this.catchUp(0).catch((cause: unknown) => {
      this.error ??= asEvenrungError(cause);
    });
    const putBack = await this.putBack();
    await this.goBackToEarlier();
    const moved = this.movedSentence();
    if (moved !== null) this.note(moved);
    this.error ??= this.keeper.catchUp();
    const complete = (await this.isAllThere()) && this.frames.every(isVerified);
    const outcome: RunState = complete
      ? 'complete'
      : this.error === null
        ? incompleteEnd(this.takenUp, this.stopping)
        : 'halted';
    const kept = await this.finish({ complete, outcome, putBack });
    this.enter(outcome, {
      sentence: this.sentence(outcome),
      error: this.error?.code ?? null,
      folder: kept,
      endedAt: new Date().toISOString(),
    });
    return outcome;
  }

  /** Whatever was chosen to be fired again, and was not, is what it was before. */
  private async goBackToEarlier(): Promise<void> {
    const { folder } = this.options;
    for (const frame of this.frames) {
      const earlier = earlierOf(this.takenUp, frame.view.number);
      if (earlier === null || isVerified(frame)) continue;
      const { view, sha256, bytes } = earlier;
      const times = timesOf(earlier);
      const now = view.file === null ? null : await folder.checksumOf(view.file);
      if (now === null || (sha256 !== null && now.sha256 !== sha256)) continue;
      if (frame.view.state === 'armed') this.change(frame, 'planned');
      if (frame.view.state === 'fired' || frame.view.state === 'stored') this.change(frame, 'rejected');
      this.change(
        frame,
        'verified',
        { ...view, attempts: frame.view.attempts },
        { arrived: null, sha256, bytes, times },
      );
      frame.times = times;
      frame.looked = false;
      frame.checksum = sha256 === null || bytes === null ? null : { sha256, bytes };
    }
    for (const [index, pass] of this.options.plan.passes.entries())
      if (this.passes[index] !== 'done' && this.framesOfPass(pass).every(isVerified))
        this.tellPass(index + 1, 'done');
  }

  /** A set whose files somebody took away meanwhile is not complete, whatever was verified. */
  private async isAllThere(): Promise<boolean> {
    const kept = this.frames.flatMap(({ view: { number, state, file }, checksum }) =>
      state === 'verified' && file !== null ? [{ number, file, bytes: checksum?.bytes ?? null }] : [],
    );
    const lost = await this.options.folder.lost(kept);
    if (lost === null) return true;
    const { error } = this;
    const alsoSaid = error === null || error.code === lost.code ? '' : `${error.message} `;
    this.error = new EvenrungError(lost.code, alsoSaid + lost.message, lost.details);
    return false;
  }

  private laterSentence(): string | null {
    const { takenUp, madeAt } = this;
    if (takenUp === null || madeAt === null) return null;
    return laterNote(
      takenUp,
      this.frames.map(({ view }) => view),
      this.startedAt,
      madeAt,
    );
  }

  private movedSentence(): string | null {
    const moved = this.frames.map(({ view }) => view).filter((view) => view.baseMoved !== null);
    if (moved.length === 0) return null;
    const farthest = moved.reduce((most, view) =>
      Math.abs(view.baseMoved ?? 0) > Math.abs(most.baseMoved ?? 0) ? view : most,
    );
    const size = farthest.baseMoved ?? 0;
    const list = moved.map(({ number }) => number).join(', ');
    return `The light moved while the set was made: ${moved.length === 1 ? 'frame' : 'frames'} ${list} ${moved.length === 1 ? 'is' : 'are'} off the base of the first frame, by up to ${size > 0 ? '+' : ''}${size.toFixed(2)} EV.`;
  }

  /** The body may just have been lost: it is given the same chances to come back as during the run. */
  private async putBack(): Promise<string[]> {
    const { body } = this.options;
    const done: string[] = [];
    try {
      await this.steady.use(async () => done.push(...(await body.putBack())), new Set(['not-put-back']));
    } catch (cause) {
      this.error ??= asEvenrungError(cause);
    }
    return done;
  }

  private async finish(done: Done): Promise<string | null> {
    const { folder } = this.options;
    this.handed = this.set;
    try {
      for (const file of await folder.sweep())
        this.addAside({ file, reason: 'Came back when nothing was waiting for it.' });
      // Where the journal cannot be told that the set has ended, it is going to be gone on with.
      if (this.keeper.catchUp() === null && (await folder.removeIfEmpty())) return null;
      await this.compareFrames();
      // It goes by the marks that were found just now.
      const later = this.laterSentence();
      if (later !== null) this.note(later);
      const leaving = await this.makingWay();
      await folder.finish(await this.handOver(done, leaving));
      for (const { file, aside } of leaving) await folder.moveAside(file, aside);
      // It may have been given another name meanwhile.
      for (let said = this.handed; said !== this.set; ) {
        said = this.set;
        await relabelSet(folder.path, [this.id, said.id], said);
      }
    } catch (cause) {
      this.error ??= asEvenrungError(cause);
    } finally {
      this.isHandedOver = true;
    }
    return folder.path;
  }

  /** Frames that others have taken the place of, and what lies beside them, with where they go. */
  private async makingWay(): Promise<{ file: string; aside: string }[]> {
    const { folder } = this.options;
    const leaving: { file: string; aside: string }[] = [];
    for (const { file, aside } of makingWay(this.takenUp)) {
      const reason = this.setAside.find((one) => one.file === aside)?.reason ?? '';
      const stem = path.parse(file).name;
      for (const sidecar of sidecarNames(file)) {
        const name = path.join(path.dirname(aside), path.parse(aside).name + sidecar.slice(stem.length));
        // It may have been moved before a restart, and nobody could keep account of it.
        const there = await folder.thereAmong([sidecar, name]);
        if (there.length > 0 && !this.setAside.some((one) => one.file === name))
          this.addAside({ file: name, reason });
        if (there.includes(sidecar)) leaving.push({ file: sidecar, aside: name });
      }
      leaving.push({ file, aside });
    }
    return leaving;
  }

  /** Neighbours are compared once all of them are there: only then can be told how far the camera's tone curve bends steps. */
  private async compareFrames(): Promise<void> {
    const verified = this.frames.filter(isVerified);
    for (const frame of verified) {
      if (frame.looked) continue;
      // It was verified before a restart.
      const file = this.pathOf(frame);
      this.showPicture(frame, await readPicture(file, path.extname(file).slice(1)).catch(() => null));
    }
    const comparison = compareLight(
      verified.map(({ view: { number, offset }, light }) => ({ number, offsetEv: offset, light })),
    );
    this.ratios = [...comparison.ratios];
    const sizes = verified.flatMap(({ view: { number, file }, checksum }) =>
      file === null || checksum === null
        ? []
        : [{ number, kind: path.extname(file).slice(1), bytes: checksum.bytes }],
    );
    const found = neighbourMarks(comparison, sizes);
    for (const frame of verified) {
      const marks = withNeighbourMarks(frame.view.marks, found.get(frame.view.number) ?? []);
      if (marks !== null) this.change(frame, 'verified', { marks });
    }
  }

  /** What lies beside the frames. @returns the record, which comes after it */
  private async handOver(done: Done, leaving: readonly { file: string }[]): Promise<SetRecord> {
    const thumbnails = new Map(
      this.frames.flatMap(({ view, thumbnail }) => (thumbnail === null ? [] : [[view.number, thumbnail]])),
    );
    const { sidecars, sentence, error } = await this.options.folder.handOver(
      this.record(done),
      thumbnails,
      new Set(leaving.map(({ file }) => file)),
    );
    // What was missing at an earlier end is there now.
    const notes = this.notes.filter((note) => !isOfHandOver(note));
    this.notes.splice(0, this.notes.length, ...notes);
    if (sentence !== null) this.note(sentence);
    this.error ??= error;
    const record = this.record(done);
    const frames = record.frames.map((frame) => ({ ...frame, sidecar: sidecars.get(frame.number) ?? null }));
    return { ...record, frames };
  }

  private record(done: Done): SetRecord {
    const { plan, body } = this.options;
    const wire = toWirePlan(plan);
    const set = this.handed ?? this.set;
    return {
      version: SET_RECORD_VERSION,
      id: set.id,
      run: this.id,
      setNumber: set.ordinal,
      complete: done.complete,
      sentence: this.sentence(done.outcome),
      name: set.name,
      viewpoint: set.viewpoint,
      note: set.note,
      practice: body.identity.link === 'practice',
      startedAt: this.startedAt.toISOString(),
      endedAt: new Date().toISOString(),
      body: body.identity,
      base: { ...this.base(), exposureTime: this.baseSeconds() },
      mode: plan.mode,
      step: toEv(plan.step),
      passes: wire.passes,
      frames: this.frames.map(({ view, checksum, times, shutter }) => ({
        ...{ ...view, ...checksum, ...times },
        nominalSeconds: shutter.nominalSeconds,
      })),
      ratios: this.ratios,
      setAside: this.setAside,
      strays: this.strays,
      notes: this.notes,
      clockDifference: this.clockDifference,
      baseShifts: this.options.baseShifts ?? [],
      putBack: done.putBack,
      notPutBack: [...this.options.body.debts].map(([name, { found }]) => ({ name, found })),
    };
  }

  private sentence(outcome: RunState): string {
    const verified = this.frames.filter(isVerified).length;
    const total = this.frames.length;
    const { debts } = this.options.body;
    // What has to be done by hand is said however the run ended.
    const owed = debts.size === 0 ? null : notPutBack(debts);
    const trouble = this.error === null || this.error.code === 'not-put-back' ? null : this.error.message;
    const sentences = (...all: (string | null)[]) => all.filter((one) => one !== null).join(' ');
    if (this.takenUp?.purpose === 'again')
      return againSentence(
        this.takenUp,
        this.frames.map(({ view }) => view),
        { stopped: this.stopping && this.error === null, trouble, owed },
      );
    switch (outcome) {
      case 'complete':
        return sentences(
          `${total === 1 ? 'The frame is' : `All ${total} frames are`} verified.`,
          trouble,
          owed,
        );
      case 'stopped':
        return `Stopped after ${verified} of ${total} frames. The camera's settings are as they were found.`;
      default:
        return sentences(`Halted after ${verified} of ${total} frames.`, trouble, owed);
    }
  }

  /** The body was away: somebody may have turned its dials, or changed its lens. */
  private async checkBody(since = 'While the camera was away'): Promise<void> {
    // What is owed is put back however the body stands.
    if (this.state === 'putting-back' || this.state === 'preparing') return;
    const names = await this.options.body.resume(await this.options.asked());
    if (names.length > 0) this.note(`${since}, somebody changed ${names.join(', ')}: set back as it was.`);
  }

  // --- telling

  /**
   * Kept first, then told. What is about to be done is not where it cannot be kept: a shutter that nobody knows of must not be touched.
   * What has happened has, and the end cannot be put off: settings go back and the record is written all the same.
   */
  private tell(happening: Happening, file?: FrameFile, also?: () => void): void {
    const { keeper } = this;
    const keep = () => keeper.happening(happening, file);
    const isEnding = this.state === 'putting-back' || ENDED.has(this.state);
    if (also !== undefined)
      keeper.together(() => {
        keep();
        also();
      });
    else if (isEnding || hasHappened(happening)) keeper.keepOrLater(keep);
    else keep();
    this.options.tell(happening);
  }

  /** @param also what has to be kept with it, whole or not at all */
  private change(
    frame: SetFrame,
    state: FrameState,
    more: Partial<FrameView> = {},
    file?: FrameFile,
    also?: () => void,
  ): void {
    const before = frame.view.state;
    assertWay(FRAME_WAYS, before, state);
    const marks = state === 'verified' ? frame.view.marks : [];
    const view = { ...frame.view, marks, ...more, state };
    this.tell({ type: 'frame', run: this.id, frame: view }, file, also);
    frame.view = view;
    frame.times = file?.times ?? timesAfter(frame.times, before, state);
  }

  private addStray(one: Stray): void {
    this.strays.push(one);
    this.keeper.keepOrLater(() => this.keeper.stray(one));
  }

  /** @param but the frame whose own file it might be, too @returns whether a release had been missing this file */
  private lateCame(came: Arrival, but: SetFrame | null): boolean {
    const owing = new Set(this.strays.map(({ frame }) => frame));
    const owed = this.frames.find(
      (frame) => frame !== but && owing.has(frame.view.number) && this.mismatch(came, frame) === null,
    );
    if (owed !== undefined) this.strayCame(owed);
    return owed !== undefined;
  }

  /** A file has come that an earlier release of this frame was missing. */
  private strayCame({ view }: SetFrame): void {
    const index = this.strays.findIndex(({ frame }) => frame === view.number);
    const [one] = index < 0 ? [] : this.strays.splice(index, 1);
    if (one !== undefined) this.keeper.keepOrLater(() => this.keeper.strayCame(one));
  }

  private addAside(one: Aside): void {
    this.setAside.push(one);
    this.keeper.keepOrLater(() => this.keeper.aside(one));
  }

  private remember(): void {
    const memo = this.memo(this.takenUp);
    this.keeper.keepOrLater(() => this.keeper.memo(memo));
  }

  private memo(takenUp: TakenUp | null): SetMemo {
    const { meteredTv, lens, size, named } = this;
    return { meteredTv, lensAt: lens?.at ?? null, size, named, takenUp };
  }

  private enter(
    state: RunState,
    more: Partial<Pick<RunView, 'sentence' | 'error' | 'folder' | 'endedAt'>> = {},
  ): void {
    if (state === this.state) return;
    assertWay(RUN_WAYS, this.state, state);
    this.state = state;
    this.tell({
      type: 'run-state',
      run: this.id,
      state,
      sentence: null,
      error: null,
      folder: null,
      endedAt: null,
      ...more,
    });
  }

  private tellPass(pass: number, state: RunView['passes'][number]): void {
    this.tell({ type: 'pass', run: this.id, pass, state });
    this.passes[pass - 1] = state;
  }

  private tellWhole(): void {
    this.tell({ type: 'run', run: this.whole() });
  }

  private whole(): RunView {
    const plan = toWirePlan(this.options.plan);
    return {
      id: this.id,
      set: this.set,
      state: this.state,
      base: this.base(),
      plan,
      passes: [...this.passes],
      frames: this.frames.map((frame) => frame.view),
      startedAt: this.startedAt.toISOString(),
      endedAt: null,
      beginsAt: this.options.beginsAt?.toISOString() ?? null,
      startedBy: this.options.startedBy ?? THIS_COMPUTER,
      trouble: this.steady.trouble,
      sentence: null,
      error: null,
      folder: null,
      notes: [...this.notes],
    };
  }

  private base(): RunView['base'] {
    const { aperture, iso } = this.standing();
    return { shutter: this.baseLabel(), aperture, iso: iso === null ? null : String(iso) };
  }

  /** What the frames share, also before the body was made ready for them. */
  private standing(): Pick<StandingExposure, 'aperture' | 'fNumber' | 'iso'> {
    const { aperture, fNumber, iso } = this.options.body.standing();
    return { aperture, fNumber, iso: this.options.iso ?? iso };
  }

  private baseSeconds(): number {
    return this.meteredTv === null ? this.options.plan.base.seconds : 2 ** -this.meteredTv;
  }

  private baseLabel(): string {
    if (this.meteredTv === null) return this.options.plan.base.label;
    const nearest = nearestSetting(this.baseSeconds(), this.options.body.limits.shutters);
    return nearest?.label ?? `${Number(this.baseSeconds().toPrecision(3))}`;
  }
}

/** Why the file of a release is still owed. */
const cameInstead = (isOfEarlier: boolean): string =>
  isOfEarlier
    ? 'The file of an earlier frame came in its place.'
    : 'Another picture came, perhaps one from before, in its place.';

const pause = (milliseconds: number) => new Promise<void>((resolve) => setTimeout(resolve, milliseconds));

const namedBy = ({ set, naming = defaultNaming() }: RunOptions): NonNullable<SetMemo['named']> => ({
  template: naming.frame.text,
  name: set.name,
  viewpoint: set.viewpoint,
});

const mirrorLocked = (): EvenrungError =>
  new EvenrungError(
    'mirror-locked',
    'The first release brought no frame, the second did, the third did not: it looks as if mirror lock-up is on, where one release only raises the mirror. Switch it off on the camera, then fire again. A settle time before each pass does the same job.',
  );
