// One frame, or two neighbouring ones, filling the screen, at any magnification. Escape closes it. The
// address says which frame is shown, so that going back closes it, too; magnification and place stay from
// frame to frame. Only what is shown is loaded.
import { useEffect, useLayoutEffect, useRef, useState } from 'preact/hooks';
import { evInWords, fromEv, magnitude, minusSixths } from '../../../shared/ev.js';
import type { FrameView } from '../../../shared/state.js';
import { mayFire } from '../access.js';
import { keptPath } from '../api.js';
import { evenedTable } from '../evened.js';
import { handle } from '../handling.js';
import { disliked, type LookedAt } from '../kept-sets.js';
import { kindOf, partnerOf } from '../partner.js';
import { addressOf as addresses, goBack, goTo } from '../route.js';
import { text } from '../text.js';
import { stopsOf } from '../words.js';
import {
  hasMore,
  isCut,
  isPixelForPixel,
  type Look,
  moveBy,
  panesIn,
  pointsOf,
  type Room,
  type Size,
  stepped,
  stretch,
  toggled,
  towards,
  WAYS,
  type Way,
  WHOLE,
  within,
  zoomBy,
  zoomTo,
} from '../zoom.js';
import { AlarmBand } from './Alarm.js';
import { ConnectionBand } from './Connection.js';
import { Mark } from './Mark.js';
import { type Loading, Pane } from './Pane.js';
import { TroubleBand } from './Trouble.js';

const words = text.viewer;

interface Props {
  readonly set: LookedAt;
  readonly number: number;
  readonly addressOf: (number: number) => string;
  /** The page below it. */
  readonly under: string;
  /** The link on that page by which the frame is opened; the focus returns to it. */
  readonly linkOf: (number: number) => string;
}

const EVENED = 'viewer-evened';

export function Viewer({ set, number, addressOf, under, linkOf }: Props) {
  const dialog = useRef<HTMLDialogElement>(null);
  const [isPair, setIsPair] = useState(false);
  const [isSwapped, setIsSwapped] = useState(false);
  const [isEvened, setIsEvened] = useState(false);
  const [loadings, setLoadings] = useState<Readonly<Record<number, Loading>>>({});
  const [picture, setPicture] = useState<Size | null>(null);
  const [wanted, setWanted] = useState<Look>(WHOLE);
  const stage = useStage();

  const all = set.frames.length;
  // Frames that were added later have numbers out of order, so the viewer goes by place.
  const place = set.frames.findIndex((frame) => frame.number === number);
  const shown = place < 0 ? [] : set.frames.slice(place, place + (isPair ? 2 : 1));
  const panes = stage.size === null ? [] : panesIn(stage.size, stage.density, isPair);
  const room: Room | null =
    picture === null || panes[0] === undefined ? null : { picture, screen: panes[0], density: stage.density };
  const look = room === null ? WHOLE : within(wanted, room);
  const last = isPair ? all - 2 : all - 1;

  const change = (next: (look: Look, room: Room) => Look) => {
    if (room !== null) setWanted((before) => next(within(before, room), room));
  };
  const move = (by: number) => {
    const next = set.frames[place + by];
    if (place >= 0 && next !== undefined && place + by <= last) goTo(addressOf(next.number), true);
  };
  const pair = () => {
    setIsSwapped(false);
    setIsEvened(false);
    setIsPair(!isPair);
    // The last one has its neighbour on the other side.
    const before = set.frames[place - 1];
    if (!isPair && place === all - 1 && before !== undefined) goTo(addressOf(before.number), true);
  };
  const canPair = all > 1;

  const act = ({ key: written }: KeyboardEvent): boolean => {
    const key = keyOf(written);
    const way = WAY_KEYS[key];
    if (way !== undefined && room !== null && isCut(look, room)) change((now, in1) => towards(now, in1, way));
    else if (STEP_KEYS[key] !== undefined) move(STEP_KEYS[key] ?? 0);
    else if (key === '+' || key === '=') change((now, in1) => stepped(now, in1, 1));
    else if (key === '-' || key === '_') change((now, in1) => stepped(now, in1, -1));
    else if (key === '0') change((now, in1) => zoomTo(now, in1, 'whole'));
    else if (key === '1') change((now, in1) => zoomTo(now, in1, 1));
    else if (key === 'c' && canPair) pair();
    else if (key === 's' && isPair) setIsSwapped(true);
    else if (key === 'e' && isPair) setIsEvened(!isEvened);
    else return false;
    return true;
  };
  // Listeners that stay as long as it is open call the present functions.
  const now = useRef({ act, change, number, linkOf });
  now.current = { act, change, number, linkOf };

  useEffect(() => {
    dialog.current?.showModal();
    // Otherwise the first control would have it, which may be one of the bands.
    dialog.current?.focus();
    const ends = new AbortController();
    const { signal } = ends;
    // On the whole page: a control that vanishes takes the focus with it, and nothing else can be reached.
    const press = (event: KeyboardEvent) => {
      if (event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented) return;
      if (now.current.act(event)) event.preventDefault();
    };
    const letGo = (event: KeyboardEvent) => {
      if (keyOf(event.key) === 's') setIsSwapped(false);
    };
    document.addEventListener('keydown', press, { signal });
    document.addEventListener('keyup', letGo, { signal });
    window.addEventListener('blur', () => setIsSwapped(false), { signal });
    const endsHandling =
      stage.ref.current === null
        ? undefined
        : handle(stage.ref.current, () => ({
            moved: (by) => now.current.change((look, room) => moveBy(look, room, by)),
            stretched: (before, after) =>
              now.current.change((look, room) => stretch(look, room, before, after)),
            scaled: (factor, at) => now.current.change((look, room) => zoomBy(look, room, factor, at)),
            doubled: (at) => now.current.change((look, room) => toggled(look, room, at)),
          }));
    return () => {
      ends.abort();
      endsHandling?.();
      const link = now.current.linkOf(now.current.number);
      // As soon as it does not lie over the page any more.
      requestAnimationFrame(() => document.querySelector<HTMLElement>(link)?.focus());
    };
  }, []);
  useEffect(() => {
    if (document.activeElement === document.body) dialog.current?.focus();
  });

  const states = shown.map((frame) =>
    frame.file === null ? 'none' : (loadings[frame.number] ?? 'under-way'),
  );
  const loading: Loading = states.find((state) => state !== 'there') ?? 'there';
  const isReady = room !== null && states.includes('there');
  const isWhole = look.points === 'whole';
  const zoom = isReady ? words.zoom(pointsOf(look, room), isWhole) : '';
  const beside = shown[1];
  const name =
    isPair && beside !== undefined ? words.pairOf(number, beside.number, all) : words.of(number, all);
  const [darker, lighter] = shown;
  const evens = isEvened && darker !== undefined && lighter !== undefined;

  return (
    <dialog
      class="viewer"
      ref={dialog}
      tabIndex={-1}
      aria-label={name}
      data-whole={isWhole}
      data-pair={isPair}
      data-swapped={isSwapped}
      data-loading={loading}
      onClose={() => goBack(under)}
    >
      {/* The page below cannot be reached, and need not be visible. */}
      <div class="viewer-bands">
        <ConnectionBand />
        <AlarmBand />
        <TroubleBand />
      </div>
      <div class="viewer-stage" ref={stage.ref} data-cut={isReady && isCut(look, room)}>
        {shown.map((frame, index) => {
          const at = isSwapped ? shown.length - 1 - index : index;
          const path = keptPath(set.id, frame.number, 'picture', frame.attempts);
          return (
            <Pane
              key={`${path} ${frame.file} ${partnerOf(frame)}`}
              path={frame.file === null ? null : path}
              missing={set.isUnderWay && frame.state !== 'rejected' ? words.notYet : words.notMade}
              alt={aboutOf(frame)}
              caption={isPair ? aboutOf(frame) : null}
              box={panes[at] ?? null}
              room={room}
              look={look}
              filter={evens && index === 1 ? EVENED : null}
              onLoading={(state) => setLoadings((before) => ({ ...before, [frame.number]: state }))}
              onSize={(size) => setPicture((before) => (before === null || index === 0 ? size : before))}
            />
          );
        })}
        {darker === undefined && <p>{words.gone}</p>}
        {!isPair && darker !== undefined && <FrameMarks marks={darker.marks} />}
        {isReady && isCut(look, room) && panes[0] !== undefined && (
          <div class="viewer-ways" style={{ width: `${panes[0].width}px`, height: `${panes[0].height}px` }}>
            {WAYS.map((way) => (
              <button
                key={way}
                type="button"
                data-way={way}
                aria-label={words.ways[way]}
                aria-disabled={!hasMore(look, room, way)}
                onClick={() => change((before, in1) => towards(before, in1, way))}
              >
                <Sign of={way} />
              </button>
            ))}
          </div>
        )}
      </div>
      <div class="viewer-foot">
        <p>
          <strong>{name}</strong> {!isPair && darker !== undefined && <span>{exposureOf(darker)}</span>}{' '}
          <span class="soft" data-zoom>
            {zoom}
          </span>
        </p>
        {evens && <p class="viewer-evened">{words.evened(lighter.number, apart(darker, lighter))}</p>}
        <div class="viewer-tools">
          <button
            type="button"
            aria-disabled={place <= 0}
            aria-label={isPair ? words.darkerPair : words.darker}
            onClick={() => move(-1)}
          >
            <Sign of="left" />
          </button>
          <button
            type="button"
            aria-disabled={place >= last}
            aria-label={isPair ? words.brighterPair : words.brighter}
            onClick={() => move(1)}
          >
            <Sign of="right" />
          </button>
          <button
            type="button"
            aria-disabled={!isReady}
            aria-label={words.smaller}
            onClick={() => change((before, in1) => stepped(before, in1, -1))}
          >
            <Sign of="smaller" />
          </button>
          <button
            type="button"
            aria-disabled={!isReady}
            aria-label={words.larger}
            onClick={() => change((before, in1) => stepped(before, in1, 1))}
          >
            <Sign of="larger" />
          </button>
          <button
            type="button"
            aria-disabled={!isReady}
            onClick={() => change((before, in1) => toggled(before, in1))}
          >
            {isReady && isPixelForPixel(look, room) ? words.whole : words.pixels}
          </button>
          {canPair && (
            <button type="button" onClick={pair}>
              {isPair ? words.one : words.two}
            </button>
          )}
          {isPair && <Swap isSwapped={isSwapped} onSwap={setIsSwapped} />}
          {isPair && (
            <button type="button" aria-pressed={isEvened} onClick={() => setIsEvened(!isEvened)}>
              {words.even}
            </button>
          )}
          {!isPair && darker !== undefined && <Files set={set.id} frame={darker} />}
          {!isPair && darker?.state === 'verified' && !set.isUnderWay && mayFire.value && (
            <button
              type="button"
              onClick={() => {
                disliked.value = { set: set.id, frame: number };
                goTo(addresses.set(set.id));
              }}
            >
              {text.set.fireAgain}
            </button>
          )}
        </div>
        <button type="button" class="viewer-close" onClick={() => dialog.current?.close()}>
          {words.close}
        </button>
        <p class="viewer-keys soft">{words.keys}</p>
      </div>
      <Told sentence={[name, ...(isPair ? shown.map(aboutOf) : shown.map(exposureOf)), zoom].join('. ')} />
      {evens && <Evened ev={darker.offset - lighter.offset} />}
    </dialog>
  );
}

/** Over the picture: beside it, they would move it from frame to frame. */
function FrameMarks({ marks }: { readonly marks: FrameView['marks'] }) {
  if (marks.length === 0) return null;
  return (
    <ul class="viewer-marks">
      {marks.map(({ code, sentence }) => (
        <li key={code + sentence} class="frame-mark" data-mark={code}>
          <Mark of="warning" />
          <span>{text.said(sentence)}</span>
        </li>
      ))}
    </ul>
  );
}

/** Of a frame of two files, both. */
function Files({ set, frame }: { readonly set: string; readonly frame: FrameView }) {
  const { file, number, attempts } = frame;
  const partner = partnerOf(frame);
  if (file === null) return null;
  return (
    <>
      <a class="button" href={keptPath(set, number, 'file', attempts)} download>
        {partner === null ? words.file : words.fileOf(kindOf(file))}
      </a>
      {partner !== null && (
        <a class="button" href={keptPath(set, number, 'partner', attempts)} download>
          {words.fileOf(kindOf(partner))}
        </a>
      )}
    </>
  );
}

const WAY_KEYS: Readonly<Record<string, Way>> = {
  ArrowLeft: 'left',
  ArrowRight: 'right',
  ArrowUp: 'up',
  ArrowDown: 'down',
};
/** Upwards is brighter, as on the ladder. */
const STEP_KEYS: Readonly<Record<string, number>> = {
  ArrowLeft: -1,
  ArrowRight: 1,
  ArrowUp: 1,
  ArrowDown: -1,
  PageUp: 1,
  PageDown: -1,
};

/** Also where capitals are locked. */
const keyOf = (written: string): string => (written.length === 1 ? written.toLowerCase() : written);

const exposureOf = (frame: FrameView): string =>
  `${text.ladder.ev(evInWords(fromEv(frame.offset)))}, ${text.shutter(frame.shutter)}`;
const aboutOf = (frame: FrameView): string =>
  text.set.frame(frame.number, evInWords(fromEv(frame.offset)), frame.shutter);
const apart = (one: FrameView, other: FrameView): string =>
  stopsOf(magnitude(minusSixths(fromEv(one.offset), fromEv(other.offset))));

/** How large the part of the dialog is that pictures lie in, while that changes. */
function useStage() {
  const ref = useRef<HTMLDivElement>(null);
  const [measured, setMeasured] = useState<{ size: Size | null; density: number }>({
    size: null,
    density: 1,
  });
  useLayoutEffect(() => {
    const stage = ref.current;
    if (stage === null) return;
    const measure = () => {
      const { width, height } = stage.getBoundingClientRect();
      if (width > 0 && height > 0) setMeasured({ size: { width, height }, density: devicePixelRatio });
    };
    const observer = new ResizeObserver(measure);
    observer.observe(stage);
    // Zooming the page changes its density, even if nothing else changes in size.
    addEventListener('resize', measure);
    return () => {
      observer.disconnect();
      removeEventListener('resize', measure);
    };
  }, []);
  return { ref, ...measured };
}

interface SwapProps {
  readonly isSwapped: boolean;
  readonly onSwap: (isSwapped: boolean) => void;
}

/** Each frame takes the other one's place while it is held. A click without a pointer or a key holds it until the next one. */
function Swap({ isSwapped, onSwap }: SwapProps) {
  const isKey = ({ key }: KeyboardEvent) => key === ' ' || key === 'Enter';
  return (
    <button
      type="button"
      class="viewer-swap"
      aria-pressed={isSwapped}
      onPointerDown={(event) => {
        event.currentTarget.setPointerCapture(event.pointerId);
        onSwap(true);
      }}
      onPointerUp={() => onSwap(false)}
      onPointerCancel={() => onSwap(false)}
      onLostPointerCapture={() => onSwap(false)}
      onContextMenu={(event) => event.preventDefault()}
      onKeyDown={(event) => {
        if (!isKey(event)) return;
        event.preventDefault();
        onSwap(true);
      }}
      onKeyUp={(event) => {
        if (!isKey(event)) return;
        event.preventDefault();
        onSwap(false);
      }}
      onBlur={() => onSwap(false)}
      onClick={(event) => {
        if (event.detail === 0) onSwap(!isSwapped);
      }}
    >
      {words.swap}
    </button>
  );
}

/** A wheel makes many steps: the result is announced when it rests. */
const RESTS_MS = 500;

function Told({ sentence }: { readonly sentence: string }) {
  const [told, setTold] = useState('');
  useEffect(() => {
    const timer = setTimeout(() => setTold(sentence), RESTS_MS);
    return () => clearTimeout(timer);
  }, [sentence]);
  return (
    <p class="unseen" role="status" data-told>
      {told}
    </p>
  );
}

/**
 * A table for each channel that contains the whole calculation: the renderer need not convert to linear
 * light, and so loses nothing.
 */
function Evened({ ev }: { readonly ev: number }) {
  const table = evenedTable(ev)
    .map((value) => value.toFixed(5))
    .join(' ');
  return (
    <svg class="unseen" aria-hidden="true">
      <filter id={EVENED} color-interpolation-filters="sRGB" x="0" y="0" width="1" height="1">
        <feComponentTransfer>
          <feFuncR type="table" tableValues={table} />
          <feFuncG type="table" tableValues={table} />
          <feFuncB type="table" tableValues={table} />
        </feComponentTransfer>
      </filter>
    </svg>
  );
}

const SIGNS = {
  left: 'M13 3l-7 7 7 7',
  right: 'M7 3l7 7-7 7',
  up: 'M3 13l7-7 7 7',
  down: 'M3 7l7 7 7-7',
  larger: 'M3 10h14M10 3v14',
  smaller: 'M3 10h14',
} as const;

const Sign = ({ of }: { readonly of: keyof typeof SIGNS }) => (
  <svg viewBox="0 0 20 20" aria-hidden="true">
    <path d={SIGNS[of]} />
  </svg>
);
