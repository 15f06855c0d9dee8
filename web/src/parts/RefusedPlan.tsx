// Why the set that is asked for cannot be made, and what would work: at the fields on a narrow screen, in the
// ladder's place on a wide one, where it is seen whatever part of the form is open.
import type { Suggestion } from '../../../shared/plan.js';
import type { Refusal } from '../api.js';
import { askFor } from '../store.js';
import { text } from '../text.js';
import { More } from './More.js';

interface Props {
  readonly refusal: Refusal;
  /** The field that it is about, if there is one. */
  readonly field: string | null;
}

export const REFUSED_ID = 'ask-refusal';

export function RefusedPlan({ refusal: { code, message, suggestions }, field }: Props) {
  return (
    <>
      <div class="refusal" role="alert" data-code={code} data-field={field}>
        <p id={REFUSED_ID}>{text.said(message)}</p>
        <More about={code} />
      </div>
      {suggestions.length > 0 && <Suggestions of={suggestions} />}
    </>
  );
}

/**
 * Some suggestions only differ in what the photographer does to the camera: they change the request in the
 * same way.
 */
function Suggestions({ of }: { readonly of: readonly Suggestion[] }) {
  return (
    <div class="suggestions">
      <p id="suggestions-heading">{text.ask.wouldDo}</p>
      <ul aria-labelledby="suggestions-heading">
        {of.map((suggestion) => (
          <li key={suggestion.message}>
            <button
              type="button"
              data-code={suggestion.code}
              onClick={() => askFor(suggestion.change, suggestion.byHand)}
            >
              {text.said(suggestion.message)}
            </button>
          </li>
        ))}
      </ul>
    </div>
  );
}
