// Something that is folded away behind one line until somebody wants it, or has to see it.
import type { ComponentChildren } from 'preact';
import { useEffect, useState } from 'preact/hooks';

interface FoldProps {
  /** The line that is always shown. */
  readonly line: ComponentChildren;
  /** Opens by itself when this becomes true; after that, the person opens and closes it. */
  readonly mustBeSeen?: boolean;
  readonly children: ComponentChildren;
}

export function Fold({ line, mustBeSeen = false, children }: FoldProps) {
  const [choice, setChoice] = useState<boolean | null>(null);
  useEffect(() => {
    if (mustBeSeen) setChoice((before) => (before === false ? null : before));
  }, [mustBeSeen]);
  const open = choice ?? mustBeSeen;
  return (
    <details class="fold" open={open}>
      {/* biome-ignore lint/a11y/noStaticElementInteractions: a summary is a control; by itself it would not tell of its state. */}
      <summary
        onClick={(event) => {
          event.preventDefault();
          setChoice(!open);
        }}
      >
        <svg class="fold-sign" viewBox="0 0 20 20" aria-hidden="true">
          <path d="M7 4l6 6-6 6" />
        </svg>
        {typeof line === 'string' ? <span class="fold-words">{line}</span> : line}
      </summary>
      <div class="fold-content">{children}</div>
    </details>
  );
}
