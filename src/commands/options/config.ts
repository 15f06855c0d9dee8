// The config file: options that a person wants each time without typing them. The command line takes
// precedence. It contains nothing that the panel or a request could change.
import { readFile } from 'node:fs/promises';
import path from 'node:path';
import { z } from 'zod';
import { EvenrungError } from '../../../shared/errors.js';
import { firstIssueOf, IN_PLAIN_WORDS } from '../../../shared/plain-words.js';
import { whyRefused } from '../../../shared/refused.js';
import { configFolder } from './places.js';

const FILE = 'config.json';

const configSchema = z.strictObject({
  /** A line for the shell, run if a run ends early. */
  onHalt: z.string().optional(),
  /** An address that is told then. */
  webhook: z.string().optional(),
});
export type Config = z.infer<typeof configSchema>;

/**
 * @returns nothing set if there is no such file
 * @throws EvenrungError config-unreadable
 */
export async function readConfig(folder = configFolder()): Promise<Config> {
  const file = path.join(folder, FILE);
  let text: string;
  try {
    text = await readFile(file, 'utf8');
  } catch (cause) {
    const { code } = cause as NodeJS.ErrnoException;
    if (code === 'ENOENT' || code === 'ENOTDIR') return {};
    throw unreadable(file, whyRefused(cause));
  }
  let written: unknown;
  try {
    written = JSON.parse(text);
  } catch {
    throw unreadable(file, 'it is not JSON');
  }
  const parsed = configSchema.safeParse(written, IN_PLAIN_WORDS);
  if (parsed.success) return parsed.data;
  const { field, words } = firstIssueOf(parsed.error);
  throw unreadable(file, field === '' ? words : `${field}: ${words}`);
}

/** Its content may be a secret, and is not repeated. */
const unreadable = (file: string, why: string): EvenrungError =>
  new EvenrungError(
    'config-unreadable',
    `The config file ${file} is not understood (${why}). Correct it, or move it away.`,
  );
