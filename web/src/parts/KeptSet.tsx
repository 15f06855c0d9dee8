// One set that was made: its names, its contact sheet, its frames, and firing some of them again.
import { useEffect, useState } from 'preact/hooks';
import { evInWords, fromEv } from '../../../shared/ev.js';
import { ENDED } from '../../../shared/fold.js';
import type { Again, Extend, KeptSetDetail } from '../../../shared/kept.js';
import { notesAfter } from '../../../shared/run-notes.js';
import type { FrameView } from '../../../shared/state.js';
import { mayFire } from '../access.js';
import { clockAheadMs, keptMapPath, keptPath, proofPath, runMapPath, sheetPath } from '../api.js';
import {
  disliked,
  extendSet,
  fetchMissing,
  fireAgain,
  lookedAt,
  notNow,
  opened,
  relabel,
  setRefusal,
} from '../kept-sets.js';
import { outcomeOf } from '../on-disk.js';
import { kindOf, partnerOf } from '../partner.js';
import { readViewpoint } from '../request.js';
import { addressOf, goTo } from '../route.js';
import { awaitsProof } from '../set-light.js';
import { busy, daemon, refusedAction } from '../store.js';
import { text } from '../text.js';
import { clock, exactly } from '../words.js';
import { Clip, Lost, SAID_BY_CLIP } from './Clip.js';
import { Confirm } from './Confirm.js';
import { Extending } from './Extending.js';
import { Fold } from './Fold.js';
import { LabelFields, type LabelTexts } from './Labels.js';
import { Mark } from './Mark.js';
import { Metered } from './Metered.js';
import { PageOn, Refused } from './More.js';
import { SetPicture } from './SetPicture.js';
import { nameOf, standingOf } from './Sets.js';
import { Unsteady } from './Unsteady.js';
import { Viewer } from './Viewer.js';

export function KeptSet({ id, frame }: { readonly id: string; readonly frame: number | null }) {
  useEffect(() => scrollTo(0, 0), [id]);
  const set = opened.value?.id === id ? opened.value : null;
  const looked = lookedAt(id);
  return (
    <section class="kept-set" aria-labelledby="set-heading" data-set={id}>
      <a class="back" href={addressOf.sets}>
        {text.set.all}
      </a>
      {set === null && setRefusal.value === null && <p class="soft">{text.list.loading}</p>}
      <Refused refusal={setRefusal.value} />
      {set !== null && <Opened set={set} />}
      {looked !== null && frame !== null && (
        <Viewer
          set={looked}
          number={frame}
          addressOf={(number) => addressOf.frame(id, number)}
          under={addressOf.set(id)}
          linkOf={(number) => `.kept-frames [data-frame="${number}"] a`}
        />
      )}
    </section>
  );
}

function Opened({ set }: { readonly set: KeptSetDetail }) {
  const { viewpoint, base } = set;
  const verified = set.frames.filter((frame) => frame.state === 'verified').length;
  const { state, mark, words } = standingOf(set);
  const sentence = ENDED.has(set.state)
    ? outcomeOf(set, set.onDisk).sentence
    : (set.onDisk?.sentence ?? null);
  return (
    <>
      <h2 id="set-heading">{nameOf(set)}</h2>
      <p class="kept-state" data-state={state}>
        {mark !== null && <Mark of={mark} />}
        <strong>{words}</strong>
      </p>
      <KeptPicture set={set} />
      <p class="size">
        {set.name !== null && <span>{exactly(new Date(set.startedAt))}</span>}
        {viewpoint !== null && <span>{text.list.viewpoint(viewpoint)}</span>}
        {set.scheduled && <span>{text.list.ofSchedule(set.ordinal)}</span>}
        <span>{text.list.verified(verified, set.frames.length)}</span>
        <span class="soft">{text.set.base(base.shutter, text.body.settings(base.aperture, base.iso))}</span>
      </p>
      <Metered readings={set.readings} />
      {set.practice && <p class="practice-word">{text.set.practice}</p>}
      {set.note !== null && <p class="kept-note">{set.note}</p>}
      {sentence !== null && <p data-sentence>{text.said(sentence)}</p>}
      {mayFire.value && <Rename key={set.id} set={set} />}
      {set.hasSheet && <Sheet set={set} />}
      <Frames set={set} />
      <Remarks set={set} />
      {set.folderName !== null && (
        <dl class="kept-folder">
          <dt>{text.run.folder}</dt>
          <dd>
            <code>{set.folderName}</code> <PageOn page="set-folder" />
          </dd>
        </dl>
      )}
    </>
  );
}

/** The picture of what the set can become is the first thing to see. */
function KeptPicture({ set }: { readonly set: KeptSetDetail }) {
  const { id, endedAt, onDisk } = set;
  const run = daemon.value?.run ?? null;
  // The stream tells sooner of the set under way.
  const inHand = run?.set.id === id ? run : null;
  const light = inHand?.light ?? set.light;
  if (light === null) return null;
  const isAwaited = awaitsProof({ endedAt, frames: set.frames, light }, Date.now() + clockAheadMs);
  const isGone = onDisk?.state === 'gone';
  const mapPath = (map: number) =>
    inHand === null ? keptMapPath(id, endedAt, map) : runMapPath(inHand.id, id, map);
  return (
    <SetPicture
      light={light}
      map={light.map === 0 || isGone ? null : mapPath(light.map)}
      proof={light.proof?.isMade === true && !isGone ? proofPath(id, light.proof.madeAt) : null}
      isAwaited={isAwaited}
    />
  );
}

const textsOf = ({ name, note, viewpoint }: KeptSetDetail): LabelTexts => ({
  name: name ?? '',
  note: note ?? '',
  viewpoint: viewpoint ?? '',
});

function Rename({ set }: { readonly set: KeptSetDetail }) {
  const [written, setWritten] = useState<LabelTexts | null>(null);
  if (written === null) {
    return (
      <button type="button" onClick={() => setWritten(textsOf(set))}>
        {text.set.change}
      </button>
    );
  }
  const viewpoint = readViewpoint(written.viewpoint);
  const isWrong = viewpoint === undefined;
  const refused = refusedAction.value?.action === 'relabel' ? refusedAction.value.refusal : null;
  const save = async () => {
    if (viewpoint === undefined) return;
    const orNull = (label: string) => (label.trim() === '' ? null : label.trim());
    const change = { name: orNull(written.name), note: orNull(written.note), viewpoint };
    if (await relabel(set.id, change)) setWritten(null);
  };
  return (
    <form
      class="labels"
      onSubmit={(event) => {
        event.preventDefault();
        void save();
      }}
    >
      <LabelFields
        prefix="kept"
        value={written}
        onChange={(changed) => setWritten({ ...written, ...changed })}
        invalid={isWrong ? { 'aria-invalid': true, 'aria-describedby': 'kept-refusal' } : {}}
      />
      {isWrong && (
        <p id="kept-refusal" class="refusal" role="alert">
          {text.labels.unreadable}
        </p>
      )}
      <div class="pair">
        <button type="submit" disabled={busy.value !== null}>
          {text.set.save}
        </button>
        <button type="button" onClick={() => setWritten(null)}>
          {text.set.leave}
        </button>
      </div>
      <Refused refusal={refused} />
    </form>
  );
}

function Sheet({ set }: { readonly set: KeptSetDetail }) {
  const path = sheetPath(set.id, set.endedAt, set.name);
  return (
    <Fold line={text.set.sheet}>
      <a class="sheet" href={path} target="_blank" rel="noopener">
        <img src={path} alt={text.set.sheetOf(nameOf(set))} loading="lazy" />
      </a>
    </Fold>
  );
}

// --- The frames, and firing them again.

/** Frames that are fired again, frames beyond its ends; null for all that are missing. */
type What = Again | { readonly extend: Extend } | null;

function Frames({ set }: { readonly set: KeptSetDetail }) {
  const [chosen, setChosen] = useState<ReadonlySet<number> | null>(null);
  useEffect(() => {
    // Somebody looked at a frame, and did not like it.
    if (disliked.value?.set !== set.id) return;
    setChosen(new Set([disliked.value.frame]));
    disliked.value = null;
  }, [disliked.value]);
  const [asked, setAsked] = useState<{ readonly what: What } | null>(null);
  const [isExtending, setExtending] = useState(false);
  const missing = set.frames.filter((frame) => frame.state !== 'verified').length;
  const coverage = set.light?.coverage ?? null;
  const why = notNow.value;
  const stands = set.onDisk?.state ?? 'gone';
  // A set that cannot be resumed is not offered.
  const isOffered = ENDED.has(set.state) && mayFire.value && stands !== 'gone';
  // One whose folder was gone at its end has that still to come.
  const canComplete = stands === 'whole' && (missing > 0 || set.state !== 'complete');
  const toggle = (number: number) => {
    if (chosen === null) return;
    const others = [...chosen].filter((other) => other !== number);
    setChosen(new Set(chosen.has(number) ? others : [...others, number]));
  };
  const canExtend = isOffered && why === null && stands === 'whole';
  const askToExtend = (extend: Extend) => setAsked({ what: { extend } });
  return (
    <>
      <Lost frames={set.frames} coverage={coverage} onMore={canExtend ? askToExtend : undefined} />
      <Unsteady
        frames={set.frames}
        light={set.light}
        onAgain={canExtend ? (frames) => setAsked({ what: { frames } }) : undefined}
      />
      <h3>{text.set.frames}</h3>
      {isOffered && (
        <div class="pair">
          {canComplete && (
            <button type="button" disabled={why !== null} onClick={() => setAsked({ what: null })}>
              {text.set.complete}
            </button>
          )}
          {chosen === null && (
            <button
              type="button"
              disabled={why !== null}
              onClick={() => setChosen(new Set(set.onDisk?.missing))}
            >
              {text.set.fireAgain}
            </button>
          )}
          {stands === 'whole' && !isExtending && (
            <button type="button" disabled={why !== null} onClick={() => setExtending(true)}>
              {text.set.extend}
            </button>
          )}
        </div>
      )}
      {isOffered && why !== null && <p class="soft">{text.set[why]}</p>}
      {isOffered && why === null && stands === 'whole' && asked === null && <InCamera set={set} />}
      {canExtend && isExtending && (
        <Extending
          frames={set.frames}
          coverage={coverage}
          onExtend={askToExtend}
          onLeave={() => setExtending(false)}
        />
      )}
      {isOffered && chosen !== null && why === null && (
        <div class="choosing">
          <p>{text.set.choose}</p>
          <div class="pair">
            {set.passes.map((_, index) => (
              <button key={index} type="button" onClick={() => setAsked({ what: { pass: index + 1 } })}>
                {text.set.pass(index + 1, framesOf(set, index + 1))}
              </button>
            ))}
          </div>
        </div>
      )}
      {/* biome-ignore lint/a11y/noRedundantRoles: a list without bullets is no list to some screen readers. */}
      <ol role="list" class="kept-frames" aria-label={text.set.frames}>
        {set.frames.map((frame, index) => (
          <li key={frame.number} data-frame={frame.number} data-state={frame.state}>
            <Tile set={set} frame={frame} place={index + 1} />
            {isOffered && chosen !== null && why === null && (
              <label class="choice" for={`choose-${frame.number}`}>
                <input
                  id={`choose-${frame.number}`}
                  type="checkbox"
                  checked={chosen.has(frame.number)}
                  onChange={() => toggle(frame.number)}
                />
                <span>
                  {text.set.choice}
                  <span class="unseen"> {text.set.choiceOf(frame.number)}</span>
                </span>
              </label>
            )}
          </li>
        ))}
      </ol>
      {/* In sight wherever somebody chooses. */}
      {isOffered && chosen !== null && why === null && (
        <div class="chosen">
          <button
            type="button"
            class="chosen-fire"
            disabled={chosen.size === 0}
            onClick={() => setAsked({ what: { frames: [...chosen].sort((a, b) => a - b) } })}
          >
            {text.set.chosen(chosen.size)}
          </button>
          <button type="button" onClick={() => setChosen(null)}>
            {text.set.leave}
          </button>
        </div>
      )}
      {isOffered && asked !== null && (
        <Confirm
          question={questionFor(asked.what, missing)}
          startedAt={set.startedAt}
          onLeave={() => setAsked(null)}
          onFire={() => fire(set.id, asked.what)}
        />
      )}
    </>
  );
}

/** Nothing is fired for it: it needs no question. */
function InCamera({ set: { id, inCamera } }: { readonly set: KeptSetDetail }) {
  const isBusy = busy.value === 'again';
  if (inCamera.files === 0 || !inCamera.canLook) return null;
  return (
    <div class="choosing">
      <p>{text.set.inCamera(inCamera.files)}</p>
      <div class="pair">
        <button type="button" disabled={isBusy} onClick={() => void fetchMissing(id)}>
          {isBusy ? text.set.looking : text.set.lookInCamera}
        </button>
      </div>
      <Refused refusal={refusedAction.value?.action === 'again' ? refusedAction.value.refusal : null} />
    </div>
  );
}

const fire = (id: string, what: What): Promise<boolean> =>
  what !== null && 'extend' in what ? extendSet(id, what.extend) : fireAgain(id, what);

const framesOf = (set: KeptSetDetail, pass: number) =>
  set.frames.filter((frame) => frame.pass === pass).map(({ number }) => number);

function questionFor(what: What, missing: number): string {
  if (what === null) return text.confirm.complete(missing);
  if ('extend' in what)
    return text.confirm.extend(what.extend.darker ?? 0, what.extend.brighter ?? 0, missing);
  return 'pass' in what ? text.confirm.pass(what.pass) : text.confirm.frames(what.frames);
}

interface TileProps {
  readonly set: KeptSetDetail;
  readonly frame: FrameView;
  /** Counted from 1, the darkest. */
  readonly place: number;
}

function Tile({ set, frame, place }: TileProps) {
  const { number, offset, shutter, state, file, attempts, reason, marks } = frame;
  const partner = partnerOf(frame);
  const isMissing = set.onDisk?.missing.includes(number) ?? false;
  const isChanged = set.onDisk?.changed.includes(number) ?? false;
  return (
    <>
      {file === null || isMissing ? (
        <span class="no-picture" data-missing={isMissing}>
          {isMissing ? text.onDisk.missing : text.set.notMade}
        </span>
      ) : (
        <a
          href={addressOf.frame(set.id, number)}
          aria-label={text.set.open(number)}
          onClick={(event) => {
            // A new tab is the browser's business.
            if (event.ctrlKey || event.metaKey || event.shiftKey) return;
            event.preventDefault();
            goTo(addressOf.frame(set.id, number));
          }}
        >
          <img
            src={keptPath(set.id, number, 'thumbnail', attempts)}
            alt=""
            width="240"
            height="160"
            loading="lazy"
          />
        </a>
      )}
      <span class="tile-words">
        <strong>{text.ladder.ev(evInWords(fromEv(offset)))}</strong>
        <span>{text.shutter(shutter)}</span>
        <span class="soft">{number}</span>
        {file !== null && partner !== null && (
          <span class="tile-files">{text.set.files(kindOf(file), kindOf(partner))}</span>
        )}
        {isChanged && <span class="reason">{text.onDisk.changed}</span>}
        {state === 'rejected' && <span class="reason">{reason ?? text.frameStates[state]}</span>}
        <Clip frame={{ ...frame, place }} frames={set.frames.length} coverage={set.light?.coverage ?? null} />
        {marks
          .filter(({ code }) => !SAID_BY_CLIP.has(code))
          .map(({ code, sentence }) => (
            <span key={code + sentence} class="frame-mark" data-mark={code}>
              <Mark of="warning" />
              <span>{text.said(sentence)}</span>
            </span>
          ))}
      </span>
    </>
  );
}

/** Other remarks on it. */
function Remarks({ set }: { readonly set: KeptSetDetail }) {
  const { asides, strays } = set;
  const notes = notesAfter(set.notes);
  return (
    <>
      {notes.length > 0 && (
        <ul class="warnings" aria-label={text.set.notes}>
          {notes.map((note, index) => (
            <li key={index}>
              <Mark of="note" />
              {text.said(note)}
            </li>
          ))}
        </ul>
      )}
      {asides.length > 0 && (
        <Fold line={text.set.asides(asides.length)}>
          <ul class="plain-list">
            {asides.map(({ file, reason }) => (
              <li key={file}>
                <code>{file}</code> {reason}
              </li>
            ))}
          </ul>
        </Fold>
      )}
      {strays.length > 0 && (
        <Fold line={text.set.strays(strays.length)}>
          <ul class="plain-list">
            {strays.map(({ frame, releasedAt, reason }, index) => (
              <li key={index}>
                {text.set.stray(frame, clock(new Date(releasedAt)))} {reason}
              </li>
            ))}
          </ul>
        </Fold>
      )}
    </>
  );
}
