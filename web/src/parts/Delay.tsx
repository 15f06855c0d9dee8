// When the first frame is fired after the bar was held: at once, or after whoever held it has stepped back.
import { changeRequest, request, schedule } from '../store.js';
import { text } from '../text.js';

const SECONDS: readonly number[] = [0, 2, 5, 10, 20, 60];

/** @param id of the field, which is on the page in more than one place */
export function Delay({ id }: { readonly id: string }) {
  const { delay } = request.value;
  const offered = [...new Set([...SECONDS, delay])].sort((a, b) => a - b);
  return (
    <div class="field">
      <label for={id}>{text.ask.delay}</label>
      <select
        id={id}
        value={delay}
        // A schedule says itself when it begins.
        disabled={schedule.value.on}
        onChange={(event) => {
          changeRequest({ delay: Number(event.currentTarget.value) });
        }}
      >
        {offered.map((seconds) => (
          <option key={seconds} value={seconds} selected={seconds === delay}>
            {text.ask.delays(seconds)}
          </option>
        ))}
      </select>
    </div>
  );
}
