// The fields of a schedule, folded away until somebody wants one, and its forecast. An error is shown at the
// field that it is about.

import type { ComponentChildren } from 'preact';
import { useState } from 'preact/hooks';
import { evInWords } from '../../../shared/ev.js';
import type { SunEvent } from '../../../shared/schedule.js';
import type { ForeseenSchedule } from '../../../shared/state.js';
import { place } from '../place.js';
import { USUAL_STEPS } from '../request.js';
import {
  endOffered,
  fieldNamed,
  intervalOf,
  type MomentFields,
  nextFullHour,
  type ScheduleField,
  SUN,
  type Unit,
} from '../schedule-form.js';
import { ask, body, changeSchedule, foreseeing, request, schedule } from '../store.js';
import { text } from '../text.js';
import { aboutMoment, amount } from '../words.js';
import { Fold } from './Fold.js';
import { Mark } from './Mark.js';
import { More, PageOn } from './More.js';

const words = text.schedule.form;

export function Schedule() {
  const form = schedule.value;
  const [wasOn] = useState(form.on);
  const refused = foreseeing.value.state === 'refused';
  return (
    <Fold line={words.line(form.on, form.every, form.unit)} mustBeSeen={wasOn || refused}>
      <div class="schedule">
        <Choice
          id="schedule-on"
          label={words.on}
          checked={form.on}
          onChange={(on) => changeSchedule({ on })}
        />
        {form.on && (
          <>
            <Every />
            <Starts />
            <Ends />
            <Place id="schedule" why={words.placeWhy} {...about('place')}>
              <Wrong field="place" />
            </Place>
            <Overrun />
            <Choice
              id="schedule-sleep"
              label={words.maySleep}
              checked={form.maySleep}
              onChange={(maySleep) => changeSchedule({ maySleep })}
            />
            <Light />
            <SpanThatFollows />
            <Elsewhere />
          </>
        )}
      </div>
      {form.on && <Foreseen />}
      <PageOn page="schedules" />
    </Fold>
  );
}

// --- What is wrong, and where

function refusal() {
  const current = foreseeing.value;
  return current.state === 'refused' ? current.refusal : null;
}

const wrongId = (field: ScheduleField) => `schedule-${field}-wrong`;

/** The attributes by which a control of this field is told from the others. */
function about(...fields: ScheduleField[]) {
  const field = fieldNamed(refusal()?.field ?? null);
  if (field === null || !fields.includes(field)) return {};
  return { 'aria-invalid': true, 'aria-describedby': wrongId(field) } as const;
}

function Wrong({ field }: { readonly field: ScheduleField }) {
  const wrong = refusal();
  if (wrong === null || fieldNamed(wrong.field) !== field) return null;
  const { shortestSeconds, code, message } = wrong;
  return (
    <div class="refusal" role="alert" data-code={code} data-field={field}>
      <p id={wrongId(field)}>{text.said(message)}</p>
      {shortestSeconds !== null && (
        <button type="button" onClick={() => changeSchedule(intervalOf(shortestSeconds))}>
          {words.takeShortest(shortestSeconds)}
        </button>
      )}
      <More about={code} />
    </div>
  );
}

/** An error that is about no field here. */
function Elsewhere() {
  const wrong = refusal();
  if (wrong === null || fieldNamed(wrong.field) !== null) return null;
  return (
    <div class="refusal" role="alert" data-code={wrong.code}>
      <p>{text.said(wrong.message)}</p>
      <More about={wrong.code} />
    </div>
  );
}

// --- The fields.

interface ChoiceProps {
  readonly id: string;
  readonly label: string;
  readonly checked: boolean;
  readonly onChange: (isSo: boolean) => void;
}

function Choice({ id, label, checked, onChange }: ChoiceProps) {
  return (
    <label class="choice" for={id}>
      <input
        id={id}
        type="checkbox"
        checked={checked}
        onChange={(event) => onChange(event.currentTarget.checked)}
      />
      <span>{label}</span>
    </label>
  );
}

interface NumberProps {
  readonly id: string;
  readonly label: string;
  readonly value: string;
  readonly onInput: (value: string) => void;
  readonly min?: string;
  readonly max?: string;
  readonly whole?: boolean;
  readonly 'aria-invalid'?: true;
  readonly 'aria-describedby'?: string;
}

function NumberField({ id, label, value, onInput, whole = false, ...rest }: NumberProps) {
  return (
    <div class="field">
      <label for={id}>{label}</label>
      <input
        id={id}
        type="number"
        inputMode={whole ? 'numeric' : 'decimal'}
        step={whole ? '1' : 'any'}
        value={value}
        onInput={(event) => onInput(event.currentTarget.value)}
        {...rest}
      />
    </div>
  );
}

const UNITS: readonly Unit[] = ['s', 'min', 'h'];

function Every() {
  const { every, unit } = schedule.value;
  return (
    <>
      <NumberField
        id="schedule-every"
        label={words.every}
        value={every}
        min="0"
        onInput={(written) => changeSchedule({ every: written })}
        {...about('every')}
      />
      <div class="field">
        <label for="schedule-unit" class="unseen">
          {words.unit}
        </label>
        <Select
          id="schedule-unit"
          value={unit}
          options={UNITS.map((each) => [each, words.units[each]])}
          onChange={(chosen) => changeSchedule({ unit: chosen as Unit })}
        />
      </div>
      <Wrong field="every" />
    </>
  );
}

interface SelectProps {
  readonly id: string;
  readonly value: string;
  readonly options: readonly (readonly [value: string, label: string])[];
  readonly onChange: (value: string) => void;
  readonly 'aria-invalid'?: true;
  readonly 'aria-describedby'?: string;
}

export function Select({ id, value, options, onChange, ...rest }: SelectProps) {
  return (
    <select id={id} value={value} onChange={(event) => onChange(event.currentTarget.value)} {...rest}>
      {options.map(([each, label]) => (
        <option key={each} value={each} selected={each === value}>
          {label}
        </option>
      ))}
    </select>
  );
}

const SUN_OPTIONS = SUN.map((event) => [event, words.suns[event]] as const);

function Starts() {
  return (
    <Moment
      name="start"
      label={words.starts}
      fields={schedule.value.starts}
      first={['now', words.now]}
      onChange={(starts) => changeSchedule({ starts })}
    />
  );
}

function Ends() {
  const { ends, count } = schedule.value;
  return (
    <Moment
      name="until"
      label={words.ends}
      fields={ends}
      first={['count', words.afterCount]}
      onChange={(changed) => changeSchedule({ ends: changed })}
    >
      <NumberField
        id="schedule-count"
        label={words.count}
        value={count}
        min="1"
        whole
        onInput={(written) => changeSchedule({ count: written })}
        {...about('count')}
      />
      <Wrong field="count" />
    </Moment>
  );
}

interface MomentProps<First extends string> {
  readonly name: 'start' | 'until';
  readonly label: string;
  readonly fields: MomentFields<First>;
  readonly first: readonly [value: First, label: string];
  readonly onChange: (fields: MomentFields<First>) => void;
  /** The fields that go with the first choice. */
  readonly children?: ComponentChildren;
}

function Moment<First extends string>({
  name,
  label,
  fields,
  first,
  onChange,
  children,
}: MomentProps<First>) {
  const { kind, time, shift, side } = fields;
  const isSun = SUN.includes(kind as SunEvent);
  const id = `schedule-${name}`;
  return (
    <>
      <div class={kind === first[0] && children === undefined ? 'field wide' : 'field'} data-sun={isSun}>
        <label for={id}>{label}</label>
        <Select
          id={id}
          value={kind}
          options={[first, ['time', words.atTime], ...SUN_OPTIONS]}
          onChange={(chosen) => {
            const isUnset = chosen === 'time' && time === '';
            const kindChosen = chosen as MomentFields<First>['kind'];
            onChange({ ...fields, kind: kindChosen, ...(isUnset ? { time: nextFullHour(new Date()) } : {}) });
          }}
          {...about(name)}
        />
      </div>
      {kind === first[0] && children}
      {kind === 'time' && (
        <div class="field">
          <label for={`${id}-time`}>{words.time}</label>
          <input
            id={`${id}-time`}
            type="time"
            value={time}
            onInput={(event) => onChange({ ...fields, time: event.currentTarget.value })}
            {...about(name)}
          />
        </div>
      )}
      {isSun && (
        <div class="shift">
          <NumberField
            id={`${id}-shift`}
            label={words.shift}
            value={shift}
            min="0"
            whole
            onInput={(written) => onChange({ ...fields, shift: written })}
            {...about(name)}
          />
          <div class="field">
            <label for={`${id}-side`} class="unseen">
              {words.side}
            </label>
            <Select
              id={`${id}-side`}
              value={side}
              options={[
                ['before', words.sides.before],
                ['after', words.sides.after],
              ]}
              onChange={(chosen) => onChange({ ...fields, side: chosen === 'after' ? 'after' : 'before' })}
            />
          </div>
        </div>
      )}
      <Wrong field={name} />
    </>
  );
}

type Position = 'none' | 'asking' | keyof typeof words.noPosition;

const POSITION_WITHIN_MS = 20_000;
/** A ten-thousandth of a degree is some ten metres: nearer than the sun needs. */
const roughly = (degrees: number) => String(Number(degrees.toFixed(4)));

interface PlaceProps extends Pick<NumberProps, 'aria-invalid' | 'aria-describedby'> {
  /** The beginning of the ids of its fields, which may be on the page twice. */
  readonly id: string;
  readonly why: string;
  readonly children?: ComponentChildren;
}

export function Place({ id, why, children, ...wrong }: PlaceProps) {
  const [position, setPosition] = useState<Position>('none');
  const { latitude, longitude } = place.value;
  const change = (changed: Partial<typeof place.value>) => {
    setPosition('none');
    ask(() => {
      place.value = { ...place.value, ...changed };
    });
  };
  const askPosition = () => {
    if (!isSecureContext || !('geolocation' in navigator)) return setPosition('insecure');
    setPosition('asking');
    navigator.geolocation.getCurrentPosition(
      ({ coords }) => change({ latitude: roughly(coords.latitude), longitude: roughly(coords.longitude) }),
      ({ code, PERMISSION_DENIED }) => setPosition(code === PERMISSION_DENIED ? 'refused' : 'unknown'),
      { timeout: POSITION_WITHIN_MS, maximumAge: 600_000 },
    );
  };
  return (
    <fieldset class="place">
      <legend>{words.place}</legend>
      <NumberField
        id={`${id}-latitude`}
        label={words.latitude}
        value={latitude}
        min="-90"
        max="90"
        onInput={(written) => change({ latitude: written })}
        {...wrong}
      />
      <NumberField
        id={`${id}-longitude`}
        label={words.longitude}
        value={longitude}
        min="-180"
        max="180"
        onInput={(written) => change({ longitude: written })}
        {...wrong}
      />
      {children}
      <button type="button" disabled={position === 'asking'} onClick={askPosition}>
        {position === 'asking' ? words.askingPlace : words.ownPlace}
      </button>
      <p class="soft" role="status">
        {position === 'none' || position === 'asking' ? why : words.noPosition[position]}
      </p>
    </fieldset>
  );
}

function Overrun() {
  return (
    <>
      <div class="field wide">
        <label for="schedule-overrun">{words.overrun}</label>
        <Select
          id="schedule-overrun"
          value={schedule.value.overrun}
          options={[
            ['skip', words.overruns.skip],
            ['follow', words.overruns.follow],
          ]}
          onChange={(chosen) => changeSchedule({ overrun: chosen === 'follow' ? 'follow' : 'skip' })}
          {...about('overrun')}
        />
      </div>
      <Wrong field="overrun" />
    </>
  );
}

const SHIFTS = USUAL_STEPS.map((most) => evInWords(most, false));

const shutterOptions = (shutters: readonly string[]) => [
  ['', words.noLimit] as const,
  ...shutters.map((label) => [label, text.shutter(label)] as const),
];

function Light() {
  const { follows, slowest, fastest, isoLeast, isoMost, mostPerSet } = schedule.value;
  if (request.value.mode === 'aperture') return <p class="soft wide">{words.meters}</p>;
  // The longest first. The two must not pass each other: what would is not offered.
  const shutters = body.value?.shutters ?? [];
  const upTo = fastest === '' ? shutters.length : shutters.indexOf(fastest) + 1;
  const from = slowest === '' ? 0 : Math.max(0, shutters.indexOf(slowest));
  return (
    <>
      <Choice
        id="schedule-follows"
        label={words.follows}
        checked={follows}
        onChange={(isSo) => changeSchedule({ follows: isSo })}
      />
      {follows && (
        <>
          <p class="soft wide">{words.followsWhy(body.value?.aperture != null)}</p>
          <div class="field">
            <label for="schedule-slowest">{words.slowest}</label>
            <Select
              id="schedule-slowest"
              value={slowest}
              options={shutterOptions(shutters.slice(0, upTo))}
              onChange={(chosen) => changeSchedule({ slowest: chosen })}
              {...about('slowest')}
            />
          </div>
          <div class="field">
            <label for="schedule-fastest">{words.fastest}</label>
            <Select
              id="schedule-fastest"
              value={fastest}
              options={shutterOptions(shutters.slice(from))}
              onChange={(chosen) => changeSchedule({ fastest: chosen })}
              {...about('fastest')}
            />
          </div>
          <Wrong field="slowest" />
          <Wrong field="fastest" />
          <NumberField
            id="schedule-iso-least"
            label={words.isoFrom}
            value={isoLeast}
            min="1"
            whole
            onInput={(written) => changeSchedule({ isoLeast: written })}
            {...about('iso')}
          />
          <NumberField
            id="schedule-iso-most"
            label={words.isoTo}
            value={isoMost}
            min="1"
            whole
            onInput={(written) => changeSchedule({ isoMost: written })}
            {...about('iso')}
          />
          <Wrong field="iso" />
          <div class="field">
            <label for="schedule-most">{words.mostPerSet}</label>
            <Select
              id="schedule-most"
              value={mostPerSet}
              options={SHIFTS.map((ev) => [ev, text.ask.steps(ev)])}
              onChange={(chosen) => changeSchedule({ mostPerSet: chosen })}
              {...about('mostPerSet')}
            />
          </div>
          <p class="soft beside">{words.isoWhy}</p>
          <Wrong field="mostPerSet" />
        </>
      )}
    </>
  );
}

function SpanThatFollows() {
  const { spanFollows, framesFewest, framesMost, framesChange } = schedule.value;
  return (
    <>
      <Choice
        id="schedule-span"
        label={words.spanFollows}
        checked={spanFollows}
        onChange={(isSo) => changeSchedule({ spanFollows: isSo })}
      />
      <Wrong field="followSpan" />
      {spanFollows && (
        <>
          <p class="soft wide">{words.spanFollowsWhy}</p>
          <NumberField
            id="schedule-frames-fewest"
            label={words.framesFewest}
            value={framesFewest}
            min="1"
            whole
            onInput={(written) => changeSchedule({ framesFewest: written })}
            {...about('fewestFrames')}
          />
          <NumberField
            id="schedule-frames-most"
            label={words.framesMost}
            value={framesMost}
            min="1"
            whole
            onInput={(written) => changeSchedule({ framesMost: written })}
            {...about('mostFrames')}
          />
          <Wrong field="fewestFrames" />
          <Wrong field="mostFrames" />
          <NumberField
            id="schedule-frames-change"
            label={words.framesChange}
            value={framesChange}
            min="1"
            whole
            onInput={(written) => changeSchedule({ framesChange: written })}
            {...about('framesChange')}
          />
          <p class="soft beside">{words.framesWhy}</p>
          <Wrong field="framesChange" />
        </>
      )}
    </>
  );
}

// --- The forecast

function Foreseen() {
  const current = foreseeing.value;
  const known =
    current.state === 'foreseen' ? current.foreseen : current.state === 'asking' ? current.before : null;
  return (
    <section
      class="foreseen"
      aria-labelledby="foreseen-heading"
      aria-busy={current.state === 'asking'}
      data-state={current.state}
    >
      <h3 id="foreseen-heading" class="unseen">
        {text.schedule.foreseen.heading}
      </h3>
      {known !== null && <Takes foreseen={known} />}
      {known === null && current.state === 'asking' && <p class="soft">{text.schedule.foreseen.asking}</p>}
    </section>
  );
}

const UNATTENDED = '/notes/hardware-notes/cautions.md#unattended';

function Takes({ foreseen }: { readonly foreseen: ForeseenSchedule }) {
  const { words: said, estimate, cautions } = foreseen;
  const named = text.schedule.foreseen;
  return (
    <>
      <p>{text.said(said)}</p>
      <dl class="figures">
        <div>
          <dt>{named.ends}</dt>
          <dd>{aboutMoment(new Date(estimate.ends))}</dd>
        </div>
        <div>
          <dt>{named.storage}</dt>
          <dd>{estimate.bytes === null ? named.noSize : amount(estimate.bytes)}</dd>
        </div>
        <div>
          <dt>{named.releases}</dt>
          <dd>{estimate.actuations}</dd>
        </div>
      </dl>
      <a class="more" href={UNATTENDED} target="_blank" rel="noopener">
        {named.unattended}
      </a>
      {cautions.length > 0 && (
        <ul class="warnings" aria-label={named.caution}>
          {cautions.map(({ sentence, until }) => (
            <li key={sentence}>
              <Mark of="warning" />
              <div class="caution">
                <p>{text.said(sentence)}</p>
                <EndEarlier until={until} />
              </div>
            </li>
          ))}
        </ul>
      )}
    </>
  );
}

function EndEarlier({ until }: { readonly until: string | null }) {
  const ends = until === null ? null : endOffered(until);
  if (until === null || ends === null) return null;
  const isBeforeSunrise = ends.kind === 'sunrise' && ends.side === 'before';
  return (
    <button type="button" onClick={() => changeSchedule({ ends })}>
      {isBeforeSunrise ? text.schedule.foreseen.beforeSunrise : text.schedule.foreseen.endAt(until)}
    </button>
  );
}
