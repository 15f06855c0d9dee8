// Whether the screen shows what the daemon knows.
import { connection, now, tryNow, view } from '../store.js';
import { text } from '../text.js';

export function ConnectionMark() {
  const { state } = connection.value;
  return (
    <p class="connection" data-state={state}>
      <svg viewBox="0 0 16 16" aria-hidden="true">
        {state === 'connected' ? (
          <path d="M5 2v12M11 2v12M5 5h6M5 11h6" />
        ) : (
          <path d="M5 2v12M11 2v12M5 5h2M5 11h2" />
        )}
      </svg>
      {text.connection[state]}
    </p>
  );
}

export function ConnectionBand() {
  const current = connection.value;
  if (current.state !== 'lost') return null;
  const { since, retryAt, message } = current;
  const seconds = retryAt === null ? 0 : Math.ceil((retryAt - now.value) / 1000);
  return (
    <aside class="stale">
      <div>
        <p role="alert">
          <strong>{since === null ? text.connection.never : text.connection.lostSince(since)}</strong>{' '}
          {since !== null && text.connection.stale}
          {since !== null && view.value.name === 'running' && ` ${text.connection.runGoesOn}`}
        </p>
        {message !== null && <p>{message}</p>}
        <p>{seconds > 0 ? text.connection.retryIn(seconds) : text.connection.retrying}</p>
      </div>
      <button type="button" onClick={tryNow}>
        {text.connection.tryNow}
      </button>
    </aside>
  );
}
