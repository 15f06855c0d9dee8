// Asks the daemon over HTTP. Knows the addresses and how an error answer looks; must know nothing of the screen.
import type { DevicesAnswer, Me, PairingAnswer, PairRequest } from '../../shared/access.js';
import type { Asked } from '../../shared/asked.js';
import type { Again, Extend, KeptSetDetail, KeptSets, Relabel } from '../../shared/kept.js';
import type { Suggestion, WirePlan } from '../../shared/plan.js';
import type { ReadinessCode } from '../../shared/readiness.js';
import type { WrittenSetRequest } from '../../shared/request.js';
import type { WrittenRunRequest } from '../../shared/run-request.js';
import type { WrittenSoundRequest } from '../../shared/sounding.js';
import type { DaemonState, ForeseenSchedule } from '../../shared/state.js';
import { text } from './text.js';

export interface Refusal {
  readonly code: string;
  /** One sentence for the person at the panel. */
  readonly message: string;
  /** The part of the request that it is about, if the daemon says so. */
  readonly field: string | null;
  /** Changes that would make it possible; the daemon planned each of them. */
  readonly suggestions: readonly Suggestion[];
  /** If the interval is too short for the set: the shortest handy one that is long enough. */
  readonly shortestSeconds: number | null;
}

/** A refusal that the panel makes itself. */
export const refusalOf = (code: string, message: string, field: string | null = null): Refusal => ({
  code,
  message,
  field,
  suggestions: [],
  shortestSeconds: null,
});

export type Answer<T> =
  | { readonly ok: true; readonly value: T }
  | { readonly ok: false; readonly refusal: Refusal };

/** Nothing came back: the daemon is gone, or the way to it. */
export const NO_ANSWER = 'no-answer';
const UNREADABLE = 'unreadable';

const ANSWER_SECONDS = 8;
/** Listing what hangs on the USB ports can take a while, and so can a body that has many settings to tell. */
const LOOK_SECONDS = 40;
const SETTINGS_SECONDS = 40;

export const askPlan = (request: WrittenSetRequest, signal: AbortSignal): Promise<Answer<WirePlan>> =>
  call<WirePlan>('POST', '/api/plan', { json: request, signal, isPress: false });

/** What a run on a schedule would take. */
export const askSchedule = (
  request: WrittenRunRequest,
  signal: AbortSignal,
): Promise<Answer<ForeseenSchedule>> =>
  call<ForeseenSchedule>('POST', '/api/schedule', { json: request, signal, isPress: false });

export const askRun = (request: WrittenRunRequest): Promise<Answer<{ run: string }>> =>
  call<{ run: string }>('POST', '/api/run', { json: request, noAnswer: text.failures.noAnswerToRun });

/** Going on begins with reading the body and checking what lies in the folder. */
export const askResume = (): Promise<Answer<{ run: string }>> =>
  call<{ run: string }>('POST', '/api/run/resume', { seconds: SETTINGS_SECONDS });

export const askEnd = (): Promise<Answer<unknown>> =>
  call('POST', '/api/run/end', { seconds: SETTINGS_SECONDS });

/** Test frames that say which set holds the light of the scene. */
export const askSound = (request: WrittenSoundRequest): Promise<Answer<{ sounding: string }>> =>
  call<{ sounding: string }>('POST', '/api/sound', { json: request, noAnswer: text.failures.noAnswerToRun });

export const askStopSounding = (): Promise<Answer<unknown>> => call('POST', '/api/sound/stop', {});

export const askPutSoundingAway = (): Promise<Answer<unknown>> => call('POST', '/api/sound/put-away', {});

export const testFramePath = (sounding: string, frame: number): string =>
  `/api/sound/${encodeURIComponent(sounding)}/frames/${frame}/thumbnail`;

export const askStop = (): Promise<Answer<unknown>> => call('POST', '/api/run/stop', {});

export const askHold = (): Promise<Answer<unknown>> => call('POST', '/api/run/hold', {});

export const askLetGo = (): Promise<Answer<unknown>> => call('POST', '/api/run/go-on', {});

/** @param camera serial number or model, where several are attached; null takes the only one, or the one chosen before */
export const askLook = (camera: string | null): Promise<Answer<unknown>> =>
  call('POST', '/api/body/look', {
    seconds: LOOK_SECONDS,
    ...(camera === null ? {} : { json: { camera } }),
  });

export const askCheck = (): Promise<Answer<unknown>> =>
  call('POST', '/api/body/check', { seconds: SETTINGS_SECONDS });

export const askClock = (): Promise<Answer<unknown>> =>
  call('POST', '/api/body/clock', { seconds: SETTINGS_SECONDS });

export const askTick = (code: ReadinessCode, isSo: boolean): Promise<Answer<unknown>> =>
  call('POST', '/api/body/tick', { json: { code, isSo } });

export const askMe = (): Promise<Answer<Me>> => call<Me>('GET', '/api/me', { seconds: 5 });

export const askPair = (request: PairRequest): Promise<Answer<Me>> =>
  call<Me>('POST', '/api/pair', { json: request });

export const askDevices = (): Promise<Answer<DevicesAnswer>> =>
  call<DevicesAnswer>('GET', '/api/devices', {});

export const askDrop = (id: string): Promise<Answer<unknown>> =>
  call('DELETE', `/api/devices/${encodeURIComponent(id)}`, {});

export const askPairing = (role: Me['role']): Promise<Answer<PairingAnswer>> =>
  call<PairingAnswer>('POST', '/api/devices/pairing', { json: { role } });

export interface StateAnswer {
  readonly epoch: string;
  readonly seq: number;
  readonly state: DaemonState;
}

export const askState = (): Promise<Answer<StateAnswer>> =>
  call<StateAnswer>('GET', '/api/state', { seconds: 5 });

/** Tells the other panels the request on this page. */
export const tellAsked = (asked: Asked): Promise<Answer<unknown>> =>
  call('PUT', '/api/asked', { json: asked, seconds: 5, isPress: false, outlivesPage: true });

/** A page of kept sets, the newest first. @param before the `next` of the page before; null for the first one */
export const askSets = (before: number | null, limit: number): Promise<Answer<KeptSets>> =>
  call<KeptSets>('GET', `/api/sets?limit=${limit}${before === null ? '' : `&before=${before}`}`, {});

const setPath = (id: string) => `/api/sets/${encodeURIComponent(id)}`;

export const askSet = (id: string): Promise<Answer<KeptSetDetail>> =>
  call<KeptSetDetail>('GET', setPath(id), {});

export const askRelabel = (id: string, labels: Relabel): Promise<Answer<unknown>> =>
  call('PATCH', setPath(id), { json: labels });

export const askAgain = (id: string, what: Again): Promise<Answer<{ run: string }>> =>
  call<{ run: string }>('POST', `${setPath(id)}/again`, {
    json: what,
    seconds: SETTINGS_SECONDS,
    noAnswer: text.failures.noAnswerToRun,
  });

export const askComplete = (id: string): Promise<Answer<{ run: string }>> =>
  call<{ run: string }>('POST', `${setPath(id)}/complete`, {
    seconds: SETTINGS_SECONDS,
    noAnswer: text.failures.noAnswerToRun,
  });

export const askExtend = (id: string, by: Extend): Promise<Answer<{ run: string }>> =>
  call<{ run: string }>('POST', `${setPath(id)}/extend`, {
    json: by,
    seconds: SETTINGS_SECONDS,
    noAnswer: text.failures.noAnswerToRun,
  });

export const askFetch = (id: string): Promise<Answer<{ run: string }>> =>
  call<{ run: string }>('POST', `${setPath(id)}/fetch`, {
    seconds: SETTINGS_SECONDS,
    noAnswer: text.failures.noAnswerToRun,
  });

/** Set and attempt are part of the address so that no picture of another set, or of a frame before it was made up, is shown. */
export const thumbnailPath = (run: string, set: string, frame: number, attempts: number): string =>
  `/api/run/${encodeURIComponent(run)}/frames/${frame}/thumbnail?set=${encodeURIComponent(set)}&attempt=${attempts}`;

/** @param attempts as with thumbnailPath: frames are fired again */
export const keptPath = (
  set: string,
  frame: number,
  what: 'thumbnail' | 'picture' | 'file' | 'partner',
  attempts: number,
): string => `${setPath(set)}/frames/${frame}/${what}?attempt=${attempts}`;

/** @returns the daemon's own sentence on why it does not hand out a picture; null if it does */
export async function whyNoPicture(path: string): Promise<string | null> {
  const answer = await call('GET', path, { headers: { range: 'bytes=0-0' } });
  // An answer that is not JSON is the picture itself.
  return answer.ok || answer.refusal.code === UNREADABLE ? null : answer.refusal.message;
}

/** The address differs if another sheet was drawn: with another end, or another name. */
export const sheetPath = (set: string, endedAt: string | null, name: string | null): string =>
  `${setPath(set)}/contact-sheet?${new URLSearchParams({ ended: endedAt ?? '', name: name ?? '' })}`;

/**
 * Which parts of the picture a set holds.
 * @param map counts how often it has been drawn
 */
export const runMapPath = (run: string, set: string, map: number): string =>
  `/api/run/${encodeURIComponent(run)}/coverage?${new URLSearchParams({ set, map: String(map) })}`;

/** The same as it lies in the set folder. @param endedAt as with sheetPath */
export const keptMapPath = (set: string, endedAt: string | null, map: number): string =>
  `${setPath(set)}/coverage?${new URLSearchParams({ ended: endedAt ?? '', map: String(map) })}`;

/**
 * What the set can become.
 * @param madeAt differs if it was merged anew
 */
export const proofPath = (set: string, madeAt: string): string =>
  `${setPath(set)}/preview?${new URLSearchParams({ made: madeAt })}`;

/** How far the daemon's clock is ahead of this device's, in ms, as its last answer told. */
export let clockAheadMs = 0;

/** An answer tells the time in whole seconds, and takes a while itself. */
const CLOCK_SLACK_MS = 2000;

function readClock(answered: Response, askedAt: number) {
  const told = Date.parse(answered.headers.get('date') ?? '');
  if (Number.isNaN(told)) return;
  const ahead = told + 500 - (askedAt + Date.now()) / 2;
  clockAheadMs = Math.abs(ahead) > CLOCK_SLACK_MS ? ahead : 0;
}

interface Call {
  readonly json?: unknown;
  readonly headers?: Readonly<Record<string, string>>;
  readonly signal?: AbortSignal;
  readonly seconds?: number;
  readonly noAnswer?: string;
  /** False if it changes nothing, and need not be sent again. */
  readonly isPress?: boolean;
  /** Whether it is sent completely even if the page is left meanwhile. */
  readonly outlivesPage?: boolean;
}

/**
 * A request that changes something carries a key of its own for each press. If its answer is lost, it is sent
 * again and counts once: the daemon gives the same key the same answer.
 */
async function call<T>(
  method: 'GET' | 'POST' | 'PUT' | 'PATCH' | 'DELETE',
  path: string,
  options: Call,
): Promise<Answer<T>> {
  const until = Date.now() + (options.seconds ?? ANSWER_SECONDS) * 1000;
  const isPress = options.isPress ?? method !== 'GET';
  const headers: Record<string, string> = { ...options.headers };
  if (isPress) headers['idempotency-key'] = newKey();
  const init: RequestInit = { method, cache: 'no-store', headers, keepalive: options.outlivesPage ?? false };
  if (options.json !== undefined) {
    headers['content-type'] = 'application/json';
    init.body = JSON.stringify(options.json);
  }
  for (let tries = 1; ; tries += 1) {
    const left = until - Date.now();
    // One that got lost on the way gets no answer at all: the first tries do not wait for the whole time.
    const patience = isPress ? Math.min(left, TRY_SECONDS * 1000 * tries) : left;
    const answer = await once<T>(path, init, patience, options.signal);
    if (answer !== null) return answer;
    const pause = AGAIN_MS * tries;
    if (!isPress || tries >= MOST_TRIES || Date.now() + pause >= until)
      return refused(NO_ANSWER, options.noAnswer ?? text.failures.noAnswer);
    await new Promise((resolve) => setTimeout(resolve, pause));
  }
}

/** How long the first try waits for an answer, and what lies between two. */
const TRY_SECONDS = 3;
const AGAIN_MS = 300;
const MOST_TRIES = 4;

/** @returns null if nothing came back */
async function once<T>(
  path: string,
  init: RequestInit,
  patience: number,
  signal: AbortSignal | undefined,
): Promise<Answer<T> | null> {
  const deadline = AbortSignal.timeout(Math.max(0, patience));
  let response: Response;
  let body: unknown;
  const askedAt = Date.now();
  try {
    const giveUp = signal === undefined ? deadline : AbortSignal.any([deadline, signal]);
    response = await fetch(path, { ...init, signal: giveUp });
    readClock(response, askedAt);
    const written = await response.text();
    body = written === '' ? null : parsed(written);
  } catch {
    return null;
  }
  if (response.ok && body !== undefined) return { ok: true, value: body as T };
  return { ok: false, refusal: refusalIn(body) ?? unreadable(response.status) };
}

/** A random UUID (RFC 9562, version 4). If the page came over plain HTTP, the browser offers none. */
function newKey(): string {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = ((bytes[6] ?? 0) & 0x0f) | 0x40;
  bytes[8] = ((bytes[8] ?? 0) & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, '0')).join('');
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})/, '$1-$2-$3-$4-');
}

const refused = (code: string, message: string): Answer<never> => ({
  ok: false,
  refusal: refusalOf(code, message),
});

const unreadable = (status: number): Refusal => refusalOf(UNREADABLE, text.failures.unreadable(status));

function parsed(written: string): unknown {
  try {
    return JSON.parse(written);
  } catch {
    return undefined;
  }
}

function refusalIn(body: unknown): Refusal | undefined {
  const { error } = (body ?? {}) as { error?: Readonly<Record<string, unknown>> };
  if (typeof error?.code !== 'string' || typeof error.message !== 'string') return undefined;
  const field = typeof error.field === 'string' ? error.field : null;
  const suggestions = Array.isArray(error.suggestions) ? (error.suggestions as Suggestion[]) : [];
  const shortestSeconds = typeof error.shortestSeconds === 'number' ? error.shortestSeconds : null;
  return { code: error.code, message: error.message, field, suggestions, shortestSeconds };
}
