// What has to be known before anything is fired, where it is seen before the bar is pressed.
import { cautionsIn } from '../../../shared/plan.js';
import { planShown } from '../store.js';
import { text } from '../text.js';
import { Mark } from './Mark.js';

export function Caution() {
  return (
    <div role="alert">
      {cautionsIn(planShown.value?.warnings ?? []).map((sentence) => (
        <p key={sentence} class="obstacle caution">
          <Mark of="attention" />
          <span>
            {text.said(sentence)}{' '}
            <a class="more" href="/notes/hardware-notes/cautions.md" target="_blank" rel="noopener">
              {text.more}
            </a>
          </span>
        </p>
      ))}
    </div>
  );
}
