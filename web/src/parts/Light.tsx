// How the panel looks: the switch to night and back, and the whole choice.
import { choice, lacksPlace, letters, look, press } from '../light.js';
import { CHOICES, LETTERS } from '../looks.js';
import { oneOf } from '../recall.js';
import { text } from '../text.js';
import { Fold } from './Fold.js';
import { Place, Select } from './Schedule.js';

const words = text.light;

/** A window at night: dark panes in a frame, and one star in it as long as night is on. */
export function LightSwitch() {
  const isNight = look.value === 'night';
  return (
    <button
      type="button"
      class="light-switch"
      aria-label={words.toNight}
      aria-pressed={isNight}
      title={words.toNight}
      onClick={press}
    >
      <svg viewBox="0 0 20 20" aria-hidden="true">
        <path d="M2.5 2.5h15v15h-15z" />
        {isNight ? (
          <path d="M10 5l1.2 3.8L15 10l-3.8 1.2L10 15l-1.2-3.8L5 10l3.8-1.2z" fill="currentColor" />
        ) : (
          <path d="M10 2.5v15M2.5 10h15" />
        )}
      </svg>
      {/* Where there is room for it. */}
      <span class="light-word">{words.toNight}</span>
    </button>
  );
}

export function LightSetting() {
  return (
    <section class="readiness light-setting" aria-label={words.heading}>
      <Fold line={<span>{words.line(choice.value, look.value, letters.value)}</span>}>
        <div class="light-choices">
          <div class="field">
            <label for="light-choice">{words.choice}</label>
            <Select
              id="light-choice"
              value={choice.value}
              options={CHOICES.map((each) => [each, words.choices[each]])}
              onChange={(chosen) => {
                choice.value = oneOf(CHOICES)(chosen) ?? 'system';
              }}
              aria-describedby="light-why"
            />
          </div>
          <div class="field">
            <label for="light-letters">{words.letters}</label>
            <Select
              id="light-letters"
              value={letters.value}
              options={LETTERS.map((each) => [each, words.letterSizes[each]])}
              onChange={(chosen) => {
                letters.value = oneOf(LETTERS)(chosen) ?? 'usual';
              }}
            />
          </div>
        </div>
        <p class="soft" id="light-why">
          {words.whys[choice.value]} {words.kept}
        </p>
        {lacksPlace.value && <p class="attention">{words.needsPlace}</p>}
        {choice.value === 'sun' && <Place id="light" why={words.placeWhy} />}
      </Fold>
    </section>
  );
}
