// What `serve` says about its door to the network: its address, how a phone gets in, and the risk.
import os from 'node:os';
import type { Logger } from 'pino';
import type { RunningNetwork } from '../server/index.js';
import { hourAndMinute } from '../system/index.js';

export interface LanChoice {
  readonly lan?: boolean | undefined;
  readonly lanPort?: number | undefined;
  readonly lanPlain?: boolean | undefined;
}

/** @returns whether the daemon listens on the network as well */
export const wantsLan = ({ lan = false, lanPlain = false }: LanChoice): boolean => lan || lanPlain;

/**
 * The port of the door to the network, if none was chosen: the one after the port on this computer.
 * @param port 0 is any free one
 */
export const lanPortOf = ({ lanPort }: LanChoice, port: number): number =>
  lanPort ?? (port === 0 || port === 65_535 ? 0 : port + 1);

const PLAIN_RISK =
  "Without TLS (--lan-plain) anyone on this network can eavesdrop, copy a phone's login and fire: use it only on a network of your own.";

/** The code that is drawn at a terminal is a secret that works once; elsewhere it would stay in a log. */
export async function tellLan(
  { addresses, fingerprint, begin }: RunningNetwork,
  isPlain: boolean,
  log: Logger,
): Promise<void> {
  const [first, ...others] = addresses;
  log.info(`On the network: ${[first, ...others].join('  ')}`);
  if (isPlain) log.warn(PLAIN_RISK);
  if (fingerprint !== null) log.info(`Certificate, SHA-256: ${fingerprint}`);
  if (!process.stderr.isTTY) {
    log.info('To pair a phone: under Devices in the panel on this computer, or evenrung devices pair.');
    return;
  }
  const { link, expiresAt } = begin();
  process.stderr.write(await pairingWords(link, expiresAt, fingerprint, hasColours()));
}

/** @returns what to scan, what to type, and until when it is good */
export async function pairingWords(
  link: string,
  expiresAt: Date,
  fingerprint: string | null,
  colours: boolean,
): Promise<string> {
  // Loaded only if a code is drawn.
  const { codeAsText } = await import('../server/index.js');
  const until = hourAndMinute(expiresAt);
  return [
    '',
    await codeAsText(link, colours),
    `  ${link}`,
    '',
    `  Scan it with the phone, or type it. It pairs one device, once, until ${until}.`,
    ...(fingerprint === null
      ? []
      : [
          '  The phone will warn about the certificate, because this computer made it itself.',
          '  Accept it if the phone shows this SHA-256 fingerprint:',
          ...fingerprintLines(fingerprint),
        ]),
    '',
    '',
  ].join(os.EOL);
}

/** In two halves, as there is room for. @param fingerprint SHA-256, with colons */
export const fingerprintLines = (fingerprint: string): [string, string] => [
  `  ${fingerprint.slice(0, 47)}`,
  `  ${fingerprint.slice(48)}`,
];

/** See no-color.org: any value that is not empty says no. */
export const hasColours = (): boolean => (process.env.NO_COLOR ?? '') === '' && process.env.TERM !== 'dumb';
