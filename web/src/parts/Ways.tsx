// How the passes are fired, and what the plan keeps short: shown if the body offers a choice.
import type { Least, ReleaseWay } from '../../../shared/request.js';
import { choicesOf, chosenFor } from '../request.js';
import { body, changeRequest, request } from '../store.js';
import { text } from '../text.js';
import { Fold } from './Fold.js';

interface Props {
  readonly about: { readonly 'aria-invalid'?: true; readonly 'aria-describedby'?: string };
}

const LEASTS: readonly Least[] = ['time', 'spread'];

export function Ways({ about }: Props) {
  const found = body.value;
  if (found === null) return null;
  const { release, least } = request.value;
  const choices = choicesOf(found, request.value);
  if (!choices.least) return null;
  const words = text.ways;
  const mustBeSeen = about['aria-invalid'] === true;
  return (
    <Fold line={words.line(least, release)} mustBeSeen={mustBeSeen}>
      <div class="seldom">
        <div class="field wide">
          <label for="ask-least">{words.least}</label>
          <select
            id="ask-least"
            value={least}
            aria-describedby="ask-least-why"
            onChange={(event) => {
              changeRequest(chosenFor(event.currentTarget.value as Least, release));
            }}
          >
            {LEASTS.map((name) => (
              <option key={name} value={name} selected={name === least}>
                {words.leasts[name]}
              </option>
            ))}
          </select>
        </div>
        {choices.release.length > 0 && (
          <Release
            about={about}
            ways={choices.release}
            chosen={release ?? (least === 'time' ? 'frame' : null)}
          />
        )}
        <p class="soft">
          <span id="ask-least-why">{words.leastWhy}</span>{' '}
          {choices.release.length > 0 && <span id="ask-release-why">{words.releaseWhy}</span>}
        </p>
      </div>
    </Fold>
  );
}

interface ReleaseProps extends Props {
  readonly ways: readonly (ReleaseWay | null)[];
  readonly chosen: ReleaseWay | null;
}

function Release({ about, ways, chosen }: ReleaseProps) {
  const words = text.ways;
  return (
    <div class="field wide">
      <label for="ask-release">{words.release}</label>
      <select
        id="ask-release"
        value={chosen ?? WHICHEVER}
        aria-describedby="ask-release-why"
        onChange={(event) => {
          const way = ways.find((one) => (one ?? WHICHEVER) === event.currentTarget.value) ?? null;
          changeRequest(chosenFor(request.value.least, way));
        }}
        {...about}
      >
        {ways.map((way) => (
          <option key={way} value={way ?? WHICHEVER} selected={way === chosen}>
            {words.releases[way ?? WHICHEVER]}
          </option>
        ))}
      </select>
    </div>
  );
}

/** The value of the field for no choice. */
const WHICHEVER = 'whichever';
