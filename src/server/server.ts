// The daemon over HTTP: the panel's files, a small API, and the stream. It decides nothing: requests go to the station,
// events come from the log. Where files go, and which body is used, is never said here.
import type { Socket } from 'node:net';
import fastifyHelmet from '@fastify/helmet';
import fastifyStatic from '@fastify/static';
import Fastify, {
  type FastifyBaseLogger,
  type FastifyInstance,
  type FastifyReply,
  type FastifyServerOptions,
  LogController,
} from 'fastify';
import { z } from 'zod';
import { asEvenrungError, ERRORS, EvenrungError } from '../../shared/errors.js';
import { lookSchema, tickSchema } from '../../shared/readiness.js';
import { toWirePlan } from '../plan/index.js';
import type { EventLog, JournalReader, Station } from '../run/index.js';
import {
  Access,
  addAccess,
  addressOf,
  type Bounds,
  Buckets,
  boundConnections,
  type Door,
  doorHere,
  doorToNetwork,
  hostNames,
  LARGEST_HEADER_BYTES,
  LOOK_FOR_SLOW_MS,
  mustBeAllowed,
  type Need,
  networkAddresses,
  type OpenDoor,
  ownCertificate,
  pairingAnswer,
  STRANGER,
  usualNeed,
  type Visitor,
} from './access/index.js';
import { expectNothing, readFields } from './fields.js';
import { type Guard, LOOPBACK_NAMES } from './guard.js';
import { addNotes } from './notes.js';
import { addSets } from './sets.js';
import { Stream } from './stream.js';

const LARGEST_BODY_BYTES = 16 * 1024;

declare module 'fastify' {
  interface FastifyRequest {
    /** Who asks. */
    visitor: Visitor;
  }
  interface FastifyContextConfig {
    /** What the route asks of a visitor, where that is not as usualNeed() has it. */
    needs?: Need;
  }
}

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
  /** The door to the network; left out, the daemon listens on this computer alone. */
  readonly lan?: LanOptions | undefined;
  /** For tests: other bounds than those of each door. */
  readonly bounds?: Bounds | undefined;
}

export interface LanOptions {
  /** 0 takes any free port. */
  readonly port: number;
  /** Without TLS. */
  readonly isPlain: boolean;
  /** Keeps the certificate, and which devices are paired. */
  readonly stateFolder: string;
  /** For tests, so that nothing leaves this computer: where to listen, and what it is called there. */
  readonly host?: string;
  readonly names?: readonly string[];
}

export interface RunningServer {
  readonly address: string;
  /** The door to the network; null where there is none. */
  readonly network: RunningNetwork | null;
  close(): Promise<void>;
}

export interface RunningNetwork extends OpenDoor {
  /** @returns an address that pairs one device that may fire, once */
  begin(): { readonly link: string; readonly expiresAt: Date };
}

interface OpenedDoor {
  readonly app: FastifyInstance;
  readonly addresses: readonly string[];
}

/** @throws EvenrungError port-in-use, state-not-writable */
export async function startServer(options: ServerOptions): Promise<RunningServer> {
  const { events, log, lan } = options;
  const stream = new Stream(events);
  const access = lan === undefined ? null : await Access.open({ stateFolder: lan.stateFolder, log });
  access?.onDropped((device) => stream.drop(device));
  const opened: OpenedDoor[] = [];
  let network: OpenDoor | null = null;
  const close = async () => {
    stream.close();
    await Promise.all(opened.map(({ app }) => app.close()));
    await access?.close();
  };
  try {
    const here = doorHere(options.bounds);
    const first = await openDoor(here, options.port, '--port', stream, access, () => network, options);
    opened.push(first);
    if (lan !== undefined && access !== null) {
      const certificate = lan.isPlain
        ? null
        : await ownCertificate(lan.stateFolder, namesFor(lan), Date.now());
      const door = doorToNetwork({
        access,
        certificate,
        host: lan.host,
        names: lan.names,
        bounds: options.bounds,
      });
      const second = await openDoor(door, lan.port, '--lan-port', stream, access, () => network, options);
      opened.push(second);
      network = { addresses: second.addresses, fingerprint: certificate?.fingerprint ?? null };
    }
    return {
      address: first.addresses[0] ?? '',
      network: network === null || access === null ? null : running(network, access),
      close,
    };
  } catch (cause) {
    await close();
    throw cause;
  }
}

/** What the certificate is made out to. */
const namesFor = ({ names }: LanOptions): string[] => [
  ...(names ?? [...networkAddresses(), ...hostNames()]),
  ...LOOPBACK_NAMES.filter((name) => !name.startsWith('[')),
];

const running = (network: OpenDoor, access: Access): RunningNetwork => ({
  ...network,
  begin() {
    const { link, expiresAt } = pairingAnswer(access.begin('fire'), network);
    return { link, expiresAt: new Date(expiresAt) };
  },
});

/** @param option that chooses its port */
async function openDoor(
  door: Door,
  port: number,
  option: string,
  stream: Stream,
  access: Access | null,
  network: () => OpenDoor | null,
  options: ServerOptions,
): Promise<OpenedDoor> {
  const { log } = options;
  let guard: Guard | undefined;
  const requests = new Buckets(door.bounds.requests);
  const mayAsk = (remote: string | undefined) => {
    if (!requests.take(addressOf(remote), performance.now()))
      throw new EvenrungError('too-many-requests', 'Too much is asked at once: wait a moment.');
  };
  const app = await appFor(door, log);
  await app.register(fastifyHelmet, headersFor(door));
  app.decorateRequest('visitor');
  app.addHook('onRequest', async (request, reply) => {
    request.visitor = STRANGER;
    try {
      // Its own names are known once the port is; until then nobody is let in.
      if (guard === undefined) throw new EvenrungError('foreign-host', 'The daemon is still starting.');
      mayAsk(request.ip);
      guard.check(request.headers);
      request.visitor = door.visitor(request.headers);
      const { config, url } = request.routeOptions;
      mustBeAllowed(request.visitor, config.needs ?? usualNeed(request.method, url));
    } catch (cause) {
      // Whatever such a request still has to say is not waited for.
      reply.header('connection', 'close');
      throw cause;
    }
  });
  app.setErrorHandler((cause, _request, reply) => {
    if (fromFastify(cause).code === 'internal') log.error(cause);
    tell(cause, reply);
  });
  app.setNotFoundHandler(() => {
    throw new EvenrungError('not-found', 'There is nothing at this address.');
  });
  addRoutes(app, options);
  addSets(app, options);
  addAccess(app, { access, door, network });
  await addNotes(app, options);
  await app.register(fastifyStatic, { root: options.panel });
  const hangUp = boundConnections(app.server, door.bounds);
  app.addHook('preClose', async () => hangUp());
  app.server.on('upgrade', (request, socket, head) => {
    stream.upgrade(request, socket, head, () => {
      if (guard === undefined) throw new EvenrungError('foreign-host', 'The daemon is still starting.');
      mayAsk(request.socket.remoteAddress);
      guard.check(request.headers);
      const visitor = door.visitor(request.headers);
      mustBeAllowed(visitor, 'watch');
      return visitor;
    });
  });
  const actualPort = await listen(app, door, port, option);
  guard = door.guard(actualPort);
  return { app, addresses: door.addresses(actualPort) };
}

async function appFor(door: Door, log: FastifyBaseLogger): Promise<FastifyInstance> {
  const { bounds, certificate } = door;
  const limits = {
    maxHeaderSize: LARGEST_HEADER_BYTES,
    headersTimeout: bounds.headersMs,
    requestTimeout: bounds.requestMs,
    connectionsCheckingInterval: LOOK_FOR_SLOW_MS,
  };
  const shared = {
    // Its own greeting says less than ours.
    loggerInstance: log.child({}, { level: 'warn' }),
    bodyLimit: LARGEST_BODY_BYTES,
    requestTimeout: bounds.requestMs,
    // A request that is never finished must not keep the daemon from ending.
    forceCloseConnections: true,
    frameworkErrors: (cause, _request, reply) => tell(cause, reply as unknown as FastifyReply),
    clientErrorHandler: (cause, socket) => tellBroken(cause, socket),
    logController: new LogController({ disableRequestLogging: true }),
  } satisfies FastifyServerOptions;
  const app =
    certificate === null
      ? Fastify({ ...shared, http: limits })
      : (Fastify({
          ...shared,
          https: {
            ...limits,
            key: certificate.key,
            cert: certificate.cert,
            minVersion: 'TLSv1.2',
            handshakeTimeout: bounds.headersMs,
          },
        }) as unknown as FastifyInstance);
  // JSON is the only thing that is read: a form on another site can send text and forms, but not this.
  app.removeContentTypeParser('text/plain');
  return app;
}

/**
 * The panel needs nothing but this server, and nobody else's page may frame it. Left out on purpose: what tells browsers to use TLS
 * (upgrade-insecure-requests, HSTS) would break the plain doors, and a certificate that nobody vouches for.
 */
const headersFor = ({ kind, scheme }: Door) => ({
  contentSecurityPolicy: {
    useDefaults: false,
    directives: {
      defaultSrc: ["'none'"],
      scriptSrc: ["'self'"],
      styleSrc: ["'self'"],
      imgSrc: ["'self'"],
      connectSrc: ["'self'"],
      baseUri: ["'none'"],
      formAction: ["'none'"],
      frameAncestors: ["'none'"],
    },
  },
  strictTransportSecurity: false,
  frameguard: { action: 'deny' as const },
  referrerPolicy: { policy: 'no-referrer' as const },
  // Browsers heed these only where they trust the way.
  crossOriginOpenerPolicy: kind === 'here' || scheme === 'https',
  originAgentCluster: kind === 'here' || scheme === 'https',
});

/** @returns the port that it is */
async function listen(app: FastifyInstance, door: Door, port: number, option: string): Promise<number> {
  const [first = '127.0.0.1', ...others] = door.listenAt;
  for (const host of [first, ...others]) {
    try {
      await app.listen({ host, port });
      break;
    } catch (cause) {
      const isMissing = NO_SUCH_ADDRESS.has((cause as NodeJS.ErrnoException).code ?? '');
      if (isMissing && host !== door.listenAt.at(-1)) continue;
      await app.close();
      throw listenError(cause, port, option);
    }
  }
  const bound = app.server.address();
  return typeof bound === 'object' && bound !== null ? bound.port : port;
}

const NO_SUCH_ADDRESS = new Set(['EAFNOSUPPORT', 'EADDRNOTAVAIL']);

/** What is no HTTP, comes too slowly or has too large a head: told once, then hung up on. */
function tellBroken(cause: Error & { code?: string }, socket: Socket): void {
  // Where no request can have been, because TLS was not agreed on, nothing could be told.
  const isHttp = /^HPE_|^ERR_HTTP_/.test(cause.code ?? '');
  if (!isHttp || !socket.writable) {
    socket.destroy();
    return;
  }
  const error =
    cause.code === 'HPE_HEADER_OVERFLOW'
      ? new EvenrungError('too-large', 'The head of the request is too large.')
      : new EvenrungError('malformed-request', 'This is no request that can be understood.');
  const body = JSON.stringify(error.toWire());
  socket.end(
    `HTTP/1.1 ${ERRORS[error.code].status} Refused\r\nContent-Type: application/json\r\nContent-Length: ${Buffer.byteLength(body)}\r\nConnection: close\r\n\r\n${body}`,
    () => socket.destroy(),
  );
}

const frameParamsSchema = z.strictObject({ run: z.string(), frame: z.coerce.number().int().min(1) });

function addRoutes(app: FastifyInstance, { station, events }: ServerOptions): void {
  app.get('/api/state', async () => ({ epoch: events.epoch, seq: events.seq, state: events.state }));

  app.post('/api/plan', async (request) => toWirePlan(station.plan(request.body)));

  app.post('/api/schedule', async (request) => station.foresee(request.body));

  app.post('/api/run', async (request, reply) => {
    const run = await station.start(request.body);
    return reply.code(202).send({ run: run.id });
  });

  app.post('/api/run/stop', async (request, reply) => {
    expectNothing(request.body);
    station.stop();
    return reply.code(202).send({});
  });

  app.post('/api/run/resume', async (request, reply) => {
    expectNothing(request.body);
    const run = await station.resume();
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

function listenError(cause: unknown, port: number, option: string): EvenrungError {
  const { code } = cause as NodeJS.ErrnoException;
  if (code === 'EADDRINUSE') {
    return new EvenrungError(
      'port-in-use',
      `Port ${port} is in use, perhaps by another Evenrung. Stop that one, or choose another port with ${option}.`,
    );
  }
  if (code === 'EACCES')
    return new EvenrungError(
      'port-in-use',
      `Port ${port} is not ours to take: choose one above 1023 with ${option}.`,
    );
  return asEvenrungError(cause);
}
