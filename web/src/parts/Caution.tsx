// Cautions before anything is fired, at a place where they are seen before the bar is pressed.
import { cautionsIn } from '../../../shared/cautions.js';
import { sunSeen } from '../sounding.js';
import { planShown } from '../store.js';
import { text } from '../text.js';
import { Mark } from './Mark.js';

export function Caution() {
  const cautions = [...cautionsIn(planShown.value?.warnings ?? []), ...sunSeen.value];
  return (
    <div role="alert">
      {cautions.map((sentence) => (
        <p key={sentence} class="obstacle sun-caution">
          <Mark of="attention" />
          <span>{text.said(sentence)}</span>
        </p>
      ))}
    </div>
  );
}
