// The light of a set that is under way: each verified picture is judged while the next frames are fired. The
// pictures taken together may change marks, which is told at once. Nothing waits for it, not even the end of
// the set: the last results are written after the end (proof.ts).
import path from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import type { FrameLight, LightView } from '../../../shared/light.js';
import { exifTool, readRawPreview, shownFilesOf } from '../../frames/index.js';
import type { CoverageAnswer, Judge, JudgedFrame, Read, Unread } from '../../light/index.js';
import { notWritten, together } from '../../light/index.js';
import type { JudgedLight } from '../in-hand.js';
import { asEnd } from '../judge/end-marks.js';
import { withLightMarks } from '../judge/marks.js';
import { isVerified } from '../set-frame.js';
import type { JudgedSet, LitFrame } from './judged-set.js';

/** The side of a preview that is looked at, in pixels; a copy of it would show nothing finer. */
const PREVIEW_SIDE = 1024;
/** Files that are decoded as they are: of others the preview is looked at. */
const DECODED: ReadonlySet<string> = new Set([
  'jpg',
  'jpeg',
  'heic',
  'heif',
  'avif',
  'png',
  'tif',
  'tiff',
  'webp',
]);

export class SetLight implements JudgedLight {
  private readonly judge: Judge;
  private readonly set: JudgedSet;
  /** The answer on each frame's picture, by the number of the frame. */
  private readonly found = new Map<number, Read | Unread>();
  /** The file that was looked at for a frame. */
  private readonly files = new Map<number, string>();
  private readonly underWay = new Set<Promise<void>>();
  /** So many of them wait for the judge. */
  private toJudge = 0;
  private answer: CoverageAnswer | null = null;
  private drawn = 0;
  private proof: LightView['proof'] = null;
  private notMerged = false;

  constructor(judge: Judge, set: JudgedSet) {
    this.judge = judge;
    this.set = set;
    this.drawn = set.drawn ?? 0;
  }

  /** The results so far; null if there are none. */
  get view(): LightView | null {
    const { answer, found, proof } = this;
    if (answer === null) return null;
    const { again } = this.together();
    const frames = this.set.frames.map(({ view }) => view);
    // Judged in part, a set would seem to lack what its other pictures hold.
    const isJudged = frames.every(({ state, number }) => state !== 'verified' || found.has(number));
    const isOver = isJudged && (this.set.isEnding || frames.every(({ state }) => state === 'verified'));
    return {
      sentence: isOver ? answer.sentence : soFar(found.size, frames.length),
      // While frames are still to come, they may hold what is missing.
      coverage: isOver ? answer.coverage : null,
      frames: this.set.frames.flatMap(({ view: { number } }) => {
        const one = found.get(number);
        return one === undefined ? [] : [frameLight(one, answer)];
      }),
      ...{ again: [...again], map: answer.map === null ? 0 : this.drawn, proof },
    };
  }

  /** PNG: which parts of the picture the set holds; null if that is not known. */
  get map(): Buffer | null {
    return this.answer?.map ?? null;
  }

  /** A frame is verified: its picture is going to be judged. Comes back at once. */
  look(frame: LitFrame): void {
    const { file } = frame.view;
    if (file === null) return;
    this.files.set(frame.view.number, file);
    this.begin(async () => {
      await this.judgeFrame(frame);
      // Frames that were compared with the earlier picture of this frame are compared again.
      for (const other of this.comparedWith(frame.view.number)) await this.judgeFrame(other);
    });
  }

  /** Those that were verified before, and have not been looked at since this program began. */
  lookAtOthers(): void {
    for (const frame of this.set.frames)
      if (isVerified(frame) && this.files.get(frame.view.number) !== frame.view.file) this.look(frame);
  }

  /** All that are verified, one after another, and what they tell together; as far as it is wanted. */
  async lookThrough(signal: AbortSignal): Promise<void> {
    for (const frame of this.set.frames.filter(isVerified)) {
      if (signal.aborted) return;
      const { number, file } = frame.view;
      if (file !== null) this.files.set(number, file);
      await this.judgeFrame(frame);
    }
    if (!signal.aborted) await this.tell();
  }

  /** A frame is not in the set any more. */
  leftOut(number: number): void {
    this.found.delete(number);
    this.files.delete(number);
    this.begin(async () => {
      await this.judge.drop(number);
    });
  }

  /** Whether something is not known although the pictures may tell it: another time it may be. */
  get hasFailed(): boolean {
    const isUnknown = (one: Read | Unread) => !one.isRead && one.reason === 'failed';
    return this.notMerged || [...this.found.values()].some(isUnknown);
  }

  /** Whether all that was to be judged is. */
  get isSettled(): boolean {
    return this.underWay.size === 0;
  }

  /** Waits until everything has been judged that was to be, but no longer than so many milliseconds. */
  async settled(withinMs = Number.POSITIVE_INFINITY): Promise<void> {
    const until = performance.now() + withinMs;
    while (!this.isSettled) {
      const left = until - performance.now();
      if (left <= 0) return;
      await orAfter(Promise.race(this.underWay), left);
    }
  }

  /**
   * Merges the frames, and writes the radiance into the set folder.
   * @param about lines for the head of the file of radiance
   * @returns the preview, a JPEG; null if there is none
   */
  async merge(file: string, about: readonly string[], signal?: AbortSignal): Promise<Buffer | null> {
    const merged = await this.judge.merge({ file, about, signal });
    this.notMerged = !merged.isMerged && merged.hasFailed === true;
    this.proof = {
      sentence: merged.sentence,
      isMade: merged.isMerged,
      madeAt: new Date().toISOString(),
    };
    return merged.isMerged ? merged.preview : null;
  }

  /** @param why in a few words */
  cannotBeWritten(why: string): void {
    this.proof = {
      sentence: notWritten(why),
      isMade: false,
      madeAt: new Date().toISOString(),
    };
  }

  /** Nothing may be asked afterwards. */
  async close(): Promise<void> {
    await this.judge.close();
  }

  /** The judge answers in turn, and never rejects. */
  private begin(work: () => Promise<void>): void {
    this.toJudge += 1;
    const one: Promise<void> = this.carryOut(work).finally(() => this.underWay.delete(one));
    this.underWay.add(one);
  }

  /** What the pictures come to is told once none is waiting. */
  private async carryOut(work: () => Promise<void>): Promise<void> {
    await work();
    this.toJudge -= 1;
    if (this.toJudge === 0) await this.tell();
  }

  private async judgeFrame(frame: LitFrame): Promise<void> {
    const { number, file } = frame.view;
    const judged = this.pictureOf(frame);
    if (judged === null) return;
    const found = await this.judge.frame(judged);
    // Meanwhile it may have been fired again, or left the set.
    if (this.files.get(number) === file) this.found.set(number, found);
  }

  private pictureOf({ view }: LitFrame): JudgedFrame | null {
    const [shown] = shownFilesOf(view);
    if (shown === undefined) return null;
    const file = path.join(this.set.folder, shown.file);
    const { number, offset, baseMoved } = view;
    return {
      number,
      // In aperture priority the camera's own exposure may have moved.
      offsetEv: offset + (baseMoved ?? 0),
      picture: DECODED.has(shown.kind)
        ? { file, kind: shown.kind }
        : { preview: () => readRawPreview(file, exifTool, PREVIEW_SIDE) },
    };
  }

  private comparedWith(number: number): LitFrame[] {
    return this.set.frames.filter(({ view }) => {
      const found = this.found.get(view.number);
      return found?.isRead === true && found.steadiness?.against === number && view.number !== number;
    });
  }

  private together() {
    const { found, set } = this;
    const read = [...found.values()]
      .filter((one) => one.isRead)
      .filter(({ number }) => set.frames.some(({ view }) => view.number === number));
    const inTurn = set.frames
      .filter(isVerified)
      .toSorted((a, b) => (a.times.firedAt ?? '').localeCompare(b.times.firedAt ?? ''))
      .map(({ view }) => view.number);
    return together(read, inTurn);
  }

  private async tell(): Promise<void> {
    this.answer = await this.judge.coverage();
    this.drawn += 1;
    this.mark();
    if (this.view !== null) this.set.light(this.view);
  }

  private mark(): void {
    const { set } = this;
    const { marks } = this.together();
    const coverage = this.view?.coverage;
    for (const frame of set.frames.filter(isVerified)) {
      const own = marks
        .filter(({ number }) => number === frame.view.number)
        .map(({ code, sentence }) => ({ code, sentence }));
      const lit = withLightMarks(frame.view.marks, own);
      // Which frames are the ends is known at the end; the last pictures may be judged after it.
      const all = set.isEnding ? (asEnd(frame, lit ?? frame.view.marks, set.frames, coverage) ?? lit) : lit;
      if (all !== null) set.mark(frame.view.number, all);
    }
  }
}

const soFar = (judged: number, frames: number): string =>
  `${judged} of ${frames} pictures are judged so far: the last one shows what the set holds.`;

function frameLight(found: Read | Unread, { coverage }: CoverageAnswer): FrameLight {
  const { number } = found;
  const held = coverage?.frames.find((one) => one.number === number);
  const share = { exposed: held?.exposed ?? null, alone: held?.alone ?? null };
  if (!found.isRead) return { number, ...share, steadiness: null, unread: found.sentence };
  const { steadiness } = found;
  return {
    ...{ number, ...share, unread: null },
    steadiness:
      steadiness === null
        ? null
        : {
            against: steadiness.against,
            ...steadiness.shift,
            ...{ blur: steadiness.blur, moved: steadiness.moved.share },
          },
  };
}

/** Returns when the promise settles, or after so many milliseconds. */
async function orAfter(awaited: Promise<unknown>, ms: number): Promise<void> {
  if (!Number.isFinite(ms)) {
    await awaited;
    return;
  }
  const over = new AbortController();
  const waited = sleep(ms, undefined, { signal: over.signal }).catch(() => undefined);
  await Promise.race([awaited, waited]);
  over.abort();
}
