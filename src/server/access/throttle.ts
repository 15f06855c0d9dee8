// Slows wrong tries down: after each, the next is accepted only after a while that grows, for the one address
// and for all together. It knows no secrets and no requests; the time is passed in.

/** Seconds after the first wrong try, the second, and so on; the last one stays. */
export const WAITS_SECONDS = [1, 2, 4, 8, 15, 30] as const;
/** After so long without a wrong try, they are forgotten. */
const FORGOTTEN_AFTER_MS = 15 * 60_000;
const MOST_ADDRESSES = 1000;

interface Tries {
  wrong: number;
  last: number;
}

export class Throttle {
  private readonly byAddress = new Map<string, Tries>();
  private readonly all: Tries = { wrong: 0, last: 0 };

  /** @returns milliseconds until a try from this address is accepted; 0 if it is at once */
  waitMs(address: string, now: number): number {
    const own = this.byAddress.get(address);
    return Math.max(leftOf(this.all, now), own === undefined ? 0 : leftOf(own, now));
  }

  /** @returns how many were wrong from this address, and in all */
  wrong(address: string, now: number): { readonly here: number; readonly inAll: number } {
    const own = this.byAddress.get(address) ?? { wrong: 0, last: now };
    // The address that was noted last is forgotten last.
    this.byAddress.delete(address);
    this.byAddress.set(address, own);
    for (const tries of [own, this.all]) {
      tries.wrong = now - tries.last > FORGOTTEN_AFTER_MS ? 1 : tries.wrong + 1;
      tries.last = now;
    }
    for (const oldest of this.byAddress.keys()) {
      if (this.byAddress.size <= MOST_ADDRESSES) break;
      this.byAddress.delete(oldest);
    }
    return { here: own.wrong, inAll: this.all.wrong };
  }

  /** After a right try, the next one need not wait. */
  right(address: string): void {
    this.byAddress.delete(address);
  }

  /** Addresses that are remembered. */
  get size(): number {
    return this.byAddress.size;
  }
}

function leftOf({ wrong, last }: Tries, now: number): number {
  if (wrong === 0 || now - last > FORGOTTEN_AFTER_MS) return 0;
  const wait = WAITS_SECONDS[Math.min(wrong, WAITS_SECONDS.length) - 1] ?? 0;
  return Math.max(0, last + wait * 1000 - now);
}

/**
 * @returns what counts as one address: of IPv6 the first half, since one host may have all of the other
 *   half
 */
export function addressOf(remote: string | undefined): string {
  if (remote === undefined) return '';
  const plain = remote.replace(/^::ffff:(?=\d+\.)/i, '').replace(/%.*$/, '');
  if (!plain.includes(':') || plain === '::1') return plain;
  const [head = '', tail] = plain.toLowerCase().split('::');
  const first = head === '' ? [] : head.split(':');
  const last = tail === undefined || tail === '' ? [] : tail.split(':');
  const middle =
    tail === undefined ? [] : new Array<string>(Math.max(0, 8 - first.length - last.length)).fill('0');
  const groups = [...first, ...middle, ...last].slice(0, 4).map((group) => group.replace(/^0+(?=.)/, ''));
  return `${groups.join(':')}::/64`;
}

export const isLoopback = (address: string): boolean => address === '::1' || /^127\./.test(address);
