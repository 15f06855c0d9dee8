// What the panel knows, as signals, and the actions on it. The parts on the screen read the signals and call
// the functions that are exported here. Apart from this file, only kept-sets.ts (sets that were made) and
// alarm.ts have state that outlives a part.
import { batch, computed, effect, signal } from '@preact/signals';
import type { Asked } from '../../shared/asked.js';
import type { Sixths } from '../../shared/ev.js';
import { ENDED } from '../../shared/fold.js';
import type { ByHand, Suggestion, WirePlan } from '../../shared/plan.js';
import type { ReadinessCode, ReadinessItem } from '../../shared/readiness.js';
import type { WrittenSetRequest } from '../../shared/request.js';
import type { WrittenRunRequest } from '../../shared/run-request.js';
import type { BodyView, DaemonState, ForeseenSchedule, RunView, ScheduleView } from '../../shared/state.js';
import { mayFire } from './access.js';
import {
  type Answer,
  askCheck,
  askClock,
  askEnd,
  askHold,
  askLetGo,
  askLook,
  askPlan,
  askResume,
  askRun,
  askSchedule,
  askState,
  askStop,
  askTick,
  clockAheadMs,
  NO_ANSWER,
  type Refusal,
  refusalOf,
} from './api.js';
import { place } from './place.js';
import type { AskedBy } from './readings.js';
import { keepsUp, recall, remembered, textsOver } from './remember.js';
import {
  asFrames,
  asSuggested,
  atNextViewpoint,
  baseFor,
  type Circumstances,
  evenly,
  fieldsOf,
  inStep,
  isDone,
  NO_LABELS,
  NOTHING_KNOWN,
  type RequestForm,
  reaching,
  readRequest,
  spanOf,
  type Unreadable,
  USUAL_REQUEST,
  writeAsked,
  writeDelay,
  writeLabels,
} from './request.js';
import {
  NO_SCHEDULE,
  readKept,
  type ScheduleForm,
  type SchedulePart,
  writeSchedule,
} from './schedule-form.js';
import { type End, moved } from './span.js';
import { type Connection, type Stream, watch } from './stream.js';
import { text } from './text.js';
import { isUnderWay as isScheduleUnderWay } from './time-line.js';

/** Null until the daemon has sent its state for the first time. */
export const daemon = signal<DaemonState | null>(null);
export const connection = signal<Connection>({ state: 'connecting' });
/** Whether somebody followed a link to the list of things to check: then it is open. */
export const listIsWanted = signal(false);

/** When the state last changed, in ms of the clock. */
export const changedAt = signal(0);

export const body = computed<BodyView | null>(() => {
  const found = daemon.value?.body;
  return found?.state === 'ready' ? found.body : null;
});

/** The ended run that was put away, so that the next set can be asked for. */
const putAway = remembered<string | null>(
  'put-away',
  null,
  (kept) => (typeof kept === 'string' ? kept : undefined),
  'session',
);

/** `run` is null before the first set of a schedule; `schedule` is null for a single set. */
interface Shown {
  readonly id: string;
  readonly run: RunView | null;
  readonly schedule: ScheduleView | null;
}

export type View =
  | { readonly name: 'ask' }
  | (Shown & { readonly name: 'running' })
  | (Shown & { readonly name: 'ended' });

export const view = computed<View>(() => {
  const { run = null, schedule = null } = daemon.value ?? {};
  // When a single set begins after a schedule, the schedule is gone.
  const id = schedule?.run ?? run?.id;
  if (id === undefined) return { name: 'ask' };
  const shown: Shown = { id, run: run?.id === id ? run : null, schedule };
  if (isUnderWay(shown)) return { name: 'running', ...shown };
  return id === putAway.value ? { name: 'ask' } : { name: 'ended', ...shown };
});

/** Between its sets a schedule is under way, however the last set ended. */
function isUnderWay({ run, schedule }: Shown): boolean {
  if (run !== null && !ENDED.has(run.state)) return true;
  return schedule !== null && isScheduleUnderWay(schedule);
}

/** The last run that was seen under way. */
export const watched = signal<string | null>(null);

/** The result of a check that was asked for here; cleared by the next run. */
export const lastCheck = signal<{ readonly at: Date; readonly items: readonly ReadinessItem[] } | null>(null);

effect(() => {
  if (view.value.name !== 'running') return;
  watched.value = view.value.id;
  // Frames of a set that was put away may be fired again.
  putAway.value = null;
  lastCheck.value = null;
});

export function newSet(): void {
  refusedAction.value = null;
  if (view.value.name === 'ended') putAway.value = view.value.id;
}

// --- The clock, which ticks only while something on the screen counts

export const now = signal(Date.now());
/** The same by the daemon's clock, which the moments that it announces go by. */
export const daemonNow = computed(() => now.value + clockAheadMs);

effect(() => {
  const counts = connection.value.state === 'lost' || view.value.name === 'running';
  if (!counts) return;
  const tell = () => {
    now.value = Date.now();
  };
  tell();
  const timer = setInterval(tell, 500);
  return () => clearInterval(timer);
});

// --- The request, and the plan for it

const readDelay = (kept: unknown): number | undefined =>
  typeof kept === 'number' && kept >= 0 && kept <= 60 ? Math.round(kept) : undefined;

/**
 * The request as it is in the fields. Conditions and delay are kept as long as the page is open, labels from
 * set to set.
 */
export const request = signal<RequestForm>({
  ...USUAL_REQUEST,
  circumstances: textsOver<Circumstances>(NOTHING_KNOWN)(recall('session', 'circumstances')) ?? NOTHING_KNOWN,
  delay: readDelay(recall('session', 'delay')) ?? USUAL_REQUEST.delay,
  labels: textsOver<RequestForm['labels']>(NO_LABELS)(recall('local', 'labels')) ?? NO_LABELS,
});
keepsUp(
  'circumstances',
  computed(() => request.value.circumstances),
  'session',
);
keepsUp(
  'delay',
  computed(() => request.value.delay),
  'session',
);
keepsUp(
  'labels',
  computed(() => request.value.labels),
);

/** From where to where the frames reach; null if their number cannot be read. */
export const span = computed(() => spanOf(request.value));

/** The step at the camera has been done. */
export function handIsDone(): void {
  request.value = { ...request.value, byHand: null };
}

// The camera reports that it has been done.
effect(() => {
  const { byHand } = request.value;
  if (byHand !== null && body.value !== null && isDone(byHand, body.value)) handIsDone();
});

/** A person who changes the request has read why the last one was refused. */
export function ask(change: () => void): void {
  batch(() => {
    refusedAction.value = null;
    change();
  });
}

export function changeRequest(change: Partial<RequestForm>): void {
  ask(() => {
    request.value = { ...request.value, ...change };
  });
}

/** Adds or removes a frame at one end; the other frames stay. */
export function moveEnd(end: End, by: 1 | -1): void {
  const next = span.value === null ? null : moved(span.value, request.value.step, end, by);
  if (next !== null) changeRequest(reaching(request.value, next));
}

/** Asks for so many frames, centred on the base. */
export const askEvenly = (frames: string): void => changeRequest(evenly(request.value, frames));

export const changeStep = (next: Sixths): void => changeRequest(inStep(request.value, next));

/** Goes to the next viewpoint: the tripod has moved. */
export const nextViewpoint = (): void => changeRequest(atNextViewpoint(request.value));

/**
 * Chooses what determines the frames. Frames that followed from readings stay until somebody changes them.
 */
export const askBy = (by: AskedBy): void =>
  changeRequest(by === 'frames' ? asFrames(request.value, planShown.value) : { by, byHand: null });

/** Copies a request from another device into the fields. */
export const takeOver = (asked: Asked): void => changeRequest(fieldsOf(asked));

/** Changes the request as the daemon suggests. */
export const askFor = (change: Suggestion['change'], hand: ByHand | null = null): void =>
  changeRequest(asSuggested(request.value, change, hand));

/** In aperture priority the body meters its own base; its present setting is the nearest guess. */
export const base = computed(() => {
  const chosen = request.value.mode === 'manual' ? request.value.base : null;
  return body.value === null ? null : baseFor(body.value, chosen);
});

export type Planning =
  | { readonly state: 'none' }
  /** `before` stays on the screen until the answer is here. */
  | { readonly state: 'asking'; readonly before: WirePlan | null }
  | { readonly state: 'planned'; readonly plan: WirePlan; readonly request: WrittenSetRequest }
  | { readonly state: 'refused'; readonly refusal: Refusal };

export const planning = signal<Planning>({ state: 'none' });

/** The plan on the screen: while another one is asked for, it is the one before. */
export const planShown = computed<WirePlan | null>(() => {
  const current = planning.value;
  if (current.state === 'planned') return current.plan;
  return current.state === 'asking' ? current.before : null;
});

const DEBOUNCE_MS = 180;
const asksAgain = signal(0);

/**
 * Changes whenever the plan has to be asked for anew. It is text because an equal text triggers nothing. The
 * readiness of the body is left out: it changes no plan, and asking for a plan may change it.
 */
const question = computed(() => {
  if (body.value === null || view.value.name !== 'ask' || !mayFire.value) return null;
  const { readiness: _, ...limits } = body.value;
  return JSON.stringify({ asked: asked.value, limits, again: asksAgain.value });
});

/** The set that is asked for, or the field that cannot be read. */
const asked = computed(() => readRequest(request.value, base.value));

/**
 * The request in the fields, as other devices are told of it; null if it cannot be read, or if nothing can be
 * asked for.
 */
export const askedHere = computed<Asked | null>(() =>
  body.value === null || !mayFire.value ? null : writeAsked(request.value),
);

effect(() => {
  if (question.value === null) {
    planning.value = { state: 'none' };
    return;
  }
  const { asked } = JSON.parse(question.value) as { asked: WrittenSetRequest | Unreadable };
  if (typeof asked === 'string') {
    const message = text.ask.unreadable[asked];
    planning.value = { state: 'refused', refusal: refusalOf(`${asked}-unreadable`, message, asked) };
    return;
  }
  const shown = planning.peek();
  const isFirst = shown.state === 'none';
  const before = shown.state === 'planned' ? shown.plan : shown.state === 'asking' ? shown.before : null;
  planning.value = { state: 'asking', before };
  const giveUp = new AbortController();
  const timer = setTimeout(
    async () => {
      const answer = await askPlan(asked, giveUp.signal);
      if (giveUp.signal.aborted) return;
      planning.value = answer.ok
        ? { state: 'planned', plan: answer.value, request: asked }
        : { state: 'refused', refusal: answer.refusal };
    },
    isFirst ? 0 : DEBOUNCE_MS,
  );
  return () => {
    clearTimeout(timer);
    giveUp.abort();
  };
});

/** Whether a plan, or the reason why there can be none, is still to come, with nothing known of it yet. */
export const awaitsPlan = computed(() => {
  const current = planning.value;
  if (question.value === null) return false;
  return current.state === 'none' || (current.state === 'asking' && current.before === null);
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

// --- The schedule that is asked for, and its forecast

/**
 * Filled in with care, so it is kept as long as the page is open: phones reload a page whenever they like.
 */
export const schedule = remembered<ScheduleForm>('schedule', NO_SCHEDULE, readKept, 'session');

export function changeSchedule(change: Partial<ScheduleForm>): void {
  ask(() => {
    schedule.value = { ...schedule.value, ...change };
  });
}

export type Foreseeing =
  | { readonly state: 'none' }
  | { readonly state: 'asking'; readonly before: ForeseenSchedule | null }
  | { readonly state: 'foreseen'; readonly foreseen: ForeseenSchedule; readonly part: SchedulePart }
  | { readonly state: 'refused'; readonly refusal: Refusal };

export const foreseeing = signal<Foreseeing>({ state: 'none' });

/** A start that is set to now moves on, and everything that depends on it. */
const FORESEE_AGAIN_MS = 30_000;

/** Text, for the same reason as `question`. */
const scheduleQuestion = computed(() => {
  if (!schedule.value.on || planning.value.state !== 'planned') return null;
  const part = writeSchedule(schedule.value, place.value, request.value.mode);
  return JSON.stringify({ part, request: planning.value.request, again: asksAgain.value });
});

effect(() => {
  if (scheduleQuestion.value === null) {
    // While the set is planned anew, the earlier forecast stays on the screen.
    if (!schedule.value.on || planning.value.state !== 'asking') foreseeing.value = { state: 'none' };
    else foreseeing.value = { state: 'asking', before: foreseenBefore() };
    return;
  }
  const { part, request: set } = JSON.parse(scheduleQuestion.value) as {
    part: ReturnType<typeof writeSchedule>;
    request: WrittenSetRequest;
  };
  if (typeof part === 'string') {
    const message = text.schedule.form.unreadable[part];
    foreseeing.value = { state: 'refused', refusal: refusalOf('schedule-unreadable', message, part) };
    return;
  }
  foreseeing.value = { state: 'asking', before: foreseenBefore() };
  const giveUp = new AbortController();
  const foresee = async () => {
    const answer = await askSchedule({ ...set, ...part }, giveUp.signal);
    if (giveUp.signal.aborted) return;
    foreseeing.value = answer.ok
      ? { state: 'foreseen', foreseen: answer.value, part }
      : { state: 'refused', refusal: answer.refusal };
    timer = setTimeout(() => void foresee(), FORESEE_AGAIN_MS);
  };
  let timer = setTimeout(() => void foresee(), DEBOUNCE_MS);
  return () => {
    clearTimeout(timer);
    giveUp.abort();
  };
});

function foreseenBefore(): ForeseenSchedule | null {
  const shown = foreseeing.peek();
  if (shown.state === 'foreseen') return shown.foreseen;
  return shown.state === 'asking' ? shown.before : null;
}

// --- Actions that are sent to the daemon

export type Action =
  | 'look'
  | 'check'
  | 'clock'
  | 'fire'
  | 'sound'
  | 'stop'
  | 'hold'
  | 'let-go'
  | 'resume'
  | 'end'
  | 'again'
  | 'relabel';

/** The action whose answer is awaited. */
export const busy = signal<Action | null>(null);
/** Why the last action was refused. */
export const refusedAction = signal<{ readonly action: Action; readonly refusal: Refusal } | null>(null);

export async function act<T>(action: Action, asked: () => Promise<Answer<T>>): Promise<Answer<T> | null> {
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

/**
 * Has the body judged for the request on this page: another page may have asked for something else meanwhile.
 */
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

/** Resumes the set that was cut off. */
export const resume = () => act('resume', askResume);
/** Ends the set that was cut off; its frames stay. */
export const endUnfinished = () => act('end', askEnd);

export const setClock = () => act('clock', askClock);

/** Things that keep the daemon from beginning a run. */
export const obstacles = computed<readonly ReadinessItem[]>(
  () => body.value?.readiness.filter(({ mark }) => mark === 'stops') ?? [],
);

/**
 * Ticks that were made here and that the stream has not shown yet. They wait neither for each other nor for
 * an action.
 */
export const ticking = signal<ReadonlyMap<ReadinessCode, boolean>>(new Map());
export const refusedTick = signal<{ readonly code: ReadinessCode; readonly refusal: Refusal } | null>(null);

/** How long the stream may take to show a tick, or a run, that the daemon has accepted. */
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

/** The last run that was fired from this panel. */
export const firedHere = signal<string | null>(null);

const awaited = signal<string | null>(null);

/** Whether a set was fired that the stream does not show yet. */
export const starting = computed(() => {
  if (busy.value === 'fire') return true;
  const { run, schedule: onSchedule } = daemon.value ?? {};
  return awaited.value !== null && awaited.value !== run?.id && awaited.value !== onSchedule?.run;
});

export async function fire(): Promise<void> {
  const request = runRequest();
  if (request === null) return;
  const answer = await act('fire', () => askRun(request));
  if (answer?.ok === true) begunHere(answer.value.run);
}

/** The request on the screen, complete; null if nothing can be fired. */
function runRequest(): WrittenRunRequest | null {
  const [planned, foreseen] = [planning.value, foreseeing.value];
  if (planned.state !== 'planned') return null;
  if (schedule.value.on && foreseen.state !== 'foreseen') return null;
  // A schedule has a start of its own.
  const begins = schedule.value.on ? {} : writeDelay(request.value);
  return {
    ...{ ...planned.request, ...writeLabels(request.value), ...begins },
    ...(foreseen.state === 'foreseen' ? foreseen.part : {}),
  };
}

/** A run was begun from here. */
export function begunHere(run: string): void {
  firedHere.value = run;
  awaited.value = run;
  setTimeout(() => {
    if (awaited.value === run) awaited.value = null;
  }, SHOWN_WITHIN_MS);
}

/**
 * Waits until the stream shows a run that was begun, but not longer than that may take.
 * @param before what was shown when it was asked for: a set that is taken up again keeps the id of its run
 */
export function showsAnother(run: string, before: RunView | null): Promise<void> {
  return new Promise((resolve) => {
    const isShown = computed(() => daemon.value?.run?.id === run && daemon.value.run !== before);
    const timer = setTimeout(end, SHOWN_WITHIN_MS);
    const unwatch = isShown.subscribe((isSo) => {
      if (isSo) end();
    });
    function end() {
      clearTimeout(timer);
      queueMicrotask(() => unwatch());
      resolve();
    }
  });
}

/** The run that was told to stop, until it has stopped. */
export const stopping = signal<string | null>(null);

export async function stop(): Promise<void> {
  const shown = view.value;
  if (shown.name !== 'running') return;
  const answer = await act('stop', askStop);
  if (answer?.ok === true) stopping.value = shown.id;
}

// A set that is taken up again keeps the id of its run, and has not been told anything yet.
effect(() => {
  if (view.value.name !== 'running') stopping.value = null;
});

/** The run that was told to hold, until it holds. */
export const holding = signal<string | null>(null);

/** Whether nothing is fired at the moment because somebody holds the run. */
export const isHeld = computed(() => {
  const shown = view.value;
  if (shown.name !== 'running') return false;
  return shown.run?.state === 'held' || shown.schedule?.state === 'held';
});

effect(() => {
  if (isHeld.value || view.value.name !== 'running') holding.value = null;
});

export async function holdRun(): Promise<void> {
  const shown = view.value;
  if (shown.name !== 'running') return;
  const answer = await act('hold', askHold);
  if (answer?.ok === true && !isHeld.peek()) holding.value = shown.id;
}

export const letGo = async (): Promise<void> => {
  const answer = await act('let-go', askLetGo);
  if (answer?.ok === true) holding.value = null;
};

// --- The stream

let stream: Stream | null = null;

export function start(): void {
  if (stream !== null) return;
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
  // The answer has the daemon's time, which countdowns on the page go by.
  void askState();
}

export function tryNow(): void {
  stream?.tryNow();
}
