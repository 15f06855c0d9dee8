// When the shutter opens and closes along a plan, and when the last file is here. Two clocks, one for each kind of link.
//
// Released and fetched at once: one thing after another. A frame takes its exposure, and `secondsPerFrame` for all the rest.
//
// Released and fetched apart: two things go on side by side. The body exposes, and the cable brings files; calls to the body go
// over the cable as well. With lag = secondsBeforeExposure, rest = secondsAfterExposure, transfer = secondsPerTransfer:
//
//   a frame          its shutter opens a lag after the release; a rest after it has closed, its file can be had
//   a change         the body takes it as soon as its last frame has had its rest; the cable brings nothing meanwhile
//   a wait           until vibration has died down: files go on coming
//   frame by frame   the next thing is asked once the file's head is judged. The head comes before what is left of the files before:
//                    it waits for the piece that is on the cable at most, and for less where less is left. The rest of the file
//                    queues up behind theirs, and comes beside the next changes, waits and exposures, or after the last
//   a bulb exposure  opens once every file is here: the cable is kept free for the call that ends it
//   a dark frame     of a body that takes one belongs to the rest: as long as a long exposure itself
//   one release      the first frame opens a lag after it, each further one a rest after the one before has closed. What comes next
//                    waits for no file; the cable brings them in their order
//   whole files      come with the event that tells of them, if the link cannot bring them in pieces: what comes next waits for all
//                    of them. Frame by frame, exposure and transfer add up, and nothing overlaps; in one release, the files of the
//                    first frames come while the further ones are exposed
//
// The set takes as long as the longer of the two: the body's work, and the cable's. A plan with one release a pass never waits for
// a file that comes in pieces, not even after a single frame.
import type { ReleaseWay } from '../../shared/request.js';
import type { ApartTiming, BodyLimits } from '../exposure/index.js';
import type { Pass } from './types.js';

export interface Exposure {
  /** Seconds from the beginning of the plan. */
  readonly opens: number;
  readonly closes: number;
}

export interface Clock {
  /** When the body can take the next call, in seconds from the beginning of the plan. */
  readonly now: number;
  /** When every file is here that has been made so far. */
  readonly allHere: number;
  change(seconds: number): void;
  wait(seconds: number): void;
  /** @returns the exposures of its frames, in firing order */
  fire(pass: Pass): Exposure[];
}

/** Exposures longer than this are followed by a dark frame, on bodies that take one (common practice, no source). */
export const LONG_SECONDS = 1;

/** @param takesDarkFrames as long as the exposure, after each long one */
export function clockFor(
  { apart, secondsPerFrame }: BodyLimits,
  release: ReleaseWay,
  takesDarkFrames: boolean,
): Clock {
  const dark = (seconds: number) => (takesDarkFrames && seconds > LONG_SECONDS ? seconds : 0);
  return apart === undefined
    ? new AtOnce(secondsPerFrame, dark)
    : new Apart(apart, release === 'frame', dark);
}

class AtOnce implements Clock {
  now = 0;
  private readonly secondsPerFrame: number;
  private readonly dark: (seconds: number) => number;

  constructor(secondsPerFrame: number, dark: (seconds: number) => number) {
    this.secondsPerFrame = secondsPerFrame;
    this.dark = dark;
  }

  get allHere(): number {
    return this.now;
  }

  change(seconds: number): void {
    this.now += seconds;
  }

  wait(seconds: number): void {
    this.now += seconds;
  }

  fire({ frames }: Pass): Exposure[] {
    return frames.map(({ shutter: { seconds } }) => {
      const opens = this.now;
      this.now += seconds + this.dark(seconds) + this.secondsPerFrame;
      return { opens, closes: opens + seconds };
    });
  }
}

class Apart implements Clock {
  now = 0;
  /** When the cable has brought everything that is waiting. */
  private free = 0;
  private readonly timing: ApartTiming;
  private readonly provesEach: boolean;
  private readonly dark: (seconds: number) => number;

  constructor(timing: ApartTiming, provesEach: boolean, dark: (seconds: number) => number) {
    this.timing = timing;
    this.provesEach = provesEach;
    this.dark = dark;
  }

  get allHere(): number {
    return Math.max(this.now, this.free);
  }

  change(seconds: number): void {
    if (this.free > this.now) this.free += seconds;
    this.now += seconds;
  }

  wait(seconds: number): void {
    this.now += seconds;
  }

  fire({ frames, shape }: Pass): Exposure[] {
    const { secondsBeforeExposure, secondsAfterExposure, secondsPerTransfer } = this.timing;
    const isOneRelease = shape?.isOneRelease === true;
    return frames.map(({ shutter: { seconds, bulb } }, index) => {
      // While a shutter is held open, nothing goes over the cable.
      if (bulb === true) this.now = Math.max(this.now, this.free);
      const opens = this.now + (isOneRelease && index > 0 ? 0 : secondsBeforeExposure);
      const closes = opens + seconds;
      this.now = closes + this.dark(seconds) + secondsAfterExposure;
      const left = Math.max(0, this.free - this.now);
      this.free = this.now + left + secondsPerTransfer;
      if (!isOneRelease || index === frames.length - 1) this.now += this.waitFor(left);
      return { opens, closes };
    });
  }

  /** @param left seconds that the cable needed for the files before, when the last one of a release could be had */
  private waitFor(left: number): number {
    const { secondsPerPiece, secondsPerTransfer } = this.timing;
    if (secondsPerPiece === null) return left + secondsPerTransfer;
    return this.provesEach ? Math.min(left, secondsPerPiece) : 0;
  }
}
