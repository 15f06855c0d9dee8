// For people without a spot meter: test frames that show how far the light reaches, the two pictures at its
// ends, and the set that follows, taken over at one press.
import { evInWords } from '../../../shared/ev.js';
import type { Proposal, SoundingView, TestFrame } from '../../../shared/sounding.js';
import { testFramePath } from '../api.js';
import {
  firstShutter,
  isSounding,
  putAway,
  sounding,
  stoppingSounding,
  stopSounding,
  takeSounding,
  useSet,
} from '../sounding.js';
import { body, busy, obstacles, refusedAction, request } from '../store.js';
import { text } from '../text.js';

import { Fold } from './Fold.js';
import { Mark } from './Mark.js';
import { More, Refused } from './More.js';

const words = text.sounding;

export function Sounding() {
  const shown = sounding.value;
  const refused = refusedAction.value?.action === 'sound' ? refusedAction.value.refusal : null;
  return (
    <Fold line={words.line} mustBeSeen={shown !== null}>
      <div class="sounding" data-state={shown?.state ?? 'none'}>
        {shown === null || shown.state === 'stopped' ? <AskFor again={false} /> : <Shown of={shown} />}
        <Refused refusal={refused} />
      </div>
    </Fold>
  );
}

function Shown({ of }: { readonly of: SoundingView }) {
  const { state, proposal, sentence, error } = of;
  if (state === 'firing') return <UnderWay of={of} />;
  if (state === 'proposed' && proposal !== null) return <Proposed of={of} proposal={proposal} />;
  return (
    <>
      <div role={state === 'sun' ? 'status' : 'alert'}>
        <p class={`obstacle ${state === 'sun' ? 'sun-caution' : ''}`} data-code={error}>
          <Mark of={state === 'sun' ? 'attention' : 'stops'} />
          {/* The caution itself is at the bar, on every screen that has one. */}
          <span>{state === 'sun' ? words.sunSeen : text.said(sentence ?? '')}</span>
        </p>
      </div>
      <More about={error} />
      {state === 'sun' ? (
        <div class="sounding-buttons">
          <Fire label={words.despiteSun} despiteSun />
          <PutAway />
        </div>
      ) : (
        <AskFor again />
      )}
    </>
  );
}

function AskFor({ again }: { readonly again: boolean }) {
  const found = body.value;
  const { mode, step } = request.value;
  const [obstacle] = obstacles.value;
  if (found === null) return null;
  return (
    <>
      {!again && <p class="soft">{words.what(evInWords(step, false))}</p>}
      {mode === 'manual' ? (
        <div class="field">
          <label for="sound-first">{words.first}</label>
          <select
            id="sound-first"
            value={firstShutter.value ?? ''}
            onChange={(event) => {
              firstShutter.value = event.currentTarget.value === '' ? null : event.currentTarget.value;
            }}
          >
            <option value="">{words.standing(found.shutter)}</option>
            {found.shutters.map((label) => (
              <option key={label} value={label}>
                {text.shutter(label)}
              </option>
            ))}
          </select>
        </div>
      ) : (
        <p class="soft">{words.metered}</p>
      )}
      {obstacle === undefined ? (
        <p class="soft sounding-sun">
          <Mark of="attention" />
          <span>{words.sun}</span>
        </p>
      ) : (
        <p class="obstacle" data-code={obstacle.code}>
          <Mark of="stops" />
          <span>{text.said(obstacle.message)}</span>
        </p>
      )}
      <Fire label={again ? words.again : words.fire} />
    </>
  );
}

function Fire({ label, despiteSun = false }: { readonly label: string; readonly despiteSun?: boolean }) {
  const isBlocked = busy.value !== null || obstacles.value.length > 0 || isSounding.value;
  return (
    <button type="button" disabled={isBlocked} onClick={() => void takeSounding(despiteSun)}>
      {busy.value === 'sound' ? words.asking : label}
    </button>
  );
}

const PutAway = () => (
  <button type="button" onClick={putAway}>
    {words.put}
  </button>
);

function UnderWay({ of }: { readonly of: SoundingView }) {
  const { id, frames, most, now } = of;
  const isTold = stoppingSounding.value === id;
  return (
    <>
      <div role="status">
        <p>
          <strong>{isTold ? words.stopping : text.said(now ?? '')}</strong>
        </p>
        <p class="soft">{words.count(frames.length, most)}</p>
      </div>
      <TestFrames of={of} />
      <button
        type="button"
        class="stop"
        disabled={isTold || busy.value !== null}
        onClick={() => void stopSounding()}
      >
        {words.stop}
      </button>
    </>
  );
}

function TestFrames({ of: { frames } }: { readonly of: SoundingView }) {
  return (
    <ol class="test-frames" aria-label={words.list}>
      {frames.map(({ number, shutter, lost }) => (
        <li key={number}>
          <span>{shutter === null ? '' : text.shutter(shutter)}</span>{' '}
          <span class="soft">{lost !== null && words.lost(lost.bright, lost.dark)}</span>
        </li>
      ))}
    </ol>
  );
}

function Proposed({ of, proposal }: { readonly of: SoundingView; readonly proposal: Proposal }) {
  const { set, frames, darkest, brightest } = proposal;
  const isHeld = darkest.isHeld && brightest.isHeld;
  return (
    <>
      <p class="sounding-set" role="status">
        <Mark of={isHeld ? 'fine' : 'attention'} />
        <span>
          <strong>{words.proposed(frames, set.base ?? null)}</strong>{' '}
          {frames === 1 ? words.one : words.reach(set.from, set.to, set.step)}
        </span>
      </p>
      <div class="sounding-ends">
        <End of={of} end={darkest} />
        <End of={of} end={brightest} />
      </div>
      <div class="sounding-buttons">
        <button type="button" class="use" onClick={() => useSet(proposal)}>
          {words.use}
        </button>
        <PutAway />
      </div>
    </>
  );
}

function End({ of, end }: { readonly of: SoundingView; readonly end: Proposal['darkest'] }) {
  const frame: TestFrame | undefined = of.frames.find(({ number }) => number === end.testFrame);
  return (
    <figure>
      <img
        src={testFramePath(of.id, end.testFrame)}
        alt={words.picture(end.testFrame)}
        width="320"
        height="213"
        onError={(event) => {
          event.currentTarget.hidden = true;
        }}
      />
      <figcaption>
        <span class="soft">{words.frame(end.testFrame, frame?.shutter ?? null)}</span>
        <span>{text.said(end.sentence)}</span>
      </figcaption>
    </figure>
  );
}
