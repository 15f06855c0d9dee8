// By what a command is let in at a daemon: headers that go with each request, and how its certificate is checked. From the computer that
// the daemon runs on nothing is needed.
import type { TlsOptions } from 'node:tls';

export interface DaemonSession {
  readonly headers: Readonly<Record<string, string>>;
  readonly tls: Pick<TlsOptions, 'ca' | 'rejectUnauthorized'>;
}

/** @returns what is kept for this address */
export async function sessionFor(_address: URL): Promise<DaemonSession> {
  return { headers: {}, tls: {} };
}
