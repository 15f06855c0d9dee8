// Frames of a set for which the camera or something else moved, or focus was lost: the reason, and one press
// that fires just those again.
import type { LightView } from '../../../shared/light.js';
import type { FrameView } from '../../../shared/state.js';
import { whyAgain } from '../set-light.js';
import { text } from '../text.js';
import { Mark } from './Mark.js';

interface Props {
  readonly frames: readonly FrameView[];
  /** Of the set; null if its pictures were not judged. */
  readonly light: LightView | null;
  /** Takes their numbers; left out, that is not offered. */
  readonly onAgain?: ((numbers: number[]) => void) | undefined;
  readonly isBusy?: boolean;
}

export function Unsteady({ frames, light, onAgain, isBusy = false }: Props) {
  const again = light?.again.filter((number) => frames.some((frame) => frame.number === number)) ?? [];
  if (again.length === 0) return null;
  return (
    <div class="lost unsteady">
      <p>
        <Mark of="warning" />
        <span>{whyAgain(frames, again)}</span>
      </p>
      {onAgain !== undefined && (
        <button type="button" disabled={isBusy} onClick={() => onAgain([...again])}>
          {text.setLight.again(again.length)}
        </button>
      )}
    </div>
  );
}
