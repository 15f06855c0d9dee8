// By how many frames a finished set is extended at each end. It proposes what the set lacks.
import { useEffect, useRef, useState } from 'preact/hooks';
import { lackingAtEnds } from '../../../shared/clipping.js';
import { evInWords, fromEv } from '../../../shared/ev.js';
import type { Extend } from '../../../shared/kept.js';
import type { CoverageView } from '../../../shared/light.js';
import type { FrameView } from '../../../shared/state.js';
import { type End, MOST_FRAMES } from '../span.js';
import { text } from '../text.js';

interface Props {
  /** The darkest first. */
  readonly frames: readonly FrameView[];
  /** What their pictures hold; null if they were not judged. */
  readonly coverage: CoverageView | null;
  readonly onExtend: (by: Extend) => void;
  readonly onLeave: () => void;
}

export function Extending({ frames, coverage, onExtend, onLeave }: Props) {
  const [by, setBy] = useState(() => lackingAtEnds(frames, coverage));
  const box = useRef<HTMLElement>(null);
  // The button that opened it is gone, and the focus with it.
  useEffect(() => box.current?.focus(), []);
  const total = by.darker + by.brighter;
  const change = (end: End, step: 1 | -1) => setBy({ ...by, [end]: by[end] + step });
  const isFull = frames.length + total >= MOST_FRAMES;
  const [first, second] = frames;
  const last = frames.at(-1);
  // Of a single frame nobody knows here.
  const step = (second?.offset ?? 0) - (second === undefined ? 0 : (first?.offset ?? 0));
  const ev = (by: number, from: FrameView | undefined) => evInWords(fromEv((from?.offset ?? 0) + by));
  return (
    <section class="choosing extending" ref={box} tabIndex={-1} aria-label={text.set.extend}>
      <p>{text.set.extendHow(ev(0, first), ev(0, last))}</p>
      {/* The brighter end above the darker one, as on the ladder. */}
      {(['brighter', 'darker'] as const).map((end) => (
        <div class="field frames end-of" data-end={end} key={end}>
          <span class="label">{text.set.added[end]}</span>
          <div class="stepper">
            <button
              type="button"
              aria-label={text.set.fewer[end]}
              disabled={by[end] === 0}
              onClick={() => change(end, -1)}
            >
              <span aria-hidden="true">{'\u2212'}</span>
            </button>
            <output aria-label={text.set.added[end]}>{by[end]}</output>
            <button
              type="button"
              aria-label={text.set.more[end]}
              disabled={isFull}
              onClick={() => change(end, 1)}
            >
              <span aria-hidden="true">+</span>
            </button>
          </div>
        </div>
      ))}
      <p class="soft" role="status">
        {total > 0 &&
          step !== 0 &&
          text.set.extendTo(ev(-by.darker * step, first), ev(by.brighter * step, last))}
      </p>
      <div class="pair">
        <button type="button" class="new-set" disabled={total === 0} onClick={() => onExtend(by)}>
          {text.set.extendBy(total)}
        </button>
        <button type="button" onClick={onLeave}>
          {text.set.leave}
        </button>
      </div>
    </section>
  );
}
