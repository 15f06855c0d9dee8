// The trigger: a wide bar to press and hold. A touch in passing, in a pocket or by a knock on the tripod
// fires nothing. If the daemon would refuse the run, the bar fires nothing: it says why, and a press checks
// whether that still holds.
import { useEffect, useRef, useState } from 'preact/hooks';
import type { WirePlan } from '../../../shared/plan.js';
import { canTremble } from '../alarm.js';
import { route } from '../route.js';
import { isSounding } from '../sounding.js';
import {
  busy,
  check,
  connection,
  fire,
  foreseeing,
  handIsDone,
  obstacles,
  planning,
  refusedAction,
  request,
  schedule,
  starting,
} from '../store.js';
import { text } from '../text.js';
import { aboutMoment } from '../words.js';
import { Caution } from './Caution.js';
import { Mark } from './Mark.js';
import { Refused } from './More.js';

const HOLD_MS = 600;
/** A finger in a glove wanders; farther than this it has left the bar. */
const SLACK_PX = 24;
/** Assistive programs press without holding: they press twice, within this time. */
const AGAIN_MS = 5000;
const HINT_MS = 3000;
const TREMBLE_MS = 40;

type Hold = 'rest' | 'holding' | 'again' | 'too-short';

export function Trigger() {
  const [hold, setHold] = useState<Hold>('rest');
  const timer = useRef<ReturnType<typeof setTimeout> | undefined>(undefined);
  const label = useLabel();
  const { does } = label;
  const blocked = does === 'nothing';

  const go = (next: Hold, afterMs?: number, then?: () => void) => {
    clearTimeout(timer.current);
    setHold(next);
    if (afterMs !== undefined) {
      timer.current = setTimeout(() => {
        setHold('rest');
        then?.();
      }, afterMs);
    }
  };
  const release = () => go('rest');
  const commit = () => {
    // A gloved hand in the dark feels that it was enough.
    if (canTremble) navigator.vibrate(TREMBLE_MS);
    void fire();
  };
  const begin = () => {
    if (does === 'fire') go('holding', HOLD_MS, commit);
    if (does === 'check') void check();
  };
  const end = () => {
    if (hold === 'holding') go('too-short', HINT_MS);
  };

  // The set that was about to be fired is no longer the one on the screen.
  useEffect(() => {
    if (does !== 'fire') release();
  }, [does]);
  useEffect(() => () => clearTimeout(timer.current), []);

  // The space bar works like the bar, unless an element has the focus that uses it itself.
  const keys = useRef({ begin, end });
  keys.current = { begin, end };
  useEffect(() => {
    const press = (event: KeyboardEvent) => {
      if (!isFreeSpace(event)) return;
      event.preventDefault();
      if (!event.repeat) keys.current.begin();
    };
    const letGo = (event: KeyboardEvent) => {
      if (isFreeSpace(event)) keys.current.end();
    };
    const leave = () => keys.current.end();
    document.addEventListener('keydown', press);
    document.addEventListener('keyup', letGo);
    addEventListener('blur', leave);
    return () => {
      document.removeEventListener('keydown', press);
      document.removeEventListener('keyup', letGo);
      removeEventListener('blur', leave);
    };
  }, []);

  const refused = refusedAction.value?.action === 'fire' ? refusedAction.value.refusal : null;
  return (
    <div class="dock" data-dock="trigger">
      <Refused refusal={refused} />
      <Obstacle />
      <Caution />
      <ByHandReminder />
      <button
        type="button"
        class="trigger"
        aria-disabled={blocked}
        aria-describedby="trigger-obstacle"
        aria-keyshortcuts="Space"
        data-does={does}
        data-hold={hold}
        style={{ '--hold': `${HOLD_MS}ms` }}
        onPointerDown={(event) => {
          if (event.button !== 0 || !event.isPrimary) return;
          event.currentTarget.setPointerCapture(event.pointerId);
          begin();
        }}
        onPointerMove={(event) => {
          if (hold === 'holding' && hasLeft(event)) end();
        }}
        onPointerUp={end}
        onPointerCancel={end}
        onContextMenu={(event) => event.preventDefault()}
        onKeyDown={(event) => {
          if (!isPress(event)) return;
          event.preventDefault();
          if (!event.repeat) begin();
        }}
        onKeyUp={(event) => {
          if (!isPress(event)) return;
          event.preventDefault();
          end();
        }}
        onBlur={end}
        onClick={(event) => {
          // A click that no pointer and no key made: from an assistive program.
          if (event.detail !== 0 || blocked || hold === 'holding') return;
          if (does === 'check') return begin();
          if (hold !== 'again') return go('again', AGAIN_MS);
          release();
          commit();
        }}
      >
        <span class="trigger-fill" aria-hidden="true" />
        {/* Other words come in place of these: as the same ones they would have moved. */}
        <span class="trigger-words" key={label.first}>
          <span class="trigger-first">{firstLine(hold, label.first)}</span>{' '}
          <span class="trigger-second">{hold === 'too-short' ? text.trigger.tooShort : label.second}</span>
          {does === 'fire' && <span class="trigger-space">{text.trigger.space}</span>}
        </span>
      </button>
    </div>
  );
}

function firstLine(hold: Hold, otherwise: string): string {
  if (hold === 'holding') return text.trigger.holding;
  return hold === 'again' ? text.trigger.again : otherwise;
}

/** One sentence, however many things there are: the list has the others. */
function Obstacle() {
  const [first, ...others] = obstacles.value;
  return (
    <div id="trigger-obstacle" role="alert">
      {first !== undefined && (
        <p class="obstacle" data-code={first.code}>
          <Mark of="stops" />
          <span>
            {text.said(first.message)} {others.length > 0 && text.readiness.moreStop(others.length)}
          </span>
        </p>
      )}
    </div>
  );
}

/**
 * A step that a suggestion left to be done at the camera. It is shown until the camera reports that it was
 * done, or somebody confirms it; it stops nothing.
 */
function ByHandReminder() {
  const hand = request.value.byHand;
  if (hand === null) return null;
  const isTold = hand.value !== null && hand.what !== 'filter';
  return (
    <div class="obstacle by-hand" role="status" data-what={hand.what}>
      <Mark of="attention" />
      <span>{text.said(hand.sentence)}</span>
      {isTold && (
        <button type="button" disabled={busy.value !== null} onClick={() => void check()}>
          {text.trigger.readCamera}
        </button>
      )}
      <button type="button" onClick={handIsDone}>
        {text.trigger.handDone}
      </button>
    </div>
  );
}

interface Label {
  readonly first: string;
  readonly second: string;
  readonly does: 'fire' | 'check' | 'nothing';
}

/** @returns what would be fired, or why nothing can be */
function useLabel(): Label {
  const blockedBy = (first: string): Label => ({ first, second: '', does: 'nothing' });
  if (starting.value) return blockedBy(text.trigger.starting);
  if (connection.value.state !== 'connected') return blockedBy(text.trigger.notConnected);
  if (isSounding.value) return blockedBy(text.sounding.underWay);
  const current = planning.value;
  switch (current.state) {
    case 'none':
    case 'asking':
      return blockedBy(text.trigger.planning);
    case 'refused':
      return blockedBy(text.trigger.refused);
    case 'planned': {
      const { offsets, passes, release, estimate } = current.plan;
      const isFree = busy.value === null;
      if (busy.value === 'check') return blockedBy(text.readiness.checking);
      if (obstacles.value.length > 0) {
        const { notReady: first, checkAgain: second } = text.trigger;
        return { first, second, does: isFree ? 'check' : 'nothing' };
      }
      if (schedule.value.on) return scheduleLabel(current.plan, isFree);
      return {
        first: text.trigger.hold(offsets.length),
        second: text.trigger.size(passes.length, release, estimate.seconds, request.value.delay),
        does: isFree ? 'fire' : 'nothing',
      };
    }
  }
}

function scheduleLabel({ offsets }: WirePlan, isFree: boolean): Label {
  const words = text.schedule.trigger;
  const current = foreseeing.value;
  if (current.state === 'refused') return { first: words.refused, second: '', does: 'nothing' };
  if (current.state !== 'foreseen') return { first: words.planning, second: '', does: 'nothing' };
  const { estimate, schedule: foreseen } = current.foreseen;
  return {
    first: words.hold(estimate.sets),
    second: words.size(
      text.frames(offsets.length),
      foreseen.everySeconds,
      aboutMoment(new Date(estimate.ends)),
    ),
    does: isFree ? 'fire' : 'nothing',
  };
}

/** Elements that use the space bar themselves. */
const WANTS_SPACE = 'button, a, input, select, textarea, summary, dialog, [role="dialog"], [contenteditable]';

function isFreeSpace(event: KeyboardEvent): boolean {
  if (event.key !== ' ' || event.ctrlKey || event.altKey || event.metaKey) return false;
  if (route.value.name !== 'panel' && route.value.name !== 'form') return false;
  const { target } = event;
  return target instanceof Element && target.closest(WANTS_SPACE) === null;
}

const isPress = (event: KeyboardEvent) => event.key === ' ' || event.key === 'Enter';

function hasLeft(event: PointerEvent & { readonly currentTarget: HTMLElement }): boolean {
  const { left, right, top, bottom } = event.currentTarget.getBoundingClientRect();
  const { clientX: x, clientY: y } = event;
  return x < left - SLACK_PX || x > right + SLACK_PX || y < top - SLACK_PX || y > bottom + SLACK_PX;
}
