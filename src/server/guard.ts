// Who may talk to the daemon: requests that name it by one of its own addresses, and pages that it served itself. Without
// this any page in the photographer's browser could fire the camera (foreign Origin), and so could any name that is made
// to point at this machine (foreign Host).
import type { IncomingHttpHeaders } from 'node:http';
import { EvenrungError } from '../../shared/errors.js';

export class Guard {
  private readonly hosts: ReadonlySet<string>;

  /** @param names that the daemon is reached by, without port; a name with colons is written in brackets */
  constructor(names: readonly string[], port: number) {
    // Browsers leave the usual port out.
    const written = (name: string) => (port === 80 ? [name, `${name}:80`] : [`${name}:${port}`]);
    this.hosts = new Set(names.flatMap(written));
  }

  /** @throws EvenrungError foreign-host, foreign-origin */
  check(headers: IncomingHttpHeaders): void {
    const host = headers.host?.toLowerCase();
    if (host === undefined || !this.hosts.has(host)) {
      throw new EvenrungError('foreign-host', 'This request names a host that the daemon does not go by.');
    }
    // Browsers send an Origin with whatever can change something; scripts send none.
    const { origin } = headers;
    if (origin !== undefined && origin.toLowerCase() !== `http://${host}`) {
      throw new EvenrungError(
        'foreign-origin',
        'This request comes from a page that the daemon did not serve.',
      );
    }
  }
}

/** The names of this machine for itself. */
export const LOOPBACK_NAMES = ['127.0.0.1', 'localhost', '[::1]'];
