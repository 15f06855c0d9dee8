// Remarks on the device in the hand: that its screen may go dark, and that its panel is out of date.
import { awake } from '../awake.js';
import { isStale, loadAnew } from '../installed.js';
import { text } from '../text.js';

const SAYS = {
  none: text.phone.screen.cannot,
  insecure: text.phone.screen.plain,
  refused: text.phone.screen.refused,
} as const;

/** Only if the screen goes dark by itself: on a touch device. */
export function ScreenLine() {
  const state = awake.value;
  if (state !== 'none' && state !== 'insecure' && state !== 'refused') return null;
  return (
    <p class="screen-line soft" data-awake={state}>
      {SAYS[state]}
    </p>
  );
}

export function NewerBand() {
  return (
    <div aria-live="polite">
      {isStale.value && (
        <div class="newer">
          <p>{text.phone.newer}</p>
          <button type="button" onClick={loadAnew}>
            {text.phone.load}
          </button>
        </div>
      )}
    </div>
  );
}
