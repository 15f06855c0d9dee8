// What every door of the daemon has in common as a web server: limits of its connections, headers, and how
// errors are reported. It knows no routes and no visitors.
import type { Socket } from 'node:net';
import fastifyHelmet from '@fastify/helmet';
import Fastify, {
  type FastifyBaseLogger,
  type FastifyInstance,
  type FastifyReply,
  type FastifyServerOptions,
  LogController,
} from 'fastify';
import { ERRORS } from '../../shared/error-codes.js';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import { boundConnections, type Door, LARGEST_HEADER_BYTES, LOOK_FOR_SLOW_MS } from './access/index.js';

const LARGEST_BODY_BYTES = 16 * 1024;

/** @returns an app for a door, without routes and without visitors */
export async function appFor(door: Door, log: FastifyBaseLogger): Promise<FastifyInstance> {
  const { bounds, certificate } = door;
  const limits = {
    maxHeaderSize: LARGEST_HEADER_BYTES,
    headersTimeout: bounds.headersMs,
    requestTimeout: bounds.requestMs,
    connectionsCheckingInterval: LOOK_FOR_SLOW_MS,
  };
  /**
   * Connections that were told that nothing more is answered on them; whatever still arrives on them is
   * ignored.
   */
  const hungUp = new WeakSet<Socket>();
  const shared = {
    // Fastify's own line on starting says less than Evenrung's.
    loggerInstance: log.child({}, { level: 'warn' }),
    bodyLimit: LARGEST_BODY_BYTES,
    requestTimeout: bounds.requestMs,
    // A request that is never finished must not keep the daemon from ending.
    forceCloseConnections: true,
    frameworkErrors: (cause, _request, reply) => tell(cause, reply as unknown as FastifyReply),
    clientErrorHandler: (cause, socket) => {
      if (hungUp.has(socket)) socket.destroy();
      else tellBroken(cause, socket);
    },
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
  // Only JSON is read: a form on another site can send text and forms, but not JSON.
  app.removeContentTypeParser('text/plain');
  app.addHook('onSend', async (request, reply) => {
    if (reply.getHeader('connection') === 'close') hungUp.add(request.raw.socket);
  });
  await app.register(fastifyHelmet, headersFor(door));
  app.setErrorHandler((cause, _request, reply) => {
    if (fromFastify(cause).code === 'internal') log.error(cause);
    tell(cause, reply);
  });
  app.setNotFoundHandler(() => {
    throw new EvenrungError('not-found', 'There is nothing at this address.');
  });
  const hangUp = boundConnections(app.server, bounds);
  app.addHook('preClose', async () => hangUp());
  return app;
}

/**
 * The panel needs nothing but this server, and no other site's page may frame it. The headers that tell
 * browsers to use TLS (upgrade-insecure-requests, HSTS) are left out on purpose: they would break the plain
 * doors, and a certificate that no authority has signed.
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
      manifestSrc: ["'self'"],
      workerSrc: ["'self'"],
      baseUri: ["'none'"],
      formAction: ["'none'"],
      frameAncestors: ["'none'"],
    },
  },
  strictTransportSecurity: false,
  frameguard: { action: 'deny' as const },
  referrerPolicy: { policy: 'no-referrer' as const },
  // Browsers heed these only if they trust the connection.
  crossOriginOpenerPolicy: kind === 'here' || scheme === 'https',
  originAgentCluster: kind === 'here' || scheme === 'https',
});

/**
 * @param option the option that chooses the port
 * @returns the port that was taken
 * @throws EvenrungError port-in-use
 */
export async function listen(
  app: FastifyInstance,
  door: Door,
  port: number,
  option: string,
): Promise<number> {
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

/**
 * A request that is not HTTP, comes too slowly or has too large a head gets one answer, and is then hung up
 * on.
 */
function tellBroken(cause: Error & { code?: string }, socket: Socket): void {
  // If TLS was not agreed on, there can have been no request, and nothing could be answered.
  const isHttp = /^HPE_|^ERR_HTTP_/.test(cause.code ?? '');
  if (!isHttp || !socket.writable) {
    socket.destroy();
    return;
  }
  const error =
    cause.code === 'HPE_HEADER_OVERFLOW'
      ? new EvenrungError('too-large', 'The head of the request is too large.')
      : new EvenrungError('malformed-request', 'The request is not understood.');
  const body = JSON.stringify(error.toWire());
  socket.end(
    `HTTP/1.1 ${ERRORS[error.code].status} Refused\r\nContent-Type: application/json\r\nContent-Length: ${Buffer.byteLength(body)}\r\nConnection: close\r\n\r\n${body}`,
    () => socket.destroy(),
  );
}

function tell(cause: unknown, reply: FastifyReply): void {
  const error = fromFastify(cause);
  void reply.code(ERRORS[error.code].status).send(error.toWire());
}

/** Turns errors of Fastify's own into those of the catalogue. */
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
      `Port ${port} is not allowed: choose one above 1023 with ${option}.`,
    );
  return asEvenrungError(cause);
}
