// Codes that pair a device: one secret each, good for a while and for once. They live in memory alone: with the daemon they are gone.
// It knows neither requests nor devices; the time is given to it.
import { createHash, randomBytes, randomUUID, timingSafeEqual } from 'node:crypto';
import type { Role } from '../../../shared/access.js';

export const PAIRING_MS = 15 * 60_000;
/** Wrong tries that make every open code worthless: somebody is guessing. */
export const BURNT_AFTER = 10;
const SECRET_BYTES = 16;
const MOST_OPEN = 8;

export interface Pairing {
  /** Says which one it is, and opens nothing. */
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

  /** @returns the code that it belongs to, which is used up by that; null where there is none */
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

  /** It was not used after all: what it was to pair could not be kept. */
  giveBack(pairing: Pairing): void {
    this.open = [...this.open, pairing];
  }

  /** @returns an open one */
  withId(id: string, now: number): Pairing | null {
    return this.good(now).find((pairing) => pairing.id === id) ?? null;
  }

  /** Wrong tries since the first of the codes that are open. */
  get wrongTries(): number {
    return this.wrong;
  }

  private good(now: number): Pairing[] {
    return this.open.filter(({ expiresAt }) => now < expiresAt);
  }
}

const digestOf = (secret: string): Buffer => createHash('sha256').update(secret).digest();
