// The messages between the daemon and the process that decodes pictures. Plain data; of pixels, only those of
// small copies cross.
import type { ErrorCode } from '../../../shared/error-codes.js';
import type { SideReply } from '../../system/index.js';
import type { Sheet } from '../hand-over/contact-sheet.js';
import type { PixelSize, SmallCopy, SmallPicture, Turn } from './small-copy.js';

/** The name of a file, or its content. */
export type Source = string | Uint8Array;

export type Asked =
  | { readonly ask: 'ready' }
  | { readonly ask: 'small'; readonly source: Source; readonly turn: Turn | null }
  | { readonly ask: 'size'; readonly source: Source }
  | { readonly ask: 'upright'; readonly jpeg: Uint8Array; readonly turn: Turn }
  | { readonly ask: 'pixels'; readonly jpeg: Uint8Array }
  | { readonly ask: 'sheet'; readonly sheet: Sheet };

/** The answer to each question. */
export interface Work {
  readonly ready: null;
  readonly small: SmallCopy;
  readonly size: PixelSize;
  readonly upright: Uint8Array | null;
  readonly pixels: SmallPicture;
  readonly sheet: Uint8Array;
}

/** An error of the catalogue, as plain data. */
export interface Refused {
  readonly code: ErrorCode;
  readonly message: string;
  readonly details: Readonly<Record<string, unknown>>;
}

export type Answers = {
  readonly [Ask in keyof Work]: { readonly done: Work[Ask] } | { readonly refused: Refused };
};

export type Question = { readonly id: number } & Asked;
export type Reply = SideReply<Answers>;
