// A door: the address at which the daemon listens, its names there, and who somebody is who comes in. At the
// first door, on this computer only, everybody is at home; at the second, on the network, the cookie says who
// somebody is.
import type { IncomingHttpHeaders } from 'node:http';
import { Guard, LOOPBACK_NAMES, type Scheme } from '../guard.js';
import type { Access } from './access.js';
import { type Bounds, NETWORK_BOUNDS, OWN_BOUNDS } from './bounds.js';
import type { Certificate } from './certificate.js';
import { cookieIn } from './cookie.js';
import { hostNames, inAddress, networkAddresses } from './names.js';
import { AT_THIS_COMPUTER, STRANGER, type Visitor } from './visitor.js';

export interface Door {
  readonly kind: 'here' | 'network';
  readonly scheme: Scheme;
  /** Addresses to listen at; the first that this computer has is taken. */
  readonly listenAt: readonly string[];
  readonly certificate: Certificate | null;
  readonly bounds: Bounds;
  guard(port: number): Guard;
  visitor(headers: IncomingHttpHeaders): Visitor;
  /** The panel's addresses, the most likely one first. */
  addresses(port: number): string[];
}

export function doorHere(bounds: Bounds = OWN_BOUNDS): Door {
  return {
    kind: 'here',
    scheme: 'http',
    listenAt: ['127.0.0.1'],
    certificate: null,
    bounds,
    guard: (port) => new Guard(LOOPBACK_NAMES, port),
    visitor: () => AT_THIS_COMPUTER,
    addresses: (port) => [`http://127.0.0.1:${port}`],
  };
}

export interface NetworkDoorOptions {
  readonly access: Access;
  /** Null: plain HTTP, which anybody on the way can read and change. */
  readonly certificate: Certificate | null;
  /** For tests: one address in place of all, and names in place of those of this computer. */
  readonly host?: string | undefined;
  readonly names?: readonly string[] | undefined;
  readonly bounds?: Bounds | undefined;
}

/** Networks come and go while the daemon runs. */
const NAMES_GOOD_MS = 5000;

export function doorToNetwork(options: NetworkDoorOptions): Door {
  const { access, certificate, host, bounds = NETWORK_BOUNDS } = options;
  const isSecure = certificate !== null;
  const scheme: Scheme = isSecure ? 'https' : 'http';
  const names = options.names === undefined ? lately(namesNow) : () => options.names ?? [];
  return {
    kind: 'network',
    scheme,
    // The second one, if this computer has no IPv6.
    listenAt: host === undefined ? ['::', '0.0.0.0'] : [host],
    certificate,
    bounds,
    guard: (port) => new Guard(names, port, scheme),
    visitor({ cookie }) {
      const token = cookieIn(cookie, isSecure);
      return (token === null ? null : access.visitor(token)) ?? STRANGER;
    },
    addresses: (port) => {
      const own = options.names ?? networkAddresses().map(inAddress);
      const reachable = own.length > 0 ? own : hostNames();
      return (reachable.length > 0 ? reachable : LOOPBACK_NAMES).map((name) => `${scheme}://${name}:${port}`);
    },
  };
}

const namesNow = (): string[] => [...networkAddresses().map(inAddress), ...hostNames(), ...LOOPBACK_NAMES];

function lately(find: () => readonly string[]): () => readonly string[] {
  let found: readonly string[] = [];
  let at = Number.NEGATIVE_INFINITY;
  return () => {
    const now = performance.now();
    if (now - at > NAMES_GOOD_MS) {
      found = find();
      at = now;
    }
    return found;
  };
}
