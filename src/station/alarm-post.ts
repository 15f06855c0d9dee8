// One post to a web address that does not keep the process alive, and the sentences on its failure. It does
// not know what is posted.
import { execFile } from 'node:child_process';
import http from 'node:http';
import https from 'node:https';
import type { LookupFunction, Socket } from 'node:net';

/**
 * Returns with the head of the answer. The body is not read, however long it is, and no redirect is followed.
 */
export function post(
  address: URL,
  body: string,
  signal: AbortSignal,
): Promise<{ status: number; location: string | undefined }> {
  return new Promise((resolve, reject) => {
    const { request } = address.protocol === 'https:' ? https : http;
    const asked = request(address, {
      method: 'POST',
      // A connection of its own, which nothing keeps open.
      agent: false,
      lookup: lookupWith(signal),
      signal,
      headers: {
        'content-type': 'application/json',
        'content-length': Buffer.byteLength(body),
        'user-agent': 'Evenrung',
      },
    });
    asked.on('socket', (socket) => socket.unref());
    asked.on('error', reject);
    asked.on('response', (answer) => {
      answer.on('error', () => undefined);
      resolve({ status: answer.statusCode ?? 0, location: answer.headers.location });
      answer.destroy();
    });
    asked.end(body);
  });
}

const LOOK_UP = `require('node:dns').lookup(process.argv[1], { all: true }, (error, found) =>
  process.stdout.write(JSON.stringify(error ? { code: error.code } : { found })));`;

/**
 * Looks names up in a process of its own. Without a network, and that is when alarms are raised, the system
 * may take half a minute for this; a look-up cannot be broken off, and a process that has one under way
 * cannot end before it.
 */
function lookupWith(signal: AbortSignal): LookupFunction {
  return (name, { all }, done) => {
    const fail = (code: string) => done(Object.assign(new Error(code), { code }), '', 0);
    const options = { signal, killSignal: 'SIGKILL', encoding: 'utf8' } as const;
    const child = execFile(process.execPath, ['-e', LOOK_UP, '--', name], options, (error, text) => {
      const answer = error === null ? lookedUp(text) : {};
      const [first] = answer.found ?? [];
      if (first === undefined) fail(answer.code ?? 'EAI_AGAIN');
      else if (all) done(null, answer.found ?? []);
      else done(null, first.address, first.family);
    });
    child.unref();
    for (const pipe of [child.stdout, child.stderr]) (pipe as Socket | null)?.unref();
  };
}

function lookedUp(text: string): { code?: string; found?: { address: string; family: number }[] } {
  try {
    return JSON.parse(text);
  } catch {
    return {};
  }
}

const WORDS: Readonly<Record<string, string>> = {
  ECONNREFUSED: 'nothing listens there',
  ECONNRESET: 'the connection was closed without an answer',
  EPIPE: 'the connection was closed without an answer',
  ENOTFOUND: 'its name is not known, or there is no network',
  EAI_AGAIN: 'its name cannot be looked up, or there is no network',
  ENETUNREACH: 'it cannot be reached, or there is no network',
  EHOSTUNREACH: 'it cannot be reached, or there is no network',
  ETIMEDOUT: 'it cannot be reached, or there is no network',
};

export function wordsOf(cause: unknown): string {
  const { code, message } = cause as NodeJS.ErrnoException;
  return WORDS[code ?? ''] ?? `${code ?? message}`;
}

/** Following a redirect would send the alarm to somewhere that nobody has named. */
export function elsewhere(status: number, location: string | undefined, webhook: URL): string {
  const { href } = webhook;
  const to =
    location !== undefined && URL.canParse(location, href) ? new URL(location, href).origin : 'elsewhere';
  return `it answered ${status} and leads to ${to}, where nothing is sent: give that address itself`;
}
