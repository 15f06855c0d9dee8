// What all frames of a set share, as the first ones showed it: the base that the camera metered, where the
// lens stands, how many pixels the pictures have, whether each frame is two files, and how far the camera's
// clock is off. Knows no file and no journal.
import type { PixelSize, RecordedExposure } from '../../frames/index.js';
import type { SetMemo } from '../book/keeper.js';

/** As a ratio of focal lengths: bodies record whole millimetres, and some of them waver by a tenth. */
const LENS_MOVED = 0.03;

/** The part of a set's memo that is common to its frames. */
export type CommonMemo = Pick<SetMemo, 'meteredTv' | 'lensAt' | 'size' | 'sizes'>;

export class Common {
  /**
   * Seconds by which the body's clock was ahead at the start; null before that, and if the body tells no
   * time.
   */
  clockDifference: number | null = null;
  /** In aperture priority: Tv in EV of the base, as the first frame showed it. */
  private metered: number | null;
  /** Focal length of the first frame in mm, and whether a note has said already that it changed. */
  private lens: { readonly at: number; said: boolean } | null;
  /** Size of the first frame that could be measured. */
  private pixels: PixelSize | null;
  /** Size of the first file of each kind: a body that makes two files of a frame may give them two sizes. */
  private readonly pixelsOfKind: Map<string, PixelSize>;
  private isPairs: boolean;
  private readonly changed: () => void;

  /**
   * @param memo what an earlier program kept; null if there was none
   * @param changed called when there is something new to keep
   */
  constructor(memo: SetMemo | null, changed: () => void) {
    this.metered = memo?.meteredTv ?? null;
    this.lens = memo?.lensAt == null ? null : { at: memo.lensAt, said: false };
    this.pixels = memo?.size ?? null;
    this.pixelsOfKind = new Map(Object.entries(memo?.sizes ?? {}));
    this.isPairs = memo?.sizes !== undefined;
    this.changed = changed;
  }

  get memo(): CommonMemo {
    return {
      ...{ meteredTv: this.metered, lensAt: this.lens?.at ?? null, size: this.pixels },
      ...(this.isPairs ? { sizes: Object.fromEntries(this.pixelsOfKind) } : {}),
    };
  }
  get meteredTv(): number | null {
    return this.metered;
  }
  get size(): PixelSize | null {
    return this.pixels;
  }
  /** Whether the body makes two files of each frame, as the body says or as the files have shown. */
  get pairs(): boolean {
    return this.isPairs;
  }

  /** Takes note that the body makes two files of each frame. */
  seePairs(): void {
    if (this.isPairs) return;
    this.isPairs = true;
    this.changed();
  }

  /**
   * @returns the size in pixels that a file of this kind has to have; null for the first file of that kind
   */
  sizeOf(kind: string | undefined): PixelSize | null {
    return this.isPairs ? (this.pixelsOfKind.get(kind ?? '') ?? null) : this.pixels;
  }

  /** Takes note of the metered base; the first one stays. */
  meter(tv: number | null): void {
    if (tv === null || this.metered !== null) return;
    this.metered = tv;
    this.changed();
  }

  /** Takes note of a size in pixels; the first one stays, since frames of two sizes cannot be merged. */
  measure(size: PixelSize | null, kind: string | undefined): void {
    if (size === null) return;
    const isNewKind = !this.pixelsOfKind.has(kind ?? '');
    if (isNewKind) this.pixelsOfKind.set(kind ?? '', size);
    const isFirst = this.pixels === null;
    this.pixels ??= size;
    if (isFirst || (isNewKind && this.isPairs)) this.changed();
  }

  /**
   * If a zoom lens has moved, the frames do not lie over each other. That is noted once; whoever looks at the
   * frames decides what to do.
   * @returns the sentence; null if there is nothing to say
   */
  watchLens(recorded: RecordedExposure | null): string | null {
    const now = recorded?.focalLength ?? null;
    if (now === null) return null;
    if (this.lens === null) {
      this.lens = { at: now, said: false };
      this.changed();
    }
    if (this.lens.said || Math.abs(now / this.lens.at - 1) <= LENS_MOVED) return null;
    this.lens.said = true;
    return `The zoom moved during the set, from ${this.lens.at} mm to ${now} mm, so the frames will not line up. Set it back, and shoot the set again.`;
  }
}
