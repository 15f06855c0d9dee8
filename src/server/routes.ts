// Every route of the API, as the author of a script has to know it: what it takes, what it answers, and who
// may use it. The server is checked against this table, and openapi.ts makes the document from it. The
// panel's pages and files are not in it.
import { z } from 'zod';
import {
  devicesSchema,
  meSchema,
  newPairingSchema,
  pairingSchema,
  pairRequestSchema,
} from '../../shared/access.js';
import { askedSchema } from '../../shared/asked.js';
import {
  againSchema,
  extendSchema,
  keptSetDetailSchema,
  keptSetsSchema,
  keptSetViewSchema,
  relabelSchema,
  setsQuerySchema,
} from '../../shared/kept.js';
import { planSchema } from '../../shared/plan.js';
import { lookSchema, readinessItemSchema, tickSchema } from '../../shared/readiness.js';
import { setRequestSchema } from '../../shared/request.js';
import { lightRequestSchema, runRequestSchema, spanRequestSchema } from '../../shared/run-request.js';
import { scheduleRequestSchema, scheduleSchema } from '../../shared/schedule.js';
import { soundRequestSchema } from '../../shared/sounding.js';
import { daemonStateSchema, eventSchema, foreseenScheduleSchema } from '../../shared/state.js';
import { daemonMessageSchema, errorAnswerSchema, watcherMessageSchema } from '../../shared/stream.js';
import { watchSchema } from '../../shared/watch.js';

/** What a route takes. */
export const TAKEN = {
  SetRequest: setRequestSchema,
  SoundRequest: soundRequestSchema,
  RunRequest: runRequestSchema,
  ScheduleRequest: scheduleRequestSchema,
  LightRequest: lightRequestSchema,
  SpanRequest: spanRequestSchema,
  Asked: askedSchema,
  Look: lookSchema,
  Tick: tickSchema,
  Relabel: relabelSchema,
  Again: againSchema,
  Extend: extendSchema,
  WatcherMessage: watcherMessageSchema,
  PairRequest: pairRequestSchema,
  NewPairing: newPairingSchema,
} as const;
export type Taken = keyof typeof TAKEN;

/** What a route answers, and what the stream says. */
export const GIVEN = {
  Plan: planSchema,
  ForeseenSchedule: foreseenScheduleSchema,
  Schedule: scheduleSchema,
  State: z.strictObject({
    /** Numbers count within an epoch; a new daemon has a new epoch. */
    epoch: z.string(),
    /** The number of the last event that the state includes. */
    seq: z.number().int(),
    state: daemonStateSchema,
  }),
  DaemonState: daemonStateSchema,
  ReadinessItem: readinessItemSchema,
  Watch: watchSchema,
  RunBegun: z.strictObject({ run: z.string() }),
  SoundingBegun: z.strictObject({ sounding: z.string() }),
  Done: z.strictObject({}),
  Health: z.strictObject({ ok: z.boolean() }),
  KeptSets: keptSetsSchema,
  KeptSetView: keptSetViewSchema,
  KeptSetDetail: keptSetDetailSchema,
  Event: eventSchema,
  DaemonMessage: daemonMessageSchema,
  ErrorAnswer: errorAnswerSchema,
  Me: meSchema,
  Devices: devicesSchema,
  Pairing: pairingSchema,
} as const;
export type Given = keyof typeof GIVEN;

export interface ApiRoute {
  readonly method: 'get' | 'post' | 'put' | 'patch' | 'delete';
  /** With parameters in braces. */
  readonly path: string;
  readonly summary: string;
  /**
   * Who may use it: anybody, anybody who may watch, anybody who may fire, or only a person at the computer
   * that the daemon runs on.
   */
  readonly needs: 'nothing' | 'watch' | 'fire' | 'here';
  readonly takes?: Taken;
  /** Whether the body may also be left out. */
  readonly takesOptional?: true;
  readonly query?: z.ZodObject;
  readonly status: number;
  readonly gives: Given | { readonly media: string };
  /** Other answers that are not errors. */
  readonly also?: Readonly<Record<number, string>>;
  /** Whether it changes something, so that a key keeps it from counting twice. */
  readonly isPress?: true;
}

const fire = { needs: 'fire', isPress: true } as const;
const watch = { method: 'get', needs: 'watch', status: 200 } as const;
const JPEG = { media: 'image/jpeg' } as const;
const PNG = { media: 'image/png' } as const;
const NOT_MODIFIED = { 304: 'The picture is as it was.' } as const;

const here = { needs: 'here', status: 200 } as const;

export const API_ROUTES: readonly ApiRoute[] = [
  { ...watch, path: '/api/me', summary: 'Who you are to Evenrung', gives: 'Me' },
  {
    ...{ method: 'post', path: '/api/pair', needs: 'nothing', status: 200 },
    ...{ summary: 'Exchanges a pairing secret for a session', takes: 'PairRequest', gives: 'Me' },
  },
  { ...here, method: 'get', path: '/api/devices', summary: 'The paired devices', gives: 'Devices' },
  { ...here, method: 'delete', path: '/api/devices/{id}', summary: 'Removes a device', gives: 'Done' },
  {
    ...{ ...here, method: 'post', path: '/api/devices/pairing' },
    ...{ summary: 'A new secret that pairs one device, once', takes: 'NewPairing', gives: 'Pairing' },
  },
  {
    ...{ ...here, method: 'get', path: '/api/devices/pairing/{id}/qr.svg' },
    ...{ summary: 'Its address as a code for a camera to read', gives: { media: 'image/svg+xml' } },
  },
  { ...watch, needs: 'nothing', path: '/api/health', summary: 'Whether Evenrung answers', gives: 'Health' },
  { ...watch, path: '/api/openapi.json', summary: 'This document', gives: { media: 'application/json' } },
  { ...watch, path: '/api/state', summary: 'What Evenrung is doing', gives: 'State' },
  {
    ...watch,
    path: '/api/stream',
    summary: 'The same as it happens: a WebSocket. WatcherMessage goes in, DaemonMessage comes out.',
    status: 101,
    gives: { media: 'application/json' },
  },
  {
    ...{ method: 'post', path: '/api/plan', needs: 'fire', status: 200 },
    ...{ summary: 'Plans a set for the connected camera', takes: 'SetRequest', gives: 'Plan' },
  },
  {
    ...{ method: 'put', path: '/api/asked', needs: 'fire', status: 200 },
    ...{ summary: 'Shares the request with other panels', takes: 'Asked', gives: 'Done' },
  },
  {
    ...{ method: 'post', path: '/api/schedule', needs: 'fire', status: 200 },
    ...{ summary: 'What a schedule would come to', takes: 'RunRequest', gives: 'ForeseenSchedule' },
  },
  {
    ...{ ...fire, method: 'post', path: '/api/sound', status: 202 },
    ...{
      summary: 'Fires at most eight test frames, and proposes a set that holds all of the light in the scene',
      takes: 'SoundRequest',
      gives: 'SoundingBegun',
    },
  },
  {
    ...{ ...fire, method: 'post', path: '/api/sound/stop', status: 202 },
    ...{ summary: 'Ends the sounding after the current test frame', gives: 'Done' },
  },
  {
    ...{ ...fire, method: 'post', path: '/api/sound/put-away', status: 200 },
    ...{ summary: 'Discards a sounding that has ended; one under way stays', gives: 'Done' },
  },
  {
    ...{ ...watch, path: '/api/sound/{sounding}/frames/{frame}/thumbnail' },
    ...{ summary: 'A small picture of a test frame of the last sounding', gives: JPEG },
  },
  {
    ...{ ...fire, method: 'post', path: '/api/run', status: 202 },
    ...{ summary: 'Fires a set, or begins a schedule', takes: 'RunRequest', gives: 'RunBegun' },
  },
  {
    ...{ ...fire, method: 'post', path: '/api/run/stop', status: 202 },
    ...{
      summary:
        'Ends the set or schedule after the current frame (a long bulb exposure at once), and puts the settings back',
      gives: 'Done',
    },
  },
  {
    ...{ ...fire, method: 'post', path: '/api/run/hold', status: 202 },
    ...{ summary: 'Pauses after the current frame', gives: 'Done' },
  },
  {
    ...{ ...fire, method: 'post', path: '/api/run/go-on', status: 202 },
    ...{ summary: 'Resumes after a pause', gives: 'Done' },
  },
  {
    ...{ ...fire, method: 'post', path: '/api/run/resume', status: 202 },
    ...{ summary: 'Resumes the interrupted set or schedule', gives: 'RunBegun' },
  },
  {
    ...{ ...fire, method: 'post', path: '/api/run/end', status: 200 },
    ...{ summary: 'Ends the interrupted set or schedule; its frames are kept', gives: 'Done' },
  },
  {
    ...{ ...watch, path: '/api/run/{run}/coverage' },
    ...{ summary: 'Which parts of the picture the frames hold so far', gives: PNG },
  },
  {
    ...{ ...watch, path: '/api/run/{run}/frames/{frame}/thumbnail' },
    ...{ summary: 'A small picture of a frame of the current set', gives: JPEG },
    also: { 204: 'It has none just now.', 302: 'It is among the pictures of its set.' },
  },
  {
    ...{ ...fire, method: 'post', path: '/api/body/look', status: 202 },
    ...{ summary: 'Looks for a camera', takes: 'Look', takesOptional: true, gives: 'Done' },
  },
  {
    ...{ ...fire, method: 'post', path: '/api/body/check', status: 200 },
    ...{ summary: "Reads the camera's settings again", gives: 'Done' },
  },
  {
    ...{ ...fire, method: 'post', path: '/api/body/clock', status: 200 },
    ...{ summary: "Sets the camera's clock to this computer's", gives: 'Done' },
  },
  {
    ...{ ...fire, method: 'post', path: '/api/body/tick', status: 200 },
    ...{ summary: 'Ticks a check that the cable cannot make', takes: 'Tick', gives: 'Done' },
  },
  {
    ...{ ...watch, path: '/api/sets', query: setsQuerySchema },
    ...{ summary: 'Sets that were fired, the newest first', gives: 'KeptSets' },
  },
  { ...watch, path: '/api/sets/{id}', summary: 'One of them', gives: 'KeptSetDetail' },
  {
    ...{ ...fire, method: 'patch', path: '/api/sets/{id}', status: 200 },
    ...{ summary: 'Gives it another name, note or viewpoint', takes: 'Relabel', gives: 'KeptSetView' },
  },
  {
    ...{ ...fire, method: 'post', path: '/api/sets/{id}/again', status: 202 },
    ...{ summary: 'Reshoots frames of it', takes: 'Again', gives: 'RunBegun' },
  },
  {
    ...{ ...fire, method: 'post', path: '/api/sets/{id}/complete', status: 202 },
    ...{ summary: 'Shoots its missing frames', gives: 'RunBegun' },
  },
  {
    ...{ ...fire, method: 'post', path: '/api/sets/{id}/extend', status: 202 },
    ...{
      summary:
        'Adds frames at its ends; with no number, as many as it needs where it has lost highlights or shadows',
      takes: 'Extend',
      takesOptional: true,
      gives: 'RunBegun',
    },
  },
  {
    ...{ ...fire, method: 'post', path: '/api/sets/{id}/fetch', status: 202 },
    ...{ summary: 'Fetches missing files of it from the camera; fires nothing', gives: 'RunBegun' },
  },
  { ...watch, path: '/api/sets/{id}/contact-sheet', summary: 'Its contact sheet', gives: JPEG },
  {
    ...watch,
    path: '/api/sets/{id}/preview',
    summary: 'What it can become, merged and toned: a proof',
    gives: JPEG,
  },
  {
    ...{ ...watch, path: '/api/sets/{id}/coverage' },
    ...{ summary: 'Which parts of the picture it holds, on a picture of it', gives: PNG },
  },
  {
    ...{ ...watch, path: '/api/sets/{id}/frames/{frame}/picture', also: NOT_MODIFIED },
    ...{ summary: 'A frame as a picture; of a raw file alone its preview', gives: JPEG },
  },
  {
    ...{ ...watch, path: '/api/sets/{id}/frames/{frame}/thumbnail', also: NOT_MODIFIED },
    ...{ summary: 'A small picture of a frame', gives: JPEG },
  },
  {
    ...{ ...watch, path: '/api/sets/{id}/frames/{frame}/file' },
    ...{ summary: 'The file of a frame, as it came', gives: { media: 'application/octet-stream' } },
  },
  {
    ...{ ...watch, path: '/api/sets/{id}/frames/{frame}/partner' },
    ...{
      summary: 'Its second file, where the camera makes two',
      gives: { media: 'application/octet-stream' },
    },
  },
];
