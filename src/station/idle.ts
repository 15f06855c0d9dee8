// Whether anything is being fired, sounded or learnt: work that can wait is done only while nothing is.
export class Idle {
  private busy = 0;
  private isOver = false;
  private begun = new AbortController();
  private readonly waiting = new Set<() => void>();

  /** Does work during which nothing is done that can wait. @throws whatever the work throws */
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

  /** Waits until nothing is being done. @returns a signal that is aborted as soon as something begins, and at the end */
  async idle(): Promise<AbortSignal> {
    while (this.busy > 0 && !this.isOver) await new Promise<void>((resolve) => this.waiting.add(resolve));
    return this.begun.signal;
  }

  /** Ends all waiting. */
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
