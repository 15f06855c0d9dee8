// The daemon over HTTP: the panel's files, a small API, and the stream of events. It decides nothing:
// requests go to the station, and events come from the log. Where files go, and which body is used, cannot be
// set here.
import type { IncomingHttpHeaders } from 'node:http';
import type { FastifyBaseLogger, FastifyInstance } from 'fastify';
import { z } from 'zod';
import { askedSchema } from '../../shared/asked.js';
import { EvenrungError } from '../../shared/errors.js';
import { lookSchema, tickSchema } from '../../shared/readiness.js';
import type { JournalReader } from '../journal/index.js';
import { toWirePlan } from '../plan/index.js';
import type { EventLog, Station } from '../station/index.js';
import {
  Access,
  addAccess,
  addressOf,
  type Bounds,
  Buckets,
  type Door,
  doorHere,
  doorToNetwork,
  hostNames,
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
import { appFor, listen } from './app.js';
import { expectNothing, readFields } from './fields.js';
import { type Guard, LOOPBACK_NAMES } from './guard.js';
import { addIdempotency } from './idempotency.js';
import { addNotes } from './notes.js';
import { addPanel } from './panel-files.js';
import { addSets } from './sets.js';
import { addSoundings } from './soundings.js';
import { Stream } from './stream.js';
import { visitorOf } from './visitor.js';

declare module 'fastify' {
  interface FastifyRequest {
    /** The visitor who sent the request. */
    visitor: Visitor;
  }
  interface FastifyContextConfig {
    /** What the route demands of a visitor, if that is not what usualNeed() says. */
    needs?: Need;
  }
}

export interface ServerOptions {
  readonly station: Station;
  readonly events: EventLog;
  /** The journal of the sets that were fired; without it there are none. */
  readonly journal?: JournalReader | undefined;
  readonly log: FastifyBaseLogger;
  /** The folder of the built panel. */
  readonly panel: string;
  /** The folder that holds README.md and hardware-notes/. */
  readonly notes: string;
  /** 0 takes any free port. */
  readonly port: number;
  /** The door to the network; if it is left out, the daemon listens on this computer only. */
  readonly lan?: LanOptions | undefined;
  /** For tests: other limits than those of each door. */
  readonly bounds?: Bounds | undefined;
  /** For tests: the clock by which codes end and wrong tries have to wait. */
  readonly now?: (() => number) | undefined;
}

export interface LanOptions {
  /** 0 takes any free port. */
  readonly port: number;
  /** Without TLS. */
  readonly isPlain: boolean;
  /** Holds the certificate, and the list of paired devices. */
  readonly stateFolder: string;
  /**
   * For tests, so that nothing leaves this computer: the address to listen on, and the names to be reached
   * by.
   */
  readonly host?: string;
  readonly names?: readonly string[];
}

export interface RunningServer {
  readonly address: string;
  /** The routes that it answers, such as `GET /api/state`. */
  readonly routes: readonly string[];
  /** The door to the network; null if there is none. */
  readonly network: RunningNetwork | null;
  close(): Promise<void>;
}

export interface RunningNetwork extends OpenDoor {
  /** @returns an address that pairs one device that may fire; it works once */
  begin(): { readonly link: string; readonly expiresAt: Date };
}

interface OpenedDoor {
  readonly app: FastifyInstance;
  readonly addresses: readonly string[];
  readonly routes: readonly string[];
}

/** @throws EvenrungError port-in-use, state-not-writable */
export async function startServer(options: ServerOptions): Promise<RunningServer> {
  const { events, log, lan } = options;
  const stream = new Stream(events);
  const access =
    lan === undefined ? null : await Access.open({ stateFolder: lan.stateFolder, log, now: options.now });
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
      routes: first.routes,
      network: network === null || access === null ? null : running(network, access),
      close,
    };
  } catch (cause) {
    await close();
    throw cause;
  }
}

/** The names that the certificate is made out to. */
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

/** @param option the option that chooses its port */
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
  /**
   * @returns who the visitor is, if they may ask at all; a paired device is not slowed down by the requests
   *   of others at its address
   */
  const admit = (headers: IncomingHttpHeaders, remote: string | undefined): Visitor => {
    // Its own names are known once the port is; until then nobody is let in.
    if (guard === undefined)
      throw new EvenrungError('foreign-host', 'Evenrung is still starting: wait a moment.');
    guard.check(headers);
    const visitor = door.visitor(headers);
    if (!requests.take(visitor.device ?? addressOf(remote), performance.now()))
      throw new EvenrungError('too-many-requests', 'Too many requests at once: wait a moment.');
    return visitor;
  };
  const app = await appFor(door, log);
  const routes: string[] = [];
  app.addHook('onRoute', ({ method, url }) => {
    for (const one of [method].flat()) routes.push(`${one} ${url}`);
  });
  app.decorateRequest('visitor');
  app.addHook('onRequest', async (request, reply) => {
    request.visitor = STRANGER;
    try {
      request.visitor = admit(request.headers, request.ip);
      const { config, url } = request.routeOptions;
      mustBeAllowed(request.visitor, config.needs ?? usualNeed(request.method, url));
    } catch (cause) {
      // The rest of such a request is not waited for.
      reply.header('connection', 'close');
      throw cause;
    }
  });
  addIdempotency(app, (request) => visitorOf(request).key);
  addRoutes(app, options);
  addSets(app, options);
  addSoundings(app, options);
  addAccess(app, { access, door, network });
  await addNotes(app, options);
  await addPanel(app, options.panel);
  app.server.on('upgrade', (request, socket, head) => {
    stream.upgrade(request, socket, head, () => {
      const visitor = admit(request.headers, request.socket.remoteAddress);
      mustBeAllowed(visitor, 'watch');
      return visitor;
    });
  });
  const actualPort = await listen(app, door, port, option);
  guard = door.guard(actualPort);
  return { app, addresses: door.addresses(actualPort), routes };
}

const frameParamsSchema = z.strictObject({ run: z.string(), frame: z.coerce.number().int().min(1) });
const ofSetSchema = z.looseObject({ set: z.string().regex(/^[\w-]{1,64}$/) });
const runParamsSchema = z.strictObject({ run: z.string() });

function addRoutes(app: FastifyInstance, { station, events }: ServerOptions): void {
  app.get('/api/openapi.json', async () => {
    // Loaded only when somebody asks for it, so that the daemon starts without it.
    const { openApi } = await import('./openapi.js');
    return openApi();
  });

  app.get('/api/state', async () => ({ epoch: events.epoch, seq: events.seq, state: events.state }));

  app.post('/api/plan', async (request) => toWirePlan(station.plan(request.body)));

  app.put('/api/asked', async (request) => {
    station.ask(readFields(askedSchema, request.body));
    return {};
  });

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
    station.letGo();
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

  app.get('/api/run/:run/coverage', async (request, reply) => {
    const { run: id } = readFields(runParamsSchema, request.params);
    const run = station.runWithId(id);
    const map = run?.coverageMap ?? null;
    if (map !== null) return reply.type('image/png').header('cache-control', 'private, no-cache').send(map);
    // The map was made before the set was taken up again, or the client has not heard that another run has
    // begun.
    const { data } = ofSetSchema.safeParse(request.query);
    const set = run?.view.set.id ?? data?.set;
    if (set === undefined) throw new EvenrungError('not-found', 'There is no such picture of this set.');
    return reply.redirect(`/api/sets/${encodeURIComponent(set)}/coverage`);
  });

  app.get('/api/run/:run/frames/:frame/thumbnail', async (request, reply) => {
    const params = frameParamsSchema.safeParse(request.params);
    const run = params.success ? station.runWithId(params.data.run) : undefined;
    const picture = params.success ? run?.thumbnail(params.data.frame) : null;
    if (!picture) {
      const frame = run?.view.frames.find(({ number }) => number === params.data?.frame);
      if (run === undefined || frame === undefined) {
        // The client may not have heard that another run has begun; then the picture is in the folder of its
        // set.
        const { data } = ofSetSchema.safeParse(request.query);
        if (params.success && run === undefined && data !== undefined)
          return reply.redirect(`/api/sets/${data.set}/frames/${params.data.frame}/thumbnail`);
        throw new EvenrungError('not-found', 'There is no picture of this frame.');
      }
      // The frame had a picture until it was chosen to be fired again, and the client has not heard of that
      // yet.
      if (frame.state !== 'verified') return reply.code(204).header('cache-control', 'no-store').send();
      // The frame was made before the set was taken up again, and its picture is only in the set folder.
      return reply.redirect(`/api/sets/${run.view.set.id}/frames/${frame.number}/thumbnail`);
    }
    return reply.type('image/jpeg').header('cache-control', 'private, max-age=3600, immutable').send(picture);
  });
}
