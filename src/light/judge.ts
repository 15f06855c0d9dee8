// Judges the pictures of one set by their light. Its owner says which frames there are. All work is done in a
// separate process, one picture at a time, and whatever is in a picture, the answer describes it in a
// sentence.
import type { Coverage } from './coverage/result.js';
import type { AskedEnds, SceneEnds } from './ends/tell.js';
import { HeldProcess, type ProcessOptions } from './held-process.js';
import type { Response } from './radiance/response.js';
import type { PictureSource } from './read/copies.js';
import { isUnreadable, type UnreadableReason } from './read/unreadable.js';
import type { Compared } from './steady/compare.js';
import { type LightMark, marksOf } from './steady/marks.js';

/** The JPEG that a raw file contains; turned clockwise by so many degrees, it is upright. */
export interface Preview {
  readonly jpeg: Uint8Array;
  readonly turn: 0 | 90 | 180 | 270;
}

export interface JudgedFrame {
  /** 1 is the darkest frame of the set. */
  readonly number: number;
  /** EV from the base, exact: times are powers of two. */
  readonly offsetEv: number;
  /**
   * A file that can be decoded, with its kind as the extension by its content (`jpg`). For a raw file, a
   * function that brings the preview in it; null if there is none. It may be called again.
   */
  readonly picture:
    | { readonly file: string; readonly kind: string }
    | { readonly preview: () => Promise<Preview | null> };
  /**
   * False if nobody asks for the steadiness of the frame: comparing takes longer than everything else
   * together.
   */
  readonly compare?: boolean;
}

export interface Unread {
  readonly isRead: false;
  readonly number: number;
  readonly reason: UnreadableReason | 'failed';
  /** A sentence for the photographer. */
  readonly sentence: string;
}

export interface Steadiness {
  /** The frame that it was compared with: of those that were there, the nearest in exposure. */
  readonly against: number;
  /** The share of the picture, 0 to 1, that both frames hold. */
  readonly share: number;
  /** In pixels of the full picture. */
  readonly shift: { readonly right: number; readonly down: number };
  /**
   * Standard deviation, in pixels of the full picture, of the blur that it has in addition to the other
   * frame's; below 0, the other frame is the more blurred one.
   */
  readonly blur: number;
  readonly moved: Compared['moved'];
}

export interface Read {
  readonly isRead: true;
  readonly number: number;
  /** Pixels of the full picture, upright. */
  readonly size: { readonly width: number; readonly height: number };
  /** Null for the first frame, and if the two frames have too little in common. */
  readonly steadiness: Steadiness | null;
  /** Empty if nothing is wrong. A mark may be about the other frame: see `number`. */
  readonly marks: readonly LightMark[];
}

export interface CoverageAnswer {
  /** Null if no picture could be read. */
  readonly coverage: Coverage | null;
  /** For the photographer: what the set holds, and how many frames could not be looked at. */
  readonly sentence: string;
  /** PNG, at most 480 pixels wide or high; null if `coverage` is. */
  readonly map: Buffer | null;
}

export interface MergeOptions {
  /**
   * The file to write the radiance to; it is whole and synced when this is answered. A name that is renamed
   * afterwards, such as `radiance.hdr.part`.
   */
  readonly file: string;
  /**
   * An earlier response of the same camera and picture style; if it is left out, the response is recovered
   * from the set.
   */
  readonly response?: Response | undefined;
  /** The longer sides in pixels, at most; 2048 and 1024 if they are left out. */
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
      /** To be used for later sets of this camera. */
      readonly response: Response;
      /** How many frames went into it. */
      readonly frames: number;
      /** A sentence for the photographer. */
      readonly sentence: string;
    }
  | {
      readonly isMerged: false;
      readonly sentence: string;
      /** Whether it is not the frames' doing: another time it may be done. Left out, it is theirs. */
      readonly hasFailed?: boolean;
    };

export interface Judge {
  /** Looks at a frame; it replaces an earlier one of the same number. Never rejects. */
  frame(frame: JudgedFrame): Promise<Read | Unread>;
  /** The frame is no longer in the set. */
  drop(number: number): Promise<void>;
  coverage(): Promise<CoverageAnswer>;
  /**
   * How far the light of the scene reaches, as far as these frames show.
   * @returns null if no picture could be read
   * @throws Error if the process died, or could not work it out
   */
  ends(at?: AskedEnds): Promise<SceneEnds | null>;
  /** Merges the frames that could be read into relative radiance. Never rejects. */
  merge(options: MergeOptions): Promise<Merged>;
  /** Lets go of its copies; nothing may be asked afterwards. */
  close(): Promise<void>;
}

const processes = new Map<string, HeldProcess>();
let desks = 0;

/**
 * All judges of a program share one process. It is started for the first frame, and ended when nothing has
 * been asked for a while.
 */
export function openJudge(options: ProcessOptions = {}): Judge {
  const key = `${options.entry ?? ''} ${options.idleMs ?? ''}`;
  const held = processes.get(key) ?? new HeldProcess(options);
  processes.set(key, held);
  return judgeOn(held);
}

/** @param held the process, which it may share with others */
export const judgeOn = (held: HeldProcess): Judge => new OneJudge(held);

interface Known extends JudgedFrame {
  isRead: boolean;
}

/** Longer sides in pixels, unless the options say otherwise. */
const SIDES = { merge: 2048, preview: 1024 } as const;

class OneJudge implements Judge {
  private readonly held: HeldProcess;
  private readonly desk: number;
  private readonly frames = new Map<number, Known>();
  /** Which start of the process knows the frames. */
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
      // Whatever is in the new picture, the earlier one no longer belongs to the set.
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

  /**
   * Has a process that was started anew look at all frames again.
   * @param but a frame that is about to be replaced
   */
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
      const sentence = failedWords('The set could not be checked for lost detail', cause);
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
      sentence: `A proof of ${frames} frames, ${width} x ${height} pixels: it shows what the set can become, not the final picture.`,
    };
  }
}

/** @param why in a few words */
export const notWritten = (why: string): string =>
  `The proof of the set could not be written into its folder: ${why}.`;

const NOTHING_READ = 'What the set holds is not known: none of its pictures could be opened.';
const NO_RESPONSE =
  'There is no proof of the set: that takes two or more frames of one scene, at different exposures.';

async function sourceOf({ picture }: JudgedFrame): Promise<PictureSource | null> {
  if ('file' in picture) return picture;
  const preview = await picture.preview();
  return preview === null ? null : { jpeg: new Uint8Array(preview.jpeg), turn: preview.turn };
}

const noPreview = (number: number): Unread => ({
  ...{ isRead: false, number, reason: 'no-picture' },
  sentence: 'Its raw file holds no picture that can be opened here.',
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
