// Names for the sets to come: name, note, and the viewpoint, which a press raises by one when the tripod
// moves on.
import { changeRequest, nextViewpoint, planning, request } from '../store.js';
import { text } from '../text.js';
import { Fold } from './Fold.js';

/** As in shared/run-request.ts. */
const LONGEST_NAME = 300;
const LONGEST_NOTE = 4000;

export function Labels() {
  const { labels } = request.value;
  const { name, viewpoint } = labels;
  const planned = planning.value;
  const isWrong = planned.state === 'refused' && planned.refusal.field === 'viewpoint';
  const change = (changed: Partial<typeof labels>) => changeRequest({ labels: { ...labels, ...changed } });
  return (
    <Fold line={text.labels.line(name, viewpoint)} mustBeSeen={isWrong}>
      <div class="labels">
        <LabelFields
          prefix="ask"
          value={labels}
          onChange={change}
          invalid={isWrong ? { 'aria-invalid': true, 'aria-describedby': 'ask-refusal' } : {}}
        />
        <button type="button" onClick={nextViewpoint}>
          {text.labels.next}
        </button>
        <p class="soft">{text.labels.why}</p>
      </div>
    </Fold>
  );
}

export interface LabelTexts {
  readonly name: string;
  readonly note: string;
  readonly viewpoint: string;
}

interface FieldsProps {
  readonly prefix: string;
  readonly value: LabelTexts;
  readonly onChange: (changed: Partial<LabelTexts>) => void;
  readonly invalid: { readonly 'aria-invalid'?: true; readonly 'aria-describedby'?: string };
}

export function LabelFields({ prefix, value, onChange, invalid }: FieldsProps) {
  return (
    <>
      <div class="field wide">
        <label for={`${prefix}-name`}>{text.labels.name}</label>
        <input
          id={`${prefix}-name`}
          type="text"
          maxLength={LONGEST_NAME}
          value={value.name}
          onInput={(event) => onChange({ name: event.currentTarget.value })}
        />
      </div>
      <div class="field wide">
        <label for={`${prefix}-note`}>{text.labels.note}</label>
        <textarea
          id={`${prefix}-note`}
          rows={2}
          maxLength={LONGEST_NOTE}
          value={value.note}
          onInput={(event) => onChange({ note: event.currentTarget.value })}
        />
      </div>
      <div class="field">
        <label for={`${prefix}-viewpoint`}>{text.labels.viewpoint}</label>
        <input
          id={`${prefix}-viewpoint`}
          type="number"
          inputMode="numeric"
          min="1"
          max="9999"
          step="1"
          value={value.viewpoint}
          onInput={(event) => onChange({ viewpoint: event.currentTarget.value })}
          {...invalid}
        />
      </div>
    </>
  );
}
