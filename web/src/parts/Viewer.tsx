// One frame as large as the screen, or pixel for pixel. Escape closes it, the arrows move to the neighbouring frame: the address
// says which one is shown, so that the way back closes it, too.
import { useEffect, useRef, useState } from 'preact/hooks';
import { formatEv, fromEv } from '../../../shared/ev.js';
import type { KeptSetDetail } from '../../../shared/kept.js';
import { keptPath } from '../api.js';
import { addressOf, goBack, goTo } from '../route.js';
import { text } from '../text.js';
import { AlarmBand } from './Alarm.js';

type Loading = 'under-way' | 'there' | 'none';

const words = text.viewer;

export function Viewer({ set, number }: { readonly set: KeptSetDetail; readonly number: number }) {
  const dialog = useRef<HTMLDialogElement>(null);
  const [isWhole, setIsWhole] = useState(true);
  const [loading, setLoading] = useState<Loading>('under-way');
  useEffect(() => dialog.current?.showModal(), []);
  useEffect(() => setLoading('under-way'), [number]);
  const all = set.frames.length;
  const frame = set.frames.find((each) => each.number === number);
  const move = (by: number) => {
    const next = number + by;
    if (next >= 1 && next <= all) goTo(addressOf.frame(set.id, next), true);
  };
  const close = () => {
    goBack(addressOf.set(set.id));
    document.querySelector<HTMLElement>(`.kept-frames [data-frame="${number}"] a`)?.focus();
  };
  if (frame === undefined) return null;
  const path = keptPath(set.id, number, 'picture', frame.attempts);
  return (
    <dialog
      class="viewer"
      ref={dialog}
      aria-label={words.of(number, all)}
      data-whole={isWhole}
      data-loading={loading}
      onClose={close}
      onKeyDown={(event) => {
        if (event.key === 'ArrowLeft') move(-1);
        else if (event.key === 'ArrowRight') move(1);
        else return;
        event.preventDefault();
      }}
    >
      {/* What lies under it cannot be reached. */}
      <AlarmBand />
      <div class="viewer-picture">
        {frame.file === null ? (
          <p>{words.notMade}</p>
        ) : (
          <>
            {loading === 'under-way' && <p class="viewer-wait">{words.loading}</p>}
            {loading === 'none' && <p>{words.none}</p>}
            <img
              key={path}
              src={path}
              alt={text.set.frame(number, formatEv(fromEv(frame.offset)), frame.shutter)}
              hidden={loading === 'none'}
              onLoad={() => setLoading('there')}
              onError={() => setLoading('none')}
            />
          </>
        )}
      </div>
      <div class="viewer-foot">
        <p aria-live="polite">
          <strong>{words.of(number, all)}</strong>{' '}
          <span>
            {text.ladder.ev(formatEv(fromEv(frame.offset)))}, {text.shutter(frame.shutter)}
          </span>
        </p>
        <div class="viewer-tools">
          <button type="button" disabled={number <= 1} aria-label={words.darker} onClick={() => move(-1)}>
            <svg viewBox="0 0 20 20" aria-hidden="true">
              <path d="M13 3l-7 7 7 7" />
            </svg>
          </button>
          <button type="button" disabled={number >= all} aria-label={words.lighter} onClick={() => move(1)}>
            <svg viewBox="0 0 20 20" aria-hidden="true">
              <path d="M7 3l7 7-7 7" />
            </svg>
          </button>
          <button type="button" disabled={loading !== 'there'} onClick={() => setIsWhole(!isWhole)}>
            {isWhole ? words.pixels : words.whole}
          </button>
          {frame.file !== null && (
            <a class="button" href={keptPath(set.id, number, 'file', frame.attempts)} download>
              {words.file}
            </a>
          )}
          <button type="button" onClick={() => dialog.current?.close()}>
            {words.close}
          </button>
        </div>
      </div>
    </dialog>
  );
}
