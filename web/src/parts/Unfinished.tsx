// A set that was cut off with the program: whether to resume it comes before any other question.
import type { Unfinished as CutOff } from '../../../shared/state.js';
import { onDiskOf } from '../kept-sets.js';
import { body, busy, endUnfinished, refusedAction, resume } from '../store.js';
import { text } from '../text.js';
import { moment } from '../words.js';
import { Mark } from './Mark.js';
import { More, Refused } from './More.js';

export function Unfinished({ of: cutOff }: { readonly of: CutOff }) {
  const refused = refusedAction.value;
  const refusal = refused?.action === 'resume' || refused?.action === 'end' ? refused.refusal : null;
  const onDisk = cutOff.set === null ? null : onDiskOf(cutOff.set);
  const isBusy = busy.value === 'resume' || busy.value === 'end';
  return (
    <section class="ended unfinished" data-state="stopped" aria-labelledby="unfinished-heading">
      <h2 id="unfinished-heading">
        <Mark of="stopped" />
        {text.unfinished.heading(cutOff.scheduled)}
      </h2>
      <p>{text.said(cutOff.sentence)}</p>
      <p>{text.unfinished.begun(moment(new Date(cutOff.startedAt)))}</p>
      {cutOff.folder !== null && (
        <dl>
          <dt>{text.run.folder}</dt>
          <dd>
            <code>{cutOff.folder}</code>
          </dd>
        </dl>
      )}
      {onDisk?.state === 'gone' && <p class="attention">{text.said(onDisk.sentence ?? '')}</p>}
      {onDisk?.state === 'lacking' && (
        <p class="attention">{text.unfinished.lacking(onDisk.missing.length + onDisk.changed.length)}</p>
      )}
      {body.value === null && <p>{text.unfinished.needsBody}</p>}
      <div class="choices">
        <button
          type="button"
          class="first-choice"
          disabled={isBusy || body.value === null || onDisk?.state === 'gone'}
          onClick={() => void resume()}
        >
          {text.unfinished.resume}
        </button>
        <button type="button" disabled={isBusy} onClick={() => void endUnfinished()}>
          {text.unfinished.end(cutOff.scheduled)}
        </button>
      </div>
      <Refused refusal={refusal} />
      {refusal === null && <More about="run-unfinished" />}
    </section>
  );
}
