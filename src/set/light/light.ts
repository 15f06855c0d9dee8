// The light of a set that is under way: each verified picture is judged while the next frames are fired. The
// pictures taken together may change marks, which is told at once. Nothing waits for it, not even the end of
// the set: the last results are written after the end (proof.ts).
import path from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { ENDED } from '../../../shared/fold.js';
import type { FrameLight, LightView } from '../../../shared/light.js';
import { exifTool, readRawPreview, shownFilesOf } from '../../frames/index.js';
import type { CoverageAnswer, Judge, JudgedFrame, Read, Unread } from '../../light/index.js';
import { together } from '../../light/index.js';
import type { InHand, JudgedLight } from '../in-hand.js';
import { asEnd } from '../judge/end-marks.js';
import { withLightMarks } from '../judge/marks.js';
import { isVerified, type SetFrame } from '../set-frame.js';

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
  private readonly hand: InHand;
  /** The answer on each frame's picture, by the number of the frame. */
  private readonly found = new Map<number, Read | Unread>();
  /** The file that was looked at for a frame. */
  private readonly files = new Map<number, string>();
  private readonly underWay = new Set<Promise<void>>();
  private answer: CoverageAnswer | null = null;
  private drawn = 0;
  private proof: LightView['proof'] = null;

  constructor(judge: Judge, hand: InHand) {
    this.judge = judge;
    this.hand = hand;
  }

  /** The results so far; null if there are none. */
  get view(): LightView | null {
    const { answer, found, proof } = this;
    if (answer === null) return null;
    const { again } = this.together();
    const frames = this.hand.frames.map(({ view }) => view);
    // Judged in part, a set would seem to lack what its other pictures hold.
    const isJudged = frames.every(({ state, number }) => state !== 'verified' || found.has(number));
    const isOver = isJudged && (this.isEnding || frames.every(({ state }) => state === 'verified'));
    return {
      sentence: isOver ? answer.sentence : soFar(found.size, frames.length),
      // While frames are still to come, they may hold what is missing.
      coverage: isOver ? answer.coverage : null,
      frames: this.hand.frames.flatMap(({ view: { number } }) => {
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
  look(frame: SetFrame): void {
    const { file } = frame.view;
    if (file === null) return;
    this.files.set(frame.view.number, file);
    this.begin(async () => {
      await this.judgeFrame(frame);
      // Frames that were compared with the earlier picture of this frame are compared again.
      for (const other of this.comparedWith(frame.view.number)) await this.judgeFrame(other);
      if (this.underWay.size <= 1) await this.tell();
    });
  }

  /** Those that were verified before, and have not been looked at since this program began. */
  lookAtOthers(): void {
    for (const frame of this.hand.frames)
      if (isVerified(frame) && this.files.get(frame.view.number) !== frame.view.file) this.look(frame);
  }

  /** A frame is not in the set any more. */
  leftOut(number: number): void {
    this.found.delete(number);
    this.files.delete(number);
    this.begin(async () => {
      await this.judge.drop(number);
      if (this.underWay.size <= 1) await this.tell();
    });
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
  async merge(file: string, about: readonly string[]): Promise<Buffer | null> {
    const merged = await this.judge.merge({ file, about });
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
      sentence: `The proof of the set could not be written into its folder: ${why}.`,
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
    const one: Promise<void> = work().finally(() => this.underWay.delete(one));
    this.underWay.add(one);
  }

  private async judgeFrame(frame: SetFrame): Promise<void> {
    const { number, file } = frame.view;
    const judged = this.pictureOf(frame);
    if (judged === null) return;
    const found = await this.judge.frame(judged);
    // Meanwhile it may have been fired again, or left the set.
    if (this.files.get(number) === file) this.found.set(number, found);
  }

  private pictureOf({ view }: SetFrame): JudgedFrame | null {
    const [shown] = shownFilesOf(view);
    if (shown === undefined) return null;
    const file = path.join(this.hand.folder.path, shown.file);
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

  private comparedWith(number: number): SetFrame[] {
    return this.hand.frames.filter(({ view }) => {
      const found = this.found.get(view.number);
      return found?.isRead === true && found.steadiness?.against === number && view.number !== number;
    });
  }

  /** Whether nothing more is fired. */
  private get isEnding(): boolean {
    const { state } = this.hand.book;
    return state === 'putting-back' || ENDED.has(state);
  }

  private together() {
    const { found, hand } = this;
    const read = [...found.values()]
      .filter((one) => one.isRead)
      .filter(({ number }) => hand.frames.some(({ view }) => view.number === number));
    const inTurn = hand.frames
      .filter(isVerified)
      .toSorted((a, b) => (a.times.firedAt ?? '').localeCompare(b.times.firedAt ?? ''))
      .map(({ view }) => view.number);
    return together(read, inTurn);
  }

  private async tell(): Promise<void> {
    this.answer = await this.judge.coverage();
    this.drawn += 1;
    const { book } = this.hand;
    this.mark();
    if (this.view !== null) book.light(this.hand.labels.set.id, this.view);
  }

  private mark(): void {
    const { hand } = this;
    const { marks } = this.together();
    const coverage = this.view?.coverage;
    for (const frame of hand.frames.filter(isVerified)) {
      const own = marks
        .filter(({ number }) => number === frame.view.number)
        .map(({ code, sentence }) => ({ code, sentence }));
      const lit = withLightMarks(frame.view.marks, own);
      // Which frames are the ends is known at the end; the last pictures may be judged after it.
      const all = this.isEnding ? (asEnd(frame, lit ?? frame.view.marks, hand, coverage) ?? lit) : lit;
      if (all !== null) hand.book.mark(frame, all);
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
