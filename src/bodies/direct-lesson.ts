// Finds out from outside what a body does over a link that takes release and fetch apart: fires a few frames
// each way, and watches which files come, when, and in what pieces. It knows nothing of plans and sets; the
// frames are thrown away.
import { rm, stat } from 'node:fs/promises';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import type { DirectProfile } from '../../shared/profile.js';
import type { Body, BroughtFile, Released } from '../camera/index.js';
import { type BracketShape, labelledShutters, ONE_EV, type ShutterSetting } from '../exposure/index.js';
import { readRecorded, recordedTv } from '../frames/index.js';
import { median, tidy } from './figures.js';
import type { LearnStep } from './lesson.js';

/** Frames that are released one after another, each as soon as the head of the one before is here. */
const PIPELINED = 4;
/**
 * A time that is short compared with everything else that a frame takes: 1/125 s, or the nearest that there
 * is.
 */
const SHORT_SECONDS = 1 / 125;
/** Long enough for a file to come while the shutter is open. */
const LONG_SECONDS = 2;
/** Larger pieces are asked for only if they are that much quicker. */
const WORTH_IT = 0.95;
/** Bytes that one call may ask for: more was never seen to be quicker, and one kind of body is said to dislike it. */
const LARGEST_PIECE = 4 * 1024 * 1024;

export interface DirectLessonOptions {
  readonly onStep?: ((step: LearnStep) => void) | undefined;
  readonly stopping?: (() => boolean) | undefined;
}

/** Seconds, as they were seen from outside. */
interface Seen {
  readonly files: readonly BroughtFile[];
  /** From the release until the heads of all files were here, without the exposures. */
  readonly overhead: number;
}

/** Of the files of one frame. */
interface Pieces {
  readonly pieceBytes: number;
  readonly secondsPerTransfer: number;
  /** null if nothing of them comes after their heads. */
  readonly secondsPerPiece: number | null;
  readonly overheads: readonly number[];
}

export class DirectLesson {
  private readonly body: Body;
  private readonly library: string;
  private readonly folder: string;
  private readonly options: DirectLessonOptions;
  private fired = 0;

  /** @param body that is made ready, and reached so @param folder takes the frames, and is left empty */
  constructor(body: Body, library: string, folder: string, options: DirectLessonOptions = {}) {
    this.body = body;
    this.library = library;
    this.folder = folder;
    this.options = options;
  }

  /** @throws EvenrungError not-learnt with the reason why the camera is not to be used so; ending; what links throw */
  async learn(): Promise<DirectProfile> {
    const { pieceBytes, secondsPerTransfer, secondsPerPiece, overheads } = await this.pieces();
    // The time that a frame waits for earlier files is counted separately, so only frames before which
    // nothing was on its way are taken here.
    const single = median([...overheads, await this.pipelined()]);
    const whole = await this.oneRelease();
    const sends = await this.sendsWhileExposing();
    // A burst shows the time before the first exposure separately from the time for each frame.
    const each =
      whole === null
        ? single
        : Math.min(single, Math.max(0, (whole.overhead - single) / Math.max(1, whole.frames - 1)));
    // If files only come whole, a frame is over when its file is here, and of a burst the files take longest.
    // Then the body's own pace cannot be seen, and everything that a single frame takes apart from its file
    // is counted as that pace.
    const isFilesPace = whole !== null && this.body.limits.apart?.secondsPerPiece === null;
    const after = isFilesPace ? single - each : each;
    return {
      library: this.library,
      pipelined: true,
      oneRelease: whole !== null,
      ...(this.body.makesPairs ? { pairs: true } : {}),
      pieceBytes,
      ...(sends === null ? {} : { sendsWhileExposing: sends }),
      mostInOneGo: whole?.frames ?? 1,
      timing: {
        secondsBeforeExposure: isFilesPace ? 0 : tidy(single - after),
        secondsAfterExposure: tidy(after),
        secondsPerTransfer: tidy(isFilesPace ? each : secondsPerTransfer),
        ...(secondsPerPiece === null ? {} : { secondsPerPiece: tidy(secondsPerPiece) }),
      },
    };
  }

  /**
   * The pieces in which a file comes quickest, how long it takes, and how long a frame takes that is fired
   * while nothing is coming.
   */
  private async pieces(): Promise<Pieces> {
    this.tell('pieces', 'Timing how quickly files come, and in which pieces.');
    const short = this.short();
    const first = this.body.pieceBytes;
    await this.arm(short, null);
    const tried: (Pick<Pieces, 'pieceBytes'> & { seconds: number; bytes: number; overhead: number })[] = [];
    for (const pieceBytes of new Set([first, Math.min(LARGEST_PIECE, first * 4)])) {
      this.body.pieceBytes = pieceBytes;
      const { files, overhead } = await this.release([short], 1);
      const from = performance.now();
      const bytes = await this.whole(files);
      const comesInPieces = restsOf(files).length > 0;
      const seconds = (performance.now() - from) / 1000;
      tried.push({ pieceBytes, seconds, bytes: comesInPieces ? bytes : 0, overhead });
    }
    const [smaller, larger] = tried;
    if (smaller === undefined) throw new Error('No piece size was tried.');
    const best = larger !== undefined && larger.seconds < smaller.seconds * WORTH_IT ? larger : smaller;
    this.body.pieceBytes = best.pieceBytes;
    return {
      pieceBytes: best.pieceBytes,
      secondsPerTransfer: best.seconds,
      secondsPerPiece: best.bytes === 0 ? null : best.seconds * Math.min(1, best.pieceBytes / best.bytes),
      overheads: tried.map(({ overhead }) => overhead),
    };
  }

  /** @returns seconds that the first of them takes in addition to its exposure, until its head is here */
  private async pipelined(): Promise<number> {
    this.tell(
      'pipelined',
      'Testing whether the next frame can be fired while the file of the one before is coming.',
    );
    const short = this.short();
    await this.arm(short, null);
    const seen: Seen[] = [];
    for (let frame = 0; frame < PIPELINED; frame += 1) seen.push(await this.release([short], 1));
    await this.whole(seen.flatMap(({ files }) => files));
    return seen[0]?.overhead ?? 0;
  }

  /** @returns of the largest bracket that came whole; null if the body offers none, or none did */
  private async oneRelease(): Promise<{ readonly frames: number; readonly overhead: number } | null> {
    let largest: { readonly frames: number; readonly overhead: number } | null = null;
    for (const shape of shapesToTry(this.body.limits.brackets)) {
      const { length } = shape.pattern;
      this.tell('one-release', `Testing whether one release fires a bracket of ${length} frames.`);
      const shutters = this.around(shape);
      if (shutters === null) continue;
      try {
        await this.arm(shutters.centre, shape);
        const { files, overhead } = await this.release(shutters.frames, length);
        await this.whole(files);
        largest = { frames: length, overhead };
      } catch (cause) {
        const { code } = asEvenrungError(cause);
        if (code !== 'frame-missing' && code !== 'not-learnt' && code !== 'setting-not-taken') throw cause;
        this.body.doubt();
        break;
      }
    }
    await this.arm(this.short(), null);
    return largest;
  }

  /** @returns null if its files are too small to tell */
  private async sendsWhileExposing(): Promise<boolean | null> {
    this.tell('sends', 'Testing whether files come while the shutter is open.');
    const [short, long] = [this.short(), this.nearest(LONG_SECONDS)];
    await this.arm(short, null);
    const first = await this.release([short], 1);
    const rests = restsOf(first.files);
    if (rests.length === 0) return null;
    let isHere = false;
    const coming = Promise.all(rests).then(() => {
      isHere = true;
    });
    // A failure here is met again when all of the file is waited for.
    coming.catch(() => undefined);
    await this.arm(long, null);
    const second = await this.release([long], 1);
    const came = isHere;
    await this.whole([...first.files, ...second.files]);
    return came;
  }

  // --- frames

  private async arm(shutter: ShutterSetting, shape: BracketShape | null): Promise<void> {
    this.mustNotStop();
    await this.body.arm({ centre: { by: 'shutter', shutter }, shape });
  }

  /**
   * @param shutters of its frames, in whatever order
   * @throws EvenrungError not-learnt if the heads do not record just these
   */
  private async release(shutters: readonly ShutterSetting[], frames: number): Promise<Seen> {
    this.mustNotStop();
    this.fired += frames;
    const exposureSeconds = shutters.reduce((sum, { seconds }) => sum + seconds, 0);
    const from = performance.now();
    const released = await this.body.releaseShutter({ into: this.folder, exposureSeconds, frames });
    const overhead = Math.max(0, (performance.now() - from) / 1000 - exposureSeconds);
    if (released.failure !== null) {
      await this.whole(released.files).catch(() => undefined);
      throw released.failure;
    }
    await mustRecord(released, shutters);
    return { files: released.files, overhead };
  }

  /**
   * Waits for all of them, and throws them away.
   * @returns how many bytes they had
   * @throws EvenrungError not-learnt if one is not as long as the body said
   */
  private async whole(files: readonly BroughtFile[]): Promise<number> {
    let bytes = 0;
    for (const file of withPartners(files)) {
      await file.whole;
      const { size } = await stat(file.path).catch(() => ({ size: null }));
      await rm(file.path, { force: true });
      bytes += size ?? 0;
      // Some were thrown away before.
      if (size === null || file.saidBytes === undefined || size === file.saidBytes) continue;
      throw notSo(`a file of ${file.saidBytes} bytes came with ${size}`);
    }
    if (!this.body.makesPairs) return bytes;
    if (files.some(({ partner }) => partner === undefined))
      throw notSo("one of a frame's two files did not come");
    return bytes;
  }

  private short(): ShutterSetting {
    return this.nearest(SHORT_SECONDS);
  }

  private nearest(seconds: number): ShutterSetting {
    const settable = labelledShutters(this.body.limits).filter((setting) => setting.settable);
    const off = (setting: ShutterSetting) => Math.abs(Math.log2(setting.seconds / seconds));
    const [nearest] = settable.sort((one, other) => off(one) - off(other));
    if (nearest === undefined) throw notSo('no shutter time can be set');
    return nearest;
  }

  /**
   * @returns a centre around which every frame of the bracket has a time, with the times; null if there is
   *   none
   */
  private around({ step, pattern }: BracketShape) {
    const { shutters } = this.body.limits;
    const at = (tv: number) => shutters.find((setting) => setting.tv === tv);
    const settable = shutters.filter((setting) => setting.settable && setting.seconds <= SHORT_SECONDS);
    for (const centre of settable) {
      const frames = pattern.map((position) => at(centre.tv - position * step));
      if (frames.every((frame) => frame !== undefined)) return { centre, frames };
    }
    return null;
  }

  private mustNotStop(): void {
    if (this.options.stopping?.())
      throw new EvenrungError('ending', 'Learning was stopped; nothing was saved.');
  }

  private tell(about: LearnStep['about'], message: string): void {
    this.options.onStep?.({ about, message, fired: this.fired, most: mostFramesDirectly(this.body) });
  }
}

/** @returns how many frames it fires at most */
export const mostFramesDirectly = (body: Body): number =>
  2 + PIPELINED + 2 + shapesToTry(body.limits.brackets).reduce((sum, { pattern }) => sum + pattern.length, 0);

/** Each length once, the shortest first, with the step nearest to 1 EV. */
function shapesToTry(brackets: readonly BracketShape[]): BracketShape[] {
  const off = ({ step }: BracketShape) => Math.abs(step - ONE_EV);
  const chosen = new Map<number, BracketShape>();
  for (const shape of brackets) {
    if (shape.isOneRelease !== true || shape.pattern.length < 2) continue;
    const before = chosen.get(shape.pattern.length);
    if (before === undefined || off(shape) < off(before)) chosen.set(shape.pattern.length, shape);
  }
  return [...chosen.values()].sort((one, other) => one.pattern.length - other.pattern.length);
}

/** Both files of each frame. */
const withPartners = (files: readonly BroughtFile[]): BroughtFile[] =>
  files.flatMap((file) => (file.partner === undefined ? [file] : [file, file.partner]));

const restsOf = (files: readonly BroughtFile[]): Promise<void>[] =>
  withPartners(files).flatMap(({ whole }) => (whole === undefined ? [] : [whole]));

async function mustRecord({ files }: Released, shutters: readonly ShutterSetting[]): Promise<void> {
  if (files.length !== shutters.length)
    throw notSo(`${files.length} frames came from a release that makes ${shutters.length}`);
  const open = [...shutters];
  for (const { path } of files) {
    const { exposureTime } = await readRecorded(path);
    const tv = recordedTv(exposureTime);
    const at = open.findIndex((shutter) => tv !== null && Math.abs(recordedTvOf(shutter) - tv) < 0.2);
    if (at < 0) throw notSo(`a frame records ${exposureTime ?? 'no'} s, which was never set`);
    open.splice(at, 1);
  }
}

/** Tv in EV that a file of this setting records. */
const recordedTvOf = ({ seconds }: ShutterSetting): number => -Math.log2(seconds);

const notSo = (why: string): EvenrungError =>
  new EvenrungError('not-learnt', `The camera is not reached directly: ${why}.`);
