// The alarm: the band that says what happened until somebody has seen it, and whether this device sounds.
import { useEffect } from 'preact/hooks';
import { allow, call, canTremble, entitle, isAllowed, isTrying, seen, sound } from '../alarm.js';
import { text } from '../text.js';
import { moment } from '../words.js';
import { Fold } from './Fold.js';
import { Mark } from './Mark.js';

const words = text.schedule.alarm;

export function AlarmBand() {
  const current = call.value;
  const state = current === null ? null : text.runStates[current.state];
  useEffect(() => {
    entitle(state === null ? null : words.title(state));
  }, [state]);
  return (
    <div role="alert" data-alarm={current?.state ?? 'none'}>
      {current !== null && (
        <div class="trouble alarm">
          <div class="alarm-words">
            <h2>
              <Mark of={current.state === 'halted' ? 'rejected' : 'stopped'} />
              {state}
              {current.at !== null && ` ${moment(new Date(current.at))}`}
            </h2>
            {current.sentence !== null && <p>{text.said(current.sentence)}</p>}
          </div>
          <button type="button" class="seen" onClick={seen}>
            {words.seen}
          </button>
        </div>
      )}
    </div>
  );
}

export function AlarmSetting() {
  const isOn = isAllowed.value;
  return (
    <section class="readiness alarm-setting" aria-label={words.heading} data-sound={sound.value}>
      <Fold
        line={
          <span class="readiness-line" data-mark={sound.value === 'blocked' ? 'attention' : 'none'}>
            <Mark of={isOn ? 'sounds' : 'silent'} />
            <span>{words.line(isOn)}</span>
          </span>
        }
        mustBeSeen={sound.value === 'blocked' || sound.value === 'none'}
      >
        <label class="choice" for="alarm-on">
          <input
            id="alarm-on"
            type="checkbox"
            checked={isOn}
            onChange={(event) => allow(event.currentTarget.checked)}
          />
          <span>{words.allow}</span>
        </label>
        <p class="soft">
          {words.why} {!canTremble && words.noVibration}
        </p>
        {sound.value === 'blocked' && <p class="attention">{words.blocked}</p>}
        {sound.value === 'none' && <p class="attention">{words.noSound}</p>}
        {isOn && (
          <button
            type="button"
            onClick={() => {
              isTrying.value = !isTrying.value;
            }}
          >
            {isTrying.value ? words.silence : words.try}
          </button>
        )}
      </Fold>
    </section>
  );
}
