// The shooting conditions of a set: hand, light, files. The plan is judged by them.
import type { CircumstanceField, Circumstances } from '../request.js';
import { changeRequest, request } from '../store.js';
import { text } from '../text.js';
import { Fold } from './Fold.js';

interface About {
  readonly 'aria-invalid'?: true;
  readonly 'aria-describedby'?: string;
}

export function Conditions({ about }: { readonly about: (field: CircumstanceField) => About }) {
  const written = request.value.circumstances;
  const known = Object.values(written).filter((value) => value.trim() !== '').length;
  const isWrong = (['handHeldMm', 'lightEvPerMinute', 'fileMegabytes'] as const).some(
    (field) => about(field)['aria-invalid'] === true,
  );
  const change = (changed: Partial<Circumstances>) =>
    changeRequest({ circumstances: { ...written, ...changed } });
  const numberField = (field: CircumstanceField, label: string, min: string, max: string) => (
    <div class="field">
      <label for={`ask-${field}`}>{label}</label>
      <input
        id={`ask-${field}`}
        type="number"
        inputMode="decimal"
        min={min}
        max={max}
        step="any"
        value={written[field]}
        onInput={(event) => change({ [field]: event.currentTarget.value })}
        {...about(field)}
      />
    </div>
  );
  const words = text.circumstances;
  return (
    <Fold line={words.line(known)} mustBeSeen={isWrong}>
      <div class="conditions">
        {numberField('handHeldMm', words.handHeld, '1', '5000')}
        {numberField('lightEvPerMinute', words.light, '0', '10')}
        {numberField('fileMegabytes', words.file, '0', '10000')}
        <div class="field">
          <label for="ask-mains">{words.mains}</label>
          <select
            id="ask-mains"
            value={written.mainsHz}
            onChange={(event) => change({ mainsHz: event.currentTarget.value as Circumstances['mainsHz'] })}
          >
            {(['', '50', '60'] as const).map((hertz) => (
              <option key={hertz} value={hertz} selected={hertz === written.mainsHz}>
                {words.mainsHz[hertz]}
              </option>
            ))}
          </select>
        </div>
        <div class="field wide">
          <label for="ask-noise-reduction">{words.noiseReduction}</label>
          <select
            id="ask-noise-reduction"
            value={written.noiseReduction}
            onChange={(event) =>
              change({ noiseReduction: event.currentTarget.value as Circumstances['noiseReduction'] })
            }
          >
            {(['', 'yes', 'no'] as const).map((answer) => (
              <option key={answer} value={answer} selected={answer === written.noiseReduction}>
                {words.noiseReductions[answer]}
              </option>
            ))}
          </select>
        </div>
        <p class="soft">
          {words.handHeldWhy} {words.why}
        </p>
      </div>
    </Fold>
  );
}
