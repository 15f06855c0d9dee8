// The readings of a set that was fired; before that they are shown at the fields.
import type { PlanReadings } from '../../../shared/plan-readings.js';
import { text } from '../text.js';

export function Metered({ readings }: { readonly readings: PlanReadings | undefined }) {
  if (readings === undefined) return null;
  return (
    <p class="soft">
      {text.said(readings.darkest.sentence)} {text.said(readings.brightest.sentence)}
    </p>
  );
}
