// A set while it is in hand: what its pieces share, and what follows from that without changing anything.
import path from 'node:path';
import type { RunView } from '../../shared/state.js';
import type { Body, StandingExposure } from '../camera/index.js';
import { nearestSetting } from '../exposure/index.js';
import { type Picture, readPicture, type SetFolder, shownFilesOf } from '../frames/index.js';
import type { Pass, Plan } from '../plan/index.js';
import type { Book } from './book.js';
import type { Common } from './common.js';
import { type AskedOfFrame, type AskedOfSet, endsOf, mismatch, type ReadFile } from './judgements.js';
import type { SetMemo } from './keeper.js';
import type { SetLabels } from './labels.js';
import type { Redo } from './redo.js';
import { isOpen, type SetFrame } from './set-frame.js';
import type { TakenUp } from './taken-up.js';

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
  /** The ISO that the frames share; null, as it stands. */
  readonly iso: number | null;
  /** What the frames shared when they were made, if nothing is fired now: however the body stands meanwhile. */
  readonly asThen?: Standing | null;
  readonly common: (changed: () => void) => Common;
}

type Standing = Pick<StandingExposure, 'aperture' | 'fNumber' | 'iso'>;

export class InHand {
  readonly run: string;
  readonly plan: Plan;
  readonly body: Body;
  readonly folder: SetFolder;
  readonly book: Book;
  readonly common: Common;
  readonly labels: SetLabels;
  readonly redo: Redo;
  readonly startedAt: Date;
  /** Frames whose file is under way: its head is here, and proved it. */
  readonly coming = new Set<number>();
  private readonly iso: number | null;
  private readonly asThen: Standing | null;

  constructor(options: InHandOptions) {
    this.run = options.run;
    this.plan = options.plan;
    this.body = options.body;
    this.folder = options.folder;
    this.book = options.book;
    this.labels = options.labels;
    this.redo = options.redo;
    this.startedAt = options.startedAt;
    this.iso = options.iso;
    this.asThen = options.asThen ?? null;
    this.common = options.common(() => this.remember());
  }

  get frames(): readonly SetFrame[] {
    return this.book.frames;
  }

  /** When it was begun, or taken up again, ISO 8601. */
  get setStartedAt(): string {
    const { takenUp } = this.redo;
    // What is fetched was made when the set was.
    return takenUp === null || takenUp.purpose === 'fetch' ? this.startedAt.toISOString() : takenUp.since;
  }

  /** Keeps what the set has to know after a crash. */
  remember(): void {
    this.book.remember(this.memo(this.redo.takenUp));
  }

  memo(takenUp: TakenUp | null): SetMemo {
    return { ...this.common.memo, named: this.labels.named, takenUp };
  }

  // --- frames

  framesOfPass(pass: Pass): SetFrame[] {
    return this.frames.filter((frame) => frame.pass === pass);
  }

  /** Whether it has still to be made, and is to be made now. */
  isDue(frame: SetFrame): boolean {
    return isOpen(frame) && !this.coming.has(frame.view.number) && this.redo.isInHand(frame);
  }

  pathOf({ view }: SetFrame): string {
    return path.join(this.folder.path, view.file ?? '');
  }

  /** @returns the picture of a verified frame, read anew; null if its files have none, or cannot be read */
  async pictureOf({ view }: SetFrame): Promise<Picture | null> {
    for (const { file, kind } of shownFilesOf(view)) {
      const picture = await readPicture(path.join(this.folder.path, file), kind).catch(() => null);
      if (picture !== null) return picture;
    }
    return null;
  }

  // --- what was asked

  /** What the frames share, also before the body was made ready for them. */
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
