// Asks the daemon over HTTP. Knows the addresses and how an error answer looks; must know nothing of the screen.
import type { Suggestion, WirePlan } from '../../shared/plan.js';
import type { ReadinessCode } from '../../shared/readiness.js';
import type { WrittenSetRequest } from '../../shared/request.js';
import type { DaemonState } from '../../shared/state.js';
import { text } from './text.js';

export interface Refusal {
  readonly code: string;
  /** One sentence for the person at the panel. */
  readonly message: string;
  /** The part of the request that it is about, where the daemon says so. */
  readonly field: string | null;
  /** Changes that would make it possible; the daemon planned each of them. */
  readonly suggestions: readonly Suggestion[];
}

export type Answer<T> =
  | { readonly ok: true; readonly value: T }
  | { readonly ok: false; readonly refusal: Refusal };

/** Nothing came back: the daemon is gone, or the way to it. */
export const NO_ANSWER = 'no-answer';

const ANSWER_SECONDS = 8;
/** Listing what hangs on the USB ports can take a while, and so can a body that has many settings to tell. */
const LOOK_SECONDS = 40;
const SETTINGS_SECONDS = 40;

export const askPlan = (request: WrittenSetRequest, signal: AbortSignal): Promise<Answer<WirePlan>> =>
  call<WirePlan>('POST', '/api/plan', { json: request, signal });

export const askRun = (request: WrittenSetRequest): Promise<Answer<{ run: string }>> =>
  call<{ run: string }>('POST', '/api/run', { json: request, noAnswer: text.failures.noAnswerToRun });

/** Going on begins with reading the body and checking what lies in the folder. */
export const askResume = (): Promise<Answer<{ run: string }>> =>
  call<{ run: string }>('POST', '/api/run/resume', { seconds: SETTINGS_SECONDS });

export const askEnd = (): Promise<Answer<unknown>> =>
  call('POST', '/api/run/end', { seconds: SETTINGS_SECONDS });

export const askStop = (): Promise<Answer<unknown>> => call('POST', '/api/run/stop', {});

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

export interface StateAnswer {
  readonly epoch: string;
  readonly seq: number;
  readonly state: DaemonState;
}

export const askState = (): Promise<Answer<StateAnswer>> =>
  call<StateAnswer>('GET', '/api/state', { seconds: 5 });

/** The attempt is part of the address so that a frame that was made up does not show the old picture. */
export const thumbnailPath = (run: string, frame: number, attempts: number): string =>
  `/api/run/${encodeURIComponent(run)}/frames/${frame}/thumbnail?attempt=${attempts}`;

interface Call {
  readonly json?: unknown;
  readonly signal?: AbortSignal;
  readonly seconds?: number;
  readonly noAnswer?: string;
}

async function call<T>(method: 'GET' | 'POST', path: string, options: Call): Promise<Answer<T>> {
  const deadline = AbortSignal.timeout((options.seconds ?? ANSWER_SECONDS) * 1000);
  const init: RequestInit = {
    method,
    signal: options.signal === undefined ? deadline : AbortSignal.any([deadline, options.signal]),
    cache: 'no-store',
  };
  if (options.json !== undefined) {
    init.headers = { 'content-type': 'application/json' };
    init.body = JSON.stringify(options.json);
  }
  let response: Response;
  let body: unknown;
  try {
    response = await fetch(path, init);
    const written = await response.text();
    body = written === '' ? null : parsed(written);
  } catch {
    return refused(NO_ANSWER, options.noAnswer ?? text.failures.noAnswer);
  }
  if (response.ok && body !== undefined) return { ok: true, value: body as T };
  return { ok: false, refusal: refusalIn(body) ?? unreadable(response.status) };
}

const refused = (code: string, message: string): Answer<never> => ({
  ok: false,
  refusal: { code, message, field: null, suggestions: [] },
});

const unreadable = (status: number): Refusal => ({
  code: 'unreadable',
  message: text.failures.unreadable(status),
  field: null,
  suggestions: [],
});

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
  return { code: error.code, message: error.message, field, suggestions };
}
