// Which body is there, and the one thing to do about it.
import type { BodyView } from '../../../shared/state.js';
import { busy, daemon, look, refusedAction, view } from '../store.js';
import { text } from '../text.js';

export function Body() {
  const found = daemon.value?.body;
  if (found === undefined) return null;
  const practice = found.state === 'ready' && found.body.link === 'practice';
  return (
    <section class="body" data-state={found.state} data-practice={practice} aria-label={text.body.heading}>
      {found.state === 'looking' && (
        <p class="looking" role="status">
          <span class="looking-mark" aria-hidden="true" />
          <strong>{text.body.looking}</strong>
        </p>
      )}
      {found.state === 'absent' && (
        <div>
          <strong>{text.body.absent}</strong>
          <p>{found.sentence}</p>
        </div>
      )}
      {found.state === 'ready' && <Found body={found.body} note={found.note} />}
      <LookAgain looking={found.state === 'looking'} />
    </section>
  );
}

function Found({ body, note }: { readonly body: BodyView; readonly note: string | null }) {
  const settings = text.body.settings(body.aperture, body.iso);
  const serial = body.serial === null || body.link === 'practice' ? '' : text.body.serial(body.serial);
  const more = [settings, serial].filter((part) => part !== '');
  return (
    <div>
      {body.link === 'practice' ? (
        <p>
          <strong>{text.body.practice}</strong> {text.body.practiceMore}
        </p>
      ) : (
        <p>
          <strong>{body.model}</strong>
        </p>
      )}
      {note !== null && <p>{note}</p>}
      {more.length > 0 && <p class="soft">{more.join(', ')}</p>}
    </div>
  );
}

function LookAgain({ looking }: { readonly looking: boolean }) {
  if (view.value.name === 'running') return null;
  const refused = refusedAction.value?.action === 'look' ? refusedAction.value.refusal : null;
  return (
    <>
      <button
        type="button"
        class="look"
        disabled={looking || busy.value !== null}
        onClick={() => void look()}
      >
        {text.body.lookAgain}
      </button>
      {refused !== null && (
        <p class="refusal" role="alert">
          {refused.message}
        </p>
      )}
    </>
  );
}
