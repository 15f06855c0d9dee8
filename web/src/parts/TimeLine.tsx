// A run on a schedule in time order: a mark for each slot, in rows as text is written. How a slot went is told by the shape of its
// mark; how high it stands tells how much light its base lets in, so that one sees the light go.
import { useState } from 'preact/hooks';
import { evInWords, fromEv } from '../../../shared/ev.js';
import type { LineSet, ScheduleView } from '../../../shared/state.js';
import { addressOf } from '../route.js';
import { connection, daemon } from '../store.js';
import { text } from '../text.js';
import { rowsOf, type SlotMark, timeLineOf, type Went } from '../time-line.js';
import { clock, hourAndMinute } from '../words.js';
import { Fold } from './Fold.js';
import { Mark } from './Mark.js';

const words = text.schedule.line;

export function TimeLine({ schedule }: { readonly schedule: ScheduleView }) {
  const line = daemon.value?.line ?? [];
  const { marks, before, behind, counts, moved } = timeLineOf(schedule, line);
  const rows = rowsOf(marks);
  const { count, everySeconds } = schedule.schedule;
  // If a row takes less than a minute, minutes do not distinguish it from the next.
  const at = everySeconds < 5 ? clock : hourAndMinute;
  return (
    <section
      class="time-line"
      aria-labelledby="time-line-heading"
      data-stale={connection.value.state !== 'connected'}
    >
      <h2 id="time-line-heading" class="unseen">
        {words.heading}
      </h2>
      <p class="size">
        <strong>{words.size(count, everySeconds)}</strong>
        <Base line={line} moved={moved} />
      </p>
      <Legend counts={counts} />
      {before > 0 && <p class="soft">{words.before(before)}</p>}
      <div
        class="slots"
        role="img"
        aria-label={words.counts(counts)}
        data-rows={rows.length < 5 ? 'few' : 'many'}
        data-wide={marks.length < 13}
      >
        {rows.map((row) => (
          <div class="slot-row" key={row[0]?.slot}>
            <span class="slot-time">{row[0] === undefined ? '' : at(new Date(row[0].at))}</span>
            <span class="slot-marks">
              {row.map((mark) => (
                <Slot key={mark.slot} mark={mark} />
              ))}
            </span>
          </div>
        ))}
      </div>
      {behind > 0 && <p class="soft">{words.behind(behind)}</p>}
      {moved !== 0 && <p class="legend soft">{words.higher}</p>}
      <Notes of={schedule} />
      {line.length > 0 && <EachSet marks={marks} />}
    </section>
  );
}

function Base({ line, moved }: { readonly line: readonly LineSet[]; readonly moved: number }) {
  const last = line.at(-1);
  if (last === undefined) return null;
  return (
    <>
      <span>{text.set.base(last.shutter, text.body.settings(null, last.iso))}</span>
      {moved !== 0 && <span class="soft">{words.baseMoved(evInWords(fromEv(moved)))}</span>}
    </>
  );
}

const WENT: readonly Went[] = ['complete', 'incomplete', 'missed', 'in-hand', 'to-come', 'not-made'];

function Legend({ counts }: { readonly counts: Readonly<Record<Went, number>> }) {
  return (
    <ul class="slot-legend" aria-hidden="true">
      {WENT.filter((went) => counts[went] > 0).map((went) => (
        <li key={went} data-went={went}>
          <span class="slot" data-went={went}>
            <span class="slot-mark" />
          </span>
          {counts[went]} {text.schedule.went[went]}
        </li>
      ))}
    </ul>
  );
}

/** Used for the height if it is not known: the middle. */
const MIDDLE = 0.5;

function Slot({ mark }: { readonly mark: SlotMark }) {
  return (
    <span
      class="slot"
      data-went={mark.went}
      data-slot={mark.slot}
      title={titleOf(mark)}
      style={{ '--level': String(mark.level ?? MIDDLE) }}
    >
      <span class="slot-mark" />
    </span>
  );
}

function titleOf({ slot, at, went, set }: SlotMark): string {
  const name = set === null ? words.slot(slot) : words.set(set.ordinal);
  const base = set === null ? [] : [words.base(set.shutter, set.iso)];
  return [name, clock(new Date(at)), text.schedule.went[went], ...base].join(', ');
}

function Notes({ of }: { readonly of: ScheduleView }) {
  return (
    <div class="run-notes" role="log" aria-label={text.run.notes}>
      {of.notes.map((note, index) => (
        <p key={index}>
          <Mark of="note" />
          <span>{text.said(note)}</span>
        </p>
      ))}
    </div>
  );
}

/** Rows that are drawn at once: hundreds would take a telephone a while. */
const AT_ONCE = 40;

function EachSet({ marks }: { readonly marks: readonly SlotMark[] }) {
  const [shown, setShown] = useState(AT_ONCE);
  const had = marks.filter(({ set, went }) => set !== null || went === 'missed').reverse();
  return (
    <Fold line={words.each}>
      {/* biome-ignore lint/a11y/noRedundantRoles: a list without bullets is no list to some screen readers. */}
      <ol role="list" class="each-set" aria-label={words.each}>
        {had.slice(0, shown).map((mark) => (
          <li key={mark.slot} data-went={mark.went}>
            <span class="slot" data-went={mark.went} aria-hidden="true">
              <span class="slot-mark" />
            </span>
            {mark.set === null ? <MissedRow mark={mark} /> : <SetRow mark={mark} set={mark.set} />}
          </li>
        ))}
      </ol>
      {had.length > shown && (
        <button type="button" onClick={() => setShown(shown + 5 * AT_ONCE)}>
          {words.more}
        </button>
      )}
    </Fold>
  );
}

function MissedRow({ mark }: { readonly mark: SlotMark }) {
  return (
    <span>
      {clock(new Date(mark.at))}, {text.schedule.went.missed}
    </span>
  );
}

function SetRow({ mark, set }: { readonly mark: SlotMark; readonly set: LineSet }) {
  return (
    <span>
      <a class="set-link" href={addressOf.set(set.set)}>
        {words.set(set.ordinal)}
      </a>
      <span>
        {clock(new Date(mark.at))}, {text.schedule.went[mark.went]},{' '}
        {words.verified(set.verified, set.frames)}
      </span>
      <span class="soft">
        {words.base(set.shutter, set.iso)}
        {set.shift !== 0 && `, ${words.shift(evInWords(fromEv(set.shift)))}`}
      </span>
      {set.sentence !== null && mark.went === 'incomplete' && (
        <span class="reason">{text.said(set.sentence)}</span>
      )}
    </span>
  );
}
