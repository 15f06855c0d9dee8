// What the process keeps of one set: the small copies of its frames, and the merging under way. Answers one
// question at a time.
import { open } from 'node:fs/promises';
import { whyRefused } from '../../../shared/refused.js';
import type { Copy, Grey } from '../copy.js';
import { isSameShape } from '../copy.js';
import { coverageOf } from '../coverage/coverage.js';
import type { ExposedFrame } from '../coverage/exposed.js';
import { coverageMap } from '../coverage/map.js';
import { type AskedEnds, endsOf, type SceneEnds } from '../ends/tell.js';
import type { Asked, Covered, Looked, MergedPictures, Refused } from '../protocol.js';
import { Merging } from '../radiance/merge.js';
import { isRising, type Response, recoveredResponse } from '../radiance/response.js';
import { writeRgbe } from '../radiance/rgbe.js';
import { tonedPicture } from '../radiance/toned.js';
import { readCopies, readCopy } from '../read/copies.js';
import { isUnreadable, type Unreadable } from '../read/unreadable.js';
import { compared } from '../steady/compare.js';
import { clearScratch } from '../steady/scratch.js';
import { openCv } from './opencv.js';

interface Held {
  readonly number: number;
  readonly offsetEv: number;
  readonly grey: Grey;
  readonly small: Copy;
}

type Look = Extract<Asked, { ask: 'look' }>;
type MergeAdd = Extract<Asked, { ask: 'merge-add' }>;
type MergeEnd = Extract<Asked, { ask: 'merge-end' }>;

/** Frames farther apart have next to nothing in common. */
const FARTHEST_EV = 5;

export class Desk {
  private readonly frames = new Map<number, Held>();
  private merging: Merging | null = null;

  async look({ number, offsetEv, source, compare }: Look): Promise<Looked | Unreadable> {
    this.frames.delete(number);
    const copies = await readCopies(source);
    if (isUnreadable(copies)) return copies;
    const { full, grey, small } = copies;
    const [any] = this.frames.values();
    if (any !== undefined && !isSameShape(any.small, small)) return otherShape(full);
    const held = { number, offsetEv, grey, small };
    const neighbour = compare ? this.neighbourOf(offsetEv) : undefined;
    this.frames.set(number, held);
    const scale = full.width / grey.width;
    if (neighbour === undefined) return { full, scale, against: null };
    const { cv } = await openCv();
    const firstIsDarker = neighbour.offsetEv <= offsetEv;
    const found = compared(cv, { first: neighbour.grey, second: grey, firstIsDarker });
    return { full, scale, against: { number: neighbour.number, compared: found } };
  }

  drop(number: number): void {
    this.frames.delete(number);
  }

  /** The nearest in exposure; of two as near, the one that came last. */
  private neighbourOf(offsetEv: number): Held | undefined {
    const away = ({ offsetEv: other }: Held) => Math.abs(other - offsetEv);
    let best: Held | undefined;
    for (const held of this.frames.values())
      if (away(held) <= FARTHEST_EV && (best === undefined || away(held) <= away(best))) best = held;
    return best;
  }

  async coverage(): Promise<Covered | null> {
    if (this.frames.size === 0) return null;
    const frames = this.exposed();
    const { coverage, cells } = coverageOf(frames);
    const { pixels, width, height } = coverageMap(frames, cells);
    const { default: sharp } = await import('sharp');
    const map = await sharp(pixels, { raw: { width, height, channels: 3 } })
      .png({ compressionLevel: 6 })
      .toBuffer();
    return { coverage, map };
  }

  ends(at: AskedEnds): SceneEnds | null {
    return this.frames.size === 0 ? null : endsOf(this.exposed(), at);
  }

  async response(): Promise<Response | null> {
    const { cv } = await openCv();
    const response = recoveredResponse(cv, this.exposed());
    return response !== null && isRising(response) ? response : null;
  }

  private exposed(): ExposedFrame[] {
    return [...this.frames.values()].map(({ number, offsetEv, small }) => ({
      number,
      offsetEv,
      copy: small,
    }));
  }

  mergeBegin(response: Response): void {
    clearScratch();
    this.merging = new Merging(response);
  }

  async mergeAdd({ offsetEv, source, side }: MergeAdd): Promise<Unreadable | null> {
    sweep();
    const copy = await readCopy(source, side);
    if (isUnreadable(copy)) return copy;
    return this.merging?.add(offsetEv, copy) === false ? otherShape(copy) : null;
  }

  /** `side` is that of the preview, the longer one in pixels. */
  async mergeEnd({ side, about, file }: MergeEnd): Promise<MergedPictures | Refused | null> {
    const radiance = this.merging?.end() ?? null;
    this.merging = null;
    sweep();
    if (radiance === null) return null;
    try {
      await writeTo(file, writeRgbe(radiance, about));
    } catch (cause) {
      return { refused: whyRefused(cause) };
    }
    const { pixels, width, height } = tonedPicture(radiance, side);
    const { default: sharp } = await import('sharp');
    const preview = await sharp(pixels, { raw: { width, height, channels: 3 } })
      .jpeg({ quality: 85 })
      .toBuffer();
    const { width: across, height: down } = radiance;
    return { preview, width: across, height: down };
  }
}

/**
 * Frees a finished picture before the next one is opened: left to itself the heap, which is small, would
 * wait.
 */
const sweep = (): void => (globalThis as { gc?: () => void }).gc?.();

/** Whole and synced. @throws the error of the file system */
async function writeTo(file: string, pieces: Iterable<Buffer>): Promise<void> {
  const handle = await open(file, 'w');
  try {
    // It goes on after what it has written already, and leaves nothing of a piece out.
    for (const piece of pieces) await handle.writeFile(piece);
    await handle.sync();
  } finally {
    await handle.close();
  }
}

const otherShape = ({ width, height }: { readonly width: number; readonly height: number }): Unreadable => ({
  reason: 'other-shape',
  sentence: `Its picture has ${width} x ${height} pixels, a different shape from the other frames, so it was not compared with them.`,
});
