// How a command is let in at a daemon: a cookie that goes with each request, and the one certificate that is
// trusted there. `pair` gets them, and they are kept in the state folder, readable by the owner only. On the
// computer that the daemon runs on, nothing is needed.
import { readFile } from 'node:fs/promises';
import path from 'node:path';
import type { ConnectionOptions } from 'node:tls';
import { z } from 'zod';
import { type Role, roleSchema } from '../../../shared/access.js';
import { EvenrungError } from '../../../shared/errors.js';
import { whyRefused } from '../../../shared/refused.js';
import { inTurn, isMissing, PRIVATE, setAside, writeWhole } from '../../system/index.js';
import { stateFolder } from '../options/places.js';

export interface DaemonSession {
  readonly headers: Readonly<Record<string, string>>;
  readonly tls: Pick<ConnectionOptions, 'ca' | 'checkServerIdentity'>;
}

export interface KeptSession {
  /** Of the daemon: scheme, name and port. */
  readonly origin: string;
  /** `NAME=VALUE`, as it is sent. */
  readonly cookie: string;
  /** PEM; null over plain HTTP. */
  readonly certificate: string | null;
  /** The daemon's name for this computer, and the role that it has. */
  readonly name: string;
  readonly role: Role;
}

const FILE = 'daemons.json';
/** The one that was paired first makes room. */
const MOST_DAEMONS = 50;

const keptSchema = z.strictObject({
  origin: z.url(),
  cookie: z.string(),
  certificate: z.string().nullable(),
  name: z.string(),
  role: roleSchema,
});
const fileSchema = z.strictObject({ version: z.literal(1), daemons: z.array(keptSchema) });

export const AT_HOME: DaemonSession = { headers: {}, tls: {} };

/**
 * @returns the session that is kept for this address
 * @throws EvenrungError state-not-writable if it cannot be read
 */
export async function sessionFor(address: URL, folder = stateFolder()): Promise<DaemonSession> {
  const kept = (await readKept(path.join(folder, FILE))).find(({ origin }) => origin === address.origin);
  return kept === undefined
    ? AT_HOME
    : { headers: { cookie: kept.cookie }, tls: kept.certificate === null ? {} : onlyWith(kept.certificate) };
}

/** Puts a session in the place of the one that was kept for its address. @throws EvenrungError state-not-writable */
export async function keepSession(session: KeptSession, folder = stateFolder()): Promise<void> {
  await change(
    folder,
    (kept) => {
      const others = kept.filter(({ origin }) => origin !== session.origin);
      return [...others.slice(1 - MOST_DAEMONS), session];
    },
    'Fix that, then get a new code: this one is used up.',
  );
}

/** To be asked before a code is used up. @throws EvenrungError state-not-writable */
export async function mustKeepSessions(folder = stateFolder()): Promise<void> {
  await change(folder, (kept) => kept, 'Fix that, then pair: the code was not used.');
}

async function change(
  folder: string,
  to: (kept: readonly KeptSession[]) => readonly KeptSession[],
  whatToDo: string,
): Promise<void> {
  const file = path.join(folder, FILE);
  await inTurn(file, async () => {
    const daemons = to(await readKept(file));
    try {
      await writeWhole(file, `${JSON.stringify({ version: 1, daemons }, null, 2)}\n`, PRIVATE);
    } catch (cause) {
      throw new EvenrungError(
        'state-not-writable',
        `This computer's pairing cannot be written to ${file}: ${whyRefused(cause)}. ${whatToDo}`,
      );
    }
  });
}

/**
 * Trusts one certificate and no other. The names in it are not checked: a laptop has another address in each
 * network.
 * @param certificate PEM
 */
export const onlyWith = (certificate: string): DaemonSession['tls'] => ({
  ca: certificate,
  checkServerIdentity: () => undefined,
});

async function readKept(file: string): Promise<readonly KeptSession[]> {
  let text: string;
  try {
    text = await readFile(file, 'utf8');
  } catch (cause) {
    if (isMissing(cause)) return [];
    throw new EvenrungError('state-not-writable', `${file} cannot be read: ${whyRefused(cause)}.`);
  }
  let json: unknown;
  try {
    json = JSON.parse(text);
  } catch {
    json = undefined;
  }
  const parsed = fileSchema.safeParse(json);
  if (parsed.success) return parsed.data.daemons;
  const aside = await setAside(file, 'damaged');
  process.stderr.write(
    `This computer's pairings could not be read; they are kept as ${aside}. Pair it again.\n`,
  );
  return [];
}
