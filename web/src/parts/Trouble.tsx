// What keeps a run from continuing at the moment. It is shown above everything as long as it lasts.
import { connection, view } from '../store.js';
import { text } from '../text.js';
import { Mark } from './Mark.js';
import { More } from './More.js';

/** The region exists before it has any content: only then is new content spoken. */
export function TroubleBand() {
  const shown = view.value;
  const trouble = shown.name === 'running' ? (shown.run?.trouble ?? null) : null;
  return (
    <div role="status" data-trouble={trouble?.doing} data-stale={connection.value.state !== 'connected'}>
      {trouble !== null && (
        <div class="trouble">
          <h2>
            <Mark of={trouble.doing} />
            {text.trouble[trouble.doing]}
          </h2>
          <div class="trouble-words">
            <p>{text.said(trouble.sentence)}</p>
            <p>{trouble.next}</p>
          </div>
          <More about={trouble.code} />
        </div>
      )}
    </div>
  );
}
