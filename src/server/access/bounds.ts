// Limits on what one address, one socket, and all of them together may ask for. It knows no requests'
// content.
import type { Server } from 'node:http';
import type { Socket } from 'node:net';
import type { Rate } from './bucket.js';
import { addressOf, isLoopback } from './throttle.js';

export interface Bounds {
  /** Connections of one address on the network; those of this computer have the limit of the door. */
  readonly connectionsPerAddress: number;
  /** Connections of the door. */
  readonly connections: number;
  /** Requests of one address. */
  readonly requests: Rate;
  /** Time for the head of a request, and for a handshake. */
  readonly headersMs: number;
  /** Time for a whole request. */
  readonly requestMs: number;
}

/** A panel that shows the frames of a large set asks for some seventy pictures at once. */
export const NETWORK_BOUNDS: Bounds = {
  connectionsPerAddress: 40,
  connections: 400,
  requests: { burst: 400, perSecond: 50 },
  headersMs: 5000,
  requestMs: 10_000,
};

/** Two hundred watchers of this computer have to fit. */
export const OWN_BOUNDS: Bounds = {
  connectionsPerAddress: 600,
  connections: 600,
  requests: { burst: 2000, perSecond: 500 },
  headersMs: 5000,
  requestMs: 10_000,
};

export const LARGEST_HEADER_BYTES = 8 * 1024;
/** How often slow connections are looked for. */
export const LOOK_FOR_SLOW_MS = 1000;

/** Watchers are told goodbye first. */
const FAREWELL_MS = 1000;

/**
 * Hangs up on connections beyond the limits, before a byte of them is read.
 * @returns a function that, a moment later, hangs up on all that are left, even on those that never sent
 *   anything, of which the server knows nothing
 */
export function boundConnections(server: Server, { connections, connectionsPerAddress }: Bounds): () => void {
  const open = new Map<string, number>();
  const sockets = new Set<Socket>();
  // For a server over TLS these are the connections beneath it.
  server.on('connection', (socket: Socket) => {
    const address = addressOf(socket.remoteAddress);
    const own = open.get(address) ?? 0;
    if (sockets.size >= connections || (!isLoopback(address) && own >= connectionsPerAddress)) {
      socket.destroy();
      return;
    }
    sockets.add(socket);
    open.set(address, own + 1);
    socket.once('close', () => {
      sockets.delete(socket);
      const left = (open.get(address) ?? 1) - 1;
      if (left > 0) open.set(address, left);
      else open.delete(address);
    });
  });
  return () => {
    setTimeout(() => {
      for (const socket of sockets) socket.destroy();
    }, FAREWELL_MS).unref();
  };
}
