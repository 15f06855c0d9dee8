// Whether the body is ready: one line as long as nothing stops the run, the list of what to see to where something does.
import { useEffect, useRef } from 'preact/hooks';
import type { ReadinessItem } from '../../../shared/readiness.js';
import { countsOf, sorted } from '../readiness.js';
import {
  body,
  busy,
  check,
  lastCheck,
  listIsWanted,
  obstacles,
  refusedAction,
  refusedTick,
  setClock,
  tick,
  ticking,
} from '../store.js';
import { text } from '../text.js';
import { Fold } from './Fold.js';
import { Mark } from './Mark.js';
import { PageOn, Refused } from './More.js';

export function Readiness() {
  const found = body.value;
  const section = useRef<HTMLElement>(null);
  const wasWanted = useRef(listIsWanted.peek());
  useEffect(() => {
    listIsWanted.value = false;
    if (wasWanted.current) section.current?.scrollIntoView({ block: 'start' });
  }, []);
  if (found === null) return null;
  const { open, folded } = sorted(found.readiness);
  return (
    <section
      ref={section}
      class="readiness"
      aria-labelledby="readiness-heading"
      data-stops={obstacles.value.length}
    >
      <h2 id="readiness-heading" class="unseen">
        {text.readiness.heading}
      </h2>
      <Fold
        line={<Line items={found.readiness} />}
        mustBeSeen={obstacles.value.length > 0 || wasWanted.current}
      >
        {open.length > 0 && <Items of={open} name={text.readiness.open} />}
        {folded.length > 0 && (
          <Fold line={text.readiness.fine(folded.length)}>
            <Items of={folded} name={text.readiness.folded} />
          </Fold>
        )}
        <PageOn page="readiness" />
        <CheckAgain />
      </Fold>
    </section>
  );
}

function Line({ items }: { readonly items: readonly ReadinessItem[] }) {
  const counts = countsOf(items);
  const gravest = counts.stops > 0 ? 'stops' : counts.attention > 0 ? 'attention' : 'fine';
  return (
    <span class="readiness-line" data-mark={gravest}>
      <Mark of={gravest} />
      <span>
        <strong>{text.readiness.line(counts)}</strong>{' '}
        {counts.fine > 0 && <span class="soft">{text.readiness.fine(counts.fine)}</span>}
      </span>
    </span>
  );
}

function Items({ of, name }: { readonly of: readonly ReadinessItem[]; readonly name: string }) {
  return (
    // biome-ignore lint/a11y/noRedundantRoles: a list without bullets is no list to some screen readers.
    <ul role="list" class="items" aria-label={name}>
      {of.map((item) => (
        <Item key={item.code} item={item} />
      ))}
    </ul>
  );
}

function Item({ item }: { readonly item: ReadinessItem }) {
  const refused = refusedTick.value?.code === item.code ? refusedTick.value.refusal : null;
  return (
    <li data-code={item.code} data-mark={item.mark}>
      {item.ticked === null ? <Told item={item} /> : <Tick item={item} ticked={item.ticked} />}
      {item.remedy === 'set-clock' && <SetClock />}
      <Refused refusal={refused} />
    </li>
  );
}

function Told({ item }: { readonly item: ReadinessItem }) {
  return (
    <p class="item">
      <Mark of={item.mark} />
      <span>
        <span class="unseen">{text.readiness.marks[item.mark]} </span>
        {text.said(item.message)}
      </span>
    </p>
  );
}

function Tick({ item, ticked }: { readonly item: ReadinessItem; readonly ticked: boolean }) {
  return (
    <label class="item">
      <input
        type="checkbox"
        checked={ticking.value.get(item.code) ?? ticked}
        onChange={(event) => void tick(item.code, event.currentTarget.checked)}
      />
      <span>{text.said(item.message)}</span>
    </label>
  );
}

function SetClock() {
  const refused = refusedAction.value?.action === 'clock' ? refusedAction.value.refusal : null;
  return (
    <>
      <button type="button" class="set-clock" disabled={busy.value !== null} onClick={() => void setClock()}>
        {busy.value === 'clock' ? text.readiness.settingClock : text.readiness.setClock}
      </button>
      <Refused refusal={refused} />
    </>
  );
}

function CheckAgain() {
  const refused = refusedAction.value?.action === 'check' ? refusedAction.value.refusal : null;
  return (
    <div class="check">
      <button type="button" aria-disabled={busy.value !== null} onClick={() => void check()}>
        {busy.value === 'check' ? text.readiness.checking : text.readiness.checkAgain}
      </button>
      {lastCheck.value !== null && <span class="soft">{text.readiness.checkedAt(lastCheck.value.at)}</span>}
      <Refused refusal={refused} />
    </div>
  );
}
