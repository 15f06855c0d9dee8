// One release, from the moment before the shutter is touched to the files that came of it. It is journalled
// as fired in one transaction. It brings files, a failure, or both, and neither hides the other. Which file
// is which frame is decided in assign.ts.
import path from 'node:path';
import { asEvenrungError, EvenrungError } from '../../../shared/errors.js';
import { type BroughtFile, LINK_FAILURES, type MadeFile, type Released } from '../../camera/index.js';
import {
  type Arrival,
  filesOf,
  isUnderWay,
  putAside,
  readArrival,
  WAITED,
  whole,
} from '../assign/arrival.js';
import {
  assign,
  type Decision,
  type FrameAtHand,
  type Known,
  NOTHING_SO_FAR,
  type SoFar,
} from '../assign/assign.js';
import { takeLate } from '../assign/late-partner.js';
import { askedOfFrame, type InHand } from '../in-hand.js';
import { Looks, MOST_LOOKS } from '../judge/looks.js';
import { type LookedAt, lookAt, verify } from '../judge/verify.js';
import { ofFrame, type SetFrame, stray } from '../set-frame.js';
import type { Steady } from '../steady.js';
import { FallBack } from './fall-back.js';
import type { Release } from './walk.js';

/** Outcomes after which the release may only have raised the mirror, by the code of the failure. */
const NOTHING_CAME: Readonly<Record<string, 'nothing' | 'cut off'>> = {
  'frame-missing': 'nothing',
  'call-timed-out': 'cut off',
};
/** Why a frame has no file. What to do about the folder is said by the error of the set. */
const NOWHERE_TO_STORE = 'It could not be stored: the set folder is missing.';

export class Releases {
  readonly looks = new Looks();
  private readonly hand: InHand;
  private readonly steady: Steady;
  private readonly fallBack: FallBack;
  private told: SoFar;
  /** What each release so far has brought. */
  private readonly outcomes: ('came' | 'nothing' | 'cut off' | 'unclear')[] = [];

  /** Files of which the head is here and the rest is on its way. */
  private readonly arriving = new Set<Promise<Arrival>>();
  /** Files that were complete before their release was over, by path. */
  private readonly early = new Map<
    string,
    { readonly read: Promise<Arrival>; readonly looked: Promise<LookedAt> }
  >();

  constructor(hand: InHand, steady: Steady) {
    this.hand = hand;
    this.steady = steady;
    this.fallBack = new FallBack(hand);
    this.told = NOTHING_SO_FAR;
  }

  get soFar(): SoFar {
    return this.told;
  }

  /** Waits until no file is on its way any more, whether it arrived or failed. Never rejects. */
  async allHere(): Promise<void> {
    await Promise.allSettled(this.arriving);
  }

  /** Adds knowledge from outside, before the first release or between two of them. */
  know(more: Partial<SoFar>): void {
    this.told = { ...this.told, ...more };
  }

  /**
   * @returns `lost` if nobody knows any more which frame the bracket would fire next
   * @throws EvenrungError failures that another try would not change: storing-failed and set-folder-gone
   *   with the frame that met it, mirror-locked, mode-not-supported
   */
  async fire(release: Release): Promise<'done' | 'lost'> {
    const { hand } = this;
    const expected = release.expects.filter((frame) => frame !== null);
    await this.journalFired(expected);
    const releasedAt = new Date();
    const brought = await hand.body.releaseShutter({
      into: hand.folder.incoming,
      exposureSeconds: exposureOf(release),
      frames: release.expects.length,
      isFollowed: this.isFollowed(release),
      made: (file, to) => this.made(file, to, releasedAt),
      here: release.expects.length > 1 ? (file) => this.lookEarly(file) : undefined,
    });
    this.outcomes.push(outcomeOf(brought));
    const { isLost, isShort, wrong } = await this.takeIn(brought, release, releasedAt);
    this.fallBack.heard(release.expects.length, isShort, brought.failure);
    this.early.clear();
    if (wrong !== null && brought.failure === null) throw wrong;
    const failure = brought.failure ?? (isShort ? noFile() : null);
    if (failure === null) return isLost ? 'lost' : 'done';
    const error = await hand.folder.whyNotStored(failure);
    const lost = this.missed(expected, releasedAt, error);
    if (wrong !== null) throw wrong;
    return this.failed(error, lost ?? expected[0]);
  }

  /** A frame that could not be stored, or that the journal does not know of, must not be fired. */
  private async journalFired(expected: readonly SetFrame[]): Promise<void> {
    const { book, folder } = this.hand;
    try {
      await folder.mustHaveRoom();
      book.fired(expected);
    } catch (cause) {
      throw ofFrame(expected[0]?.view, await folder.whyNotStored(asEvenrungError(cause)));
    }
  }

  /** Whether the next release follows at once: frames are left, and no settling time comes before them. */
  private isFollowed({ expects, pass }: Release): boolean {
    const { frames, plan } = this.hand;
    const left = frames.filter((frame) => this.hand.isDue(frame) && !expects.includes(frame));
    return plan.settleSeconds ? left.some((frame) => pass.includes(frame)) : left.length > 0;
  }

  /**
   * A file that is complete before its release is over is read and looked at right away; which frame it is,
   * is decided after the release.
   */
  private lookEarly(file: BroughtFile): void {
    const read = readArrival(file, this.hand.folder);
    const looked = read.then(lookAt);
    // A file that cannot be read is reported when the release is over.
    looked.catch(() => undefined);
    this.early.set(file.path, { read, looked });
  }

  private read(file: BroughtFile): Promise<Arrival> {
    const early = file.partner === undefined ? this.early.get(file.path) : undefined;
    return early?.read ?? readArrival(file, this.hand.folder);
  }

  /** The result of `lookAt`, taken from an early look if there was one. */
  private lookAt(arrival: Arrival): Promise<LookedAt> {
    const early = arrival.partner === null ? this.early.get(arrival.path) : undefined;
    this.early.delete(arrival.path);
    return early?.looked ?? lookAt(arrival);
  }

  /**
   * The camera tells of a file before any of it is fetched, so a file that is lost on its way is known by
   * name.
   */
  private made({ folder, name, bytes }: MadeFile, to: string, releasedAt: Date): void {
    const made = { folder, name, bytes, arrived: path.basename(to), releasedAt: releasedAt.toISOString() };
    this.hand.book.made(made);
  }

  /**
   * Takes in every file that came, even if something goes wrong with one of them.
   * @returns whether nobody knows any more which frame the bracket would fire next, whether a file is
   *   missing, and what went wrong with a file
   */
  private async takeIn({ files }: Released, release: Release, releasedAt: Date) {
    const { hand } = this;
    const came: Arrival[] = [];
    let wrong: unknown = null;
    for (const file of files)
      await this.read(file).then(
        (arrival) => came.push(arrival),
        (cause: unknown) => {
          wrong ??= cause;
        },
      );
    const arrivals = await takeLate(came, this.hand, this.looks);
    const firedAt = releasedAt.toISOString();
    const { decisions, soFar, missing } = assign(
      arrivals,
      {
        expects: release.expects.map((frame) => frame?.view.number ?? null),
        pass: release.pass.map(({ view }) => view.number),
        isSingle: release.isSingle,
        firedAt,
      },
      this.known(),
    );
    this.told = soFar;
    let isLost = false;
    for (const [index, decision] of decisions.entries()) {
      const arrival = arrivals[index];
      if (arrival === undefined) continue;
      await this.carryOut(decision, arrival, firedAt).catch((cause: unknown) => {
        wrong ??= cause;
      });
      isLost ||= decision.is === 'from-before' && decision.anew !== null;
    }
    const isOfOwn = (decision: Decision) => decision.is === 'frame';
    if (release.expects.length > 1 && missing.length === 0 && !decisions.every(isOfOwn))
      hand.book.mayHaveMore(firedAt);
    return { isLost, isShort: missing.length > 0, wrong };
  }

  private async carryOut(decision: Decision, head: Arrival, firedAt: string): Promise<void> {
    const { hand } = this;
    const isProved = decision.is === 'frame' && decision.displaced === null && decision.anew === null;
    if (isProved && isUnderWay(head)) {
      this.meanwhile(decision, head, firedAt);
      return;
    }
    // In every other case the whole file has to be here before anything more is fired.
    const arrival = await whole(head);
    for (const file of filesOf(arrival)) hand.book.fetched(path.basename(file.path));
    if (decision.is === 'untold') throw untold();
    if (decision.is !== 'from-before') {
      const moved = hand.common.watchLens(arrival.recorded);
      if (moved !== null) hand.book.note(moved);
    }
    hand.book.apply(decision, { firedAt, storedAt: arrival.storedAt });
    if (decision.is === 'from-before') await putAside(arrival, { reason: WAITED, frame: null }, hand);
    if (decision.anew !== null) await this.beginAnew(decision.anew);
    if (decision.is === 'no-frame') await putAside(arrival, decision, hand);
    if (decision.is !== 'frame') return;
    hand.common.meter(this.told.baseTv);
    const frame = hand.book.frameOf(decision.frame);
    frame.came = arrival;
    this.looks.begin(
      () => this.lookAt(arrival),
      (looked) => verify(arrival, frame, decision, looked, hand),
    );
    await this.looks.catchUp(MOST_LOOKS);
  }

  /** The head of the file proves the frame, so the next frame is exposed while the rest comes. */
  private meanwhile(decision: Extract<Decision, { is: 'frame' }>, head: Arrival, firedAt: string): void {
    const { hand } = this;
    const frame = hand.book.frameOf(decision.frame);
    frame.came = head;
    const moved = hand.common.watchLens(head.recorded);
    if (moved !== null) hand.book.note(moved);
    hand.common.meter(this.told.baseTv);
    hand.coming.add(decision.frame);
    const arriving = whole(head).finally(() => this.arriving.delete(arriving));
    this.arriving.add(arriving);
    const read = async (): Promise<{ arrival: Arrival; looked: LookedAt } | EvenrungError> => {
      try {
        const arrival = await arriving;
        hand.book.apply(decision, { firedAt, storedAt: new Date().toISOString() });
        for (const file of filesOf(arrival)) hand.book.fetched(path.basename(file.path));
        hand.coming.delete(decision.frame);
        return { arrival, looked: await this.lookAt(arrival) };
      } catch (cause) {
        return asEvenrungError(cause);
      }
    };
    this.looks.begin(read, async (looked) => {
      if (!(looked instanceof EvenrungError)) {
        await verify(looked.arrival, frame, decision, looked.looked, hand);
        return;
      }
      const error = await hand.folder.whyNotStored(looked);
      hand.coming.delete(decision.frame);
      this.missed([frame], new Date(firedAt), error);
      const isLinks =
        error.code === 'frame-missing' || error.code === 'file-not-there' || LINK_FAILURES.has(error.code);
      if (!isLinks) throw ofFrame(frame.view, error);
      this.steady.failed(error);
    });
  }

  /**
   * Rejects the frames whose file has not come, and keeps note that it may still come.
   * @returns the first of them
   */
  private missed(
    expected: readonly SetFrame[],
    releasedAt: Date,
    error: EvenrungError,
  ): SetFrame | undefined {
    const { book, coming } = this.hand;
    const reason = error.code === 'set-folder-gone' ? NOWHERE_TO_STORE : error.message;
    // For a frame whose head is here, `meanwhile` finds out whether the rest comes.
    const lost = expected.filter(({ view }) => view.state === 'fired' && !coming.has(view.number));
    for (const frame of lost) {
      if (error.details.released !== false) book.stray(stray(frame.view, releasedAt, reason));
      book.change(frame, 'rejected', { reason });
    }
    return lost[0];
  }

  private async failed(error: EvenrungError, frame: SetFrame | undefined): Promise<'lost'> {
    const linkFailed = LINK_FAILURES.has(error.code);
    if (error.code !== 'frame-missing' && !linkFailed) throw ofFrame(frame?.view, error);
    if (this.everyOtherRelease()) throw mirrorLocked();
    this.steady.failed(error);
    // Its file may still come, and over the same connection it would be taken for the file of the next
    // release.
    if (!linkFailed) await this.dropConnection();
    return 'lost';
  }

  /** Files that are on their way or still wait in the camera would be taken for the next frames. */
  private async beginAnew(why: string): Promise<void> {
    this.steady.failed(new EvenrungError('frame-missing', why, { released: true }));
    await this.dropConnection();
  }

  /** Files that are under way still come over this connection, so it is kept until they are here. */
  private async dropConnection(): Promise<void> {
    if (this.hand.coming.size > 0) await this.looks.catchUp();
    this.hand.body.dropConnection();
  }

  /** With mirror lock-up on, one release raises the mirror and brings nothing, and the next one brings a frame. */
  private everyOtherRelease(): boolean {
    const { outcomes } = this;
    // A call that was cut off may have other reasons, so the pattern has to repeat once more before it is
    // believed.
    const enough = outcomes.includes('cut off') ? 5 : 3;
    return (
      outcomes.length === enough &&
      outcomes.every((what, index) =>
        index % 2 === 1 ? what === 'came' : what === 'nothing' || what === 'cut off',
      )
    );
  }

  private known(): Known {
    const { hand } = this;
    const { body, book, common } = hand;
    return {
      frames: hand.frames.map((frame) => atHand(frame, hand.coming.has(frame.view.number))),
      strays: book.strays,
      soFar: { ...this.told, baseTv: common.meteredTv },
      asked: hand.asked(),
      clockDifference: common.clockDifference,
      setStartedAt: hand.setStartedAt,
      countsWaiting: body.picturesWaiting !== null,
      knowsOrder: body.profile?.patterns !== undefined,
    };
  }
}

const atHand = (frame: SetFrame, isComing: boolean): FrameAtHand => ({
  ...askedOfFrame(frame),
  number: frame.view.number,
  // A frame whose head is here counts as stored, so that the next file is not taken for it.
  state: isComing ? 'stored' : frame.view.state,
  wasFired: frame.view.attempts > frame.firedBefore,
  isBracketed: frame.pass.shape !== null,
});

/**
 * Seconds that the deadline of a release is sized by. One release of a bracket may be any frame of its pass,
 * since bodies differ in the order in which they fire: the longest counts. For a release of several frames it
 * is the sum.
 */
function exposureOf({ expects, pass }: Release): number {
  const seconds = [...new Set(pass.map((frame) => frame.pass))].flatMap(({ frames }) =>
    frames.map(({ shutter }) => shutter.seconds),
  );
  return expects.length === 1 ? Math.max(...seconds) : seconds.reduce((sum, one) => sum + one, 0);
}

const outcomeOf = ({ files, failure }: Released) =>
  files.length > 0 ? 'came' : (NOTHING_CAME[(failure ?? noFile()).code] ?? 'unclear');

const noFile = (): EvenrungError =>
  new EvenrungError('frame-missing', 'No file came back.', { released: true });

const untold = (): EvenrungError =>
  new EvenrungError(
    'mode-not-supported',
    "In aperture priority this camera's files do not tell which frame of the bracket they are, so the frames of this pass cannot be relied on. Use manual mode, or run `learn` once, so that the order is known.",
  );

const mirrorLocked = (): EvenrungError =>
  new EvenrungError(
    'mirror-locked',
    'It looks as if mirror lock-up is on: every other release brought no frame. Turn it off on the camera, then fire again; a settling time before each pass does the same job.',
  );
