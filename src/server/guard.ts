// Decides which requests the daemon answers: those that address it by one of its own names, and those from
// pages that it served itself. Otherwise any page in the photographer's browser could fire the camera
// (foreign Origin), and so could any name that is made to point at this computer (foreign Host).
import type { IncomingHttpHeaders } from 'node:http';
import { EvenrungError } from '../../shared/errors.js';

export type Scheme = 'http' | 'https';

const USUAL_PORTS: Readonly<Record<Scheme, number>> = { http: 80, https: 443 };
/** How browsers mark requests made by a page of another site or of another port. */
const FROM_ELSEWHERE = new Set(['cross-site', 'same-site']);

export class Guard {
  private readonly names: () => readonly string[];
  private readonly port: number;
  private readonly scheme: Scheme;

  /**
   * @param names the names that the daemon is reached by, without port; a name with colons is written in
   *   brackets
   */
  constructor(names: readonly string[] | (() => readonly string[]), port: number, scheme: Scheme = 'http') {
    this.names = typeof names === 'function' ? names : () => names;
    this.port = port;
    this.scheme = scheme;
  }

  /** @throws EvenrungError foreign-host, foreign-origin */
  check(headers: IncomingHttpHeaders): void {
    const host = headers.host?.toLowerCase();
    if (host === undefined || !this.isOwn(host)) {
      throw new EvenrungError(
        'foreign-host',
        "This address is not one of Evenrung's. Open the panel at the address that Evenrung printed.",
      );
    }
    // Browsers send an Origin with every request that can change something; scripts send none.
    const { origin } = headers;
    const isForeign = origin !== undefined && origin.toLowerCase() !== `${this.scheme}://${host}`;
    if (isForeign || isDrawnIn(headers)) {
      throw new EvenrungError(
        'foreign-origin',
        'This request comes from another web page. Open the panel at the address that Evenrung printed.',
      );
    }
  }

  private isOwn(host: string): boolean {
    // Browsers leave out the usual port.
    const isUsual = this.port === USUAL_PORTS[this.scheme];
    return this.names().some((name) => host === `${name}:${this.port}` || (isUsual && host === name));
  }
}

/**
 * Whether a page of another site shows or reads the answer. A person who follows a link to the panel is not
 * meant.
 */
function isDrawnIn(headers: IncomingHttpHeaders): boolean {
  const { 'sec-fetch-site': site, 'sec-fetch-mode': mode, 'sec-fetch-dest': shownAs } = headers;
  if (typeof site !== 'string' || !FROM_ELSEWHERE.has(site)) return false;
  return mode !== 'navigate' || shownAs !== 'document';
}

/** The names by which a computer reaches itself. */
export const LOOPBACK_NAMES = ['127.0.0.1', 'localhost', '[::1]'];
