// One shape for each state of a frame and each mark of readiness, so that colour is never alone in saying it.
import type { ComponentChildren } from 'preact';
import type { Mark as ReadinessMark } from '../../../shared/readiness.js';
import type { FrameState, Trouble } from '../../../shared/state.js';

type Sign =
  | FrameState
  | ReadinessMark
  | Trouble['doing']
  | 'stopped'
  | 'warning'
  | 'note'
  | 'sounds'
  | 'silent'
  | 'lighter'
  | 'darker';

const SHAPES: Readonly<Record<Sign, ComponentChildren>> = {
  planned: <path d="M6 10h.01M10 10h.01M14 10h.01" />,
  armed: <path d="M10 3l7 7-7 7-7-7z" />,
  fired: <path d="M10 3l7 7-7 7-7-7z" fill="currentColor" />,
  stored: <path d="M3 11v5h14v-5M10 3v9M6.5 8.5l3.5 3.5 3.5-3.5" />,
  verified: <path d="M3.5 10.5l4.5 4.5L16.5 5.5" />,
  rejected: <path d="M4.5 4.5l11 11M15.5 4.5l-11 11" />,
  // A cable that has come apart, and a pause.
  reconnecting: <path d="M1 10h6M13 10h6M7 5.5v9M13 5.5v9" />,
  waiting: <path d="M7 4v12M13 4v12" />,
  stopped: <path d="M4 4h12v12H4z" />,
  warning: <path d="M10 3v9M10 16.5h.01" />,
  fine: <path d="M3.5 10.5l4.5 4.5L16.5 5.5" />,
  attention: <path d="M10 3v9M10 16.5h.01" />,
  stops: <path d="M10 2.5a7.5 7.5 0 1 0 .01 0M6 10h8" />,
  note: <path d="M10 9v8M10 4h.01" />,
  // Waves that go out from a point, and one that is cut through.
  sounds: <path d="M4 10h.01M8 6.5a5 5 0 0 1 0 7M11.5 4a8.5 8.5 0 0 1 0 12M15 1.5a12 12 0 0 1 0 17" />,
  silent: <path d="M4 10h.01M8 6.5a5 5 0 0 1 0 7M3 17.5l14-15" />,
  // A base that has moved: a step up where more light was let in, down where less.
  lighter: <path d="M2 14h8V6h8" />,
  darker: <path d="M2 6h8v8h8" />,
};

export function Mark({ of }: { readonly of: Sign }) {
  return (
    <svg class="mark" viewBox="0 0 20 20" aria-hidden="true">
      {SHAPES[of]}
    </svg>
  );
}
