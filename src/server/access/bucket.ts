// How often something may happen: a bucket that refills with time. Pure apart from its level; the time is
// passed in.

export interface Rate {
  /** How often at once, after a quiet while. */
  readonly burst: number;
  readonly perSecond: number;
}

export class Bucket {
  private readonly rate: Rate;
  private left: number;
  private at: number;

  constructor(rate: Rate, now: number) {
    this.rate = rate;
    this.left = rate.burst;
    this.at = now;
  }

  /** @returns whether it may happen once more */
  take(now: number): boolean {
    const { burst, perSecond } = this.rate;
    this.left = Math.min(burst, this.left + (Math.max(0, now - this.at) / 1000) * perSecond);
    this.at = now;
    if (this.left < 1) return false;
    this.left -= 1;
    return true;
  }
}

const MOST_KEPT = 1000;

/** A bucket for each of many; those that were not used for the longest are forgotten first. */
export class Buckets {
  private readonly rate: Rate;
  private readonly kept = new Map<string, Bucket>();

  constructor(rate: Rate) {
    this.rate = rate;
  }

  take(whose: string, now: number): boolean {
    const bucket = this.kept.get(whose) ?? new Bucket(this.rate, now);
    this.kept.delete(whose);
    this.kept.set(whose, bucket);
    for (const oldest of this.kept.keys()) {
      if (this.kept.size <= MOST_KEPT) break;
      this.kept.delete(oldest);
    }
    return bucket.take(now);
  }
}
