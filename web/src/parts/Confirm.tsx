// Asks once before frames of an old set are fired: light and camera may have changed.
import { useEffect, useRef } from 'preact/hooks';
import { busy, refusedAction } from '../store.js';
import { text } from '../text.js';
import { moment } from '../words.js';
import { Refused } from './More.js';

interface Props {
  readonly question: string;
  readonly startedAt: string;
  readonly onLeave: () => void;
  /** Answers whether it was taken on: then this is gone with the page. */
  readonly onFire: () => Promise<boolean>;
}

export function Confirm({ question, startedAt, onLeave, onFire }: Props) {
  const dialog = useRef<HTMLDialogElement>(null);
  useEffect(() => dialog.current?.showModal(), []);
  const isBusy = busy.value === 'again';
  const refused = refusedAction.value?.action === 'again' ? refusedAction.value.refusal : null;
  return (
    <dialog class="confirm" ref={dialog} aria-labelledby="confirm-heading" onClose={onLeave}>
      <h2 id="confirm-heading">{question}</h2>
      <p>{text.confirm.light(moment(new Date(startedAt)))}</p>
      <Refused refusal={refused} />
      <div class="pair">
        <button type="button" class="new-set" disabled={isBusy} onClick={() => void onFire()}>
          {isBusy ? text.confirm.starting : text.confirm.fire}
        </button>
        <button type="button" disabled={isBusy} onClick={() => dialog.current?.close()}>
          {text.confirm.leave}
        </button>
      </div>
    </dialog>
  );
}
