// The request: frames, step and base; and, folded away, things that are rarely changed, the schedule, and the
// names of the sets. Every change asks for a plan; an error is shown at the field that it is about.
import { evInWords, type Sixths, sixths } from '../../../shared/ev.js';
import type { Refusal } from '../api.js';
import { READING_PARTS, type ReadingPart, STANDINGS, type Standing } from '../readings.js';
import {
  type CircumstanceField,
  type Mode,
  readExtend,
  readFrames,
  readSettle,
  stepsFor,
} from '../request.js';
import { isNarrow } from '../screen.js';
import { type End, moved, type Span } from '../span.js';
import {
  askEvenly,
  base,
  body,
  changeRequest,
  changeStep,
  moveEnd,
  planning,
  request,
  span,
} from '../store.js';
import { text } from '../text.js';
import { isChangedElsewhere } from '../together.js';

import { Conditions } from './Conditions.js';
import { Delay } from './Delay.js';
import { Fold } from './Fold.js';
import { Labels } from './Labels.js';
import { AskedByChoice, FollowsFromReadings, Readings } from './Readings.js';
import { REFUSED_ID, RefusedPlan } from './RefusedPlan.js';
import { Schedule } from './Schedule.js';
import { Sounding } from './Sounding.js';
import { Ways } from './Ways.js';

type Field =
  | ReadingPart
  | Standing
  | 'frames'
  | 'step'
  | 'base'
  | 'release'
  | 'settle'
  | 'extend'
  | 'viewpoint'
  | CircumstanceField;

const FIELDS: readonly string[] = [
  ...READING_PARTS,
  ...STANDINGS,
  'frames',
  'step',
  'base',
  'release',
  'settle',
  'extend',
  'viewpoint',
  'handHeldMm',
  'lightEvPerMinute',
  'fileMegabytes',
] satisfies Field[];

/** The daemon names the field if it can; these codes are about one even if it does not. */
const FIELD_OF_CODE: Readonly<Record<string, Field>> = {
  'frames-out-of-range': 'frames',
  'step-out-of-range': 'step',
  'step-not-offered': 'step',
  'base-not-offered': 'base',
  'unreadable-shutter': 'base',
};

export function Ask() {
  const { refusal, field } = refusedNow() ?? { refusal: null, field: null };
  const about = (name: Field) =>
    field === name ? ({ 'aria-invalid': true, 'aria-describedby': REFUSED_ID } as const) : {};
  const byReadings = request.value.by === 'readings';
  // An error in readings is shown where they were typed, and not behind the folds.
  const refused = refusal !== null && isNarrow.value && <RefusedPlan refusal={refusal} field={field} />;
  return (
    <section class="ask" aria-labelledby="ask-heading">
      <h2 id="ask-heading" class="unseen" tabIndex={-1}>
        {text.ask.heading}
      </h2>
      <AskedByChoice />
      {byReadings ? (
        <>
          <Readings about={about} />
          <Step {...about('step')} />
          {refused}
          <FollowsFromReadings />
        </>
      ) : (
        <>
          <Frames {...about('frames')} />
          <Step {...about('step')} />
          {request.value.mode === 'manual' ? <Base {...about('base')} /> : <MeteredBase />}
        </>
      )}
      <Sounding />
      <Ways about={about('release')} />
      <Seldom about={about} />
      <Schedule />
      <Labels />
      {byReadings ? null : refused}
      <ChangedElsewhere />
    </section>
  );
}

function fieldOf({ field, code, suggestions }: Refusal): Field | null {
  if (request.value.by === 'readings' && field !== null && FIELDS.includes(field)) return field as Field;
  // If no other base would do, the set is too large for any.
  if (code === 'outside-shutter-range' && suggestions.every(({ change }) => change.base === undefined))
    return 'frames';
  if (field !== null && FIELDS.includes(field)) return field as Field;
  return FIELD_OF_CODE[code] ?? null;
}

/** @returns what is wrong with the request, and the field that it is about */
export function refusedNow(): { readonly refusal: Refusal; readonly field: Field | null } | null {
  const current = planning.value;
  return current.state === 'refused' ? { refusal: current.refusal, field: fieldOf(current.refusal) } : null;
}

/** The person at this device has not touched it. */
export function ChangedElsewhere() {
  return (
    <p class="soft changed-elsewhere" role="status">
      {isChangedElsewhere.value && text.ask.changedElsewhere}
    </p>
  );
}

interface About {
  readonly 'aria-invalid'?: true;
  readonly 'aria-describedby'?: string;
}

/**
 * The number of frames, and from where to where they reach. A set that is centred on the base is given by its
 * number; otherwise each end is changed by itself.
 */
function Frames(about: About) {
  const isUneven = request.value.ends !== null;
  const reaches = span.value;
  return (
    <>
      {isUneven ? <Counted {...about} /> : <Count {...about} />}
      {reaches !== null && (
        <div class="ends">
          <Fold line={text.ask.reaches(evInWords(reaches.from), evInWords(reaches.to))} mustBeSeen={isUneven}>
            <EndOf end="brighter" reaches={reaches} />
            <EndOf end="darker" reaches={reaches} />
            <p class="soft">{text.ask.endsWhy}</p>
          </Fold>
        </div>
      )}
    </>
  );
}

/** The brighter end above the darker one, as on the ladder. */
function EndOf({ end, reaches }: { readonly end: End; readonly reaches: Span }) {
  const button = (by: 1 | -1) => (
    <button
      type="button"
      aria-label={by === 1 ? text.ask.moreAt[end] : text.ask.fewerAt[end]}
      disabled={moved(reaches, request.value.step, end, by) === null}
      onClick={() => moveEnd(end, by)}
    >
      <span aria-hidden="true">{by === 1 ? '+' : '\u2212'}</span>
    </button>
  );
  return (
    <div class="field frames end-of" data-end={end}>
      <span class="label">{text.ask.ends[end]}</span>
      <div class="stepper">
        {button(-1)}
        <output aria-label={text.ask.ends[end]}>
          {text.ladder.ev(evInWords(end === 'darker' ? reaches.from : reaches.to))}
        </output>
        {button(1)}
      </div>
    </div>
  );
}

/** Of a set that reaches farther at one end the number follows from its ends. */
function Counted(about: About) {
  return (
    <div class="field frames">
      <span class="label">{text.ask.frames}</span>
      <div class="counted">
        <output id="ask-frames" aria-label={text.ask.frames} {...about}>
          {request.value.framesWritten}
        </output>
        <button type="button" onClick={() => askEvenly(request.value.framesWritten)}>
          {text.ask.evenly}
        </button>
      </div>
    </div>
  );
}

function Count(about: About) {
  const change = (by: number) => {
    const frames = readFrames(request.value.framesWritten) ?? 9;
    askEvenly(String(Math.max(1, Math.round(frames) + by)));
  };
  return (
    <div class="field frames">
      <label for="ask-frames">{text.ask.frames}</label>
      <div class="stepper">
        <button type="button" aria-label={text.ask.fewer} onClick={() => change(-1)}>
          <span aria-hidden="true">{'\u2212'}</span>
        </button>
        <input
          id="ask-frames"
          type="number"
          inputMode="numeric"
          min="1"
          step="1"
          value={request.value.framesWritten}
          onInput={(event) => {
            askEvenly(event.currentTarget.value);
          }}
          {...about}
        />
        <button type="button" aria-label={text.ask.more} onClick={() => change(1)}>
          <span aria-hidden="true">+</span>
        </button>
      </div>
    </div>
  );
}

function Step(about: About) {
  const found = body.value;
  if (found === null) return null;
  const { bracketed, other } = stepsFor(found, request.value.mode);
  const options = (steps: readonly Sixths[]) =>
    steps.map((offered) => (
      <option key={offered} value={offered} selected={offered === request.value.step}>
        {text.ask.steps(evInWords(offered, false))}
      </option>
    ));
  return (
    <div class="field">
      <label for="ask-step">{text.ask.step}</label>
      <select
        id="ask-step"
        value={request.value.step}
        onChange={(event) => {
          changeStep(sixths(Number(event.currentTarget.value)));
        }}
        {...about}
      >
        {bracketed.length === 0 || other.length === 0 ? (
          options([...bracketed, ...other])
        ) : (
          <>
            <optgroup label={text.ask.bracketed}>{options(bracketed)}</optgroup>
            <optgroup label={text.ask.otherSteps}>{options(other)}</optgroup>
          </>
        )}
      </select>
    </div>
  );
}

function Base(about: About) {
  const found = body.value;
  if (found === null || found.shutters.length === 0) return null;
  return (
    <div class="field">
      <label for="ask-base">{text.ask.base}</label>
      <select
        id="ask-base"
        value={base.value ?? ''}
        onChange={(event) => {
          changeRequest({ base: event.currentTarget.value, byHand: null });
        }}
        {...about}
      >
        {found.shutters.map((label) => (
          <option key={label} value={label} selected={label === base.value}>
            {text.shutter(label)}
          </option>
        ))}
      </select>
    </div>
  );
}

/** In aperture priority the base is nobody's to choose. */
function MeteredBase() {
  return (
    <div class="field metered">
      <span class="label">{text.ask.base}</span>
      <p>
        {text.ask.metered} {base.value !== null && text.ask.countsFrom(base.value)}
      </p>
    </div>
  );
}

/** To be set beforehand, for people who will not be there to press. */
function Extend(about: About) {
  return (
    <>
      <div class="field">
        <label for="ask-extend">{text.ask.extend}</label>
        <input
          id="ask-extend"
          type="number"
          inputMode="numeric"
          min="0"
          max="60"
          step="1"
          value={request.value.extendWritten}
          onInput={(event) => {
            changeRequest({ extendWritten: event.currentTarget.value });
          }}
          {...about}
          aria-describedby={['ask-extend-why', about['aria-describedby']].filter(Boolean).join(' ')}
        />
      </div>
      <p class="soft" id="ask-extend-why">
        {text.ask.extendWhy}
      </p>
    </>
  );
}

const MODES: readonly Mode[] = ['manual', 'aperture'];

/** Fields for whose errors the fold has to be opened. */
const SELDOM: readonly Field[] = ['settle', 'extend', 'handHeldMm', 'lightEvPerMinute', 'fileMegabytes'];

function Seldom({ about }: { readonly about: (name: Field) => About }) {
  const seconds = readSettle(request.value.settleWritten);
  const settle = about('settle');
  const mustBeSeen = SELDOM.some((field) => about(field)['aria-invalid'] === true);
  return (
    <Fold
      line={text.ask.seldom(request.value.mode, seconds, readExtend(request.value.extendWritten))}
      mustBeSeen={mustBeSeen}
    >
      <div class="seldom">
        <div class="field">
          <label for="ask-mode">{text.ask.mode}</label>
          <select
            id="ask-mode"
            value={request.value.mode}
            aria-describedby="ask-moves"
            onChange={(event) => {
              changeRequest({ mode: event.currentTarget.value as Mode, byHand: null });
            }}
          >
            {MODES.map((name) => (
              <option key={name} value={name} selected={name === request.value.mode}>
                {text.ask.modes[name]}
              </option>
            ))}
          </select>
        </div>
        <div class="field">
          <label for="ask-settle">{text.ask.settle}</label>
          <input
            id="ask-settle"
            type="number"
            inputMode="decimal"
            min="0"
            max="60"
            step="any"
            value={request.value.settleWritten}
            aria-describedby="ask-settle-why"
            onInput={(event) => {
              changeRequest({ settleWritten: event.currentTarget.value });
            }}
            {...settle}
          />
        </div>
        <p class="soft">
          <span id="ask-moves">{text.ask.moves[request.value.mode]}</span>{' '}
          <span id="ask-settle-why">{text.ask.settleWhy}</span>
        </p>
        <Delay id="ask-delay" />
        <Extend {...about('extend')} />
        <Conditions about={about} />
      </div>
    </Fold>
  );
}
