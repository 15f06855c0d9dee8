// Body profiles in the config folder: read, with plain sentences on anything wrong with one, and written
// whole. It knows where they are and whose they are, but not what they are used for.
import { createHash } from 'node:crypto';
import { readdir, readFile } from 'node:fs/promises';
import path from 'node:path';
import type { z } from 'zod';
import { EvenrungError } from '../../shared/errors.js';
import { firstIssueOf, IN_PLAIN_WORDS } from '../../shared/plain-words.js';
import { type BodyProfile, bodyProfileSchema, PROFILE_VERSION } from '../../shared/profile.js';
import { whyRefused } from '../../shared/refused.js';
import type { BodyIdentity } from '../camera/index.js';
import { inTurn, isMissing, setAside, writeWhole } from '../system/index.js';

/** Whose a profile is. */
export type ProfileOwner = Pick<BodyIdentity, 'model' | 'serial'>;

export interface FoundProfile {
  readonly profile: BodyProfile | null;
  /**
   * Why an existing file is not used, and what to do, in one sentence; null if it is used, or if there is
   * none.
   */
  readonly trouble: string | null;
}

export class ProfileStore {
  private readonly folder: string;
  private readonly onKept: (kept: string) => void;

  /**
   * @param folder made at the first write
   * @param onKept takes the path under which a file is kept that could not be used and that a new profile would overwrite
   */
  constructor(folder: string, onKept: (kept: string) => void = () => {}) {
    this.folder = folder;
    this.onKept = onKept;
  }

  /** The path of this body's profile, whether it exists or not, for people who write one by hand. */
  pathFor(owner: ProfileOwner): string {
    return path.join(this.folder, `${nameFor(owner)}.json`);
  }

  /** Never throws. */
  read(identity: ProfileOwner): Promise<FoundProfile> {
    const file = this.pathFor(identity);
    return inTurn(file, () => readProfile(file, identity));
  }

  /** @returns all that can be read; what cannot is left out. Never throws. */
  async all(): Promise<BodyProfile[]> {
    const names = await readdir(this.folder).catch(() => []);
    const texts = await Promise.all(
      names
        .filter((name) => name.endsWith('.json'))
        .map((name) => readFile(path.join(this.folder, name), 'utf8').catch(() => '')),
    );
    return texts.flatMap((text) => {
      try {
        const parsed = bodyProfileSchema.safeParse(JSON.parse(text.replace(/^\uFEFF/, '')));
        return parsed.success ? [parsed.data] : [];
      } catch {
        return [];
      }
    });
  }

  /**
   * A file in its place that is not a profile of this body is kept under another name.
   * @returns the path of the profile
   * @throws EvenrungError state-not-writable
   */
  async write(profile: BodyProfile): Promise<string> {
    const file = this.pathFor(profile);
    const parsed = bodyProfileSchema.safeParse(profile);
    if (!parsed.success) throw notWritten(file, `${whatIsWrong(parsed.error)}.`);
    const text = `${JSON.stringify(parsed.data, null, 2)}\n`;
    await inTurn(file, async () => {
      try {
        const { trouble } = await readProfile(file, profile);
        if (trouble !== null) this.onKept(await setAside(file, 'not-used'));
        await writeWhole(file, text);
      } catch (cause) {
        throw notWritten(
          file,
          `${whyRefused(cause)}. Name a folder that can be written, in XDG_CONFIG_HOME.`,
        );
      }
    });
    return file;
  }
}

const notWritten = (file: string, why: string) =>
  new EvenrungError('state-not-writable', `The camera profile ${file} cannot be written: ${why}`);

const HARMLESS = /^[A-Za-z0-9._-]{1,64}$/;
const HARMLESS_WITH_SPACES = /^[A-Za-z0-9._ -]{1,64}$/;

/**
 * The serial number alone if it can be a file name, so that a person finds the file. Other names contain a
 * plus sign, which keeps them apart from those; a hash keeps them apart from each other.
 */
function nameFor({ model, serial }: ProfileOwner): string {
  if (serial === null) {
    return HARMLESS_WITH_SPACES.test(model)
      ? `model+${model.replaceAll(' ', '+')}`
      : `model+hashed+${hashOf(model)}`;
  }
  return HARMLESS.test(serial) && serial !== '.' && serial !== '..' ? serial : `serial+${hashOf(serial)}`;
}

const hashOf = (reported: string): string =>
  createHash('sha256').update(JSON.stringify(reported)).digest('hex').slice(0, 32);

async function readProfile(file: string, owner: ProfileOwner): Promise<FoundProfile> {
  let text: string;
  try {
    text = await readFile(file, 'utf8');
  } catch (cause) {
    if (isMissing(cause)) return { profile: null, trouble: null };
    return notUsed(file, `it cannot be read (${whyRefused(cause)})`, 'make it readable, or move it away');
  }
  let written: unknown;
  try {
    // Some editors put a byte order mark first.
    written = JSON.parse(text.replace(/^\uFEFF/, ''));
  } catch (cause) {
    if (hasComments(text)) {
      return notUsed(file, 'it has comments, which JSON does not allow', 'take them out');
    }
    return notUsed(file, `it is not JSON (${oneLine(cause)})`, 'correct it, or move it away');
  }
  const version = versionOf(written);
  if (typeof version === 'number' && version !== PROFILE_VERSION) {
    return notUsed(
      file,
      `its version is ${version}, and this Evenrung reads ${PROFILE_VERSION}`,
      'move it away, and Evenrung writes a new one',
    );
  }
  const parsed = bodyProfileSchema.safeParse(written, IN_PLAIN_WORDS);
  if (!parsed.success) return notUsed(file, whatIsWrong(parsed.error), 'correct it, or move it away');
  const profile = parsed.data;
  for (const field of ['model', 'serial'] as const) {
    if (profile[field] === owner[field]) continue;
    return notUsed(
      file,
      `its field ${field} is ${shown(profile[field])}, but the camera reports ${shown(owner[field])}`,
      'correct it, or move it away',
    );
  }
  return { profile, trouble: null };
}

const notUsed = (file: string, why: string, remedy: string): FoundProfile => ({
  profile: null,
  trouble: `The camera profile ${file} is not used, since ${why}: ${remedy}.`,
});

/** Whether something outside the strings looks like a comment. */
const hasComments = (text: string): boolean =>
  /\/\/|\/\*|^\s*#/m.test(text.replace(/"(?:[^"\\\n]|\\.)*"/g, '""'));

function versionOf(written: unknown): unknown {
  return typeof written === 'object' && written !== null && 'version' in written
    ? written.version
    : undefined;
}

function whatIsWrong(error: z.ZodError): string {
  const issue = error.issues[0];
  const field = issue?.path.join('.') ?? '';
  if (issue?.code === 'unrecognized_keys') {
    const unknown = [field, issue.keys[0]].filter(Boolean).join('.');
    return `there is no field ${unknown}`;
  }
  const { words } = firstIssueOf(error);
  return field === '' ? `it is not a profile (${words})` : `its field ${field} is wrong (${words})`;
}

const shown = (reported: string | null): string =>
  reported === null ? 'none' : `'${reported.slice(0, 60)}'`;

/** The reader's words quote the file, line ends included. */
const oneLine = (cause: unknown): string => whyRefused(cause).replace(/\s+/g, ' ');
