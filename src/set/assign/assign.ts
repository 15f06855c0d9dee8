// Which file is which frame. A pure function: from what the files of one release record, the frames that the
// release was to bring, and how the set stands. It knows no body, no folder, no journal and no picture.
// Whether a file is whole is seen later (judgements.ts).
//
//   a file is                                      then
//   from before the release, or from another set   it is set aside; the frame that was released is still owed
//   the frame that was expected                    it is taken in
//   another open frame of the release or pass      it is taken in: bodies differ in the order in which they fire
//   an open frame that was fired earlier           it is taken in, late
//   a frame that is there already, or none at all  it is set aside
//
// If a release did not bring the file of one of its own frames, that frame is displaced by the file that came
// instead. Frames are displaced in the order of firing.
import type { FrameState } from '../../../shared/state.js';
import { wallOf } from '../../frames/index.js';
import type { Stray } from '../../journal/index.js';
import {
  type AskedOfFrame,
  type AskedOfSet,
  meteredBase,
  mismatch,
  type ReadFile,
} from '../judge/judgements.js';
import type { TakenBefore } from '../judge/marks.js';
import { isOpenState } from '../set-frame.js';
import {
  type CameFile,
  type CameSoFar,
  cameIn,
  NOTHING_CAME_YET,
  type Origin,
  originOf,
} from './from-before.js';

/** One file of a release, as far as it was read. */
export interface Came extends ReadFile {
  /** Distinguishes this file from any other; null if it was not worked out. */
  readonly digest: string | null;
  /** When the file was here, ISO 8601, by this computer's clock. */
  readonly storedAt: string;
}

/** The release that the files came of. */
export interface Released {
  /** The numbers of the frames in firing order; null for a turn of the bracket whose frame is not needed. */
  readonly expects: readonly (number | null)[];
  /** The numbers of the frames that the files may turn out to be: all of the pass, or the single one. */
  readonly pass: readonly number[];
  /** Whether the frame was fired by itself, with the bracket off. */
  readonly isSingle: boolean;
  /** When the shutter was released, ISO 8601, by this computer's clock. */
  readonly firedAt: string;
}

/** One frame of the set, as it stands. */
export interface FrameAtHand extends AskedOfFrame {
  readonly number: number;
  readonly state: FrameState;
  /** Whether its shutter has been released since the set was begun or taken up again. */
  readonly wasFired: boolean;
  /** Whether its pass is a bracket. */
  readonly isBracketed: boolean;
}

/** What the releases so far have shown. */
export interface SoFar {
  /** The times of the files so far, from this set and from those before. */
  readonly came: CameSoFar;
  /**
   * How many pictures that waited in the body when the set began are still to come; they come before any
   * other.
   */
  readonly waited: number;
  /** How many files so far were pictures taken before their release. */
  readonly fromBefore: number;
  /** Whether the last file that came was of an earlier release: then every file may come one release late. */
  readonly comesLate: boolean;
  /** The last file of the last release. */
  readonly before: TakenBefore | null;
  /** In aperture priority: the biases that the files of the current bracket have recorded so far. */
  readonly biases: readonly number[];
  /** In aperture priority: Tv in EV of the base, as the first frame showed it. */
  readonly baseTv: number | null;
}

export interface Known {
  /** The darkest first. */
  readonly frames: readonly FrameAtHand[];
  /** Releases whose file has not come. */
  readonly strays: readonly Pick<Stray, 'frame' | 'releasedAt'>[];
  readonly soFar: SoFar;
  readonly asked: AskedOfSet;
  /** Seconds by which the camera's clock is ahead; null if the camera tells no time. */
  readonly clockDifference: number | null;
  /** When the set was begun, or taken up again, ISO 8601. */
  readonly setStartedAt: string;
  /**
   * Whether the body tells how many pictures wait in it: then it was known beforehand that files come late.
   */
  readonly countsWaiting: boolean;
  /** Whether the order in which the body fires its brackets has been learnt. */
  readonly knowsOrder: boolean;
}

/** A frame whose release brought another file. */
export interface Displaced {
  readonly frame: number;
  readonly reason: string;
  /** If its own file may still come, the reason, in one sentence; null if it is not expected any more. */
  readonly owed: string | null;
}

interface Decided {
  readonly recorded: Came['recorded'];
  /** The frame of an earlier release whose missing file this is; null if it is none. */
  readonly strayOf: number | null;
  readonly displaced: Displaced | null;
  /**
   * If the connection has to begin anew, the reason, in one sentence: the settings may not be what they were
   * believed to be. Null if it need not.
   */
  readonly anew: string | null;
}

export type Decision =
  | (Decided & {
      readonly is: 'frame';
      readonly frame: number;
      /** Whether it is the frame whose turn it was. */
      readonly isExpected: boolean;
      /** Whether an earlier release made the file. */
      readonly isLate: boolean;
      readonly baseMoved: number | null;
      readonly before: TakenBefore | null;
      readonly perhapsEarlyMs: number | null;
    })
  | (Decided & {
      readonly is: 'no-frame';
      /** Why the file is no frame of the set, in one sentence. */
      readonly reason: string;
      /** The frame that the file is listed under when it is set aside; null if there is none. */
      readonly frame: number | null;
    })
  | (Decided & { readonly is: 'from-before' })
  /** In aperture priority, nothing shows which frame of the bracket the file is. */
  | (Decided & { readonly is: 'untold' });

export interface Assigned {
  /** One decision for each file, in the order of the files. */
  readonly decisions: readonly Decision[];
  readonly soFar: SoFar;
  /** The frames of this release for which no file has come. */
  readonly missing: readonly number[];
}

export const NOTHING_SO_FAR: SoFar = {
  came: NOTHING_CAME_YET,
  waited: 0,
  fromBefore: 0,
  comesLate: false,
  before: null,
  biases: [],
  baseTv: null,
};

/**
 * How many pictures from before a set believes in by their times alone. If there are more, it is the clock
 * that must be wrong.
 */
const MOST_FROM_BEFORE = 4;

export const FROM_BEFORE = 'An earlier picture came in its place.';

/**
 * Decides which file is which frame.
 * @param files in the order in which they came
 */
export function assign(files: readonly Came[], release: Released, known: Known): Assigned {
  const standing = new Standing(release, known);
  const found = files.map((file) => standing.find(file));
  const missing = standing.stillDue();
  const decisions = found.map((one) => {
    const frame = one.isOwn || one.is === 'untold' ? undefined : missing.shift();
    return standing.decide(one, frame ?? null);
  });
  return { decisions, soFar: standing.soFar, missing: missing.map(({ number }) => number) };
}

/** What one file is, before it is decided which frame it displaces. */
interface Found {
  readonly file: Came;
  readonly is: Decision['is'];
  /** The frame that the file is; null if it is none. */
  readonly owner: FrameAtHand | null;
  /** Whether that frame belongs to this release. */
  readonly isOwn: boolean;
  readonly isLate: boolean;
  readonly strayOf: number | null;
  readonly perhapsEarlyMs: number | null;
  readonly baseMoved: number | null;
}

/**
 * The set while the files of one release are gone through one by one: each file changes what the next one can
 * be.
 */
class Standing {
  soFar: SoFar;
  private readonly release: Released;
  private readonly known: Known;
  private readonly frames: Map<number, FrameAtHand>;
  /** The frames of this release that are still to come. */
  private readonly due: Set<number>;
  private readonly strays: Pick<Stray, 'frame' | 'releasedAt'>[];
  /**
   * The turn of the bracket whose file comes next. Pictures that waited since before the release take no
   * turn.
   */
  private turn = 0;

  constructor(release: Released, known: Known) {
    this.release = release;
    this.known = known;
    this.soFar = known.soFar;
    this.frames = new Map(known.frames.map((frame) => [frame.number, frame]));
    this.due = new Set(release.expects.filter((number) => number !== null));
    this.strays = [...known.strays];
  }

  stillDue(): FrameAtHand[] {
    return this.release.expects.flatMap((number) =>
      number !== null && this.due.has(number) ? [this.frameOf(number)] : [],
    );
  }

  find(file: Came): Found {
    const nothing = {
      ...{ file, owner: null, isOwn: false, isLate: false },
      ...{ strayOf: null, perhapsEarlyMs: null, baseMoved: null },
    };
    const origin = this.originOf(file);
    if (origin.is === 'from-before') {
      this.see({ fromBefore: this.soFar.fromBefore + 1, comesLate: true });
      return { ...nothing, is: 'from-before' };
    }
    if (!this.canBeTold(file)) return { ...nothing, is: 'untold' };
    const turn = this.release.expects[this.turn] ?? null;
    this.turn += 1;
    const expected = turn !== null && this.due.has(turn) ? this.frameOf(turn) : null;
    const own = this.release.expects;
    const earlier = [...this.frames.values()].filter(
      ({ number, wasFired }) => wasFired && !own.includes(number),
    );
    const possible = [
      ...(expected === null ? [] : [expected]),
      ...this.release.pass.map((number) => this.frameOf(number)),
      ...earlier,
    ];
    const owner =
      possible.find((frame) => isOpenState(frame.state) && this.mismatch(file, frame) === null) ?? null;
    const isOwn = owner !== null && this.due.has(owner.number);
    const isLate =
      owner === null
        ? earlier.some((frame) => this.mismatch(file, frame) === null)
        : !isOwn && earlier.includes(owner);
    if (isOwn) this.see({ comesLate: false });
    else if (expected !== null && isLate) this.see({ comesLate: true });
    this.seeBefore(file, owner);
    const strayOf = isLate ? this.strayOf(file) : null;
    const base =
      owner === null
        ? null
        : meteredBase(file.recorded, { ...this.known.asked, ...owner }, this.soFar.baseTv);
    if (base !== null) this.see({ baseTv: base.baseTv });
    const baseMoved = base?.moved ?? null;
    if (owner !== null) {
      this.due.delete(owner.number);
      this.frames.set(owner.number, { ...owner, state: 'stored', wasFired: true });
    }
    // A file that proves to be of an earlier release is not in doubt.
    const perhapsEarlyMs = origin.is === 'doubtful' && !isLate ? origin.earlyMs : null;
    const is = owner === null ? 'no-frame' : 'frame';
    return { file, is, owner, isOwn, isLate, strayOf, perhapsEarlyMs, baseMoved };
  }

  /** @param lost the frame of this release that the file displaces; null if it displaces none */
  decide({ file, ...found }: Found, lost: FrameAtHand | null): Decision {
    const { owner, strayOf, isLate, perhapsEarlyMs } = found;
    const { recorded } = file;
    if (found.is === 'untold') return { is: 'untold', recorded, strayOf, displaced: null, anew: null };
    if (found.is === 'from-before') {
      // If the body keeps pictures that wait, another connection does not help: its files keep coming late,
      // and are recognised by what they record.
      const isNeeded = lost !== null || this.release.expects.every((number) => number === null);
      const anew = this.known.countsWaiting || !isNeeded ? null : FROM_BEFORE;
      const displaced = lost === null ? null : { frame: lost.number, reason: FROM_BEFORE, owed: FROM_BEFORE };
      return { is: 'from-before', recorded, strayOf, displaced, anew };
    }
    // Either somebody has turned a dial, so that the settings have to be written again; or each file comes
    // one release late.
    const isUnsure = lost !== null && owner === null && (this.release.isSingle || !lost.isBracketed);
    const mayBeOwed = isUnsure && (isLate || perhapsEarlyMs !== null) && !this.known.countsWaiting;
    const why =
      lost === null
        ? ''
        : owner === null
          ? (this.mismatch(file, lost) ?? '')
          : `Its file turned out to be frame ${owner.number}.`;
    const owed = strayOf !== null || mayBeOwed ? cameInstead(isLate) : null;
    const displaced = lost === null ? null : { frame: lost.number, reason: why, owed };
    const decided = { recorded, strayOf, displaced, anew: isUnsure ? why : null };
    if (owner === null) return { ...decided, is: 'no-frame', ...this.whyNone(file, displaced) };
    const { number: frame } = owner;
    // Files of one release may come out of order, so each is compared with the last file of the release
    // before.
    const { before } = this.known.soFar;
    const { baseMoved } = found;
    return {
      ...decided,
      is: 'frame',
      frame,
      isExpected: found.isOwn,
      isLate,
      baseMoved,
      before,
      perhapsEarlyMs,
    };
  }

  /** Whether a picture that had waited in the camera came in place of the one that was released. */
  private originOf({ recorded, digest, storedAt }: Came): Origin {
    const { came, waited, fromBefore } = this.soFar;
    const file = cameIn(recorded, digest);
    this.see({ came: { ...came, last: later(file, came.last, this.known.soFar.came.last) } });
    if (waited > 0) {
      this.see({ waited: waited - 1 });
      return { is: 'from-before' };
    }
    if (file === null) return { is: 'its-own' };
    const { firedAt } = this.release;
    const { clockDifference, setStartedAt } = this.known;
    // Files of one release may come out of order, so each is compared with the last file of the release
    // before.
    const { last } = this.known.soFar.came;
    const { anchor } = came;
    const owedSince = owedSinceIn(this.strays, setStartedAt, this.soFar.comesLate);
    const origin = originOf(file, {
      last,
      anchor,
      firedAt,
      storedAt,
      setStartedAt,
      owedSince,
      clockDifference,
    });
    if (origin.is === 'from-before' && fromBefore < MOST_FROM_BEFORE) return origin;
    const { exposureTime = null } = recorded ?? {};
    const { takenAt } = file;
    // If one release makes several files, only the first was taken right after it.
    const toldAt = this.turn === 0 ? firedAt : null;
    this.see({ came: { ...this.soFar.came, anchor: { takenAt, exposureTime, firedAt: toldAt, storedAt } } });
    return origin.is === 'from-before' ? { is: 'its-own' } : origin;
  }

  /**
   * In aperture priority a frame is recognised by the bias that its file records. If two files of one bracket
   * record the same bias, the part that the bracket adds is not in it. Then only the firing order shows which
   * frame a file is, and that order must have been learnt.
   */
  private canBeTold({ recorded }: Came): boolean {
    const { asked, knowsOrder } = this.known;
    const bias = recorded?.bias ?? null;
    if (asked.mode === 'manual' || this.release.isSingle || knowsOrder || bias === null) return true;
    if (this.soFar.biases.includes(bias)) return false;
    this.see({ biases: [...this.soFar.biases, bias] });
    return true;
  }

  /** Among the files of one release, the latest is the one that the next release is compared with. */
  private seeBefore({ recorded }: Came, owner: FrameAtHand | null): void {
    const takenAt = recorded?.takenAt ?? null;
    const { before } = this.soFar;
    const isFirst = before === this.known.soFar.before;
    if (takenAt === null) return;
    if (isFirst || before === null || wallOf(takenAt) >= wallOf(before.takenAt))
      this.see({ before: { number: owner?.number ?? null, takenAt } });
  }

  /**
   * @returns the frame of an earlier release that was missing this file, if there is one; its file is not
   *   owed any more
   */
  private strayOf(file: Came): number | null {
    const owing = new Set(this.strays.map(({ frame }) => frame));
    const owed = [...this.frames.values()].find(
      (frame) =>
        !this.due.has(frame.number) && owing.has(frame.number) && this.mismatch(file, frame) === null,
    );
    if (owed === undefined) return null;
    this.strays.splice(
      this.strays.findIndex(({ frame }) => frame === owed.number),
      1,
    );
    return owed.number;
  }

  private whyNone(file: Came, displaced: Displaced | null): { reason: string; frame: number | null } {
    const pass = this.release.pass.map((number) => this.frameOf(number));
    const repeated = repeatedBy(file, pass, (frame) => this.mismatch(file, frame));
    return {
      reason: displaced?.reason ?? repeated.reason,
      frame: displaced?.frame ?? repeated.frame,
    };
  }

  private mismatch(file: Came, frame: FrameAtHand): string | null {
    return mismatch(file, { ...this.known.asked, ...frame }, this.soFar.baseTv);
  }

  private frameOf(number: number): FrameAtHand {
    const frame = this.frames.get(number);
    if (frame === undefined) throw new Error(`The set has no frame ${number}.`);
    return frame;
  }

  private see(more: Partial<SoFar>): void {
    this.soFar = { ...this.soFar, ...more };
  }
}

/**
 * Why a file is no frame of the set: it cannot be a frame at all, it repeats one that is already good, or it
 * only came along with its pass.
 * @param frames the frames that it may repeat
 */
export function repeatedBy<Frame extends { readonly number: number }>(
  { broken }: Pick<ReadFile, 'broken'>,
  frames: readonly Frame[],
  mismatchOf: (frame: Frame) => string | null,
): { readonly reason: string; readonly frame: number | null } {
  const repeated = frames.find((frame) => mismatchOf(frame) === null);
  const reason =
    repeated === undefined
      ? 'Not needed: the frame came with its pass.'
      : `A repeat of frame ${repeated.number}, which was good already.`;
  return { reason: broken ?? reason, frame: repeated?.number ?? null };
}

/**
 * @returns the earliest release in this set whose file may still come; null if each release has brought its
 *   own
 */
export function owedSinceIn(
  strays: readonly Pick<Stray, 'releasedAt'>[],
  setStartedAt: string,
  comesLate: boolean,
): string | null {
  if (comesLate) return setStartedAt;
  const released = strays.map(({ releasedAt }) => releasedAt).filter((at) => at >= setStartedAt);
  return released.sort()[0] ?? null;
}

/** Why the file of a release may still come. */
const cameInstead = (isOfEarlier: boolean): string =>
  isOfEarlier
    ? 'The file of an earlier frame came in its place.'
    : 'Another picture came in its place, perhaps an earlier one.';

/** Among the files of one release the latest is kept; the first of them is kept whatever its time. */
function later(file: CameFile | null, soFar: CameFile | null, before: CameFile | null): CameFile | null {
  if (file === null) return soFar;
  const isFirst = soFar === before;
  return isFirst || soFar === null || wallOf(file.takenAt) >= wallOf(soFar.takenAt) ? file : soFar;
}
