// `pair`: pairs the commands of this computer with a daemon on another one, for scripts. Before anything is
// sent, somebody has to confirm that the certificate there is the daemon's own: an attacker in between could
// fire with what was sent.
import { X509Certificate } from 'node:crypto';
import { once } from 'node:events';
import { isIP } from 'node:net';
import os from 'node:os';
import readline from 'node:readline/promises';
import tls from 'node:tls';
import { type Command, InvalidArgumentError } from 'commander';
import { deviceNameSchema, PAIR_FRAGMENT } from '../../shared/access.js';
import { EvenrungError } from '../../shared/errors.js';
import type { Terminal } from './ask-terminal.js';
import { DaemonClient } from './elsewhere/daemon-client.js';
import { AT_HOME, keepSession, mustKeepSessions, onlyWith } from './elsewhere/daemon-session.js';
import { fingerprintLines } from './lan.js';

const ANSWER_MS = 10_000;
const LONGEST_NAME = 40;
const HTTPS_PORT = 443;

interface PairOptions {
  readonly name?: string;
  readonly fingerprint?: string;
  readonly json?: boolean;
}

interface Link {
  /** Of the daemon. */
  readonly address: URL;
  readonly secret: string;
}

export function addPair(program: Command): void {
  program
    .command('pair')
    .description("pair this computer's commands with an Evenrung on another one")
    .argument('<link>', 'address below the code there, with #pair= and the secret', linkIn)
    .option('--name <text>', 'name of this computer there (usual: its host name)', nameIn)
    .option('--fingerprint <sha256>', 'fingerprint of the certificate there; without it you are asked', hexIn)
    .option('--json', 'print JSON')
    .action(async ({ address, secret }: Link, { name = ownName(), fingerprint, json }: PairOptions) => {
      const certificate = address.protocol === 'https:' ? await certificateAt(address) : null;
      if (certificate !== null) await mustBelieve(address, certificate, fingerprint, atTerminal());
      await mustKeepSessions();
      const tlsOptions = certificate === null ? {} : onlyWith(certificate.toString());
      const daemon = new DaemonClient(address, { ...AT_HOME, tls: tlsOptions });
      const { me, cookie } = await daemon.pair({ secret, name });
      const { origin } = address;
      await keepSession({
        ...{ origin, cookie, certificate: certificate?.toString() ?? null },
        ...{ name: me.name, role: me.role },
      });
      process.stdout.write(
        json === true
          ? `${JSON.stringify({ address: origin, name: me.name, role: me.role })}\n`
          : `Paired as ${me.name}: ${me.role === 'fire' ? `it may fire there, with \`fire --at ${origin}\`` : 'it may watch there, not fire'}.\n`,
      );
    });
}

/** @throws InvalidArgumentError */
function linkIn(text: string): Link {
  const url = URL.canParse(text) ? new URL(text) : null;
  if (url !== null && /^https?:$/.test(url.protocol) && url.hash.startsWith(PAIR_FRAGMENT)) {
    const secret = url.hash.slice(PAIR_FRAGMENT.length);
    if (/^[\w-]{1,64}$/.test(secret)) return { address: new URL('/', url), secret };
  }
  throw new InvalidArgumentError(
    "give the whole address below the code, such as 'https://192.0.2.7:4161/#pair=...', in quotation marks.",
  );
}

/** @throws InvalidArgumentError */
function nameIn(text: string): string {
  const name = deviceNameSchema.safeParse(text);
  if (name.success) return name.data;
  throw new InvalidArgumentError(`give a name of at most ${LONGEST_NAME} characters, on one line.`);
}

/** @throws InvalidArgumentError */
function hexIn(text: string): string {
  const hex = text.replace(/[:\s]/g, '').toUpperCase();
  if (/^[0-9A-F]{64}$/.test(hex)) return hex;
  throw new InvalidArgumentError('a SHA-256 fingerprint has 64 hexadecimal digits, with or without colons.');
}

function ownName(): string {
  const name = deviceNameSchema.safeParse(os.hostname().slice(0, LONGEST_NAME));
  return name.success ? name.data : 'another computer';
}

/**
 * Looks which certificate is shown at an address; nothing is sent there.
 * @throws EvenrungError daemon-unreachable
 */
function certificateAt({ hostname, port, origin }: URL): Promise<X509Certificate> {
  const host = hostname.replace(/^\[|\]$/g, '');
  return new Promise((resolve, reject) => {
    const fail = (why: string) => {
      socket.destroy();
      reject(
        new EvenrungError(
          'daemon-unreachable',
          `Evenrung at ${origin} does not answer (${why}). Check that it runs there with --lan, and that this is its address.`,
        ),
      );
    };
    const socket = tls.connect({
      ...{ host, port: Number(port) || HTTPS_PORT, rejectUnauthorized: false },
      ...(isIP(host) === 0 ? { servername: host } : {}),
    });
    socket.setTimeout(ANSWER_MS, () => fail('no answer'));
    socket.on('error', (cause) => fail((cause as NodeJS.ErrnoException).code ?? cause.message));
    socket.once('secureConnect', () => {
      const certificate = socket.getPeerX509Certificate();
      if (certificate === undefined) fail('no certificate');
      else resolve(new X509Certificate(certificate.raw));
      socket.destroy();
    });
  });
}

/**
 * @param wanted the fingerprint that somebody has read off the daemon
 * @param terminal where somebody can be asked; null if nobody can
 * @throws EvenrungError certificate-differs
 */
export async function mustBelieve(
  { origin }: URL,
  { fingerprint256 }: Pick<X509Certificate, 'fingerprint256'>,
  wanted: string | undefined,
  terminal: Terminal | null,
): Promise<void> {
  if (wanted !== undefined) {
    if (fingerprint256.replaceAll(':', '') === wanted) return;
    throw differs(`The computer at ${origin} shows another certificate, with SHA-256 ${fingerprint256}.`);
  }
  if (terminal === null)
    throw differs(
      `The certificate at ${origin} cannot be confirmed here: give --fingerprint as Evenrung there shows it.`,
    );
  terminal.output.write(
    `The certificate at ${origin} has the SHA-256 fingerprint\n${fingerprintLines(fingerprint256).join('\n')}\n`,
  );
  const lines = readline.createInterface(terminal);
  // Ctrl-C and a terminal that is gone say no.
  const gone = once(lines, 'close').then(() => '');
  const answer = await Promise.race([
    lines.question('Does Evenrung there show the same one? Type yes or no: '),
    gone,
  ]);
  lines.close();
  if (answer.trim().toLowerCase() !== 'yes') throw differs('You did not confirm the certificate.');
}

const atTerminal = (): Terminal | null =>
  process.stdin.isTTY && process.stderr.isTTY ? { input: process.stdin, output: process.stderr } : null;

const differs = (what: string): EvenrungError =>
  new EvenrungError('certificate-differs', `${what} Nothing was sent.`);
