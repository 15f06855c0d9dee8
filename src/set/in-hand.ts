// A set while it is under way: the things that its parts share, and what can be worked out from them without
// changing anything.
import path from 'node:path';
import type { LightView } from '../../shared/light.js';
import type { RunView } from '../../shared/state.js';
import type { Body, StandingExposure } from '../camera/index.js';
import { isSameEv, nearestSetting } from '../exposure/index.js';
import { type Picture, readPicture, type SetFolder, shownFilesOf } from '../frames/index.js';
import { type Pass, type Plan, toWirePlan, withoutFrames } from '../plan/index.js';
import { unmadeAtEnds } from './again/added.js';
import type { Redo } from './again/redo.js';
import type { TakenUp } from './again/taken-up.js';
import type { Book } from './book/book.js';
import type { SetMemo } from './book/keeper.js';
import type { Common } from './judge/common.js';
import { type AskedOfFrame, type AskedOfSet, endsOf, mismatch, type ReadFile } from './judge/judgements.js';
import type { SetLabels } from './labels.js';
import { framesOf, isOpen, type SetFrame } from './set-frame.js';

/** The light of its pictures, as they are judged: see light.ts. */
export interface JudgedLight {
  readonly view: LightView | null;
  readonly map: Buffer | null;
  look(frame: SetFrame): void;
  lookAtOthers(): void;
  leftOut(number: number): void;
  settled(): Promise<void>;
}

export interface InHandOptions {
  /** The id of the run. */
  readonly run: string;
  readonly plan: Plan;
  readonly body: Body;
  readonly folder: SetFolder;
  readonly book: Book;
  readonly labels: SetLabels;
  readonly redo: Redo;
  readonly startedAt: Date;
  /** The ISO that the frames share; null if it stays as the camera has it. */
  readonly iso: number | null;
  /**
   * What the frames shared when they were made, if nothing is fired now: the present settings of the body do
   * not matter then.
   */
  readonly asThen?: Standing | null;
  /** Numbers of the frames that it is being extended by. */
  readonly added?: readonly number[] | undefined;
  /** Whether an earlier program still owes it its proof. */
  readonly owesProof?: boolean | undefined;
  readonly common: (changed: () => void) => Common;
}

type Standing = Pick<StandingExposure, 'aperture' | 'fNumber' | 'iso'>;

export class InHand {
  readonly run: string;
  readonly body: Body;
  readonly folder: SetFolder;
  readonly book: Book;
  readonly common: Common;
  readonly labels: SetLabels;
  readonly redo: Redo;
  readonly startedAt: Date;
  /** Judges its pictures; null if nothing does. */
  light: JudgedLight | null = null;
  /** Frames whose file is on its way: its head is here, and has proved the frame. */
  readonly coming = new Set<number>();
  private readonly iso: number | null;
  private planned: Plan;
  private beyond: readonly number[];
  private readonly asThen: Standing | null;
  private owesProof: boolean;

  constructor(options: InHandOptions) {
    this.run = options.run;
    this.planned = options.plan;
    this.beyond = options.added ?? [];
    this.body = options.body;
    this.folder = options.folder;
    this.book = options.book;
    this.labels = options.labels;
    this.redo = options.redo;
    this.startedAt = options.startedAt;
    this.iso = options.iso;
    this.asThen = options.asThen ?? null;
    this.owesProof = options.owesProof ?? false;
    this.common = options.common(() => this.remember());
  }

  get plan(): Plan {
    return this.planned;
  }

  /** The darkest first. */
  get frames(): readonly SetFrame[] {
    return this.book.frames;
  }

  /** Numbers of the frames that it is being extended by, made or not. */
  get added(): readonly number[] {
    return this.beyond;
  }

  /** @returns a frame's place in the set, counted from 1 for the darkest */
  placeOf(frame: SetFrame): number {
    return this.frames.indexOf(frame) + 1;
  }

  /** When it was begun, or taken up again, ISO 8601. */
  get setStartedAt(): string {
    const { takenUp } = this.redo;
    // Files that are fetched were made when the set was.
    return takenUp === null || takenUp.purpose === 'fetch' ? this.startedAt.toISOString() : takenUp.since;
  }

  /** Keeps what the set has to know after a crash. */
  remember(): void {
    this.book.remember(this.memo(this.redo.takenUp));
  }

  memo(takenUp: TakenUp | null): SetMemo {
    const added = this.beyond.length === 0 ? {} : { added: this.beyond };
    const owed = this.owesProof ? { owesProof: true } : {};
    return { ...this.common.memo, named: this.labels.named, ...added, ...owed, takenUp };
  }

  /** Its proof is owed from now on, or is not any more: whoever begins after a crash knows. */
  oweProof(owesProof: boolean): void {
    if (owesProof === this.owesProof) return;
    this.owesProof = owesProof;
    this.remember();
  }

  // --- how far it reaches

  /**
   * Extends the set.
   * @param plan as extendPlan returns it
   * @throws EvenrungError storing-failed; then the set is unchanged
   */
  extend(plan: Plan): void {
    const { frames, book } = this;
    const known = { frames: frames.map(({ view }) => view), strays: book.strays };
    const isNew = ({ view: { offset } }: SetFrame) =>
      frames.every(({ view }) => !isSameEv(view.offset, offset));
    const added = framesOf(plan, known).filter(isNew);
    const before = this.beyond;
    this.beyond = [...before, ...added.map(({ view }) => view.number)];
    try {
      book.extended(added, toWirePlan(plan), this.memo(this.redo.takenUp));
    } catch (cause) {
      this.beyond = before;
      throw cause;
    }
    this.planned = plan;
  }

  /**
   * At its end: takes frames out of the set that it was to be extended by and that were not made.
   * @returns whether there were any
   */
  leaveOutUnmade(): boolean {
    const unmade = unmadeAtEnds(this.frames, this.beyond);
    if (unmade.length === 0) return false;
    const offsets = new Set<number>(unmade.map(({ planned }) => planned.offset));
    const before = this.planned.passes;
    this.planned = withoutFrames(this.planned, offsets);
    this.book.leftOut(unmade, toWirePlan(this.planned));
    for (const { view } of unmade) this.light?.leftOut(view.number);
    for (const frame of this.frames) {
      const index = before.indexOf(frame.pass);
      frame.pass = this.planned.passes[index] ?? frame.pass;
      const turn = frame.pass.frames.find(({ offset, wanted }) => wanted && offset === frame.planned.offset);
      frame.planned = turn ?? frame.planned;
    }
    return true;
  }

  // --- frames

  framesOfPass(pass: Pass): SetFrame[] {
    return this.frames.filter((frame) => frame.pass === pass);
  }

  /** Whether the frame is still to be made, and belongs to those that are made now. */
  isDue(frame: SetFrame): boolean {
    return isOpen(frame) && !this.coming.has(frame.view.number) && this.redo.isInHand(frame);
  }

  pathOf({ view }: SetFrame): string {
    return path.join(this.folder.path, view.file ?? '');
  }

  /**
   * @returns the picture of a verified frame, read from its files; null if they have none, or cannot be
   *   read
   */
  pictureOf({ view }: SetFrame): Promise<Picture | null> {
    return pictureIn(this.folder.path, view);
  }

  // --- what was asked for

  /** The settings that the frames share; also known before the body has been made ready for them. */
  standing(): Standing {
    if (this.asThen !== null) return this.asThen;
    const { aperture, fNumber, iso } = this.body.standing();
    return { aperture, fNumber, iso: this.iso ?? iso };
  }

  asked(): AskedOfSet {
    const { mode, step } = this.plan;
    const { fNumber, iso } = this.standing();
    return { mode, step, fNumber, iso, ...endsOf(this.body.limits) };
  }

  askedOf(frame: SetFrame): AskedOfFrame & AskedOfSet {
    return { ...this.asked(), ...askedOfFrame(frame) };
  }

  /** @returns why this file is not that frame; null if it may be */
  mismatch(file: ReadFile, frame: SetFrame): string | null {
    return mismatch(file, this.askedOf(frame), this.common.meteredTv);
  }

  // --- the base

  base(): RunView['base'] {
    const { aperture, iso } = this.standing();
    return { shutter: this.baseLabel(), aperture, iso: iso === null ? null : String(iso) };
  }

  baseSeconds(): number {
    const { meteredTv } = this.common;
    return meteredTv === null ? this.plan.base.seconds : 2 ** -meteredTv;
  }

  private baseLabel(): string {
    if (this.common.meteredTv === null) return this.plan.base.label;
    const seconds = this.baseSeconds();
    return nearestSetting(seconds, this.body.limits.shutters)?.label ?? `${Number(seconds.toPrecision(3))}`;
  }
}

export const askedOfFrame = ({ planned, shutter, pass }: SetFrame): AskedOfFrame => ({
  offset: planned.offset,
  shutter,
  centre: pass.centre,
});

/** @returns the picture of a frame of a set folder; null if its files have none, or cannot be read */
export async function pictureIn(folder: string, view: SetFrame['view']): Promise<Picture | null> {
  for (const { file, kind } of shownFilesOf(view)) {
    const picture = await readPicture(path.join(folder, file), kind).catch(() => null);
    if (picture !== null) return picture;
  }
  return null;
}
