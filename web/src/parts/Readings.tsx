// A set that is asked for by two spot readings: a field for each, below it the place where the reading falls,
// and the frames that follow.
import type { WirePlan } from '../../../shared/plan.js';
import { type AskedBy, READING_PARTS, type ReadingPart, type Standing, standingsFor } from '../readings.js';
import { askBy, body, changeRequest, planShown, request } from '../store.js';
import { text } from '../text.js';

const words = text.readings;

interface About {
  readonly 'aria-invalid'?: true;
  readonly 'aria-describedby'?: string;
}

const WAYS: readonly AskedBy[] = ['frames', 'readings'];

/** Which of two things says the frames. In aperture priority the camera meters the base itself: there is nothing to choose. */
export function AskedByChoice() {
  const { by, mode } = request.value;
  if (mode === 'aperture' && by === 'frames') return null;
  return (
    <div class="asked-by" role="radiogroup" aria-labelledby="asked-by">
      <span id="asked-by" class="label">
        {words.by}
      </span>
      {WAYS.map((way) => (
        <label key={way}>
          <input
            type="radio"
            name="asked-by"
            value={way}
            checked={way === by}
            onChange={({ currentTarget }) => {
              askBy(way);
              if (way === 'readings' && !currentTarget.matches(':focus-visible')) enterReadings();
            }}
          />
          <span>{words.ways[way]}</span>
        </label>
      ))}
    </div>
  );
}

/** By finger or mouse, the next thing anybody does is enter a reading; the arrow keys only walk past this choice. */
function enterReadings(): void {
  requestAnimationFrame(() => {
    const fields = READING_PARTS.map((part) => document.getElementById(`ask-${part}`));
    fields.find((field) => field instanceof HTMLInputElement && field.value === '')?.focus();
  });
}

export function Readings({ about }: { readonly about: (part: ReadingPart | Standing) => About }) {
  const plan = planShown.value;
  return (
    <>
      {READING_PARTS.map((part) => (
        <ReadingField key={part} part={part} plan={plan} {...about(part)} />
      ))}
      <Standings about={about} />
    </>
  );
}

/** Aperture and ISO, if the camera does not tell them. */
function Standings({ about }: { readonly about: (which: Standing) => About }) {
  const { readings } = request.value;
  const asked = body.value === null ? [] : standingsFor(body.value, readings);
  if (asked.length === 0) return null;
  return (
    <>
      {asked.map((which) => {
        const { 'aria-describedby': wrong, ...invalid } = about(which);
        return (
          <div class="field" key={which} data-standing={which}>
            <label for={`ask-${which}`}>{words.standings[which]}</label>
            <input
              id={`ask-${which}`}
              type="text"
              inputMode="decimal"
              autocomplete="off"
              maxLength={16}
              placeholder={words.standingForms[which]}
              value={readings[which]}
              onInput={(event) => {
                changeRequest({ readings: { ...readings, [which]: event.currentTarget.value } });
              }}
              {...invalid}
              aria-describedby={['ask-standings-why', wrong].filter(Boolean).join(' ')}
            />
          </div>
        );
      })}
      <p class="soft wide" id="ask-standings-why">
        {asked.some((which) => body.value?.[which] === null) && `${words.notTold} `}
        {words.standingsWhy}
      </p>
    </>
  );
}

interface FieldProps extends About {
  readonly part: ReadingPart;
  readonly plan: WirePlan | null;
}

function ReadingField({ part, plan, ...about }: FieldProps) {
  const { readings } = request.value;
  const sentence = plan?.readings?.[part].sentence ?? null;
  const id = `ask-${part}`;
  const describedBy = [about['aria-describedby'], `${id}-falls`].filter((one) => one !== undefined).join(' ');
  return (
    <div class="field wide reading" data-part={part}>
      <label for={id}>{words.parts[part]}</label>
      <input
        id={id}
        type="text"
        autocomplete="off"
        autocapitalize="off"
        spellcheck={false}
        enterkeyhint={part === 'darkest' ? 'next' : 'done'}
        maxLength={32}
        placeholder={words.forms}
        value={readings[part]}
        onInput={(event) => {
          changeRequest({ readings: { ...readings, [part]: event.currentTarget.value } });
        }}
        onKeyDown={(event) => {
          if (event.key !== 'Enter') return;
          event.preventDefault();
          // On to the next one; after the last the keys of a phone make room for the answer.
          const next = part === 'darkest' ? document.getElementById('ask-brightest') : null;
          if (next === null) event.currentTarget.blur();
          else next.focus();
        }}
        {...about}
        aria-describedby={describedBy}
      />
      <p id={`${id}-falls`} class="soft">
        {sentence !== null ? text.said(sentence) : readings[part] === '' && words.where[part]}
      </p>
    </div>
  );
}

/** The frames that follow; the ladder shows the rest. */
export function FollowsFromReadings() {
  const plan = planShown.value;
  const room = plan?.readings?.room.sentence ?? null;
  return (
    <div class="field wide follows">
      <p role="status">
        {plan?.readings !== undefined && (
          <strong>{words.makes(plan.offsets.length, plan.base.shutter)}</strong>
        )}
      </p>
      <p class="soft">
        {room !== null && text.said(room)}{' '}
        <a class="more" href="/notes/hardware-notes/light.md" target="_blank" rel="noopener">
          {words.help}
        </a>
      </p>
    </div>
  );
}
