// The settings that a run changed on a body and still has to put back, kept on disk: so a body that comes
// back after the program or the computer went down is still left as it was found. This file knows what is
// owed, and not how it is put back.
import { createHash } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import path from 'node:path';
import { z } from 'zod';
import { EvenrungError } from '../../shared/errors.js';
import { whyRefused } from '../../shared/refused.js';
import type { BodyIdentity, Debts } from '../camera/index.js';
import { inTurn, isMissing, removeWhole, setAside, writeWhole } from '../system/index.js';

const VERSION = 1;
const DIGITS_OF_HASH = 32;
const MOST_OF_NAME = 40;

const fileSchema = z.strictObject({
  version: z.literal(VERSION),
  model: z.string(),
  serial: z.string().nullable(),
  /** ISO 8601. */
  savedAt: z.string(),
  /** In the order of the changes. */
  debts: z
    .array(z.strictObject({ name: z.string(), found: z.string(), written: z.array(z.string()) }))
    .refine((debts) => new Set(debts.map(({ name }) => name)).size === debts.length),
});

export class AsFoundStore {
  private readonly folder: string;
  private readonly onDamaged: (aside: string) => void;

  /**
   * @param folder holds one file for each body; made at the first write
   * @param onDamaged called with the path under which a file that could not be understood is kept
   */
  constructor(folder: string, onDamaged: (aside: string) => void = () => {}) {
    this.folder = folder;
    this.onDamaged = onDamaged;
  }

  /**
   * The path of a body's file, in a form that any file system takes, whatever the body reports. The hash in
   * it keeps two bodies from sharing a file.
   */
  pathFor({ model, serial }: BodyIdentity): string {
    const hash = createHash('sha256')
      .update(JSON.stringify([model, serial]))
      .digest('hex');
    const name = [model, serial ?? ''].map(readable).filter(Boolean).join('-') || 'body';
    return path.join(this.folder, `${name}-${hash.slice(0, DIGITS_OF_HASH)}.json`);
  }

  /**
   * @returns what is owed, in the order of the changes; empty if nothing is
   * @throws EvenrungError state-not-writable, if a damaged file cannot even be set aside
   */
  read(identity: BodyIdentity): Promise<Debts> {
    const file = this.pathFor(identity);
    return inTurn(file, async () => {
      try {
        return debtsIn(await readFile(file, 'utf8'), identity);
      } catch (cause) {
        if (isMissing(cause)) return new Map();
        this.onDamaged(await this.putAside(file));
        return new Map();
      }
    });
  }

  /**
   * Returns once it is on disk. Writes for one body happen in the order of the calls.
   * @throws EvenrungError state-not-writable
   */
  write(identity: BodyIdentity, debts: Debts): Promise<void> {
    const file = this.pathFor(identity);
    // Made now, since the map goes on changing while the write waits for its turn.
    const text = debts.size === 0 ? null : textOf(identity, debts);
    return inTurn(file, async () => {
      try {
        await (text === null ? removeWhole(file) : writeWhole(file, text));
      } catch (cause) {
        throw new EvenrungError(
          'state-not-writable',
          `The camera's settings cannot be written down in ${this.folder}: ${whyRefused(cause)}. ${ELSEWHERE}`,
        );
      }
    });
  }

  private async putAside(file: string): Promise<string> {
    try {
      return await setAside(file, 'damaged');
    } catch (cause) {
      throw new EvenrungError(
        'state-not-writable',
        `The file ${file} is damaged and cannot be set aside: ${whyRefused(cause)}. ${ELSEWHERE}`,
      );
    }
  }
}

const ELSEWHERE = 'Name a state folder that can be written, in XDG_STATE_HOME.';

const readable = (reported: string): string =>
  reported
    .replace(/[^A-Za-z0-9]+/g, '-')
    .replace(/^-|-$/g, '')
    .slice(0, MOST_OF_NAME);

function textOf({ model, serial }: BodyIdentity, debts: Debts): string {
  const content: z.input<typeof fileSchema> = {
    version: VERSION,
    model,
    serial,
    savedAt: new Date().toISOString(),
    debts: [...debts].map(([name, { found, written }]) => ({ name, found, written: [...written] })),
  };
  return `${JSON.stringify(content, null, 2)}\n`;
}

/** @throws if the file is not what was written for this body */
function debtsIn(text: string, { model, serial }: BodyIdentity): Debts {
  const content = fileSchema.parse(JSON.parse(text));
  if (content.model !== model || content.serial !== serial) throw new Error('It is about another camera.');
  return new Map(content.debts.map(({ name, ...owed }) => [name, owed]));
}
