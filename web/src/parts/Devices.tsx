// The paired devices, on the laptop only: listed, removed, and a code for another one. Also the replacement
// for the trigger on a device that only watches.
import { useEffect } from 'preact/hooks';
import type { PairingAnswer } from '../../../shared/access.js';
import { isHere, watchesOnly } from '../access.js';
import { devices, devicesRefused, drop, lookForDevices, newPairing, pairing } from '../devices.js';
import { text } from '../text.js';
import { moment } from '../words.js';
import { Fold } from './Fold.js';
import { PageOn, Refused } from './More.js';

const words = text.devices;
/** A phone that is just being paired is seen soon; one that was paired by a code from elsewhere, such as the terminal, a little later. */
const LOOK_SOON_MS = 2000;
const LOOK_AGAIN_MS = 5000;

export function WatchOnly() {
  if (!watchesOnly.value) return null;
  return (
    <section class="ended watch-only" aria-labelledby="watch-only-heading">
      <h2 id="watch-only-heading">{text.watchOnly.heading}</h2>
      <p>{text.watchOnly.why}</p>
    </section>
  );
}

export function Devices() {
  const code = pairing.value;
  useEffect(() => {
    if (isHere.value) void lookForDevices();
  }, [isHere.value]);
  const isOpen = devices.value !== null && devices.value.network !== null;
  useEffect(() => {
    // Without a door on the network nobody is paired.
    if (!isHere.value || !isOpen) return;
    const look = () => {
      if (document.visibilityState === 'visible') void lookForDevices();
    };
    // Looks soon once more after a code was used: an earlier pairing of the same device ends with that.
    const once = setTimeout(look, LOOK_SOON_MS);
    const timer = setInterval(look, code === null ? LOOK_AGAIN_MS : LOOK_SOON_MS);
    return () => {
      clearTimeout(once);
      clearInterval(timer);
    };
  }, [code, isOpen]);
  if (!isHere.value) return null;
  const paired = devices.value?.devices ?? [];
  return (
    <section class="readiness devices" aria-label={words.heading}>
      <Fold line={<span>{words.line(devices.value === null ? null : paired.length)}</span>}>
        {paired.length === 0 && isOpen && <p>{words.none}</p>}
        {paired.length > 0 && (
          // biome-ignore lint/a11y/noRedundantRoles: a list without bullets is no list to some screen readers.
          <ul role="list" class="device-list">
            {paired.map(({ id, name, role, lastSeen }) => (
              <li key={id} data-role={role}>
                <span>
                  <strong>{name}</strong>{' '}
                  <span class="soft">
                    {words.roles[role]}, {words.seen(moment(new Date(lastSeen)))}
                  </span>
                </span>
                <button type="button" aria-label={words.dropOf(name)} onClick={() => void drop(id)}>
                  {words.drop}
                </button>
              </li>
            ))}
          </ul>
        )}
        {devices.value !== null && !isOpen && (
          <p>
            {words.noNetwork} <code>{words.noNetworkOption}</code>.
          </p>
        )}
        {isOpen && code === null && (
          <div class="choices">
            {(['fire', 'watch'] as const).map((role) => (
              <button key={role} type="button" onClick={() => void newPairing(role)}>
                {words.pairFor[role]}
              </button>
            ))}
          </div>
        )}
        {code !== null && <Code of={code} />}
        <Refused refusal={devicesRefused.value} />
        <PageOn page="phone" />
      </Fold>
    </section>
  );
}

function Code({ of: { qr, link, role, expiresAt, fingerprint } }: { readonly of: PairingAnswer }) {
  const until = new Date(expiresAt);
  return (
    <div class="pairing-code" data-role={role}>
      <p>{words.scan[role]}</p>
      <img src={qr} alt={words.code} />
      <code>{link}</code>
      <p>{until.getTime() > Date.now() ? words.until(until) : words.over}</p>
      {fingerprint !== null && (
        <p class="soft">
          {words.fingerprint} <code>{fingerprint}</code>
        </p>
      )}
      <button
        type="button"
        onClick={() => {
          pairing.value = null;
        }}
      >
        {words.put}
      </button>
    </div>
  );
}
