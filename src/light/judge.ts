// Judges the pictures of one set by their light. Whoever owns it says which frames there are; all work is done in a process of its own, one picture at
// a time, and whatever a picture is, the answer says so in a sentence.
import type { Coverage } from './coverage/result.js';
import type { AskedEnds, SceneEnds } from './ends/tell.js';
import { HeldProcess, type ProcessOptions } from './held-process.js';
import type { Response } from './radiance/response.js';
import type { PictureSource } from './read/copies.js';
import { isUnreadable, type UnreadableReason } from './read/unreadable.js';
import type { Compared } from './steady/compare.js';
import { type LightMark, marksOf } from './steady/marks.js';

/** The JPEG that a raw file carries, upright after so many degrees clockwise. */
export interface Preview {
  readonly jpeg: Uint8Array;
  readonly turn: 0 | 90 | 180 | 270;
}

export interface JudgedFrame {
  /** 1 is the darkest frame of the set. */
  readonly number: number;
  /** EV from the base; exact, as are powers of two of the time. */
  readonly offsetEv: number;
  /**
   * A file that can be decoded, with its kind as the extension by its content (`jpg`); for a raw file, what brings the preview in it: null if
   * there is none. It may be asked for again.
   */
  readonly picture:
    | { readonly file: string; readonly kind: string }
    | { readonly preview: () => Promise<Preview | null> };
  /** False for a frame whose steadiness nobody asks for: comparing takes longer than all else. */
  readonly compare?: boolean;
}

export interface Unread {
  readonly isRead: false;
  readonly number: number;
  readonly reason: UnreadableReason | 'failed';
  /** For the photographer. */
  readonly sentence: string;
}

export interface Steadiness {
  /** The frame that it was compared with: the nearest in exposure of those that were there. */
  readonly against: number;
  /** Share of the picture, 0 to 1, that both hold. */
  readonly share: number;
  /** Pixels of the picture itself. */
  readonly shift: { readonly right: number; readonly down: number };
  /** Standard deviation in pixels of the picture by which it is blurred more than the other; below 0, the other is. */
  readonly blur: number;
  readonly moved: Compared['moved'];
}

export interface Read {
  readonly isRead: true;
  readonly number: number;
  /** Pixels of the picture, upright. */
  readonly size: { readonly width: number; readonly height: number };
  /** Null for the first frame, and if the two have too little in common. */
  readonly steadiness: Steadiness | null;
  /** None if nothing is wrong. A mark may be about the other frame: see `number`. */
  readonly marks: readonly LightMark[];
}

export interface CoverageAnswer {
  /** Null if no picture could be read. */
  readonly coverage: Coverage | null;
  /** For the photographer: what the set holds, and how many frames could not be looked at. */
  readonly sentence: string;
  /** PNG, 480 pixels wide or high at most; null with the coverage. */
  readonly map: Buffer | null;
}

export interface MergeOptions {
  /** Where the radiance is written, as a file that is whole and synced once this is answered: a name to be renamed from, such as `radiance.hdr.part`. */
  readonly file: string;
  /** Of the same camera and picture style, from before; left out, it is recovered from the set. */
  readonly response?: Response | undefined;
  /** Longer sides in pixels, at most: 2048 and 1024. */
  readonly side?: number | undefined;
  readonly previewSide?: number | undefined;
  /** Lines for the head of the file. */
  readonly about?: readonly string[] | undefined;
  /** Ends it before its time, between two frames. */
  readonly signal?: AbortSignal | undefined;
}

export type Merged =
  | {
      readonly isMerged: true;
      /** JPEG: a proof of what the set can become. */
      readonly preview: Buffer;
      readonly size: { readonly width: number; readonly height: number };
      /** For the sets of this camera to come. */
      readonly response: Response;
      /** Frames that are in it. */
      readonly frames: number;
      /** For the photographer. */
      readonly sentence: string;
    }
  | {
      readonly isMerged: false;
      readonly sentence: string;
      /** Whether it is not the frames' doing: another time it may be done. Left out, it is theirs. */
      readonly hasFailed?: boolean;
    };

export interface Judge {
  /** Looks at a frame, in place of an earlier one of its number. Never rejects. */
  frame(frame: JudgedFrame): Promise<Read | Unread>;
  /** The frame is no longer in the set. */
  drop(number: number): Promise<void>;
  coverage(): Promise<CoverageAnswer>;
  /**
   * How far the light of the scene reaches, as far as these frames tell.
   * @returns null if no picture could be read
   * @throws Error if the process fell, or could not do it
   */
  ends(at?: AskedEnds): Promise<SceneEnds | null>;
  /** Merges the frames that could be read into relative radiance. Never rejects. */
  merge(options: MergeOptions): Promise<Merged>;
  /** Its copies are let go of; nothing may be asked afterwards. */
  close(): Promise<void>;
}

const processes = new Map<string, HeldProcess>();
let desks = 0;

/** All judges of a program share one process, which is begun by the first frame, and ended when nothing is asked for a while. */
export function openJudge(options: ProcessOptions = {}): Judge {
  const key = `${options.entry ?? ''} ${options.idleMs ?? ''}`;
  const held = processes.get(key) ?? new HeldProcess(options);
  processes.set(key, held);
  return judgeOn(held);
}

/** @param held that it may share with others */
export const judgeOn = (held: HeldProcess): Judge => new OneJudge(held);

interface Known extends JudgedFrame {
  isRead: boolean;
}

/** Longer sides, in pixels, unless it is said otherwise. */
const SIDES = { merge: 2048, preview: 1024 } as const;

class OneJudge implements Judge {
  private readonly held: HeldProcess;
  private readonly desk: number;
  private readonly frames = new Map<number, Known>();
  /** The process that knows the frames. */
  private epoch = -1;
  private before: Promise<unknown> = Promise.resolve();

  constructor(held: HeldProcess) {
    desks += 1;
    this.held = held;
    this.desk = desks;
  }

  frame(frame: JudgedFrame): Promise<Read | Unread> {
    return this.inTurn(() => this.look(frame));
  }

  drop(number: number): Promise<void> {
    return this.inTurn(async () => {
      this.frames.delete(number);
      // A process that falls over it has forgotten everything.
      if (this.isKnown) await this.held.ask({ ask: 'drop', desk: this.desk, number }).catch(() => null);
    });
  }

  coverage(): Promise<CoverageAnswer> {
    return this.inTurn(() => this.covered());
  }

  ends(at: AskedEnds = { highlights: [], shadows: [] }): Promise<SceneEnds | null> {
    return this.inTurn(async () => {
      await this.knowAgain();
      return this.held.ask({ ask: 'ends', desk: this.desk, at });
    });
  }

  merge(options: MergeOptions): Promise<Merged> {
    return this.inTurn(() =>
      this.merged(options).catch(
        (cause): Merged => ({
          isMerged: false,
          sentence: failedWords('The frames could not be merged', cause),
          hasFailed: true,
        }),
      ),
    );
  }

  close(): Promise<void> {
    return this.inTurn(async () => {
      this.frames.clear();
      if (this.isKnown) await this.held.ask({ ask: 'clear', desk: this.desk }).catch(() => null);
    });
  }

  private inTurn<Result>(work: () => Promise<Result>): Promise<Result> {
    const result = this.before.then(work);
    this.before = result.catch(() => undefined);
    return result;
  }

  private get isKnown(): boolean {
    return this.held.isRunning && this.epoch === this.held.epoch;
  }

  private async look(frame: JudgedFrame): Promise<Read | Unread> {
    const { number } = frame;
    try {
      await this.knowAgain(number);
      const known = { ...frame, isRead: false };
      this.frames.set(number, known);
      const { desk } = this;
      const { offsetEv, compare = true } = frame;
      // Whatever becomes of this picture, the one before it is out of the set.
      await this.held.ask({ ask: 'drop', desk, number });
      const source = await sourceOf(frame);
      if (source === null) return noPreview(number);
      const looked = await this.held.ask({ ask: 'look', desk, number, offsetEv, source, compare });
      if (isUnreadable(looked)) return { isRead: false, number, ...looked };
      known.isRead = true;
      const { full: size, scale, against } = looked;
      if (against === null || against.compared === null)
        return { isRead: true, number, size, steadiness: null, marks: [] };
      const { compared } = against;
      return {
        ...{ isRead: true, number, size },
        steadiness: steadinessOf(compared, against.number, scale),
        marks: marksOf(compared, { number, against: against.number, scale }),
      };
    } catch (cause) {
      return {
        isRead: false,
        number,
        reason: 'failed',
        sentence: failedWords('It could not be judged', cause),
      };
    }
  }

  /** A process that was begun anew looks at everything again. @param but a frame that is about to be replaced */
  private async knowAgain(but?: number): Promise<void> {
    this.held.begun();
    if (this.epoch === this.held.epoch) return;
    const { desk } = this;
    this.epoch = this.held.epoch;
    for (const known of this.frames.values()) {
      if (!known.isRead || known.number === but) continue;
      const source = await sourceOf(known);
      const { number, offsetEv } = known;
      const looked =
        source === null
          ? null
          : await this.held.ask({ ask: 'look', desk, number, offsetEv, source, compare: false });
      known.isRead = looked !== null && !isUnreadable(looked);
    }
  }

  private async covered(): Promise<CoverageAnswer> {
    try {
      await this.knowAgain();
      const covered = await this.held.ask({ ask: 'coverage', desk: this.desk });
      const unread = [...this.frames.values()].filter(({ isRead }) => !isRead).length;
      if (covered === null) return { coverage: null, map: null, sentence: NOTHING_READ };
      const { coverage, map } = covered;
      const beside = unread === 0 ? '' : ` (${unread} of ${this.frames.size} frames could not be looked at)`;
      return { coverage, map: Buffer.from(map), sentence: coverage.sentence.replace(/\.$/, `${beside}.`) };
    } catch (cause) {
      const sentence = failedWords('What the set holds could not be judged', cause);
      return { coverage: null, map: null, sentence };
    }
  }

  private async merged({
    response: given,
    side,
    previewSide,
    about = [],
    file,
    signal,
  }: MergeOptions): Promise<Merged> {
    const { held, desk } = this;
    await this.knowAgain();
    const response = given ?? (await held.ask({ ask: 'response', desk }));
    if (response === null) return { isMerged: false, sentence: NO_RESPONSE };
    await held.ask({ ask: 'merge-begin', desk, response });
    let frames = 0;
    const darkestFirst = [...this.frames.values()].sort((one, other) => one.offsetEv - other.offsetEv);
    for (const known of darkestFirst) {
      signal?.throwIfAborted();
      const source = known.isRead ? await sourceOf(known) : null;
      if (source === null) continue;
      const { offsetEv } = known;
      const added = await held.ask({ ask: 'merge-add', desk, offsetEv, source, side: side ?? SIDES.merge });
      if (added === null) frames += 1;
    }
    signal?.throwIfAborted();
    const lines = ['Relative radiance, a proof of the set', ...about];
    const pictures = await held.ask({
      ask: 'merge-end',
      desk,
      side: previewSide ?? SIDES.preview,
      about: lines,
      file,
    });
    if (pictures === null) return { isMerged: false, sentence: NOTHING_READ };
    if ('refused' in pictures)
      return { isMerged: false, sentence: notWritten(pictures.refused), hasFailed: true };
    const { preview, width, height } = pictures;
    return {
      ...{ isMerged: true, size: { width, height }, response, frames },
      preview: Buffer.from(preview),
      sentence: `A proof of ${frames} frames at ${width} x ${height} pixels: it shows what the set can become, and is not the final picture.`,
    };
  }
}

/** @param why in a few words */
export const notWritten = (why: string): string =>
  `What the set can become could not be written into its folder: ${why}.`;

const NOTHING_READ = 'No picture of the set could be looked at, so nothing tells what it holds.';
const NO_RESPONSE =
  'The frames do not tell how the camera turns light into levels, so there is no proof of what the set can become: it takes two frames or more of one scene, at different exposures.';

async function sourceOf({ picture }: JudgedFrame): Promise<PictureSource | null> {
  if ('file' in picture) return picture;
  const preview = await picture.preview();
  return preview === null ? null : { jpeg: new Uint8Array(preview.jpeg), turn: preview.turn };
}

const noPreview = (number: number): Unread => ({
  ...{ isRead: false, number, reason: 'no-picture' },
  sentence: 'There is no picture in its raw file that can be looked at here.',
});

const failedWords = (what: string, cause: unknown): string =>
  `${what}: ${(cause instanceof Error ? cause.message : String(cause)).replace(/\.$/, '')}.`;

const steadinessOf = (
  { share, shift, blur, moved }: Compared,
  against: number,
  scale: number,
): Steadiness => ({
  ...{ against, share, moved },
  shift: { right: shift.right * scale, down: shift.down * scale },
  blur: blur * scale,
});
