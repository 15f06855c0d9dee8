// How much of a frame is black or blown out, and what no frame of its set holds.
import { LOST_SHARE, lackingAtEnds, lostAtEnds, lostIn } from '../../../shared/clipping.js';
import type { Extend } from '../../../shared/kept.js';
import type { CoverageView } from '../../../shared/light.js';
import type { FrameView } from '../../../shared/state.js';
import { text } from '../text.js';
import { Mark } from './Mark.js';

type Looked = Pick<FrameView, 'state' | 'clipped'>;

/** What the pictures of the set hold; null if they were not judged: then shares of the end frames decide. */
type Covered = CoverageView | null;

/** Marks whose sentence is shown by `Clip` and `Lost`. */
export const SAID_BY_CLIP: ReadonlySet<string> = new Set(['clipped-dark', 'clipped-light']);

interface ClipProps {
  readonly frame: Looked & {
    /** Counted from 1, the darkest. */
    readonly place: number;
  };
  /** How many the set has. */
  readonly frames: number;
  readonly coverage: Covered;
}

/** Emphasised if no other frame of the set holds it. */
export function Clip({ frame, frames, coverage }: ClipProps) {
  if (frame.state !== 'verified' || frame.clipped === null) return null;
  const { dark, light } = frame.clipped;
  const lost = lostIn(frame, frames, coverage).map(({ side }) => side);
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
  readonly frames: readonly (Looked & Pick<FrameView, 'offset'>)[];
  readonly coverage: Covered;
  /** Adds frames that would hold what was lost; if it is left out, that is not offered. */
  readonly onMore?: ((by: Extend) => void) | undefined;
  readonly isBusy?: boolean;
}

/** The one thing that cannot be mended at home. */
export function Lost({ frames, coverage, onMore, isBusy = false }: LostProps) {
  const lost = lostAtEnds(frames, coverage);
  if (lost.length === 0) return null;
  const lacking = lackingAtEnds(frames, coverage);
  return (
    <div class="lost">
      <ul data-judged={coverage?.isInStep === true}>
        {lost.map(({ side, share, stops }) => (
          <li key={side} data-side={side}>
            <Mark of="warning" />
            <span>
              {text.run.lost[side](share, stops)} {onMore === undefined && text.run.wouldHold[side]}
            </span>
          </li>
        ))}
      </ul>
      {onMore !== undefined && (
        <button type="button" disabled={isBusy} onClick={() => onMore(onlyWhatIsAdded(lacking))}>
          {text.run.addLacking(lacking.darker, lacking.brighter)}
        </button>
      )}
    </div>
  );
}

const onlyWhatIsAdded = ({ darker, brighter }: Required<Pick<Extend, 'darker' | 'brighter'>>): Extend => ({
  ...(darker === 0 ? {} : { darker }),
  ...(brighter === 0 ? {} : { brighter }),
});
