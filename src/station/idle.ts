// Whether anything is being fired or looked at for somebody: what can wait is done only while nothing is.
export class Idle {
  private busy = 0;
  private isOver = false;
  private begun = new AbortController();
  private readonly waiting = new Set<() => void>();

  /** Nothing that can wait is done meanwhile. @throws what the work throws */
  async during<T>(work: () => Promise<T>): Promise<T> {
    this.busy += 1;
    this.begun.abort();
    try {
      return await work();
    } finally {
      this.busy -= 1;
      if (this.busy === 0) this.wake();
    }
  }

  /** Waits until nothing is being done. @returns a signal that is aborted as soon as something is, or at the end */
  async idle(): Promise<AbortSignal> {
    while (this.busy > 0 && !this.isOver) await new Promise<void>((resolve) => this.waiting.add(resolve));
    return this.begun.signal;
  }

  /** Nobody waits any more. */
  end(): void {
    this.isOver = true;
    this.begun.abort();
    this.wakeAll();
  }

  private wake(): void {
    if (!this.isOver) this.begun = new AbortController();
    this.wakeAll();
  }

  private wakeAll(): void {
    for (const resolve of this.waiting) resolve();
    this.waiting.clear();
  }
}
