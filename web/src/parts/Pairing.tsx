// The one screen of a device that is not paired: what to do or, with a scanned code, the name to give it.
import { useState } from 'preact/hooks';
import { isPairing, pair, pairingRefused, secret } from '../access.js';
import { text } from '../text.js';
import { Refused } from './More.js';

const words = text.pairing;
const LONGEST_NAME = 40;

export function Pairing() {
  return (
    <main class="pairing" data-secret={secret.value !== null}>
      <h1>{text.name}</h1>
      <section class="ended" aria-labelledby="pairing-heading">
        <h2 id="pairing-heading">{words.heading}</h2>
        {secret.value === null ? (
          <>
            <p>{words.none}</p>
            <p>{words.how}</p>
          </>
        ) : (
          <Name />
        )}
        <Refused refusal={pairingRefused.value} />
        <p class="soft">{location.protocol === 'https:' ? words.secure : words.plain}</p>
      </section>
    </main>
  );
}

function Name() {
  const [name, setName] = useState<string>(words.nameIs);
  const isWrong = name.trim() === '' || name.trim().length > LONGEST_NAME;
  return (
    <form
      class="field"
      onSubmit={(event) => {
        event.preventDefault();
        if (!isWrong) void pair(name.trim());
      }}
    >
      <label for="device-name">{words.name}</label>
      <input
        id="device-name"
        value={name}
        autocomplete="off"
        aria-invalid={isWrong}
        aria-describedby="device-name-why"
        onInput={(event) => setName(event.currentTarget.value)}
      />
      <p id="device-name-why" class="soft">
        {isWrong ? words.unreadable : words.why}
      </p>
      <button type="submit" disabled={isWrong || isPairing.value}>
        {isPairing.value ? words.pairing : words.pair}
      </button>
    </form>
  );
}
