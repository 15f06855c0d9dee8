// The daemon over HTTP: the panel's files, a small API, and the stream. It decides nothing: requests go to the station,
// events come from the log. Where files go, and which body is used, is never said here.
import fastifyStatic from '@fastify/static';
import Fastify, {
  type FastifyBaseLogger,
  type FastifyInstance,
  type FastifyReply,
  LogController,
} from 'fastify';
import { z } from 'zod';
import { asEvenrungError, ERRORS, EvenrungError } from '../../shared/errors.js';
import { lookSchema, tickSchema } from '../../shared/readiness.js';
import { toWirePlan } from '../plan/index.js';
import type { EventLog, JournalReader, Station } from '../run/index.js';
import { expectNothing, readFields } from './fields.js';
import { Guard, LOOPBACK_NAMES } from './guard.js';
import { addIdempotency } from './idempotency.js';
import { addNotes } from './notes.js';
import { addSets } from './sets.js';
import { Stream } from './stream.js';
import { visitorOf } from './visitor.js';

const LARGEST_BODY_BYTES = 16 * 1024;

export interface ServerOptions {
  readonly station: Station;
  readonly events: EventLog;
  /** What is known of the sets that were fired; left out, there are none. */
  readonly journal?: JournalReader | undefined;
  readonly log: FastifyBaseLogger;
  /** The folder of the built panel. */
  readonly panel: string;
  /** The folder that holds README.md and hardware-notes/. */
  readonly notes: string;
  /** 0 takes any free port. */
  readonly port: number;
}

export interface RunningServer {
  readonly address: string;
  /** What it answers to, such as `GET /api/state`. */
  readonly routes: readonly string[];
  close(): Promise<void>;
}

const HOST = '127.0.0.1';

/** The panel needs nothing but this server, and nobody else's page may frame it. */
const HEADERS = {
  'content-security-policy':
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
  'x-content-type-options': 'nosniff',
  'referrer-policy': 'no-referrer',
};

/** @throws EvenrungError port-in-use */
export async function startServer(options: ServerOptions): Promise<RunningServer> {
  const { events, log, port } = options;
  let guard: Guard | undefined;
  const app = Fastify({
    // Its own greeting says less than ours.
    loggerInstance: log.child({}, { level: 'warn' }),
    bodyLimit: LARGEST_BODY_BYTES,
    // A request that is never finished must not keep the daemon from ending.
    forceCloseConnections: true,
    frameworkErrors: (cause, _request, reply) => tell(cause, reply as unknown as FastifyReply),
    logController: new LogController({ disableRequestLogging: true }),
  });
  const routes: string[] = [];
  app.addHook('onRoute', ({ method, url }) => {
    for (const one of [method].flat()) routes.push(`${one} ${url}`);
  });
  // JSON is the only thing that is read: a form on another site can send text and forms, but not this.
  app.removeContentTypeParser('text/plain');
  app.addHook('onRequest', async (request) => {
    // Its own names are known once the port is; until then nobody is let in.
    if (guard === undefined) throw new EvenrungError('foreign-host', 'The daemon is still starting.');
    guard.check(request.headers);
  });
  app.addHook('onSend', async (_request, reply) => {
    reply.headers(HEADERS);
  });
  app.setErrorHandler((cause, _request, reply) => {
    if (fromFastify(cause).code === 'internal') log.error(cause);
    tell(cause, reply);
  });
  app.setNotFoundHandler(() => {
    throw new EvenrungError('not-found', 'There is nothing at this address.');
  });
  addIdempotency(app, (request) => visitorOf(request).key);
  addRoutes(app, options);
  addSets(app, options);
  await addNotes(app, options);
  await app.register(fastifyStatic, { root: options.panel });
  const stream = new Stream(events);
  app.server.on('upgrade', (request, socket, head) => {
    if (guard === undefined) socket.destroy();
    else stream.upgrade(request, socket, head, guard);
  });
  try {
    await app.listen({ host: HOST, port });
  } catch (cause) {
    await app.close();
    throw listenError(cause, port);
  }
  const bound = app.server.address();
  const actualPort = typeof bound === 'object' && bound !== null ? bound.port : port;
  guard = new Guard(LOOPBACK_NAMES, actualPort);
  return {
    address: `http://${HOST}:${actualPort}`,
    routes,
    async close() {
      stream.close();
      await app.close();
    },
  };
}

const frameParamsSchema = z.strictObject({ run: z.string(), frame: z.coerce.number().int().min(1) });

function addRoutes(app: FastifyInstance, { station, events }: ServerOptions): void {
  // For whoever keeps services running: nothing else is told to strangers.
  app.get('/api/health', async () => ({ ok: true }));

  app.get('/api/openapi.json', async () => {
    // Made only where somebody asks: the daemon starts without it.
    const { openApi } = await import('./openapi.js');
    return openApi();
  });

  app.get('/api/state', async () => ({ epoch: events.epoch, seq: events.seq, state: events.state }));

  app.post('/api/plan', async (request) => toWirePlan(station.plan(request.body)));

  app.post('/api/schedule', async (request) => station.foresee(request.body));

  app.post('/api/run', async (request, reply) => {
    const run = await station.start(request.body, visitorOf(request).name);
    return reply.code(202).send({ run: run.id });
  });

  app.post('/api/run/stop', async (request, reply) => {
    expectNothing(request.body);
    station.stop();
    return reply.code(202).send({});
  });

  app.post('/api/run/hold', async (request, reply) => {
    expectNothing(request.body);
    station.hold();
    return reply.code(202).send({});
  });

  app.post('/api/run/go-on', async (request, reply) => {
    expectNothing(request.body);
    station.goOn();
    return reply.code(202).send({});
  });

  app.post('/api/run/resume', async (request, reply) => {
    expectNothing(request.body);
    const run = await station.resume({ startedBy: visitorOf(request).name });
    return reply.code(202).send({ run: run.id });
  });

  app.post('/api/run/end', async (request) => {
    expectNothing(request.body);
    await station.endUnfinished();
    return {};
  });

  app.post('/api/body/look', async (request, reply) => {
    const { camera } = readFields(lookSchema, request.body ?? {});
    void station.look(camera);
    return reply.code(202).send({});
  });

  app.post('/api/body/check', async (request) => {
    expectNothing(request.body);
    await station.check();
    return {};
  });

  app.post('/api/body/clock', async (request) => {
    expectNothing(request.body);
    await station.setClock();
    return {};
  });

  app.post('/api/body/tick', async (request) => {
    const { code, isSo } = readFields(tickSchema, request.body);
    await station.tick(code, isSo);
    return {};
  });

  app.get('/api/run/:run/frames/:frame/thumbnail', async (request, reply) => {
    const params = frameParamsSchema.safeParse(request.params);
    const run = params.success ? station.runWithId(params.data.run) : undefined;
    const picture = params.success ? run?.thumbnail(params.data.frame) : null;
    if (!picture) {
      const frame = run?.view.frames.find(({ number }) => number === params.data?.frame);
      if (run === undefined || frame?.state !== 'verified')
        throw new EvenrungError('not-found', 'There is no picture of this frame.');
      // It was made before the set was taken up again, and is only in its folder.
      return reply.redirect(`/api/sets/${run.view.set.id}/frames/${frame.number}/thumbnail`);
    }
    return reply.type('image/jpeg').header('cache-control', 'private, max-age=3600, immutable').send(picture);
  });
}

function tell(cause: unknown, reply: FastifyReply): void {
  const error = fromFastify(cause);
  void reply.code(ERRORS[error.code].status).send(error.toWire());
}

/** What Fastify refuses by itself, in the words of the catalogue. */
function fromFastify(cause: unknown): EvenrungError {
  const { code, statusCode, message } = cause as { code?: string; statusCode?: number; message?: string };
  if (cause instanceof EvenrungError) return cause;
  if (code === 'FST_ERR_CTP_BODY_TOO_LARGE')
    return new EvenrungError('too-large', 'The request is too large.');
  if (statusCode !== undefined && statusCode < 500) {
    return new EvenrungError(
      statusCode === 404 ? 'not-found' : 'malformed-request',
      `The request is not understood: ${message}.`,
    );
  }
  return asEvenrungError(cause);
}

function listenError(cause: unknown, port: number): EvenrungError {
  const { code } = cause as NodeJS.ErrnoException;
  if (code === 'EADDRINUSE') {
    return new EvenrungError(
      'port-in-use',
      `Port ${port} is in use, perhaps by another Evenrung. Stop that one, or choose another port with --port.`,
    );
  }
  if (code === 'EACCES')
    return new EvenrungError(
      'port-in-use',
      `Port ${port} is not ours to take: choose one above 1023 with --port.`,
    );
  return asEvenrungError(cause);
}
