// The sets that were made, the newest first, page by page.
import { useEffect, useState } from 'preact/hooks';
import { ENDED } from '../../../shared/fold.js';
import type { KeptSetView } from '../../../shared/kept.js';
import { keptPath, proofPath } from '../api.js';
import { isInHand, listed, listRefusal, readEarlier } from '../kept-sets.js';
import { addressOf } from '../route.js';
import { text } from '../text.js';
import { exactly, moment } from '../words.js';
import { Mark } from './Mark.js';
import { PageOn, Refused } from './More.js';

export function Sets() {
  const [isReading, setIsReading] = useState(false);
  useEffect(() => scrollTo(0, 0), []);
  const known = listed.value;
  const readOn = async () => {
    setIsReading(true);
    await readEarlier();
    setIsReading(false);
  };
  return (
    <section class="sets" aria-labelledby="sets-heading">
      <h2 id="sets-heading">{text.list.heading}</h2>
      {known === null && listRefusal.value === null && <p class="soft">{text.list.loading}</p>}
      {known?.sets.length === 0 && <p class="soft">{text.list.none}</p>}
      {/* biome-ignore lint/a11y/noRedundantRoles: a list without bullets is no list to some screen readers. */}
      <ul role="list" class="kept-list" aria-labelledby="sets-heading">
        {known?.sets.map((set) => (
          <li key={set.id} data-set={set.id} data-state={set.state}>
            <Row set={set} />
          </li>
        ))}
      </ul>
      <Refused refusal={listRefusal.value} />
      {known !== null && known.next !== null && (
        <button type="button" disabled={isReading} onClick={() => void readOn()}>
          {text.list.earlier}
        </button>
      )}
      <PageOn page="finished-sets" />
    </section>
  );
}

export const nameOf = ({ name, startedAt }: Pick<KeptSetView, 'name' | 'startedAt'>): string =>
  name ?? text.list.unnamed(exactly(new Date(startedAt)));

export const STATE_MARKS = { complete: 'verified', stopped: 'stopped', halted: 'rejected' } as const;

/**
 * The state of a set, given what is on the disk of it.
 * @returns no mark as long as it is being made
 */
export function standingOf({ id, state, onDisk }: Pick<KeptSetView, 'id' | 'state' | 'onDisk'>) {
  if (onDisk?.state === 'gone')
    return { state: 'halted', mark: 'rejected', words: text.onDisk.gone } as const;
  if (onDisk?.state === 'lacking') {
    const words = text.onDisk.lacking(onDisk.missing.length, onDisk.changed.length);
    return { state: 'halted', mark: 'rejected', words } as const;
  }
  if (ENDED.has(state))
    return { state, mark: STATE_MARKS[state as keyof typeof STATE_MARKS], words: text.runStates[state] };
  return isInHand(id)
    ? { state, mark: null, words: text.list.underWay }
    : ({ state: 'stopped', mark: 'stopped', words: text.list.cutOff } as const);
}

function Row({ set }: { readonly set: KeptSetView }) {
  const { verified, frames, viewpoint, scheduled, ordinal } = set;
  const { state, mark, words } = standingOf(set);
  const more = [
    set.name === null ? '' : moment(new Date(set.startedAt)),
    viewpoint === null ? '' : text.list.viewpoint(viewpoint),
    scheduled ? text.list.ofSchedule(ordinal) : '',
    set.practice ? text.list.practice : '',
  ].filter((part) => part !== '');
  return (
    <a href={addressOf.set(set.id)}>
      <Picture set={set} />
      <span class="kept-words">
        <strong>{nameOf(set)}</strong>
        <span class="kept-state" data-state={state}>
          {mark === null ? null : <Mark of={mark} />}
          {words}, {text.list.verified(verified, frames)}
        </span>
        {more.length > 0 && <span class="soft">{more.join(', ')}</span>}
        {set.note !== null && <span class="kept-note">{set.note}</span>}
      </span>
    </a>
  );
}

/** The picture of what the set can become, otherwise the middle one of its verified frames. */
function Picture({ set }: { readonly set: KeptSetView }) {
  const { id, endedAt, hasPreview, middle, onDisk } = set;
  const isThere = middle !== null && !(onDisk?.missing.includes(middle) ?? false);
  const path = hasPreview
    ? // The list does not tell when it was merged: after the set's end, and anew after each later end.
      proofPath(id, endedAt ?? '')
    : isThere
      ? keptPath(id, middle, 'thumbnail', 1)
      : null;
  return (
    <span class="kept-picture" aria-hidden="true" data-proof={hasPreview}>
      {path !== null && (
        <img
          key={path}
          src={path}
          alt=""
          width="90"
          height="60"
          loading="lazy"
          onError={(event) => {
            event.currentTarget.hidden = true;
          }}
        />
      )}
    </span>
  );
}
