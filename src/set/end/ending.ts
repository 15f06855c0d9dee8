// The end of a set, whatever led to it: frames that were to be fired again and were not get their earlier
// files back, the folder is handed over, and everyone hears how the set ended. Something that goes wrong here
// becomes part of how the set ended; only a defect is thrown.
import path from 'node:path';
import { asEvenrungError, EvenrungError } from '../../../shared/errors.js';
import type { SetRecord } from '../../../shared/set-record.js';
import {
  compareLight,
  isOfHandOver,
  type KeptName,
  type LightComparison,
  relabelSet,
  sidecarsOf,
} from '../../frames/index.js';
import { addedNote, fateOfAdded } from '../again/added.js';
import { incompleteEnd, laterNote, makingWay, wayBack } from '../again/taken-up.js';
import { checkPartner, markLone } from '../assign/late-partner.js';
import type { Keeper } from '../book/keeper.js';
import type { InHand } from '../in-hand.js';
import { asEnd } from '../judge/end-marks.js';
import { marksOfSet } from '../judge/judgements.js';
import { withNeighbourMarks } from '../judge/marks.js';
import { show } from '../judge/verify.js';
import { isVerified, type SetFrame, thumbnailsOf, timesOf } from '../set-frame.js';
import { recordOf } from './record.js';
import { endSentence, movedSentence } from './sentence.js';

export interface EndingOptions {
  readonly hand: InHand;
  readonly keeper: Keeper;
  readonly isStopped: () => boolean;
  /** The error that ended the firing; null if there was none. */
  readonly error: EvenrungError | null;
  /** Settles when the settings have been put back, or could not be. */
  readonly putBack: Promise<PutBack>;
  readonly baseShifts: SetRecord['baseShifts'];
  /** Tells everyone the whole set, after frames have left it. */
  readonly tellWhole: () => void;
}

/** The settings that were put back, and the error if not all of them were. */
export interface PutBack {
  readonly names: readonly string[];
  readonly error: EvenrungError | null;
}

/** How a set ended. */
export interface SetEnded {
  readonly state: 'complete' | 'stopped' | 'halted';
  /** How many of its frames are verified, and how many frames it has. */
  readonly verified: number;
  readonly frames: number;
  readonly sentence: string;
  readonly error: EvenrungError | null;
  /** The set folder; null if nothing is stored in it. */
  readonly folder: string | null;
  readonly endedAt: string;
}

export async function endSet(options: EndingOptions): Promise<SetEnded> {
  const ending = new Ending(options);
  return ending.end();
}

class Ending {
  private readonly options: EndingOptions;
  private readonly hand: InHand;
  private error: EvenrungError | null;
  private comparison: LightComparison = { ratios: [], suspects: [], off: [] };
  /** Null until it is known. */
  private putBack: PutBack | null = null;

  constructor(options: EndingOptions) {
    this.options = options;
    this.hand = options.hand;
    this.error = options.error;
  }

  async end(): Promise<SetEnded> {
    const { hand } = this;
    // The files beside the frames are made while the last settings are put back. If anything has gone wrong,
    // the settings come first.
    if (this.error !== null || !hand.frames.every(isVerified)) await this.hearOfPutBack();
    await this.goBackToEarlier();
    hand.light?.lookAtOthers();
    if (hand.leaveOutUnmade()) this.options.tellWhole();
    const moved = movedSentence(hand.frames.map(({ view }) => view));
    if (moved !== null) hand.book.note(moved);
    this.error ??= this.options.keeper.catchUp();
    const isComplete = (await this.isAllThere()) && hand.frames.every(isVerified);
    const isStopped = this.options.isStopped();
    const outcome: SetEnded['state'] = isComplete
      ? 'complete'
      : this.error === null
        ? incompleteEnd(hand.redo.takenUp, isStopped)
        : 'halted';
    const folder = await this.finish(isComplete, outcome);
    await this.hearOfPutBack();
    const endedAt = new Date().toISOString();
    const { error } = this;
    const sentence = this.sentence(outcome);
    hand.book.enter(outcome, { sentence, error: error?.code ?? null, folder, endedAt });
    const { length: frames } = hand.frames;
    const verified = hand.frames.filter(isVerified).length;
    return { state: outcome, verified, frames, sentence, error, folder, endedAt };
  }

  private async hearOfPutBack(): Promise<void> {
    this.putBack ??= await this.options.putBack;
    this.error ??= this.putBack.error;
  }

  private sentence(outcome: SetEnded['state']): string {
    const { hand, error } = this;
    const isStopped = this.options.isStopped();
    const frames = hand.frames.map(({ view }) => view);
    const { debts } = hand.body;
    const { takenUp } = hand.redo;
    const lacking = hand.book.lacking();
    const added = fateOfAdded(frames, hand.added);
    return endSentence({ outcome, frames, isStopped, error, debts, takenUp, added, lacking });
  }

  /** Frames that were chosen to be fired again, and were not, get their earlier files back. */
  private async goBackToEarlier(): Promise<void> {
    const { book, folder, redo, frames, plan } = this.hand;
    for (const frame of frames) {
      const earlier = redo.earlierOf(frame.view);
      if (earlier === null || isVerified(frame)) continue;
      const { view, sha256, bytes } = earlier;
      const times = timesOf(earlier);
      const now = view.file === null ? null : await folder.checksumOf(view.file);
      if (now === null || (sha256 !== null && now.sha256 !== sha256)) continue;
      for (const state of wayBack(frame.view.state)) book.change(frame, state);
      const file = { arrived: null, sha256, bytes, times };
      book.change(frame, 'verified', { ...view, attempts: frame.view.attempts }, file);
      frame.looked = false;
      await checkPartner(frame, null, this.hand);
    }
    for (const [index, pass] of plan.passes.entries())
      if (book.passes[index] !== 'done' && this.hand.framesOfPass(pass).every(isVerified))
        book.passChanged(index + 1, 'done');
  }

  /**
   * If somebody has taken files away meanwhile, the set is not complete, even if every frame was verified.
   */
  private async isAllThere(): Promise<boolean> {
    const lost = await this.hand.folder.lost(this.hand.frames.filter(isVerified).flatMap(keptFiles));
    if (lost === null) return true;
    await this.hearOfPutBack();
    const { error } = this;
    const alsoSaid = error === null || error.code === lost.code ? '' : `${error.message} `;
    this.error = new EvenrungError(lost.code, alsoSaid + lost.message, lost.details);
    return false;
  }

  /** @returns the set folder; null if nothing was stored in it */
  private async finish(isComplete: boolean, outcome: SetEnded['state']): Promise<string | null> {
    const { folder, labels, book } = this.hand;
    labels.handOver();
    try {
      for (const file of await folder.sweep())
        book.aside({ file, reason: 'It came when no frame was being waited for.' });
      // If the journal cannot be told that the set has ended, somebody will resume the set and needs its
      // folder.
      if (this.options.keeper.catchUp() === null && (await folder.removeIfEmpty())) return null;
      await this.compareFrames();
      // These sentences depend on the marks that were found just now.
      for (const later of this.laterSentences()) book.note(later);
      const leaving = await this.makingWay();
      await folder.finish(await this.handOver(isComplete, outcome, leaving));
      for (const { file, aside } of leaving) await folder.moveAside(file, aside);
      // The set may have been renamed meanwhile.
      for (let said = labels.inFolder; said !== labels.set; ) {
        said = labels.set;
        await relabelSet(folder.path, [this.hand.run, said.id], said);
      }
    } catch (cause) {
      this.error ??= asEvenrungError(cause);
    } finally {
      labels.handedOver();
    }
    return folder.path;
  }

  /**
   * Neighbours are compared once all frames are there: only then can it be seen how far the camera's tone
   * curve bends the steps.
   */
  private async compareFrames(): Promise<void> {
    const { hand } = this;
    const verified = hand.frames.filter(isVerified);
    markLone(hand);
    for (const frame of verified) {
      if (frame.looked) continue;
      // The frame was verified before a restart.
      show(frame, await hand.pictureOf(frame));
    }
    const comparison = compareLight(
      verified.map(({ view: { number, offset }, light }) => ({ number, offsetEv: offset, light })),
    );
    this.comparison = comparison;
    const sizes = verified
      .flatMap(keptFiles)
      .flatMap(({ number, file, bytes, isPartner }) =>
        bytes === null ? [] : [{ number, kind: path.extname(file).slice(1), bytes, isPartner }],
      );
    const found = marksOfSet({ comparison, sizes });
    const coverage = hand.light?.view?.coverage;
    for (const frame of verified) {
      const { number, marks: own } = frame.view;
      const clipping = asEnd(frame, own, hand.frames, coverage);
      const marks = withNeighbourMarks(clipping ?? own, found.get(number) ?? []) ?? clipping;
      if (marks !== null) hand.book.change(frame, 'verified', { marks });
    }
  }

  private laterSentences(): string[] {
    const { redo, startedAt, added } = this.hand;
    const { takenUp, madeAt } = redo;
    if (takenUp === null || madeAt === null) return [];
    const frames = this.hand.frames.map(({ view }) => view);
    const { made } = fateOfAdded(frames, added);
    return [
      laterNote(takenUp, frames, startedAt, madeAt, added),
      addedNote(made, this.comparison, new Date(takenUp.endedAt), madeAt),
    ].filter((sentence) => sentence !== null);
  }

  /**
   * @returns the earlier files of frames that were replaced, and their sidecars, each with the name that it
   *   is moved to
   */
  private async makingWay(): Promise<{ file: string; aside: string }[]> {
    const { book, folder, redo } = this.hand;
    const leaving: { file: string; aside: string }[] = [];
    for (const { file, aside, isPartner } of makingWay(redo.takenUp)) {
      const reason = book.asides.find((one) => one.file === aside)?.reason ?? '';
      const stem = path.parse(file).name;
      for (const sidecar of sidecarsOf({ file, isPartner })) {
        const name = path.join(path.dirname(aside), path.parse(aside).name + sidecar.slice(stem.length));
        // The sidecar may have been moved before a restart that kept this from being journalled.
        const there = await folder.thereAmong([sidecar, name]);
        if (there.length > 0 && !book.asides.some((one) => one.file === name))
          book.aside({ file: name, reason });
        if (there.includes(sidecar)) leaving.push({ file: sidecar, aside: name });
      }
      leaving.push({ file, aside });
    }
    return leaving;
  }

  /**
   * Writes the files beside the frames.
   * @returns the record, which is written after them
   */
  private async handOver(
    isComplete: boolean,
    outcome: SetEnded['state'],
    leaving: readonly { file: string }[],
  ): Promise<SetRecord> {
    const { hand } = this;
    const { book, folder } = hand;
    const { sidecars, sentence, error } = await folder.handOver(
      this.record(isComplete, outcome),
      thumbnailsOf(hand.frames),
      new Set(leaving.map(({ file }) => file)),
      hand.light?.map ?? null,
    );
    // Notes on files that were missing at an earlier end may no longer hold.
    book.forgetNotes(isOfHandOver);
    if (sentence !== null) book.note(sentence);
    this.error ??= error;
    await this.hearOfPutBack();
    const record = this.record(isComplete, outcome);
    const sidecarOf = (file: string | null) => sidecars.get(file ?? '') ?? null;
    const listed = record.frames.map(({ partner, ...frame }) => ({
      ...{ ...frame, sidecar: sidecarOf(frame.file) },
      ...(partner === undefined
        ? {}
        : {
            partner: partner.state === 'there' ? { ...partner, sidecar: sidecarOf(partner.file) } : partner,
          }),
    }));
    return { ...record, frames: listed };
  }

  private record(complete: boolean, outcome: SetEnded['state']): SetRecord {
    const { baseShifts } = this.options;
    const ratios = [...this.comparison.ratios];
    const putBack = this.putBack?.names ?? [];
    const sentence = this.sentence(outcome);
    return recordOf(this.hand, { complete, sentence, putBack, ratios, baseShifts, endedAt: new Date() });
  }
}

/** @returns the files of a frame in the set folder, its own file first */
function keptFiles({ view: { number, file, partner }, checksum }: SetFrame): Required<KeptName>[] {
  const own = file === null ? [] : [{ number, file, bytes: checksum?.bytes ?? null, isPartner: false }];
  if (partner?.state !== 'there') return own;
  return [...own, { number, file: partner.file, bytes: partner.bytes, isPartner: true }];
}
