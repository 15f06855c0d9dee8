// Codes that pair a device: one secret each, valid for a while and for one use. They are kept in memory only,
// and are gone with the daemon. It knows neither requests nor devices; the time is passed in.
import { createHash, randomBytes, randomUUID, timingSafeEqual } from 'node:crypto';
import type { Role } from '../../../shared/access.js';

export const PAIRING_MS = 15 * 60_000;
/** So many wrong tries make every open code void: somebody is guessing. */
export const BURNT_AFTER = 10;
const SECRET_BYTES = 16;
const MOST_OPEN = 8;

export interface Pairing {
  /** Identifies the code, and opens nothing. */
  readonly id: string;
  /** 128 random bits, base64url. */
  readonly secret: string;
  readonly role: Role;
  /** Milliseconds since 1970. */
  readonly expiresAt: number;
}

export class Pairings {
  private open: Pairing[] = [];
  private wrong = 0;

  begin(role: Role, now: number): Pairing {
    const secret = randomBytes(SECRET_BYTES).toString('base64url');
    const pairing: Pairing = { id: randomUUID(), secret, role, expiresAt: now + PAIRING_MS };
    if (this.good(now).length === 0) this.wrong = 0;
    this.open = [...this.good(now), pairing].slice(-MOST_OPEN);
    return pairing;
  }

  /** @returns the code that it belongs to, which is then used up; null if there is none */
  take(secret: string, now: number): Pairing | null {
    const digest = digestOf(secret);
    const good = this.good(now);
    const found = good.find((pairing) => timingSafeEqual(digestOf(pairing.secret), digest)) ?? null;
    this.open = good.filter((pairing) => pairing !== found);
    if (found !== null) return found;
    this.wrong += 1;
    if (this.wrong >= BURNT_AFTER) this.open = [];
    return null;
  }

  /** The code was not used after all: the device that it was to pair could not be kept. */
  giveBack(pairing: Pairing): void {
    this.open = [...this.open, pairing];
  }

  /** @returns a code that is still open */
  withId(id: string, now: number): Pairing | null {
    return this.good(now).find((pairing) => pairing.id === id) ?? null;
  }

  /** Wrong tries since the first of the open codes was made. */
  get wrongTries(): number {
    return this.wrong;
  }

  private good(now: number): Pairing[] {
    return this.open.filter(({ expiresAt }) => now < expiresAt);
  }
}

const digestOf = (secret: string): Buffer => createHash('sha256').update(secret).digest();
