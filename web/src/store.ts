// What the panel knows, as signals, and what it does about it. The parts on the screen read from here and call what is
// exported here; nothing else holds state that outlives a part.
import { computed, effect, signal } from '@preact/signals';
import { parseEv } from '../../shared/ev.js';
import { ENDED } from '../../shared/fold.js';
import type { Suggestion, WirePlan } from '../../shared/plan.js';
import type { ReadinessCode, ReadinessItem } from '../../shared/readiness.js';
import type { WrittenSetRequest } from '../../shared/request.js';
import type { BodyView, DaemonState, RunView } from '../../shared/state.js';
import {
  type Answer,
  askCheck,
  askClock,
  askEnd,
  askLook,
  askPlan,
  askResume,
  askRun,
  askState,
  askStop,
  askTick,
  NO_ANSWER,
  type Refusal,
} from './api.js';
import { baseFor, type Ends, type Mode, readFrames, readSettle, writeRequest } from './request.js';
import { type Connection, type Stream, watch } from './stream.js';
import { text } from './text.js';

/** Null until the daemon has said it for the first time. */
export const daemon = signal<DaemonState | null>(null);
export const connection = signal<Connection>({ state: 'connecting' });
/** When the state last changed, in ms of the clock. */
export const changedAt = signal(0);

export const body = computed<BodyView | null>(() => {
  const found = daemon.value?.body;
  return found?.state === 'ready' ? found.body : null;
});

/** The ended run that was put away, so that the next set can be asked for. */
const putAway = signal<string | null>(null);

export type View =
  | { readonly name: 'ask' }
  | { readonly name: 'running'; readonly run: RunView }
  | { readonly name: 'ended'; readonly run: RunView };

export const view = computed<View>(() => {
  const run = daemon.value?.run ?? null;
  if (run === null) return { name: 'ask' };
  if (!ENDED.has(run.state)) return { name: 'running', run };
  return run.id === putAway.value ? { name: 'ask' } : { name: 'ended', run };
});

/** The latest run that was seen under way. */
export const watched = signal<string | null>(null);

/** What a check that was asked for here has found; gone with the next run. */
export const lastCheck = signal<{ readonly at: Date; readonly items: readonly ReadinessItem[] } | null>(null);

effect(() => {
  if (view.value.name !== 'running') return;
  watched.value = view.value.run.id;
  lastCheck.value = null;
});

export function newSet(): void {
  refusedAction.value = null;
  putAway.value = daemon.value?.run?.id ?? null;
}

// --- The clock, which ticks only where something on the screen counts.

export const now = signal(Date.now());

effect(() => {
  const counts = connection.value.state === 'lost' || view.value.name === 'running';
  if (!counts) return;
  now.value = Date.now();
  const timer = setInterval(() => {
    now.value = Date.now();
  }, 500);
  return () => clearInterval(timer);
});

// --- What is asked for, and the plan for it.

/** As it stands in the field: it may be no number while somebody types. */
export const framesWritten = signal('9');
/** In sixths of an EV. */
export const step = signal(6);
/** Taken from a suggestion; gone as soon as somebody changes frames or step. */
export const ends = signal<Ends | null>(null);
/** Null as long as nobody chose: then it follows the body. */
export const chosenBase = signal<string | null>(null);

export const mode = signal<Mode>('manual');
/** Seconds before each pass, as it stands in the field. */
export const settleWritten = signal('0');

/** Whoever changes the request has read why the last one was refused. */
export function ask(change: () => void): void {
  refusedAction.value = null;
  change();
}

/** Takes a change over that the daemon suggested. */
export function take({ change }: Suggestion): void {
  ask(() => {
    const { from, to } = change;
    ends.value = from === undefined || to === undefined ? null : { from, to };
    if (change.step !== undefined) step.value = parseEv(change.step) ?? step.value;
    if (change.frames !== undefined) framesWritten.value = String(change.frames);
    if (ends.value !== null) {
      const span = (parseEv(ends.value.to) ?? 0) - (parseEv(ends.value.from) ?? 0);
      framesWritten.value = String(span / step.value + 1);
    }
    if (change.base !== undefined) chosenBase.value = change.base;
    if (change.mode !== undefined) mode.value = change.mode;
  });
}

/** In aperture priority the body meters its own base: what stands on it is the nearest to that. */
export const base = computed(() => {
  const chosen = mode.value === 'manual' ? chosenBase.value : null;
  return body.value === null ? null : baseFor(body.value, chosen);
});

export type Planning =
  | { readonly state: 'none' }
  /** `before` stays on the screen until the answer is there. */
  | { readonly state: 'asking'; readonly before: WirePlan | null }
  | { readonly state: 'planned'; readonly plan: WirePlan; readonly request: WrittenSetRequest }
  | { readonly state: 'refused'; readonly refusal: Refusal };

export const planning = signal<Planning>({ state: 'none' });

const DEBOUNCE_MS = 180;
const asksAgain = signal(0);

interface Question {
  readonly request: WrittenSetRequest | null;
  /** The field that cannot be read; then there is no request. */
  readonly unreadable: 'frames' | 'settle' | null;
}

/**
 * Changes whenever the plan has to be asked for anew; text, because equal text sets nothing off. How ready the body is
 * changes no plan, and asking for one may change that: it is left out.
 */
const question = computed(() => {
  if (body.value === null || view.value.name !== 'ask') return null;
  const { readiness: _, ...limits } = body.value;
  return JSON.stringify({ ...asked(), limits, again: asksAgain.value });
});

function asked(): Question {
  const frames = readFrames(framesWritten.value);
  const settle = readSettle(settleWritten.value);
  if (frames === undefined) return { request: null, unreadable: 'frames' };
  if (settle === undefined) return { request: null, unreadable: 'settle' };
  const request = writeRequest({
    frames,
    step: step.value,
    base: base.value,
    ends: ends.value,
    mode: mode.value,
    settle,
  });
  return { request, unreadable: null };
}

effect(() => {
  if (question.value === null) {
    planning.value = { state: 'none' };
    return;
  }
  const { request, unreadable } = JSON.parse(question.value) as Question;
  if (request === null) {
    const field = unreadable ?? 'frames';
    const message = text.ask.unreadable[field];
    const refusal = { code: `${field}-unreadable`, message, field, suggestions: [] };
    planning.value = { state: 'refused', refusal };
    return;
  }
  const shown = planning.peek();
  const before = shown.state === 'planned' ? shown.plan : shown.state === 'asking' ? shown.before : null;
  planning.value = { state: 'asking', before };
  const giveUp = new AbortController();
  const timer = setTimeout(async () => {
    const answer = await askPlan(request, giveUp.signal);
    if (giveUp.signal.aborted) return;
    planning.value = answer.ok
      ? { state: 'planned', plan: answer.value, request }
      : { state: 'refused', refusal: answer.refusal };
  }, DEBOUNCE_MS);
  return () => {
    clearTimeout(timer);
    giveUp.abort();
  };
});

// A question that got no answer is asked again as soon as the daemon is back.
effect(() => {
  const unanswered = planning.value;
  if (connection.value.state !== 'connected') return;
  if (unanswered.state !== 'refused' || unanswered.refusal.code !== NO_ANSWER) return;
  const timer = setTimeout(() => {
    asksAgain.value = asksAgain.peek() + 1;
  }, 1000);
  return () => clearTimeout(timer);
});

// --- What is told to the daemon.

export type Action = 'look' | 'check' | 'clock' | 'fire' | 'stop' | 'resume' | 'end';

/** The action whose answer is awaited. */
export const busy = signal<Action | null>(null);
/** Why the last action was refused. */
export const refusedAction = signal<{ readonly action: Action; readonly refusal: Refusal } | null>(null);

async function act<T>(action: Action, asked: () => Promise<Answer<T>>): Promise<Answer<T> | null> {
  if (busy.value !== null) return null;
  busy.value = action;
  refusedAction.value = null;
  const answer = await asked();
  busy.value = null;
  if (!answer.ok) refusedAction.value = { action, refusal: answer.refusal };
  return answer;
}

/** @param camera as askLook */
export const look = (camera: string | null = null) => act('look', () => askLook(camera));

/** Has the body judged for what is asked for here: another page may have asked for something else meanwhile. */
export async function check(): Promise<void> {
  const planned = planning.peek();
  const answer = await act('check', async () => {
    if (planned.state === 'planned') await askPlan(planned.request, new AbortController().signal);
    const checked = await askCheck();
    return checked.ok ? askState() : checked;
  });
  if (answer?.ok !== true) return;
  const found = answer.value.state.body;
  if (found.state === 'ready') lastCheck.value = { at: new Date(), items: found.body.readiness };
}

/** Goes on with the set that was cut off. */
export const resume = () => act('resume', askResume);
/** Ends the set that was cut off; what was made stays. */
export const endUnfinished = () => act('end', askEnd);

export const setClock = () => act('clock', askClock);

/** What the daemon would not begin a run with. */
export const obstacles = computed<readonly ReadinessItem[]>(
  () => body.value?.readiness.filter(({ mark }) => mark === 'stops') ?? [],
);

/** Ticks that were made here and are not told back yet. They do not wait for each other, nor for an action. */
export const ticking = signal<ReadonlyMap<ReadinessCode, boolean>>(new Map());
export const refusedTick = signal<{ readonly code: ReadinessCode; readonly refusal: Refusal } | null>(null);

/** How long the stream may take to tell a tick, or a run, that the daemon has taken on. */
const SHOWN_WITHIN_MS = 5000;

export async function tick(code: ReadinessCode, isSo: boolean): Promise<void> {
  ticking.value = new Map([...ticking.value, [code, isSo]]);
  refusedTick.value = null;
  const answer = await askTick(code, isSo);
  if (answer.ok) {
    setTimeout(() => forgetTick(code, isSo), SHOWN_WITHIN_MS);
    return;
  }
  forgetTick(code, isSo);
  refusedTick.value = { code, refusal: answer.refusal };
}

function forgetTick(code: ReadinessCode, isSo: boolean) {
  if (ticking.peek().get(code) !== isSo) return;
  ticking.value = new Map([...ticking.peek()].filter(([other]) => other !== code));
}

effect(() => {
  for (const { code, ticked } of body.value?.readiness ?? []) {
    if (ticked !== null) forgetTick(code, ticked);
  }
});

/** The latest run that was fired from this panel. */
export const firedHere = signal<string | null>(null);

const awaited = signal<string | null>(null);

/** Whether a set was fired that the stream does not show yet. */
export const starting = computed(
  () => busy.value === 'fire' || (awaited.value !== null && awaited.value !== daemon.value?.run?.id),
);

export async function fire(): Promise<void> {
  const planned = planning.value;
  if (planned.state !== 'planned') return;
  const answer = await act('fire', () => askRun(planned.request));
  if (answer?.ok !== true) return;
  const { run } = answer.value;
  firedHere.value = run;
  awaited.value = run;
  setTimeout(() => {
    if (awaited.value === run) awaited.value = null;
  }, SHOWN_WITHIN_MS);
}

/** The run that was told to stop, until it has. */
export const stopping = signal<string | null>(null);

export async function stop(): Promise<void> {
  const shown = view.value;
  if (shown.name !== 'running') return;
  const answer = await act('stop', askStop);
  if (answer?.ok === true) stopping.value = shown.run.id;
}

// --- The stream.

let stream: Stream | null = null;

export function start(): void {
  stream = watch({
    onState(state) {
      if (state === daemon.value) return;
      daemon.value = state;
      changedAt.value = Date.now();
    },
    onConnection(next) {
      connection.value = next;
    },
  });
}

export function tryNow(): void {
  stream?.tryNow();
}
