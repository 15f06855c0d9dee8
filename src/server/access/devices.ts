// The paired devices, in a file of the state folder. The file does not contain what a device shows as proof,
// only a hash of it, so that somebody who reads the file cannot pass for a device. It knows no requests.
import { createHash, randomBytes, randomUUID, timingSafeEqual } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import path from 'node:path';
import { z } from 'zod';
import { type Device, type Role, roleSchema } from '../../../shared/access.js';
import { EvenrungError } from '../../../shared/errors.js';
import { whyRefused } from '../../../shared/refused.js';
import { inTurn, isMissing, setAside, writeWhole } from '../../system/index.js';
import type { Visitor } from './visitor.js';

const FILE = 'devices.json';
const TOKEN_BYTES = 32;
const DAY_MS = 24 * 3_600_000;
export const UNUSED_MS = 30 * DAY_MS;
/** How often, at most, it is written when a device was last seen. */
const KEPT_EVERY_MS = 3_600_000;
/** Beyond this many, the one that was not used for the longest is dropped. */
const MOST_DEVICES = 50;

const keptSchema = z.strictObject({
  id: z.uuid(),
  name: z.string(),
  role: roleSchema,
  /** SHA-256 of the secret half of its cookie, in hex. */
  proof: z.string().regex(/^[0-9a-f]{64}$/),
  created: z.iso.datetime(),
  lastSeen: z.iso.datetime(),
});
const fileSchema = z.strictObject({ version: z.literal(1), devices: z.array(keptSchema) });
type Kept = z.infer<typeof keptSchema>;

export class Devices {
  private readonly file: string;
  private kept: readonly Kept[];
  private keptAt: number;

  /**
   * @param warn takes remarks on the file
   * @throws the error of the file system if it exists and cannot be read
   */
  static async open(stateFolder: string, now: number, warn: (line: string) => void): Promise<Devices> {
    const file = path.join(stateFolder, FILE);
    let text: string;
    try {
      text = await readFile(file, 'utf8');
    } catch (cause) {
      if (isMissing(cause)) return new Devices(file, [], now);
      throw new EvenrungError(
        'state-not-writable',
        `The list of paired devices, ${file}, cannot be read: ${whyRefused(cause)}.`,
      );
    }
    const parsed = fileSchema.safeParse(jsonIn(text));
    if (parsed.success) return new Devices(file, parsed.data.devices, now);
    // Nobody can tell any more whom the file let in, so it lets in nobody.
    const aside = await setAside(file, 'damaged');
    warn(`The list of paired devices could not be read; it is kept as ${aside}. Pair the devices again.`);
    return new Devices(file, [], now);
  }

  private constructor(file: string, kept: readonly Kept[], now: number) {
    this.file = file;
    this.kept = kept;
    this.keptAt = now;
  }

  list(now: number): Device[] {
    return this.current(now).map(({ proof: _, ...device }) => device);
  }

  /**
   * @returns the new device, and the content of its cookie: told once, and to nobody else
   * @throws EvenrungError state-not-writable; then there is no new device
   */
  async add(
    name: string,
    role: Role,
    now: number,
  ): Promise<{ readonly device: Device; readonly token: string }> {
    const secret = randomBytes(TOKEN_BYTES).toString('base64url');
    const at = new Date(now).toISOString();
    const added: Kept = { id: randomUUID(), name, role, proof: hashOf(secret), created: at, lastSeen: at };
    await this.keep((before) =>
      [...before]
        .sort((a, b) => b.lastSeen.localeCompare(a.lastSeen))
        .slice(0, MOST_DEVICES - 1)
        .concat(added),
    );
    const { proof: _, ...device } = added;
    return { device, token: `${added.id}.${secret}` };
  }

  /**
   * @returns whether there was one
   * @throws EvenrungError state-not-writable; until the next start it is dropped all the same
   */
  async drop(id: string): Promise<boolean> {
    if (!this.kept.some((device) => device.id === id)) return false;
    this.kept = this.kept.filter((device) => device.id !== id);
    await this.keep((before) => before);
    return true;
  }

  /**
   * @param token the content of a cookie
   * @returns null if it does not belong to a device
   */
  visitor(token: string, now: number): Visitor | null {
    const [id, secret, ...more] = token.split('.');
    if (id === undefined || secret === undefined || more.length > 0) return null;
    const found = this.current(now).find((device) => device.id === id);
    if (found === undefined) return null;
    if (!timingSafeEqual(Buffer.from(found.proof, 'hex'), Buffer.from(hashOf(secret), 'hex'))) return null;
    this.seen(found, now);
    return { role: found.role, device: found.id, name: found.name, isHere: false };
  }

  /** Waits until everything known is on disk, or could not be written. */
  async settled(now: number): Promise<void> {
    await this.keep((before) => before.filter(isUsed(now))).catch(() => undefined);
  }

  private current(now: number): readonly Kept[] {
    return this.kept.filter(isUsed(now));
  }

  private seen(device: Kept, now: number): void {
    const lastSeen = new Date(now).toISOString();
    this.kept = this.kept.map((one) => (one.id === device.id ? { ...one, lastSeen } : one));
    if (now - this.keptAt < KEPT_EVERY_MS) return;
    this.keptAt = now;
    // Nobody is refused because the disk is full; the time that is kept is then an old one.
    this.keep((before) => before.filter(isUsed(now))).catch(() => undefined);
  }

  private keep(change: (before: readonly Kept[]) => readonly Kept[]): Promise<void> {
    return inTurn(this.file, async () => {
      const before = this.kept;
      const after = change(before);
      try {
        await writeWhole(this.file, `${JSON.stringify({ version: 1, devices: after }, null, 2)}\n`);
      } catch (cause) {
        throw new EvenrungError(
          'state-not-writable',
          `The list of paired devices cannot be written to ${this.file}: ${whyRefused(cause)}.`,
        );
      }
      // Devices that were dropped, or seen, meanwhile stay so.
      const now = new Map(this.kept.map((device) => [device.id, device]));
      const known = new Set(before.map(({ id }) => id));
      this.kept = after.flatMap((device) => (known.has(device.id) ? (now.get(device.id) ?? []) : device));
    });
  }
}

const isUsed =
  (now: number) =>
  ({ lastSeen }: Kept): boolean =>
    now - Date.parse(lastSeen) < UNUSED_MS;

const hashOf = (secret: string): string => createHash('sha256').update(secret).digest('hex');

function jsonIn(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return undefined;
  }
}
