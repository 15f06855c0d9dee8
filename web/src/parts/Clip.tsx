// What of a frame is black and what is blown out, and what no frame of its set holds.
import { type Clipping, LOST_SHARE, lostAtEnds, lostIn } from '../../../shared/clipping.js';
import type { Extend } from '../../../shared/kept.js';
import type { FrameView } from '../../../shared/state.js';
import { text } from '../text.js';
import { Mark } from './Mark.js';

type Looked = Pick<FrameView, 'state' | 'clipped'>;

/** Marks whose sentence stands in `Clip` and `Lost`. */
export const SAID_BY_CLIP: ReadonlySet<string> = new Set(['clipped-dark', 'clipped-light']);

interface ClipProps {
  readonly frame: Looked & {
    /** Counted from 1, the darkest. */
    readonly place: number;
  };
  /** How many the set has. */
  readonly frames: number;
}

/** Firmly where no other frame of the set holds it. */
export function Clip({ frame, frames }: ClipProps) {
  if (frame.state !== 'verified' || frame.clipped === null) return null;
  const { dark, light } = frame.clipped;
  const lost = lostIn(frame, frames).map(({ side }) => side);
  const sides = [
    { side: 'black', share: dark },
    { side: 'blown', share: light },
  ] as const;
  return (
    <span class="clip">
      {sides
        .filter(({ share }) => share >= LOST_SHARE)
        .map(({ side, share }) => (
          <span key={side} data-side={side} data-lost={lost.includes(side)}>
            <span class="clip-sign" aria-hidden="true" />
            <span aria-hidden="true">{text.ladder.share(share)}</span>
            <span class="unseen">{text.ladder[side](share)}</span>
          </span>
        ))}
    </span>
  );
}

interface LostProps {
  /** The darkest first. */
  readonly frames: readonly Looked[];
  /** Adds a frame on that side; left out, that is not offered. */
  readonly onMore?: ((side: Clipping['side']) => void) | undefined;
  readonly isBusy?: boolean;
}

/** @returns the frame that would hold what was lost on this side */
export const oneMore = (side: Clipping['side']): Extend =>
  side === 'blown' ? { darker: 1 } : { brighter: 1 };

/** The one thing that cannot be mended at home. */
export function Lost({ frames, onMore, isBusy = false }: LostProps) {
  const lost = lostAtEnds(frames);
  if (lost.length === 0) return null;
  return (
    <ul class="lost">
      {lost.map(({ side, share }) => (
        <li key={side} data-side={side}>
          <Mark of="warning" />
          <span>
            {text.run.lost[side](share)} {onMore === undefined && text.run.wouldHold[side]}
          </span>
          {onMore !== undefined && (
            <button type="button" disabled={isBusy} onClick={() => onMore(side)}>
              {text.run.oneMore[side]}
            </button>
          )}
        </li>
      ))}
    </ul>
  );
}
