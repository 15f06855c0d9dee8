// What has to be known before anything is fired, where it is seen before the bar is pressed.
import { cautionsIn } from '../../../shared/cautions.js';
import { planShown } from '../store.js';
import { text } from '../text.js';
import { Mark } from './Mark.js';

export function Caution() {
  return (
    <div role="alert">
      {cautionsIn(planShown.value?.warnings ?? []).map((sentence) => (
        <p key={sentence} class="obstacle sun-caution">
          <Mark of="attention" />
          <span>{text.said(sentence)}</span>
        </p>
      ))}
    </div>
  );
}
